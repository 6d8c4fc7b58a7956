"""Discs and their whole history, for programs and for people."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from mastering.judging.standing import why_unsettled
from mastering.ledger.entities import Disc
from mastering.ledger.lines import Line
from mastering.ledger.questions import Row
from mastering.words.layout import Block, Table
from mastering.words.layout import Line as TextLine
from mastering.words.times import local_time

_KEPT = ("side", "writing", "evidence", "verdict", "diagnosis", "wrote", "read_by", "operator", "readback", "file_sha256", "at")


def history_plain(disc: Disc, rows: Iterable[Row], order: str | None) -> dict[str, Any]:
    """As in `disc show --json`."""
    line, rows = disc.batch.line, list(rows)
    reasons = {read.row: why_unsettled(disc.rows, read) for read in disc.reads}
    sides = disc.standing.sides.items()
    return {
        "serial": disc.serial,
        "state": disc.state,
        "verdict": disc.verdict,
        "title": str(line["master"]).removesuffix(f" {line.get('revision')}"),
        "revision": line.get("revision"),
        "batch": disc.batch.name,
        "lot": disc.lot,
        "inner": disc.inner,
        "order": order,
        "sides": {side: None if each.verdict == "open" else each.verdict for side, each in sides},
        "reads": [
            {"read": row.line["read"], **{key: row.line.get(key) for key in _KEPT}, "settles": reasons.get(row.number) is None}
            for row in rows
            if row.line["kind"] == "read"
        ],
        "events": [{"row": row.number, **row.line} for row in rows if row.line["kind"] != "read"],
    }


def history_text(disc: Disc, rows: Iterable[Row], order: str | None) -> Iterator[Block]:
    """The same for people, a line a row."""
    line = disc.batch.line
    box = f", inner box {disc.inner}" if disc.inner else ""
    held = f" in order {order}" if order else ""
    yield f"  {line['master']}, batch {disc.batch.name}, lot {disc.lot or 'not known'}{box}; {disc.state}{held}"
    reads = {read.row: read for read in disc.reads}
    drives = {writing.row: writing.drive for writing in disc.writings.values()}  # as reads and corrections tell it by now
    for row in rows:
        read = reads.get(row.number)
        why = None if read is None else why_unsettled(disc.rows, read)
        idle = "" if why is None else f" (does not count: {why})"
        yield TextLine(f"  {local_time(row.line['at'])}  ", f"{_row_text(row.line, drives.get(row.number))}{idle}")


def discs_table(discs: Iterable[Mapping[str, Any]], further: Iterable[str] = ()) -> Table:
    """Discs that were asked for, a row each; `further` are the keys of their lines that are shown beside."""
    further = tuple(further)
    head = ("serial", "state", "verdict", "title", "batch", "lot", "written", *further)
    return Table([head, *(_disc_row(line, further) for line in discs)])


def _disc_row(line: Mapping[str, Any], further: Iterable[str]) -> tuple[str, ...]:
    day = local_time(line["at"]).partition(" ")[0] if line["at"] else ""
    title = f"{line['title']} {line['revision'] or ''}".rstrip()
    of_all = (line["serial"], line["state"], line["verdict"], title, line["batch"], line["lot"] or "", day)
    return *of_all, *(_cell(line[key]) for key in further)


def _cell(value: object) -> str:
    return "" if value is None else f"{value:.2g}" if isinstance(value, float) else str(value)


def _row_text(line: Line, drive: str | None) -> str:
    """What a row about a disc says; `drive`: the one that made a writing, as far as that is known."""
    kind = line["kind"]
    by = f" ({line['operator']})" if line.get("operator") else ""
    if kind == "read":
        how = f"read {line['read']}, side {line['side'] or '?'}, by {line['read_by'] or '?'}: {line['verdict']}"
        return how + (f", {line['diagnosis']}" if line["diagnosis"] else "") + by
    reason = f": {line['reason']}" if line.get("reason") else ""
    words: Mapping[str, str] = {
        "serial": f"handed out in batch {line.get('batch')}",
        "image": f"image of side {line.get('side')} made",
        "writing": f"side {line.get('side')} written, time {line.get('writing')}, by {drive or '?'}",
        "reject": f"rejected by eye{reason}",
        "amend": f"corrected{reason}",
        "drop": f"dropped{reason}",
        "take": f"taken over by batch {line.get('batch')} from {line.get('from')}",
        "label": "label printed",
        "disc": f"{line.get('what')}{reason}",
    }
    return words.get(kind, kind) + by
