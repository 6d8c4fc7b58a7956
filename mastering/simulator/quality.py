"""How good the simulated lots and drives are: declared as shares, so that a test can ask whether they came out."""

from dataclasses import dataclass

INNER_BOX = 10  # blanks: boxes of ten come in a larger one (common practice)
REACHED = 35  # tracks of 48 tpi that every declared geometry records: where defects lie, so that each of them is met


def _shares(**values: float) -> None:
    """ValueError names what is no share."""
    for name, value in values.items():
        if not 0 <= value <= 1:
            raise ValueError(f"{name} is a share from 0 to 1, not {value}")


@dataclass(frozen=True)
class Course:
    """A share that may change: `before` up to number `since`, then evenly to `after` at number `until`, and so it stays.

    Numbers are a lot's blanks (from 1) or a drive's uses (from 1; each side written or read is one). Without `after` it never
    changes; `until` not above `since` is a sudden step behind `since`.
    """

    before: float
    after: float | None = None
    since: int = 0
    until: int = 0

    def __post_init__(self) -> None:
        _shares(before=self.before, after=self.before if self.after is None else self.after)

    def at(self, number: int) -> float:
        """The share at a number."""
        if self.after is None or number <= self.since:
            return self.before
        if number >= self.until:
            return self.after
        return self.before + (self.after - self.before) * (number - self.since) / (self.until - self.since)


@dataclass(frozen=True)
class LotQuality:
    """How bad a lot's blanks are.

    `bad`: the share of blanks with a defect. `clumped`: the share of these that lie together in bad inner boxes of ten, of whose blanks
    `dense` are bad. `scratched`, `weak`, `shedding`: which defect it is, weights; a scratch is dead coating over neighbouring
    tracks, a weak spot comes right at every other turn, a shedding blank has lost coating on both faces and leaves `shed` more dirt (a
    share of failing uses) in a drive at every use. `both`: the share of scratched and weak blanks with a defect on both faces.
    """

    bad: Course = Course(0.03)
    clumped: float = 0.0
    dense: float = 0.6
    scratched: float = 0.7
    weak: float = 0.3
    shedding: float = 0.0
    both: float = 0.2
    shed: float = 0.03

    def __post_init__(self) -> None:
        _shares(clumped=self.clumped, dense=self.dense, both=self.both, shed=self.shed)
        if min(self.kinds) < 0 or not sum(self.kinds) > 0:
            raise ValueError("scratched, weak and shedding are weights: none below 0, one above")
        if not self.dense:
            raise ValueError("dense is the share of bad blanks in a bad inner box: above 0")
        worst = max(self.bad.before, self.bad.after or 0)
        if self.clumped and not worst * (1 - self.clumped + self.clumped / self.dense) <= 1:
            raise ValueError(f"{worst} bad of which {self.clumped} clumped: there are not so many inner boxes; raise dense")

    @property
    def kinds(self) -> tuple[float, float, float]:
        """Weights of scratched, weak and shedding."""
        return self.scratched, self.weak, self.shedding

    def unusable(self, number: int = 1) -> float:
        """The share of blanks on which no writing can be read: scratched or shedding."""
        return self.bad.at(number) * (self.scratched + self.shedding) / sum(self.kinds)

    def bad_boxes(self, number: int) -> float:
        """The share of inner boxes that are bad, at a blank's number."""
        return self.bad.at(number) * self.clumped / self.dense if self.clumped else 0.0

    def elsewhere(self, number: int) -> float:
        """The share of bad blanks in the other inner boxes."""
        if not self.clumped:
            return self.bad.at(number)
        others = 1 - self.bad_boxes(number)
        return self.bad.at(number) * (1 - self.clumped) / others if others > 0 else 0.0


@dataclass(frozen=True)
class DriveQuality:
    """How bad a drive is.

    `failing_writes`, `failing_reads`: the share of sides that it writes or reads badly on a few tracks, whatever the disc, over
    its uses. `speed`: how fast it turns, as a share of nominal, off by up to `wobble` from one writing to the next. `bias`: the share of
    its own failures on side B, of a two-head geometry on head 1. `band`: first and last track (of 48 tpi, from 0) where these
    lie. `soiling`: dirt that it gathers at every use; dirt is a share of uses that fail on top, until the drive is cleaned.
    `jitter`, `wow`: of its reads, as shares of a cell and of the speed, over its uses: bearings, belts and heads wear.
    """

    failing_writes: Course = Course(0.005)
    failing_reads: Course = Course(0.005)
    speed: float = 1.0
    wobble: float = 0.002
    bias: float = 0.5
    band: tuple[int, int] = (0, REACHED - 1)
    soiling: float = 0.0
    jitter: Course = Course(0.03)
    wow: Course = Course(0.003)

    def __post_init__(self) -> None:
        _shares(bias=self.bias, soiling=self.soiling, wobble=self.wobble)
        if not self.speed > self.wobble:
            raise ValueError(f"a speed of {self.speed} is none")
        if not 0 <= self.band[0] <= self.band[1]:
            raise ValueError(f"the band {self.band[0]} to {self.band[1]} holds no track")

    def leaning(self, second: bool) -> float:
        """By how much its failures are more frequent on side B (`second`) or on side A than over both."""
        return 2 * (self.bias if second else 1 - self.bias)
