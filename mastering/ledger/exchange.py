"""Lines out of a ledger and into one, and the proof that nobody changed it behind its back."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

from sqlalchemy import Connection, Table, select

from mastering.errors import MasteringError
from mastering.files import new_file
from mastering.ledger.lines import Line, LineError, parsed, spelled
from mastering.ledger.log_writer import START, chained
from mastering.ledger.store import SIGNS_OF_DAMAGE, Ledger, LedgerError, memory
from mastering.ledger.tables import METADATA

_CHUNK = 20_000  # lines whose rows are gathered before they are written
_TOLD = 5  # problems of a check
Row = tuple[object, ...]


def end_of(ledger: Ledger) -> tuple[int, str | None]:
    """How many rows the log has, and the digest of the last one; None where there is none."""
    with ledger.read() as questions:
        return questions.rows(), questions.last_digest()


def exported(ledger: Ledger) -> Iterator[str]:
    """Every row of the log as a line, with the digest that chains it to the rows before it."""
    yield from (f'{text[:-1]},"chain":"{digest}"}}' for _, text, digest in ledger.texts())


def take(ledger: Ledger, lines: Iterable[str], name: str, own: bool = False) -> int:
    """Takes every line of a text into a ledger, or none of them; returns how many. LineError names the first line that is wrong.

    `own`: they are the rows of a ledger's log, whose texts stay as they are.
    """
    count, chain = 0, Chain()
    with ledger.write() as writer:
        for number, text in enumerate(lines, 1):
            if not text.strip():
                continue
            try:
                writer.add(chain.proved(parsed(text)), text if own else None)
            except MasteringError as error:
                raise LineError(f"{name}, line {number}: {error}; nothing was imported") from error
            count += 1
            if count % _CHUNK == 0:
                writer.flush()
    return count


class Chain:
    """The chain of an export's lines while they are taken: all of them carry it, from its first row on, or none."""

    def __init__(self) -> None:
        self._before: str | None = START  # None once a line was without

    def proved(self, line: Line) -> Line:
        """A line without its chain value, which is proved. LineError when it does not follow from the lines before it."""
        if "chain" not in line:
            if self._before not in (START, None):
                raise LineError("it has no chain, which the lines before it have: a file has it on every line or on none")
            self._before = None
            return line
        if self._before is None:
            raise LineError("it has a chain, which the lines before it have not: a file has it on every line or on none")
        bare = {key: value for key, value in line.items() if key != "chain"}
        self._before = chained(self._before, spelled(bare))
        if line["chain"] != self._before:
            raise LineError(
                "it is not what was exported: its chain does not follow from it and the lines before it (an export begins at row 1)"
            )
        return bare


def take_anew(path: Path, lines: Iterable[str], name: str) -> int:
    """Makes a ledger of lines; there is none when one of them is wrong."""
    if not path.absolute().parent.is_dir():
        raise LedgerError(f"{path}: can't be made: its folder is not there")
    with new_file(path) as beside, Ledger.open(beside, create=True) as ledger:
        return take(ledger, lines, name)


@dataclass(frozen=True)
class Checked:
    """What one check of a ledger came to."""

    check: str
    problems: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Whether nothing was found."""
        return not self.problems


def first_problem(ledger: Ledger) -> str | None:
    """The first thing that a check of the ledger finds, None when it is sound."""
    return next((problem for checked in check(ledger) for problem in checked.problems), None)


def check(ledger: Ledger) -> Iterator[Checked]:
    """The database's own integrity, the chain over the log's rows, and whether all other tables are what the log gives."""
    yield _checked("database", _integrity(ledger))
    chain = _checked("chain", _chain(ledger))
    yield chain
    yield _checked("tables", _replayed(ledger)) if chain.ok else Checked("tables", ("not compared, as the chain is broken",))


def _checked(name: str, problems: Iterator[str]) -> Checked:
    """A check's problems; that it can't be carried out is one of them, whatever damaged bytes made of a value."""
    try:
        return Checked(name, tuple(problems))
    except SIGNS_OF_DAMAGE as error:
        return Checked(name, (f"it can't be read ({type(error).__name__}: {error})"[:200],))
    except LedgerError as error:
        return Checked(name, (str(error),))


def _integrity(ledger: Ledger) -> Iterator[str]:
    """What SQLite itself finds, and whatever stands in its schema that this program did not put there, or no longer stands there."""
    with ledger.read() as questions:
        found = [str(row[0]) for row in questions.connection.exec_driver_sql(f"PRAGMA integrity_check({_TOLD})")]
        loose = questions.connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        schema = _schema(questions.connection)
    with memory() as anew, anew.read() as wanted:
        own = _schema(wanted.connection)
    yield from (line for text in found if text != "ok" for line in text.splitlines()[:_TOLD])
    yield from (f"{row[0]}: row {row[1]} points to a row of {row[2]} that is not there" for row in loose[:_TOLD])
    yield from (f"{kind} {name} is not this program's" for kind, name in sorted(schema.keys() - own.keys())[:_TOLD])
    yield from (f"{kind} {name} is missing" for kind, name in sorted(own.keys() - schema.keys())[:_TOLD])
    yield from (f"{kind} {name} was changed" for kind, name in sorted(own.keys() & schema.keys()) if own[kind, name] != schema[kind, name])


def _schema(connection: Connection) -> dict[tuple[str, str], object]:
    """Kind and name of all that a database declares, with its text."""
    declared = connection.exec_driver_sql("SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")
    return {(str(row.type), str(row.name)): row.sql for row in declared}


def first_broken_row(ledger: Ledger) -> int | None:
    """The number of the first row whose digest does not follow from the rows before it, None when all do."""
    before = START
    for number, text, digest in ledger.texts():
        if digest != chained(before, text):
            return number
        before = digest
    return None


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
            take(anew, (text for _, text, _ in ledger.texts()), "the log", own=True)
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
