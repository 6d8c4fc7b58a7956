"""A bench of simulated drives and lots: what becomes of each side that is written and read, without its cells.

What a blank is depends on seed, lot and number alone; whether a drive fails on seed, drive and how often it was used; only dirt
depends on which discs went through the drive before. `mastering.simulator.render` makes the files that reads leave.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from formats.model.geometry import Address
from mastering.judging.verdict import State
from mastering.simulator.chance import chance, generator
from mastering.simulator.damage import Blank, Cause, Layout, Spot, draw_blank, draw_spot
from mastering.simulator.quality import DriveQuality, LotQuality

_TRACKS = 4  # at most, that a failing write or read spoils
_FILTHIEST = 0.9  # dirt never makes every use fail
_DIRTY = 1.0  # by how much of itself full dirt raises jitter: a head that lies farther off hears less (from memory)
_SHEDDING = 1.6  # times as much jitter on a coating that sheds (from memory)
_NOISIEST = 0.12  # of a cell: beyond it no drive reads


@dataclass(frozen=True)
class Wear:
    """What became of a drive: how often it was used, and the share of uses that fail because of dirt."""

    uses: int = 0
    dirt: float = 0.0


@dataclass(frozen=True)
class Writing:
    """A side as a drive wrote it on a face of a blank: use `use` of that drive, at a speed (a share of nominal).

    `own`: spots that this writing left bad; `spots`: these and the blank's.
    """

    layout: Layout
    serial: str | None
    blank: Blank
    drive: str
    use: int
    speed: float
    own: tuple[Spot, ...] = ()

    @property
    def spots(self) -> tuple[Spot, ...]:
        """All that is wrong with what lies on the disc now."""
        if not self.blank.spots:
            return self.own
        return (*(spot for spot in self.blank.spots if spot.face in self.layout.faces), *self.own)


@dataclass(frozen=True)
class Read:
    """A read of a writing by a drive; `own`: spots that were bad in this read only. `seed` is for what its cells leave open.

    `jitter`, `wow`, `speed`: what the drive's wear and dirt and the disc's coating do to its times, as shares.
    """

    writing: Writing
    drive: str
    use: int
    own: tuple[Spot, ...]
    seed: int
    jitter: float = 0.03
    wow: float = 0.003
    speed: float = 0.0

    @property
    def spots(self) -> tuple[Spot, ...]:
        """All that was wrong in this read."""
        return (*self.writing.spots, *self.own)

    @property
    def truth(self) -> State:
        """What a verdict of a read of several turns must be: `marginal` where nothing but weak spots is wrong."""
        return truth(self.spots)

    @property
    def tracks(self) -> set[tuple[int, int]]:
        """Track number and head of all tracks with dead spots: what a capture's verdict must find."""
        return self.writing.layout.tracks(spot for spot in self.spots if not spot.weak)

    def findings(self, turns: int = 1) -> dict[Address, str]:
        """The kinds of finding by sector, as far as they can be told without cells; of a read of one turn, or of several.

        A weak spot is `soft` in several turns; in one turn each of its tracks is bad in half of the reads.
        """
        spots, layout, speed = self.spots, self.writing.layout, self.writing.speed
        if not spots:
            return {}
        found = layout.touched((spot for spot in spots if not spot.weak), speed)
        for address, kind in layout.touched((spot for spot in spots if spot.weak), speed).items():
            if turns > 1:
                found.setdefault(address, "soft")
            elif chance(self.seed, "turn", self.drive, self.use, address.track, address.head) < 0.5:
                found.setdefault(address, kind)
        return dict(sorted(found.items(), key=lambda each: layout.geometry.places[each[0]]))

    @property
    def story(self) -> str:
        """What really happened, for people."""
        return "; ".join(_told(self, spot) for spot in self.spots) or "sound"

    @property
    def causes(self) -> dict[Cause, str]:
        """Who is to blame: each cause with the lot or drive that it came from."""
        lot, wrote = self.writing.blank.lot, self.writing.drive
        made = {spot.cause: lot for spot in self.writing.blank.spots if spot.face in self.writing.layout.faces}
        return made | {spot.cause: wrote for spot in self.writing.own} | {spot.cause: self.drive for spot in self.own}


def truth(spots: Iterable[Spot]) -> State:
    """`fail` with a dead spot among them, `marginal` with weak ones only, else `pass`."""
    weak = [spot.weak for spot in spots]
    return "pass" if not weak else "marginal" if all(weak) else "fail"


@dataclass(frozen=True)
class _Use:
    """A use of a drive: its number, its own share of failures then, the dirt that it met, and what a failure is called."""

    drive: str
    number: int
    share: float
    dirt: float
    cause: Cause


