"""What to do next with a disc, on which sides and in which drive. Pure rules over the rows of one disc."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, cast

from mastering.judging.custody import DiscStanding
from mastering.judging.standing import DiscRows, Read, why_unsettled

DiscAction = Literal["box", "write", "turn-over", "read-again", "write-again", "ask", "reject", "clean-drive"]
_OF_NO_DRIVE: Collection[DiscAction] = ("box", "ask", "reject")
_WRITES: Collection[DiscAction] = ("write", "write-again")


@dataclass(frozen=True)
class Drive:
    """A drive as far as one disc goes: the sides whose geometry it writes and reads, whether it is on hold or retired."""

    name: str
    writes: frozenset[str]
    reads: frozenset[str]
    held: bool = False
    retired: bool = False


@dataclass(frozen=True)
class Step:
    """What to do next: the action, the sides that it is about, and for a side another drive than the last one, where there is one.

    `because`: the read that settled nothing and whose own action this is.
    """

    action: DiscAction
    sides: tuple[str, ...]
    drives: Mapping[str, str]
    because: Read | None = None


def next_step(rows: DiscRows, standing: DiscStanding, drives: Sequence[Drive]) -> Step:
    """What to do next with a disc of a batch that is made on these drives."""
    action, sides, because = _wanted(rows, standing)
    if action in _OF_NO_DRIVE:
        return Step(action, sides, {}, because)
    writes = action in _WRITES
    if sides and all(_is_blocked(drives, side, writes) for side in sides):
        return Step("clean-drive", sides, {}, because)
    named = {side: _other_drive(rows, standing, drives, side, writes) for side in sides}
    return Step(action, sides, {side: drive for side, drive in named.items() if drive is not None}, because)


def _wanted(rows: DiscRows, standing: DiscStanding) -> tuple[DiscAction, tuple[str, ...], Read | None]:
    """The action, whatever the drives are like, the sides that it is about, and the read whose own action it is."""
    if standing.rejected:
        return "reject", standing.spent_sides, None
    of: dict[str, tuple[str, ...]] = {
        verdict: tuple(side for side, each in standing.sides.items() if each.verdict == verdict) for verdict in ("fail", "open", "marginal")
    }
    if standing.verdict == "pass":
        return "box", (), None
    if standing.verdict == "marginal":
        return "read-again", of["marginal"], None
    if standing.verdict == "open":
        return _of_open(rows, standing, of["open"])
    spent = tuple(side for side in of["fail"] if standing.sides[side].spent)
    return ("write-again", spent, None) if spent else ("read-again", of["fail"], None)


def _of_open(rows: DiscRows, standing: DiscStanding, sides: tuple[str, ...]) -> tuple[DiscAction, tuple[str, ...], Read | None]:
    """The action of an open disc, some of whose sides are open."""
    last = _unsettled(rows, sides)
    if last is not None:
        own = "read-again" if last.action == "box" else last.action
        return cast(DiscAction, own), (str(last.side),), last
    begun = any(each.newest is not None for each in standing.sides.values())
    return "turn-over" if begun else "write", sides, None


def _unsettled(rows: DiscRows, sides: Collection[str]) -> Read | None:
    """The newest read of an open side, if it settled nothing and nothing was written since."""
    written = max((writing.row for writing in rows.writings), default=0)
    newest = {read.side: read for read in sorted(rows.reads, key=lambda read: read.row) if read.side in sides}
    idle = (read for read in newest.values() if read.row >= written and why_unsettled(rows, read) is not None)
    return max(idle, key=lambda read: read.row, default=None)


# Drives


def _is_blocked(drives: Sequence[Drive], side: str, writes: bool) -> bool:
    """Whether every drive that serves a side is on hold."""
    serving = _serving(drives, side, writes)
    return bool(serving) and all(drive.held for drive in serving)


def _serving(drives: Sequence[Drive], side: str, writes: bool) -> list[Drive]:
    """The drives in use that write, or read, a side."""
    return [drive for drive in drives if not drive.retired and side in (drive.writes if writes else drive.reads)]


def _other_drive(rows: DiscRows, standing: DiscStanding, drives: Sequence[Drive], side: str, writes: bool) -> str | None:
    """A drive for a side: another one than wrote it, or than read it last, and rather one that has not read this writing at all."""
    writing = standing.sides[side].writing
    if writing is None:
        return None
    free = [drive.name for drive in _serving(drives, side, writes) if not drive.held]
    if writes:
        return next((name for name in free if name != writing.drive), None) if writing.drive else None
    reads = sorted((read for read in rows.reads if (read.side, read.writing) == (side, writing.number)), key=lambda read: read.row)
    readers = [read.read_by for read in reads if read.read_by]
    if not readers:
        return None
    fresh = next((name for name in free if name not in readers), None)
    return fresh or next((name for name in free if name != readers[-1]), None)
