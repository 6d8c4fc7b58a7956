"""How one side of a disc stands: which of its reads settle it, and the verdict that they give. Pure rules over the rows of one disc.

A row's number says what came before what; a time never does.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

from mastering.judging.verdict import State

Standing = State | Literal["open"]
Reason = Literal["void", "no-side", "evidence", "simulated", "other-side", "other-master", "other-geometry", "short", "hold"]

ORDER: tuple[Standing, ...] = ("pass", "marginal", "open", "fail")  # of several sides the last counts
RANK = {standing: rank for rank, standing in enumerate(ORDER)}
REWRITES = 1  # how often a disc may be written again where its batch says nothing
FAILS_THAT_SPEND = 2
PASSES_AFTER_DOUBT = 2
READS_OF_A_DOUBT = 5  # settling reads within which a doubt must be over, the one that began it included
_SETTLES_NOTHING: dict[str, Reason] = {
    "other-side": "other-side", "other-master": "other-master", "other-geometry": "other-geometry", "short": "short",
}  # fmt: skip
_DOUBTED_AFTER_A_PASS = {"other-master", "other-geometry"}


@dataclass(frozen=True)
class Read:
    """One read of a disc. `number` counts a disc's reads, both sides together; side and `writing` are None where no side could be told.

    `action`: what the read-back alone asks for. `accepted`: its batch takes this evidence. `practice`: simulated reads count in its batch.
    """

    number: int
    side: str | None
    writing: int | None
    read_by: str | None
    verdict: State
    diagnosis: str | None
    void: bool = False
    row: int = 0
    simulated: bool = False
    action: str = "read-again"
    accepted: bool = True
    practice: bool = True


@dataclass(frozen=True)
class Writing:
    """One time that a side was written. `number` counts the side's writings over all of a disc's batches.

    `drive` is None while no row names it. `by_bench`: the bench wrote it, so that a blank side means that nothing was written.
    """

    row: int
    side: str
    number: int
    drive: str | None = None
    by_bench: bool = False
    batch: str = ""


@dataclass(frozen=True)
class Hold:
    """A drive that a read of a disc's side put on hold. `after`: the row of the drive's newest passing read before that, 0 without one."""

    drive: str
    after: int
    row: int
    serial: str
    side: str


@dataclass(frozen=True)
class Take:
    """A disc was taken over by a batch: `rework` with another master, of which `sides` are to be written; else to be finished."""

    row: int
    rework: bool = False
    sides: tuple[str, ...] = ()


@dataclass(frozen=True)
class DiscRows:
    """All that a ledger's rows say of one disc. `sides`, `rewrites` and `each_side` are those of its newest batch.

    `rejects` (by eye) and `restores` are the numbers of their rows. `holds`: those of the drives that read the disc; others change nothing.
    `each_side`: a writing of one side leaves the other's verdict alone.
    """

    serial: str
    sides: tuple[str, ...]
    writings: tuple[Writing, ...] = ()
    reads: tuple[Read, ...] = ()
    rejects: tuple[int, ...] = ()
    restores: tuple[int, ...] = ()
    takes: tuple[Take, ...] = ()
    holds: tuple[Hold, ...] = ()
    rewrites: int = REWRITES
    each_side: bool = False

    @cached_property
    def rework(self) -> Take | None:
        """The newest take-over by another master; None when there was none."""
        return max((take for take in self.takes if take.rework), key=lambda take: take.row, default=None)

    def writings_of(self, side: str) -> list[Writing]:
        """The writings of a side, in their order."""
        return sorted((writing for writing in self.writings if writing.side == side), key=lambda writing: writing.number)

    def first_number(self, side: str) -> int:
        """The number of the writing with which a side's allowed writings begin: a rework begins anew.

        A side that the rework left as it was keeps its newest writing as the first one.
        """
        take = self.rework
        if take is None:
            return 1
        before = max((writing.number for writing in self.writings_of(side) if writing.row < take.row), default=0)
        return before + 1 if side in take.sides else max(1, before)

    def newest_writing(self, side: str) -> Writing | None:
        """The newest writing of a side; None while it was not written (by a rework: not with the new master)."""
        writings = self.writings_of(side)
        return writings[-1] if writings and writings[-1].number >= self.first_number(side) else None


@dataclass(frozen=True)
class Settled:
    """A settling read and the verdict that it counts as: a read of another master counts as `marginal` once the writing was read well."""

    read: Read
    verdict: State


@dataclass(frozen=True)
class SideStanding:
    """A side's verdict and what it rests on.

    `newest`: the newest settling read of the newest `writing`; `first`: the first settling read of the first writing. `spent`: this writing
    will never pass. `overtaken`: it passed, but the other side was written since. `failed`, `readers`: of the newest writing's reads.
    """

    verdict: Standing
    writing: Writing | None
    newest: Read | None
    first: Read | None
    spent: bool
    overtaken: bool
    failed: int
    readers: frozenset[str]

    @property
    def first_bad(self) -> bool:
        """Whether the first settling read of the first writing did not pass."""
        return self.first is not None and self.first.verdict != "pass"


def side_standing(rows: DiscRows, side: str) -> SideStanding:
    """How a side of a disc stands."""
    writing = rows.newest_writing(side)
    settled = settling(rows, writing)
    spent = is_spent(settled, writing)
    verdict = "fail" if spent else verdict_of([each.verdict for each in settled])
    overtaken = verdict == "pass" and _is_overtaken(rows, side, settled[-1].read)
    first = next((each for each in rows.writings_of(side) if each.number == rows.first_number(side)), None)
    return SideStanding(
        "open" if overtaken else verdict,
        writing,
        settled[-1].read if settled else None,
        next((each.read for each in settling(rows, first)), None),
        spent,
        overtaken,
        sum(each.verdict == "fail" for each in settled),
        frozenset(each.read.read_by for each in settled if each.read.read_by),
    )


# Which reads settle


def settling(rows: DiscRows, writing: Writing | None, holds: bool = True) -> list[Settled]:
    """The settling reads of a writing, oldest first. `holds`: whether drives' holds unsettle reads, as they do but in rates by drive."""
    settled: list[Settled] = []
    for read in _reads_of(rows, writing):
        reason = reason_of_its_own(read)
        if reason in _DOUBTED_AFTER_A_PASS and any(each.verdict == "pass" for each in settled):
            reason = None
        if reason is None and not (holds and _is_held_back(rows, read)):
            settled.append(Settled(read, "marginal" if read.diagnosis in _DOUBTED_AFTER_A_PASS else read.verdict))
    return settled