@dataclass
class Bench:
    """Lots and drives by name, from one seed; `wear` is all that changes, so a bench can be put away and set up again."""

    seed: int
    lots: Mapping[str, LotQuality]
    drives: Mapping[str, DriveQuality]
    wear: dict[str, Wear] = field(default_factory=dict)

    def blank(self, lot: str, number: int) -> Blank:
        """Blank `number`, from 1, of a lot. KeyError when the bench has no such lot."""
        return draw_blank(self.seed, lot, number, self.lots[lot])

    def write(self, drive: str, blank: Blank, layout: Layout, serial: str | None = None) -> Writing:
        """A drive writes a side on its face of a blank. KeyError when the bench has no such drive."""
        quality = self.drives[drive]
        use, dirt = self._use(drive, blank)
        own = self._spoilt(_Use(drive, use, quality.failing_writes.at(use), dirt, "write"), layout)
        speed = quality.speed + quality.wobble * (2 * chance(self.seed, "speed", drive, use) - 1)
        return Writing(layout, serial, blank, drive, use, speed, own)

    def read(self, drive: str, writing: Writing) -> Read:
        """A drive reads what was written. KeyError when the bench has no such drive."""
        use, dirt = self._use(drive, writing.blank)
        quality = self.drives[drive]
        own = self._spoilt(_Use(drive, use, quality.failing_reads.at(use), dirt, "read"), writing.layout)
        jitter = quality.jitter.at(use) * (1 + _DIRTY * dirt) * (_SHEDDING if writing.blank.shed else 1)
        speed = quality.speed - 1 + quality.wobble * (2 * chance(self.seed, "turning", drive, use) - 1)
        return Read(writing, drive, use, own, self.seed, min(jitter, _NOISIEST), quality.wow.at(use), speed)

    def clean(self, drive: str) -> None:
        """A drive's heads are cleaned: its dirt is gone."""
        self.wear[drive] = replace(self.wear.get(drive, Wear()), dirt=0.0)

    def _use(self, drive: str, blank: Blank) -> tuple[int, float]:
        """Counts a use: its number, and the dirt that this disc met; the disc's own comes on top for the next."""
        before = self.wear.get(drive, Wear())
        dirt = min(_FILTHIEST, before.dirt + self.drives[drive].soiling + blank.shed)
        self.wear[drive] = Wear(before.uses + 1, dirt)
        return before.uses + 1, before.dirt

    def _spoilt(self, use: _Use, layout: Layout) -> tuple[Spot, ...]:
        """The spots of a use of a drive: none, but for its own share of failures and, of the rest, for its dirt's."""
        quality, heads, share = self.drives[use.drive], layout.geometry.heads, use.share
        if heads == 1:
            share = min(1.0, share * quality.leaning(layout.side == "B"))
        drawn = chance(self.seed, "use", use.drive, use.number)
        if drawn >= share + (1 - share) * use.dirt:
            return ()
        rng = generator(self.seed, "spot", use.drive, use.number)
        if drawn >= share:
            return (draw_spot(rng, layout.face(int(rng.integers(heads))), "dirt", _TRACKS),)
        head = int(rng.random() < quality.bias) if heads == 2 else 0
        return (draw_spot(rng, layout.face(head), use.cause, _TRACKS, band=quality.band),)


# The story


def _told(read: Read, spot: Spot) -> str:
    """What a spot is and whose."""
    where = _where(read.writing.layout, spot)
    wrote, reading = read.writing.drive, spot in read.own
    return {
        "scratch": f"a scratch on {where}",
        "weak": f"a weak spot on {where}",
        "shedding": f"the disc sheds its coating on {where}",
        "write": f"{wrote} wrote badly on {where}",
        "read": f"{read.drive} read badly on {where}",
        "dirt": f"{read.drive if reading else wrote}'s dirty head {'read' if reading else 'wrote'} badly on {where}",
    }[spot.cause]


def _where(layout: Layout, spot: Spot) -> str:
    return " and ".join(_tracks(layout, spot)) or "no track that is used"


def _tracks(layout: Layout, spot: Spot) -> Iterator[str]:
    """Its tracks as one run for each head."""
    for head in range(layout.geometry.heads):
        numbers = sorted(layout.geometry.track(cylinder, each) for cylinder, each in layout.places(spot) if each == head)
        if numbers:
            run = f"track {numbers[0]}" if len(numbers) == 1 else f"tracks {numbers[0]}-{numbers[-1]}"
            yield run if layout.geometry.heads == 1 else f"{run} head {head}"
