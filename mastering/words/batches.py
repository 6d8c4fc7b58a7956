"""Batches and discs in words, for the helper at the table."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from mastering.judging.actions import DiscAction, Step
from mastering.judging.standing import Reason, why_unsettled
from mastering.judging.verdict import sides_text
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.lines import Line as LedgerLine
from mastering.words.layout import Block, Line, Table, indented
from mastering.words.times import local_time

_OF_NO_SIDE: Mapping[DiscAction, str] = {
    "box": "box it",
    "ask": "set it aside and ask",
    "reject": "reject it: put it aside and don't use the blank again",
}
_AGAIN: Mapping[DiscAction, str] = {"read-again": "read", "write-again": "write"}
_FACES = {"A": "label up", "B": "label down"}
_WHY: Mapping[Reason, str] = {  # why a read does not count
    "void": "struck out",
    "no-side": "nobody knows which side it was",
    "evidence": "this batch does not accept such evidence",
    "simulated": "it is simulated",
    "other-side": "it was the other side",
    "other-master": "it was another master's disc",
    "other-geometry": "it was a disc of another geometry",
    "short": "it ended too early",
    "hold": "its drive was put on hold afterwards",
}
_SHOWN = 12


def batch_plain(batch: Batch, counts: Mapping[str, int]) -> dict[str, Any]:
    """A batch as a line of JSON: its name, state, master and how many of its discs stand how."""
    line = batch.line
    return {
        "batch": batch.name,
        "state": "open" if batch.open else "closed",
        "master": line["master"],
        "digest": line["digest"],
        "discs": dict(counts),
    }


def counts_text(counts: Mapping[str, int]) -> str:
    """How many discs are good, in doubt, bad and unfinished."""
    words = (("pass", "good"), ("marginal", "in doubt"), ("fail", "bad"), ("open", "unfinished"))
    return ", ".join(f"{counts[standing]} {word}" for standing, word in words)


def disc_text(disc: Disc) -> Line:
    """How a disc stands and what to do with it."""
    each = " (each side by itself)" if disc.batch.each_side and disc.verdict == "pass" and len(disc.batch.sides) > 1 else ""
    return Line(f"{disc.serial}  {_state(disc):10}  ", action_text(disc) + each)


def _state(disc: Disc) -> str:
    if disc.unused:
        return "dropped" if disc.dropped else "unused"
    return "unfinished" if disc.verdict == "open" else disc.verdict


def action_text(disc: Disc) -> str:
    """What to do with a disc: the action, the drive where another one should do it, which face up, then the reason."""
    if disc.unused:
        return "no disc carries this serial"
    standing, step = disc.standing, disc.next_step
    if not disc.batch.open and not standing.rejected:
        return "passed; its batch is closed" if disc.verdict == "pass" else "don't box it: its batch was closed before it was finished"
    if step.action == "reject" and standing.by_eye:
        return f"{_OF_NO_SIDE[step.action]} (rejected by eye)"
    if step.action in _OF_NO_SIDE:
        return _OF_NO_SIDE[step.action] + _because(disc, step)
    if step.action == "clean-drive":
        return f"clean a drive first: every drive that serves {sides_text(step.sides)} is on hold"
    doubt = [side for side, each in standing.sides.items() if each.verdict == "marginal" and side not in step.sides]
    more = "".join(f"; side {side} is in doubt, read it again" for side in doubt)
    return _of_sides(disc, step) + _because(disc, step) + more


def _of_sides(disc: Disc, step: Step) -> str:
    """An action in words that is about some of a disc's sides."""
    if step.action in _AGAIN:
        first, *others = (f"side {side}{{}}{_where(disc, step, side)}" for side in step.sides)
        return f"{_AGAIN[step.action]} {first.format(' again')}" + "".join(f"; then {each.format('')}" for each in others)
    if step.action == "write":
        written = all(disc.newest_writing(side) for side in step.sides)
        return f"read it: nothing is known of {sides_text(step.sides)}" if written else "not read yet"
    if step.because is not None:
        return f"turn it over, so that side {step.sides[0]} is read{_where(disc, step, step.sides[0])}"
    side, *others = step.sides
    after = "".join(f", then turn it over: side {each}" for each in others)
    return f"put it in {_FACES[side]}: side {side}{after} is still to be read"


def _where(disc: Disc, step: Step, side: str) -> str:
    """The drive, where another one should do it, and which face is up, where a disc has two."""
    drive = f" in {step.drives[side]}" if side in step.drives else ""
    return drive + (f", {_FACES[side]}" if len(disc.batch.sides) > 1 else "")


def _because(disc: Disc, step: Step) -> str:
    """Which read an action follows from, where that settled nothing, and why it did not."""
    if step.because is None:
        return ""
    reason = why_unsettled(disc.rows, step.because)
    return f" (read {step.because.number} does not count{f': {_WHY[reason]}' if reason else ''})"


def batch_text(batch: Batch, discs: list[Disc], counts: Mapping[str, int]) -> Iterator[Block]:
    """A batch for people: how far it is, which serials are next, which discs wait for what."""
    line = batch.line
    yield f"batch {batch.name} ({'open' if batch.open else 'closed'}), {line['master']}: {counts['pass']} good of {line['good']} wanted"
    simulated = "; simulated" if any(read.simulated for disc in discs for read in disc.reads) else ""
    yield f"  {counts_text(counts)}; {_named('lot', batch.lots)}; {_named('drive', batch.drives)}{simulated}"
    if batch.open:
        yield f"  next: {_next_text(batch, discs, counts)}"
    yield from indented(disc_text(disc) for disc in discs if _waits(disc))
    rejected = [disc.serial for disc in discs if disc.rejected]
    if rejected:
        yield f"  rejected: {_some(rejected)}"


