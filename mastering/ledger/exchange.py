"""Lines out of a ledger and into one, and the proof that nobody changed it behind its back."""

import os
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

from sqlalchemy import Connection, Table, select

from mastering.errors import MasteringError
from mastering.ledger.lines import LineError, parsed
from mastering.ledger.log_writer import START, chained
from mastering.ledger.store import Ledger, LedgerError, flush_folder, memory
from mastering.ledger.tables import METADATA

_CHUNK = 20_000  # lines whose rows are gathered before they are written
_TOLD = 5  # problems of a check
Row = tuple[object, ...]


def take(ledger: Ledger, lines: Iterable[str], name: str) -> int:
    """Takes every line of a text into a ledger, or none of them; returns how many. LineError names the first line that is wrong."""
    count = 0
    with ledger.write() as writer:
        for number, text in enumerate(lines, 1):
            if not text.strip():
                continue
            try:
                writer.add(parsed(text))
            except MasteringError as error:
                raise LineError(f"{name}, line {number}: {error}; nothing was imported") from error
            count += 1
            if count % _CHUNK == 0:
                writer.flush()
    return count


def take_anew(path: Path, lines: Iterable[str], name: str) -> int:
    """Makes a ledger of lines; there is none when one of them is wrong."""
    if not path.absolute().parent.is_dir():
        raise LedgerError(f"{path}: can't be made: its folder is not there")
    beside = path.absolute().with_name(f".{path.name}.{os.getpid()}")
    try:
        with Ledger.open(beside, create=True) as ledger:
            count = take(ledger, lines, name)
        os.link(beside, path)  # unlike a rename it replaces nothing
        beside.unlink()
        flush_folder(path.absolute().parent)
    except OSError as error:
        raise LedgerError(f"{path}: can't be made: {error.strerror}") from error
    finally:
        beside.unlink(missing_ok=True)
    return count


@dataclass(frozen=True)
class Checked:
    """What one check of a ledger came to."""

    check: str
    problems: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Whether nothing was found."""
        return not self.problems


def check(ledger: Ledger) -> Iterator[Checked]:
    """The database's own integrity, the chain over the log's rows, and whether all other tables are what the log gives."""
    yield Checked("database", tuple(_integrity(ledger)))
    try:
        chain = tuple(_chain(ledger))
    except LedgerError as error:
        chain = (str(error),)
    yield Checked("chain", chain)
    yield Checked("tables", tuple(_replayed(ledger)) if not chain else ("not compared, as the chain is broken",))


def _integrity(ledger: Ledger) -> Iterator[str]:
    try:
        with ledger.read() as questions:
            found = [str(row[0]) for row in questions.connection.exec_driver_sql(f"PRAGMA integrity_check({_TOLD})")]
            loose = questions.connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    except LedgerError as error:
        yield str(error)
        return
    yield from (line for text in found if text != "ok" for line in text.splitlines()[:_TOLD])
    yield from (f"{row[0]}: row {row[1]} points to a row of {row[2]} that is not there" for row in loose[:_TOLD])


def _chain(ledger: Ledger) -> Iterator[str]:
    """The first place where the chain breaks, and whether rows are missing behind its end."""
    before, number = START, 0
    for number, text, digest in ledger.texts():
        expected = chained(before, text)
        if digest != expected:
            yield f"row {number} of the log is not what was written: {text[:60]}"
            return
        before = digest
    with ledger.read() as questions:
        written = questions.highest_ever()
        count = questions.rows()
    if not number == count == written:
        yield f"{written} rows were written to the log, {count} are there, the last is number {number}"


def _replayed(ledger: Ledger) -> Iterator[str]:
    """Rows of the other tables that the log does not give."""
    with memory() as anew:
        try:
            take(anew, (text for _, text, _ in ledger.texts()), "the log")
        except LineError as error:
            yield str(error)
            return
        with ledger.read() as found, anew.read() as wanted:
            for table in METADATA.sorted_tables:
                yield from _differences(table, _dump(found.connection, table.name), _dump(wanted.connection, table.name))


def _dump(connection: Connection, name: str) -> Iterator[Row]:
    table = METADATA.tables[name]
    for row in connection.execute(select(table).order_by(*table.primary_key)):
        yield tuple(row)


def _differences(table: Table, found: Iterable[Row], wanted: Iterable[Row]) -> Iterator[str]:
    """The first row of a table that is not what the log gives: its key and what differs, or all of it where there is no such key."""
    names = [column.name for column in table.columns]
    keys = {column.name for column in table.primary_key}
    for row, expected in zip_longest(found, wanted):
        if row != expected:
            cells = dict(zip(names, zip(row or (), expected or (), strict=False), strict=False))
            other = {name for name, (one, two) in cells.items() if one != two}
            shown = keys | other if other and not keys & other else set(names)
            told = [_shown(dict(zip(names, each or (), strict=False)), shown) for each in (row, expected)]
            yield f"table {table.name}: holds {told[0]}, where the log gives {told[1]}"
            return


def _shown(row: Mapping[str, object], names: Collection[str]) -> str:
    return ", ".join(f"{name} {value}" for name, value in row.items() if name in names)[:120] or "no such row"
