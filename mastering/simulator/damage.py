"""What is wrong with a disc as a place on its coating, and which tracks and sectors of a geometry lie there. No cells yet."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from formats.model.geometry import Address, Geometry
from formats.model.record import Record
from mastering.simulator.chance import chance, generator
from mastering.simulator.quality import INNER_BOX, REACHED, LotQuality

if TYPE_CHECKING:
    from numpy.random import Generator

Cause = Literal["scratch", "weak", "shedding", "write", "read", "dirt"]

# Shares of a turn. No spot begins before the first sector or ends behind the last one of any geometry at any speed within 3 %, and each is
# wider than the widest gap with its sync: so each meets a field.
_STARTS = (0.05, 0.78)
_WIDTHS = (0.03, 0.12)


@dataclass(frozen=True)
class Spot:
    """A place on a face where nothing is read, or, if `weak`, something only at every other turn.

    `face`: 0 is what a drive's head 0 meets with the label up, 1 with the disc turned over (or head 1). `first` and `last` count tracks of
    48 tpi from 0; `start` and `width` are shares of a turn from where tracks begin. `noise` seeds what cells are there instead.
    """

    face: int
    first: int
    last: int
    start: float
    width: float
    cause: Cause
    noise: int

    @property
    def weak(self) -> bool:
        """Whether it comes right at every other turn."""
        return self.cause == "weak"


def draw_spot(rng: "Generator", face: int, cause: Cause, most: int, *, least: int = 1, band: tuple[int, int] = (0, REACHED - 1)) -> Spot:
    """A spot over `least` to `most` neighbouring tracks in a band."""
    first, last = band
    tracks = min(int(rng.integers(least, most + 1)), last - first + 1)
    begins = int(rng.integers(first, last - tracks + 2))
    start, width = float(rng.uniform(*_STARTS)), float(rng.uniform(*_WIDTHS))
    return Spot(face, begins, begins + tracks - 1, start, width, cause, int(rng.integers(1 << 32)))


# Blanks


@dataclass(frozen=True)
class Blank:
    """One blank of a lot, numbered from 1 in the order in which the lot is used; `shed` is the dirt that it leaves at each use."""

    lot: str
    number: int
    spots: tuple[Spot, ...] = ()
    shed: float = 0.0

    @property
    def inner_box(self) -> int:
        """Which box of ten it came from, from 1."""
        return (self.number - 1) // INNER_BOX + 1


def draw_blank(seed: int, lot: str, number: int, quality: LotQuality) -> Blank:
    """A lot's blank: the same one whenever it is asked for."""
    box = (number - 1) // INNER_BOX
    in_bad_box = quality.clumped and chance(seed, "box", lot, box) < quality.bad_boxes(box * INNER_BOX + 1)
    share = quality.dense if in_bad_box else quality.elsewhere(number)
    if chance(seed, "blank", lot, number) >= share:
        return Blank(lot, number)
    rng = generator(seed, "defect", lot, number)
    total = sum(quality.kinds)
    kind = ("scratch", "weak", "shedding")[rng.choice(3, p=[weight / total for weight in quality.kinds])]
    both = kind == "shedding" or rng.random() < quality.both
    faces = (0, 1) if both else (int(rng.integers(2)),)
    if kind == "shedding":
        return Blank(lot, number, tuple(draw_spot(rng, face, "shedding", 3) for face in faces for _ in range(3)), quality.shed)
    if kind == "weak":
        return Blank(lot, number, tuple(draw_spot(rng, face, "weak", 2) for face in faces))
    return Blank(lot, number, tuple(draw_spot(rng, face, "scratch", 8, least=3) for face in faces))


# Where a spot lies in a geometry


@dataclass(frozen=True)
class Layout:
    """A side of a job by its name and geometry: where its fields lie on the faces of a disc."""

    side: str
    geometry: Geometry

    def face(self, head: int) -> int:
        """The face that a head meets: side B is the disc turned over."""
        return head if self.side == "A" else 1 - head

    @cached_property
    def faces(self) -> frozenset[int]:
        """The faces that this side records."""
        return frozenset(map(self.face, range(self.geometry.heads)))

    def places(self, spot: Spot) -> list[tuple[int, int]]:
        """The cylinders, with the head, that a spot lies on."""
        tracks = range(spot.first, spot.last + 1)
        return [
            (cylinder, head)
            for head in range(self.geometry.heads)
            if self.face(head) == spot.face
            for cylinder in range(self.geometry.cylinders)
            if cylinder * 48 // self.geometry.tpi in tracks
        ]

    def run(self, spot: Spot, cylinder: int, speed: float) -> slice:
        """The cells of a spot on a track that was written at a speed."""
        count = int(self._turns[cylinder] / speed)
        return slice(int(spot.start * count), int((spot.start + spot.width) * count))

    def touched(self, spots: Iterable[Spot], speed: float) -> dict[Address, str]:
        """The sectors that lie under some spots, and what a reader finds of each: `absent`, or `block-check` where it met the identifier.

        A spot that only grazes a field may do it no harm.
        """
        found: dict[Address, str] = {}
        for spot in spots:
            for cylinder, head in self.places(spot):
                run = self.run(spot, cylinder, speed)
                for address, identifier, block in self._fields(cylinder, head, run):
                    if _meet(run, identifier):
                        found[address] = "absent"
                    elif _meet(run, block):
                        found.setdefault(address, "block-check")
        return dict(sorted(found.items(), key=lambda each: self.geometry.places[each[0]]))

    def tracks(self, spots: Iterable[Spot]) -> set[tuple[int, int]]:
        """Track numbers and heads that lie under some spots."""
        return {(self.geometry.track(cylinder, head), head) for spot in spots for cylinder, head in self.places(spot)}

    # Where the fields lie

    @cached_property
    def _turns(self) -> list[int]:
        """Cells of a turn at nominal speed, by cylinder."""
        return [self.geometry.track_cells(cylinder) for cylinder in range(self.geometry.cylinders)]

    @cached_property
    def _spans(self) -> list[tuple[Sequence[int], int, int, slice, slice]]:
        """By cylinder: its sectors' numbers, where the first begins, cells of a sector, and where identifier and block lie in it."""
        made: list[tuple[Sequence[int], int, int, slice, slice]] = []
        for cylinder in range(self.geometry.cylinders):
            zone = self.geometry.zone(cylinder)
            spans, at = {}, 0
            for element in self.geometry.sector:
                cells = self.geometry.laid_cells(element, zone)
                if isinstance(element, Record):
                    spans[element.name] = slice(at + len(element.mark.laid) - len(element.mark.cells), at + cells)
                at += cells
            lead = sum(self.geometry.laid_cells(each, zone) for each in self.geometry.lead)
            numbers = self.geometry.order or self.geometry.numbers(cylinder)
            made.append((numbers, lead, at, spans["identifier"], spans["block"]))
        return made

    def _fields(self, cylinder: int, head: int, run: slice) -> Iterator[tuple[Address, slice, slice]]:
        """A track's sectors that lie, in part, in a run of cells, each with the cells of its identifier and of its block."""
        numbers, begins, step, identifier, block = self._spans[cylinder]
        track = self.geometry.track(cylinder, head)
        for place in range(max(0, (run.start - begins) // step), min(len(numbers), (run.stop - begins) // step + 1)):
            at = begins + place * step
            yield Address(track, head, numbers[place]), _moved(identifier, at), _moved(block, at)


def _moved(span: slice, by: int) -> slice:
    return slice(span.start + by, span.stop + by)


def _meet(one: slice, other: slice) -> bool:
    return bool(one.start < other.stop and other.start < one.stop)