def why_unsettled(rows: DiscRows, read: Read) -> Reason | None:
    """Why a read of a disc settles nothing; None when it does settle something."""
    writing = next((each for each in rows.writings if (each.side, each.number) == (read.side, read.writing)), None)
    if any(each.read is read for each in settling(rows, writing)):
        return None
    return reason_of_its_own(read) or "hold"


def _reads_of(rows: DiscRows, writing: Writing | None) -> Iterator[Read]:
    """The reads of a writing in the order of their rows, those that settle nothing included."""
    if writing is not None:
        key = (writing.side, writing.number)
        yield from sorted((read for read in rows.reads if (read.side, read.writing) == key), key=lambda read: read.row)


def reason_of_its_own(read: Read) -> Reason | None:
    """Why a read settles nothing, whatever was read before it and whichever drive is on hold; None when nothing about it says so."""
    if read.void:
        return "void"
    if read.side is None:
        return "no-side"
    if not read.accepted:
        return "evidence"
    if read.simulated and not read.practice:
        return "simulated"
    return _SETTLES_NOTHING.get(read.diagnosis or "")


def _is_held_back(rows: DiscRows, read: Read) -> bool:
    """Whether a hold unsettles a read: its drive made it since its last passing read, and was put on hold after it.

    A reader that was put on hold by a writing that failed in a second drive as well was right: these failures settle.
    """
    spans = (hold for hold in rows.holds if hold.drive == read.read_by and hold.after < read.row < hold.row)
    return any(not (read in _failures(rows, hold) and reader_was_right(rows, hold)) for hold in spans)


def reader_was_right(rows: DiscRows, hold: Hold) -> bool:
    """Whether the writing of this disc that put a drive on hold failed in that drive and in another one: then the hold is over."""
    failed_in = {read.read_by for read in _failures(rows, hold)} - {None}
    return hold.drive in failed_in and len(failed_in) > 1


def _failures(rows: DiscRows, hold: Hold) -> list[Read]:
    """The failed reads of the writing that put a drive on hold, which was the newest one of its side; none where another disc did it."""
    before = (each for each in rows.writings if each.side == hold.side and each.row < hold.row)
    writing = max(before, key=lambda each: each.number, default=None) if hold.serial == rows.serial else None
    return [read for read in _reads_of(rows, writing) if read.verdict == "fail" and reason_of_its_own(read) is None]


# What they give


def verdict_of(verdicts: Sequence[State]) -> Standing:
    """The verdict of a writing's settling reads: the newest's, but a pass after a doubt needs a second one."""
    if not verdicts:
        return "open"
    if verdicts[-1] != "pass":
        return verdicts[-1]
    doubts = [place for place, verdict in enumerate(verdicts) if verdict != "pass"]
    return "pass" if not doubts or len(verdicts) - 1 - doubts[-1] >= PASSES_AFTER_DOUBT else "marginal"


def is_spent(settled: Sequence[Settled], writing: Writing | None) -> bool:
    """Whether a writing will never pass: it failed twice, a doubt outlasted its reads, or the bench wrote it and nothing is on it."""
    if writing is not None and writing.by_bench and any(each.read.diagnosis == "blank" for each in settled):
        return True
    verdicts = [each.verdict for each in settled]
    return verdicts.count("fail") >= FAILS_THAT_SPEND or _outlasts(verdicts)


def _outlasts(verdicts: Sequence[State]) -> bool:
    """Whether any doubt was not over with its last allowed read."""
    reads = 0  # of the doubt that is not over
    for before, verdict in pairwise(("", *verdicts)):
        reads += 1 if reads or verdict != "pass" else 0
        if before == verdict == "pass":
            reads = 0
        if reads >= READS_OF_A_DOUBT:
            return True
    return False


def _is_overtaken(rows: DiscRows, side: str, read: Read) -> bool:
    """Whether another side was written after a side was read: turning the disc over and writing may have hurt it."""
    return not rows.each_side and any(writing.side != side and writing.row > read.row for writing in rows.writings)
