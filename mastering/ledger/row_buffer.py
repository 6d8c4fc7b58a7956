"""Rows on their way into the ledger's tables: gathered while lines are taken, written together."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import Connection, Table, bindparam, insert, update

from mastering.judging.custody import DiscStanding
from mastering.judging.standing import RANK
from mastering.ledger.entities import Disc
from mastering.ledger.lookup import Lookup
from mastering.ledger.tables import BATCHES, DISCS, DRIVES, FINDINGS, LOG, LOTS, READS, SIDES, WRITINGS

_INDEPENDENT = (LOG, LOTS, DRIVES, BATCHES)  # written before the discs that point to them
_OF_DISCS = (WRITINGS, READS)
_CHANGES = ("lot", "rejected", "verdict", "rewritten", "first_bad", "simulated")
_UPDATE_DISC = update(DISCS).where(DISCS.c.line == bindparam("_line")).values({key: bindparam(f"_{key}") for key in _CHANGES})

_INSERT = {table: insert(table) for table in (*_INDEPENDENT, DISCS, *_OF_DISCS, FINDINGS)}
_INSERT[SIDES] = insert(SIDES).prefix_with("OR REPLACE")


class RowBuffer:
    """Rows by table, each under its key; and the discs that changed."""

    def __init__(self, lookup: Lookup) -> None:
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
        """Writes all rows. What is gathered next belongs on new pages."""
        connection = self._lookup.connection
        for table in _INDEPENDENT:
            _insert(connection, table, self._rows[table].values())
        standings = {key: disc.standing for key, disc in self._discs.items()}
        rows = {key: self._disc_row(disc, standings[key]) for key, disc in self._discs.items()}
        _insert(connection, DISCS, (row for key, row in rows.items() if key in self._new))
        for table in _OF_DISCS:
            _insert(connection, table, self._rows[table].values())
        _insert(connection, FINDINGS, self._findings)
        old = [{f"_{name}": row[name] for name in ("line", *_CHANGES)} for key, row in rows.items() if key not in self._new]
        if old:
            connection.execute(_UPDATE_DISC, old)
        _insert(connection, SIDES, (row for disc in self._discs.values() for row in self._side_rows(disc, standings[disc.id])))

    def _disc_row(self, disc: Disc, standing: DiscStanding) -> dict[str, Any]:
        sides = standing.sides.values()
        return {
            "line": disc.id,
            "serial": disc.serial,
            "batch": disc.batch.id,
            "number": disc.number,
            "lot": self._lookup.key_of(LOTS, disc.lot),
            "rejected": disc.by_eye,
            "verdict": RANK[standing.verdict],
            "rewritten": any(side.writing is not None and side.writing.number > 1 for side in sides),
            "first_bad": any(side.first_bad for side in sides),
            "simulated": any(read.simulated for read in disc.reads if not read.void),
        }

    def _side_rows(self, disc: Disc, standing: DiscStanding) -> Iterator[dict[str, Any]]:
        for name, side in standing.sides.items():
            yield {
                "disc": disc.id,
                "side": name,
                "batch": disc.batch.id,
                "verdict": RANK[side.verdict],
                "writing": side.writing.number if side.writing else None,
                "wrote": self._lookup.key_of(DRIVES, side.writing.drive if side.writing else None),
                "newest": side.newest.row if side.newest else None,
                "read_by": self._lookup.key_of(DRIVES, side.newest.read_by if side.newest else None),
                "first": side.first.row if side.first else None,
                "first_bad": side.first_bad,
                "simulated": any(read.simulated for read in disc.reads if read.side == name and not read.void),
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
