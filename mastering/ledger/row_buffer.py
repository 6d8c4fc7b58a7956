"""Rows on their way into the ledger's tables: gathered while lines are taken, written together."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Table, bindparam, insert, update

from mastering.judging.standing import RANK, settling
from mastering.ledger.entities import Disc
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, EVENTS, FINDINGS, HOLDS, IMAGES, LOG, LOTS, READS, SIDES, WRITINGS

if TYPE_CHECKING:
    from mastering.judging.standing import Read, Writing
    from mastering.ledger.lookup import Lookup

_INDEPENDENT = (LOG, LOTS, DRIVES, BATCHES)  # written before the discs that point to them
_OF_DISCS = (READS, IMAGES, EVENTS, HOLDS)
_CHANGES = (
    "batch", "lot", "inner_box", "dropped", "imaged", "verdict", "state", "counts", "rewritten", "first_read", "first_bad", "simulated",
    "at",
)  # fmt: skip
_UPDATE_DISC = update(DISCS).where(DISCS.c.line == bindparam("_line")).values({key: bindparam(f"_{key}") for key in _CHANGES})
_COUNT = {name: number for number, name in enumerate(COUNTS)}

_INSERT = {table: insert(table) for table in (*_INDEPENDENT, DISCS, *_OF_DISCS, FINDINGS)}
_INSERT |= {table: insert(table).prefix_with("OR REPLACE") for table in (SIDES, WRITINGS)}


class RowBuffer:
    """Rows by table, each under its key; and the discs that changed."""

    def __init__(self, lookup: "Lookup") -> None:
        self._lookup = lookup
        self._rows: dict[Table, dict[int, dict[str, Any]]] = {table: {} for table in (*_INDEPENDENT, *_OF_DISCS)}
        self._findings: list[dict[str, int]] = []
        self._discs: dict[int, Disc] = {}
        self._new: set[int] = set()

    def row(self, table: Table, key: int, **values: Any) -> None:
        """A row to be written."""
        self._rows[table][key] = {"number" if table is LOG else "line": key, **values}

    def change(self, table: Table, key: int, **values: Any) -> None:
        """Changes a row, whether it was written already or not."""
        if key in self._rows[table]:
            self._rows[table][key].update(values)
        else:
            self._lookup.connection.execute(update(table).where(table.c.line == key).values(**values))

    def findings(self, read: int, findings: Iterable[dict[str, Any]]) -> None:
        """What a read found, track by track."""
        self._findings.extend(_by_track(read, findings))

    def disc(self, disc: Disc, new: bool = False) -> None:
        """A disc that is new or stands otherwise than before."""
        self._discs[disc.id] = disc
        if new:
            self._new.add(disc.id)

    def write(self) -> None:
        """Writes all rows. What is gathered next belongs into a new buffer."""
        connection = self._lookup.connection
        for table in _INDEPENDENT:
            _insert(connection, table, self._rows[table].values())
        rows = {key: self._disc_row(disc) for key, disc in self._discs.items()}
        _insert(connection, DISCS, (row for key, row in rows.items() if key in self._new))
        for table in _OF_DISCS:
            _insert(connection, table, self._rows[table].values())
        _insert(connection, FINDINGS, self._findings)
        old = [{f"_{name}": row[name] for name in ("line", *_CHANGES)} for key, row in rows.items() if key not in self._new]
        if old:
            connection.execute(_UPDATE_DISC, old)
        _insert(connection, SIDES, (row for disc in self._discs.values() for row in _side_rows(disc)))
        _insert(connection, WRITINGS, (row for disc in self._discs.values() for row in self._writing_rows(disc)))

    def _disc_row(self, disc: Disc) -> dict[str, Any]:
        standing = disc.standing
        first_read, first_bad = _first_reads(disc)
        return {
            "line": disc.id,
            "serial": disc.serial,
            "catalogue": disc.batch.catalogue,
            "batch": disc.batch.id,
            "number": disc.number,
            "lot": self._lookup.key_of(LOTS, disc.lot),
            "inner_box": disc.inner,
            "dropped": disc.dropped,
            "imaged": disc.imaged,
            "verdict": RANK[standing.verdict],
            "state": disc.state,
            "counts": _COUNT[_counts_as(disc)],
            "rewritten": any(
                writing.batch == disc.batch.name and writing.number > disc.rows.first_number(writing.side)
                for writing in disc.writings.values()
            ),
            "first_read": first_read,
            "first_bad": first_bad,
            "simulated": any(each.read.simulated for writing in disc.writings.values() for each in settling(disc.rows, writing)),
            "at": _written_at(disc),
        }

    def _writing_rows(self, disc: Disc) -> Iterator[dict[str, Any]]:
        """A disc's writings, each with what follows from its reads."""
        spent, passes = disc.standing.spent_sides, disc.verdict == "pass"
        for (side, number), writing in disc.writings.items():
            first, first_here, denied = _of_writing(disc, writing)
            bad_here = first_here is not None and first_here.verdict != "pass"
            yield {
                "disc": disc.id,
                "side": side,
                "number": number,
                "line": writing.row,
                "batch": self._lookup.key_of(BATCHES, writing.batch),
                "drive": self._lookup.key_of(DRIVES, writing.drive),
                "bench": writing.by_bench,
                "is_first": number == 1 or _begins_a_rework(disc, writing),
                "first": None if first is None else first.row,
                "first_here": None if first_here is None else first_here.row,
                "reader": self._lookup.key_of(DRIVES, None if first_here is None else first_here.read_by),
                "bad_here": bad_here,
                "saved": bad_here and passes,
                "lost": bad_here and side in spent,
                "denied": bad_here and denied,
                "simulated": first_here is not None and first_here.simulated,
            }


