"""Batches and discs in words, for the helper at the table."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from mastering.judging.standing import DiscAction, Standing, after_failure
from mastering.judging.verdict import sides_text
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.lines import Line as LedgerLine
from mastering.words.layout import Block, Line, Table, indented
from mastering.words.times import local_time

_ACTIONS: Mapping[DiscAction, str] = {  # `other-drive` says for each side which one
    "box": "box it",
    "turn-over": "put it in {up}: {sides} is still to be read",
    "read-again": "read {sides} again",
    "write-again": "write {sides} again",
    "reject": "reject it: put it aside and don't use the blank again",
    "clean-drive": "clean the drive first",
}
_UP = {"A": "label up", "B": "label down"}
_SHOWN = 12


def batch_plain(batch: Batch, counts: Mapping[Standing, int]) -> dict[str, Any]:
    """A batch line."""
    line = batch.line
    return {
        "batch": batch.name,
        "state": "open" if batch.open else "closed",
        "master": line["master"],
        "digest": line["digest"],
        "discs": dict(counts),
    }


def counts_text(counts: Mapping[Standing, int]) -> str:
    """How many discs stand how."""
    words: tuple[tuple[Standing, str], ...] = (("pass", "good"), ("marginal", "in doubt"), ("fail", "bad"), ("open", "unfinished"))
    return ", ".join(f"{counts[standing]} {word}" for standing, word in words)


def disc_text(disc: Disc) -> Line:
    """How a disc stands and what to do with it."""
    verdict = disc.verdict()
    return Line(f"{disc.serial}  {'unfinished' if verdict == 'open' else verdict:10}  ", action_text(disc))


def action_text(disc: Disc) -> str:
    """What to do with a disc."""
    standings = disc.standings()
    verdict = disc.verdict()
    sides = [name for name, side in standings.items() if side.verdict == verdict]
    if not disc.batch.open and verdict == "pass":
        return "passed; its batch is closed"
    if not disc.batch.open and verdict != "pass" and disc.action() != "reject":
        return "don't box it: its batch was closed before it was finished" if disc.reads else "not read yet, and its batch is closed"
    if verdict == "open" and len(sides) == len(standings):
        return "not read yet" if not disc.reads else f"read it: nothing is known of {sides_text(sides)}"
    action, drives = disc.action(), disc.batch.drives
    if disc.rejected:
        return f"{_ACTIONS[action]} (rejected by eye)"
    if verdict == "fail":
        sides = [name for name in sides if after_failure(standings[name], drives) == action]
    if action == "other-drive":
        others = {name: " or ".join(drive for drive in drives if drive not in standings[name].readers) for name in sides}
        return "read " + " and ".join(f"side {name} in another drive ({others[name]})" for name in sides)
    doubt = [name for name, side in standings.items() if side.verdict == "marginal"] if verdict == "open" else []
    return _ACTIONS[action].format(sides=sides_text(sides), up=_UP[sides[0]]) + "".join(
        f"; side {name} is in doubt, read it again" for name in doubt
    )


def batch_text(batch: Batch, discs: list[Disc], counts: Mapping[Standing, int]) -> Iterator[Block]:
    """A batch for people: how far it is, which serials are next, which discs wait for what."""
    line = batch.line
    yield f"batch {batch.name} ({'open' if batch.open else 'closed'}), {line['master']}: {counts['pass']} good of {line['good']} wanted"
    simulated = "; simulated" if any(read.simulated for disc in discs for read in disc.reads) else ""
    yield f"  {counts_text(counts)}; lots {', '.join(batch.lots)}; drives {', '.join(batch.drives)}{simulated}"
    if batch.open:
        yield f"  next: {_next_text(batch, discs, counts)}"
    yield from indented(disc_text(disc) for disc in discs if _waits(disc))
    rejected = [disc.serial for disc in discs if disc.action() == "reject"]
    if rejected:
        yield f"  rejected: {_some(rejected)}"


def _next_text(batch: Batch, discs: list[Disc], counts: Mapping[Standing, int]) -> str:
    """What comes next in an open batch, apart from the discs that wait for something."""
    if counts["pass"] >= batch.line["good"]:
        return f"enough are good; `obverse batch close {batch.name}` closes it and backs the ledger up"
    fresh = _fresh(discs)
    return _some(fresh) if fresh else f"no serial is free; `obverse batch serials {batch.name}` hands out more"


def _fresh(discs: list[Disc]) -> list[str]:
    """The serials of which nothing is known yet."""
    return [disc.serial for disc in discs if not disc.reads and not disc.rejected]


def _waits(disc: Disc) -> bool:
    """Whether something was begun on a disc and is not finished."""
    return bool(disc.reads) and disc.verdict() != "pass" and disc.action() != "reject"


def closed_text(batch: Batch, discs: list[Disc], counts: Mapping[Standing, int]) -> Iterator[Block]:
    """A batch that was closed: what it came to, and what is left unfinished for good."""
    yield f"batch {batch.name} is closed: {counts_text(counts)}; {batch.line['good']} good were wanted"
    waiting, fresh = [disc.serial for disc in discs if _waits(disc)], _fresh(discs)
    if waiting:
        yield f"  never finished, so don't box them: {_some(waiting)}"
    if fresh:
        yield f"  serials that were never read: {_some(fresh)}"


def disc_story(disc: Disc, corrections: Iterable[LedgerLine]) -> Iterator[Block]:
    """All that is known of a disc, read by read; then how it was rejected by eye and corrected."""
    yield disc_text(disc)
    simulated = ", simulated" if any(read.simulated for read in disc.reads) else ""
    yield f"  batch {disc.batch.name}, lot {disc.lot or 'not known'}" + (", rejected by eye" if disc.rejected else "") + simulated
    for read in disc.reads:
        drive = disc.writings[read.side, read.writing].drive if read.side and read.writing else None
        void = "  (void)" if read.void else ""
        verdict = f"{read.verdict}{f', {read.diagnosis}' if read.diagnosis else ''}"
        where = f"side {read.side or '?'}, writing {read.writing or '?'} by {drive or '?'}, read by {read.read_by or '?'}"
        yield Line(f"  read {read.number}: ", f"{where}: {verdict}  {disc.files[read.number].name}{void}")
    yield from (f"  {_correction_text(correction)}" for correction in corrections)


def _correction_text(line: LedgerLine) -> str:
    """What a reject or a correction says, when and why."""
    if line["kind"] == "reject":
        return f"rejected by eye {local_time(line['at'])}: {line['reason']}"
    corrected = [f"from lot {line['lot']}"] if line["lot"] else []
    corrected += [f"written by {line['wrote']}"] if line["wrote"] else []
    corrected += [f"read {line['read']} is void"] if line["void"] else []
    return f"corrected {local_time(line['at'])}: {', '.join(corrected)} ({line['reason']})"


def batches_table(batches: Sequence[tuple[Batch, Mapping[Standing, int]]]) -> Table:
    """The batches, and how many of their discs stand how."""
    head = ("batch", "state", "master", "wanted", "good", "in doubt", "bad", "unfinished", "opened")
    return Table([head, *(_batch_row(batch, counts) for batch, counts in batches)])


def _batch_row(batch: Batch, counts: Mapping[Standing, int]) -> tuple[str, ...]:
    line = batch.line
    standing = (str(counts[name]) for name in ("pass", "marginal", "fail", "open"))
    return batch.name, "open" if batch.open else "closed", line["master"], str(line["good"]), *standing, local_time(line["at"])


def _some(serials: list[str]) -> str:
    more = len(serials) - _SHOWN
    return ", ".join(serials[:_SHOWN]) + (f" and {more} more" if more > 0 else "")
