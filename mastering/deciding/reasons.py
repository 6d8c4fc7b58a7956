"""Why an entry of the advice has its level: one frozen value for each kind of reason, with the facts that its sentence needs.

Nothing here is a sentence: `words.advice` makes those. A new reason is a class here and a function there.
"""

from dataclasses import dataclass

from mastering.deciding.costs import Costs
from mastering.deciding.statistics.comparisons import Left
from mastering.deciding.statistics.naming import Culprit


@dataclass(frozen=True)
class NothingYet:
    """No disc has been judged yet. `wanted`: the good discs that a batch wants, 0 for a lot or drive."""

    wanted: int = 0


@dataclass(frozen=True)
class Fine:
    """No sign of trouble: `bad` of `discs` failed, and the true share lies between `low` and `high` (95 % confidence)."""

    bad: int
    discs: int
    low: float
    high: float


@dataclass(frozen=True)
class TooMany:
    """No alarm, but `bad` of `discs` failed, which is more than the shop tolerates (`tolerable`). `missing`: what a batch still wants."""

    bad: int
    discs: int
    tolerable: float
    missing: int = 0


@dataclass(frozen=True)
class Early:
    """Too few discs for a rate. `more` failures within the next `within` discs would stop a lot; 0 where nothing is to be stopped."""

    bad: int
    discs: int
    more: int = 0
    within: int = 0


@dataclass(frozen=True)
class Accused:
    """The chart of this lot or drive is silent, but what fails elsewhere comes from it."""

    culprit: Culprit


@dataclass(frozen=True)
class LotStopped:
    """A lot reached its stop line: `bad` of its first `discs` failed (since its release, where `released`).

    `left`: the bad ones to expect among its blanks that are left, None where nobody knows how many there are; `rival`: the suspect that
    the data can't tell from the lot, if any; `costs`: where prices are given.
    """

    bad: int
    discs: int
    released: bool
    left: Left | None
    rival: Culprit | None
    costs: Costs | None = None


@dataclass(frozen=True)
class LotWorthUsing:
    """A lot reached its stop line (`bad` of its first `discs` failed), but a good disc costs less of it than of a new one.

    `load`: the blanks of it to lay out for `good` good discs.
    """

    bad: int
    discs: int
    costs: Costs
    load: int
    good: int


@dataclass(frozen=True)
class LotPaused:
    """A lot reached its stop line, but another suspect is the likelier cause."""

    bad: int
    discs: int
    culprit: Culprit


@dataclass(frozen=True)
class InnerBox:
    """One inner box of a lot is bad. It is what the entry of the inner box itself and that of its lot say."""

    culprit: Culprit


@dataclass(frozen=True)
class TitleCulprit:
    """A title fails on every lot and drive."""

    culprit: Culprit


@dataclass(frozen=True)
class SetAside:
    """A person stopped this lot, or the bench put this drive on hold."""


@dataclass(frozen=True)
class FailureRunIn:
    """A run: `bad` of discs `first` to `last` (counted from 1) failed, and `other_bad` of the `others`."""

    bad: int
    first: int
    last: int
    other_bad: int
    others: int


@dataclass(frozen=True)
class RunNoLonger:
    """What held a lot's score over the line was a run, and is no longer the likelier explanation."""


@dataclass(frozen=True)
class OtherCulprit:
    """The alarm of this lot or drive is explained by another culprit."""

    culprit: Culprit


@dataclass(frozen=True)
class SideCulprit:
    """One side fails on every lot and drive."""

    culprit: Culprit


@dataclass(frozen=True)
class ByChance:
    """Of so many `lots` in use one is stopped by chance alone."""

    lots: int


@dataclass(frozen=True)
class Worse:
    """A drive's failures since the disc `since` (counted from 1) from which on it was worse, and before that."""

    since: int
    bad: int
    discs: int
    bad_before: int
    discs_before: int


@dataclass(frozen=True)
class DriveStopped:
    """A drive is known to be to blame."""

    worse: Worse
    culprit: Culprit


@dataclass(frozen=True)
class DriveDrifts:
    """A drive's chart has alarmed, and nobody is named. `rival`: the suspect that the data can't tell from it, if any."""

    worse: Worse
    rival: Culprit | None


@dataclass(frozen=True)
class BatchProgress:
    """How far a batch is: `wanted` good discs of which `missing` are still to be made."""

    wanted: int
    missing: int


@dataclass(frozen=True)
class BatchStandsOut:
    """More discs of a batch fail than chance explains, though neither its lots nor its drives stand out."""


@dataclass(frozen=True)
class PlaceStandsOut:
    """Tracks `first` to `last` of a surface (called `what`, written by `drive` or, where empty, by any).

    `discs` of the `failing` discs failed there; `fifth`: the place is a fifth of the surface in which more fail than elsewhere.
    """

    first: int
    last: int
    what: str
    drive: str
    discs: int
    failing: int
    fifth: bool


OfChart = NothingYet | Fine | TooMany | Early | LotStopped | LotWorthUsing | LotPaused | FailureRunIn | RunNoLonger | ByChance
OfCulprit = Accused | OtherCulprit | SideCulprit | InnerBox | TitleCulprit | DriveStopped | DriveDrifts
Reason = OfChart | OfCulprit | SetAside | BatchProgress | BatchStandsOut | PlaceStandsOut


# What to run to find out


@dataclass(frozen=True)
class Crossover:
    """Write these discs, which failed on `drive`, again on `other_drive`, and read them there: bad blanks fail again, a drive's don't.

    `restore`: whether some were rejected, and have to be taken back first.
    """

    serials: tuple[str, ...]
    drive: str
    other_drive: str
    restore: bool


@dataclass(frozen=True)
class SwapTest:
    """Run so many `discs` of each lot on the drive that it did not run on. A name is None where there is no other one in use."""

    discs: int
    lot: str | None
    drive: str | None
    other_lot: str | None
    other_drive: str | None


@dataclass(frozen=True)
class AnotherInnerBox:
    """Clean the heads, then run so many `discs` of the lot from another inner box.

    `alternately`: dealt to all drives in turn; `unless`: only where what failed is all of one inner box.
    """

    discs: int
    lot: str
    alternately: bool
    unless: bool = False


@dataclass(frozen=True)
class CleanHeads:
    """Clean the heads of a drive, then run so many `discs`."""

    discs: int
    drive: str


@dataclass(frozen=True)
class LookAtTracks:
    """Clean the heads (of `drive`, where one is named) and see how a disc turns in its jacket at these tracks."""

    drive: str
    first: int
    last: int


Trial = Crossover | SwapTest | AnotherInnerBox | CleanHeads | LookAtTracks
