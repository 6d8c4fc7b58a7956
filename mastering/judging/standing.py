"""How a disc stands: which reads settle a side, its verdict, the disc's, and what to do with it. Pure rules over reads."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from mastering.judging.verdict import State

Standing = State | Literal["open"]
DiscAction = Literal["box", "turn-over", "read-again", "other-drive", "write-again", "reject", "clean-drive"]

ORDER: tuple[Standing, ...] = ("pass", "marginal", "open", "fail")  # of several sides the last counts
RANK = {standing: rank for rank, standing in enumerate(ORDER)}
REWRITES = 1  # how often a disc may be written again where no bench says otherwise
FAILED_TWICE = 2
PASSES_AFTER_DOUBT = 2
_SETTLES_NOTHING = {"other-side", "other-master", "other-geometry", "short"}
_ACTIONS: dict[Standing, DiscAction] = {"pass": "box", "marginal": "read-again", "open": "turn-over"}
_HARDEST: tuple[DiscAction, ...] = ("reject", "write-again", "other-drive", "read-again")  # of several failed sides the first counts


@dataclass(frozen=True)
class Read:
    """One read of a disc. `number` counts a disc's reads, `writing` those of the side; both are None where no side could be told."""

    number: int
    side: str | None
    writing: int | None
    read_by: str | None
    verdict: State
    diagnosis: str | None
    void: bool = False
    id: int = 0
    simulated: bool = False

    @property
    def settles(self) -> bool:
        """Whether it says anything of the side: not what was read by mistake, nor what was struck out."""
        return not self.void and self.side is not None and self.diagnosis not in _SETTLES_NOTHING


@dataclass(frozen=True)
class SideStanding:
    """A side's verdict and what it rests on: `newest` settling read of the newest writing, `first` settling read of the first one."""

    verdict: Standing
    writing: int | None
    newest: Read | None
    first: Read | None
    failed: int
    readers: frozenset[str]

    @property
    def first_bad(self) -> bool:
        """Whether the first read that settles of the first writing did not pass."""
        return self.first is not None and self.first.verdict != "pass"

    @property
    def rewritten(self) -> bool:
        """Whether the side was written more than once."""
        return self.writing is not None and self.writing > 1


def side_standing(reads: Iterable[Read], writings: Collection[int]) -> SideStanding:
    """How a side stands after its reads, in the order in which they were made; `writings`: the numbers of those that were begun."""
    if not writings:
        return SideStanding("open", None, None, None, 0, frozenset())
    first, newest = min(writings), max(writings)
    settling = [read for read in reads if read.settles]
    of_newest = [read for read in settling if read.writing == newest]
    return SideStanding(
        _settled(of_newest),
        newest,
        of_newest[-1] if of_newest else None,
        next((read for read in settling if read.writing == first), None),
        sum(read.verdict == "fail" for read in of_newest),
        frozenset(read.read_by for read in of_newest if read.read_by),
    )


def _settled(reads: Sequence[Read]) -> Standing:
    """The verdict of one writing's settling reads: the newest's, but a pass after a doubt needs a second one."""
    if not reads:
        return "open"
    doubts = [place for place, read in enumerate(reads) if read.verdict != "pass"]
    passes = len(reads) - 1 - doubts[-1] if doubts else PASSES_AFTER_DOUBT
    if passes == 0:
        return reads[-1].verdict
    return "pass" if passes >= PASSES_AFTER_DOUBT else "marginal"


def disc_verdict(sides: Iterable[SideStanding], rejected: bool) -> Standing:
    """`fail` when a side is or it was rejected by eye, else `open`, `marginal`, `pass` as the worst side is."""
    return "fail" if rejected else ORDER[max(RANK[side.verdict] for side in sides)]


def disc_action(sides: Mapping[str, SideStanding], rejected: bool, drives: Collection[str], rewrites: int = REWRITES) -> DiscAction:
    """What to do with a disc of a batch that is made on these drives."""
    verdict = disc_verdict(sides.values(), rejected)
    if verdict != "fail":
        return _ACTIONS[verdict]
    if rejected:
        return "reject"
    wanted = {after_failure(side, drives, rewrites) for side in sides.values() if side.verdict == "fail"}
    return next(action for action in _HARDEST if action in wanted)


def after_failure(side: SideStanding, drives: Collection[str], rewrites: int = REWRITES) -> DiscAction:
    """What to do about a side that failed."""
    if side.failed < FAILED_TWICE:
        return "read-again"
    if (side.writing or 1) > rewrites:
        return "reject"
    return "other-drive" if set(drives) - side.readers else "write-again"