def progress_text(batch: Batch, counts: Mapping[str, int]) -> str:
    """How far a batch is."""
    return f"batch {batch.name}: {counts['pass']} good of {batch.line['good']} wanted"


def _named(word: str, names: Sequence[str]) -> str:
    """The names of a batch's lots or drives."""
    return f"{word}{'s' if len(names) > 1 else ''} {', '.join(names)}"


def _next_text(batch: Batch, discs: list[Disc], counts: Mapping[str, int]) -> str:
    """What comes next in an open batch, apart from the discs that wait for something."""
    if counts["pass"] >= batch.line["good"]:
        return f"enough are good; `obverse batch close {batch.name}` closes it and backs the ledger up"
    fresh = _fresh(discs)
    return _some(fresh) if fresh else f"no serial is free; `obverse batch serials {batch.name}` hands out more"


def _fresh(discs: list[Disc]) -> list[str]:
    """The serials of which nothing is known yet."""
    return [disc.serial for disc in discs if not disc.begun and not disc.dropped and not disc.rejected]


def _waits(disc: Disc) -> bool:
    """Whether something was begun on a disc and is not finished."""
    return disc.begun and not disc.standing.decided


def closed_text(batch: Batch, discs: list[Disc], counts: Mapping[str, int]) -> Iterator[Block]:
    """A batch that was closed: what it came to, and what is left unfinished for good."""
    yield f"batch {batch.name} is closed: {counts_text(counts)}; {batch.line['good']} good were wanted"
    waiting, fresh = [disc.serial for disc in discs if _waits(disc)], _fresh(discs)
    if waiting:
        yield f"  never finished, so don't box them (`batch open --continue {batch.name}` takes them over): {_some(waiting)}"
    if fresh:
        yield f"  serials that were never read: {_some(fresh)}"


def disc_story(disc: Disc, corrections: Iterable[LedgerLine]) -> Iterator[Block]:
    """All that is known of a disc, read by read; then how it was rejected by eye and corrected."""
    yield disc_text(disc)
    simulated = ", simulated" if any(read.simulated for read in disc.reads) else ""
    box = f", inner box {disc.inner}" if disc.inner else ""
    yield f"  batch {disc.batch.name}, lot {disc.lot or 'not known'}{box}" + (", rejected" if disc.rejected else "") + simulated
    for read in disc.reads:
        writing = disc.writings.get((read.side or "", read.writing or 0))
        drive = None if writing is None else writing.drive
        why = why_unsettled(disc.rows, read)
        idle = f"  ({_WHY[why] if why == 'void' else f'does not count: {_WHY[why]}'})" if why is not None else ""
        verdict = f"{read.verdict}{f', {read.diagnosis}' if read.diagnosis else ''}"
        where = f"side {read.side or '?'}, writing {read.writing or '?'} by {drive or '?'}, read by {read.read_by or '?'}"
        yield Line(f"  read {read.number}: ", f"{where}: {verdict}  {disc.files[read.number].name}{idle}")
    yield from (f"  {_correction_text(line)}" for line in corrections)


def _correction_text(line: LedgerLine) -> str:
    """A reject or a correction in words: what it changed, when and why."""
    if line["kind"] == "reject":
        return f"rejected by eye {local_time(line['at'])}: {line['reason']}"
    said = [f"from lot {line['lot']}"] if line["lot"] else []
    said += [f"from inner box {line['inner']}"] if line.get("inner") else []
    said += [f"written by {line['wrote']}"] if line["wrote"] else []
    said += [f"read {line['read']} was read by {line['read_by']}"] if line.get("read_by") and not line["void"] else []
    said += [f"read {line['read']} is void"] if line["void"] else []
    said += ["restored"] if line.get("restore") else []
    return f"corrected {local_time(line['at'])}: {', '.join(said)} ({line['reason']})"


def changed_text(serial: str, before: str, after: str, disc: Disc) -> str:
    """Why a disc's verdict is another one since the ledger was brought to this version."""
    simulated = any(why_unsettled(disc.rows, read) == "simulated" for read in disc.reads)
    why = "simulated reads count in a practice batch only" if simulated else "a failed writing stays failed, whatever is read later"
    return f"{serial}: {before} before, {after} by the rules of this version ({why})"


def batches_table(batches: Sequence[tuple[Batch, Mapping[str, int]]]) -> Table:
    """The batches, and how many of their discs stand how."""
    head = ("batch", "state", "master", "wanted", "good", "in doubt", "bad", "unfinished", "opened")
    return Table([head, *(_batch_row(batch, counts) for batch, counts in batches)])


def _batch_row(batch: Batch, counts: Mapping[str, int]) -> tuple[str, ...]:
    line = batch.line
    standing = (str(counts[name]) for name in ("pass", "marginal", "fail", "open"))
    return batch.name, "open" if batch.open else "closed", line["master"], str(line["good"]), *standing, local_time(line["at"])


def _some(serials: list[str]) -> str:
    more = len(serials) - _SHOWN
    return ", ".join(serials[:_SHOWN]) + (f" and {more} more" if more > 0 else "")