def _written_at(disc: Disc) -> str | None:
    """When the newest writing that was read was first read; None while nothing was."""
    read = {(each.side, each.writing) for each in disc.reads}
    newest = max((each for key, each in disc.writings.items() if key in read), key=lambda writing: writing.row, default=None)
    if newest is None:
        return None
    return next(disc.times[each.number] for each in disc.reads if (each.side, each.writing) == (newest.side, newest.number))


def _counts_as(disc: Disc) -> str:
    """How a disc counts in rates: `bad` are also discs of a closed batch that stand at fail and were never finished."""
    standing = disc.standing
    if disc.unused:
        return "nothing"
    if standing.rejected:
        return "bad"
    if standing.verdict == "pass":
        return "good"
    if not standing.working:
        return "new"
    if disc.batch.open:
        return "working"
    return "bad" if standing.verdict == "fail" else "abandoned"


def _first_reads(disc: Disc) -> tuple[bool, bool]:
    """Whether the first writing of every side has a settling read, or that of one side one that did not pass; and whether that is so."""
    firsts = [side.first for side in disc.standing.sides.values()]
    bad = any(first is not None and first.verdict != "pass" for first in firsts)
    return bad or all(first is not None for first in firsts), bad


def _of_writing(disc: Disc, writing: "Writing") -> "tuple[Read | None, Read | None, bool]":
    """A writing's first settling read, the same where no hold unsettles any, and whether others then read it well twice."""
    settled, here = settling(disc.rows, writing), settling(disc.rows, writing, holds=False)
    first, first_here = (each[0].read if each else None for each in (settled, here))
    by = None if first_here is None else first_here.read_by
    well = [each for each in here[1:] if each.verdict == "pass" and each.read.read_by not in (None, by)]
    return first, first_here, len(well) > 1


def _begins_a_rework(disc: Disc, writing: "Writing") -> bool:
    """Whether a writing is the first of its side with another master."""
    before = disc.writings.get((writing.side, writing.number - 1))
    since = 0 if before is None else before.row
    return any(take.rework and writing.side in take.sides and since < take.row < writing.row for take in disc.takes)


def _side_rows(disc: Disc) -> Iterator[dict[str, Any]]:
    for name, side in disc.standing.sides.items():
        yield {
            "disc": disc.id,
            "side": name,
            "verdict": RANK[side.verdict],
            "writing": side.writing.number if side.writing else None,
            "newest": side.newest.row if side.newest else None,
        }


def _insert(connection: Connection, table: Table, rows: Iterable[dict[str, Any]]) -> None:
    rows = list(rows)
    if rows:
        connection.execute(_INSERT[table], rows)


def _by_track(read: int, findings: Iterable[dict[str, Any]]) -> Iterator[dict[str, int]]:
    """How many sectors of each track are bad, soft, or were not tried."""
    counts = Counter((each["head"], each["track"], each["kind"] if each["kind"] in ("soft", "not-tried") else "bad") for each in findings)
    for head, track in sorted({key[:2] for key in counts}):
        soft, missing = counts[head, track, "soft"], counts[head, track, "not-tried"]
        yield {"read": read, "head": head, "track": track, "bad": counts[head, track, "bad"], "soft": soft, "not_tried": missing}
