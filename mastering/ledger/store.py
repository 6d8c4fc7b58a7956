"""The ledger's file: opened, locked, written in whole transactions that are on the disk before they count as done.

SQLite with a rollback journal and `synchronous = EXTRA`: a commit returns when the pages, the journal's end and its folder's entry were
flushed. With `FULL` a power cut right after a commit could bring the journal back and undo it. A rollback journal, not a WAL: when nobody
writes the ledger is one file, which can be copied by hand, lie on a share, or be read from a medium that can't be written.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, create_engine, select, text
from sqlalchemy.exc import DatabaseError, InvalidRequestError
from sqlalchemy.pool import NullPool

from mastering.errors import MasteringError
from mastering.files import new_file
from mastering.ledger.lines import DamagedError
from mastering.ledger.migrating import ChangedVerdict, log_page, migrate
from mastering.ledger.questions import Questions
from mastering.ledger.tables import LOG, VERSION
from mastering.platform import QueueTimeoutError, first_in_queue, flush_folder

if TYPE_CHECKING:
    from mastering.ledger.log_writer import LogWriter

APPLICATION = 0x4F425652  # "OBVR": in the file's header, so that another program's database is not taken for a ledger
PATIENCE = 10.0  # seconds to wait for another process that writes
_ANY_ROW = text("SELECT 1 FROM log LIMIT 1")
SIGNS_OF_DAMAGE = (  # what values that nobody wrote do to a program that trusts them
    DamagedError,
    LookupError,
    TypeError,
    ValueError,
    AttributeError,
    AssertionError,
    ArithmeticError,
    InvalidRequestError,
)


class LedgerError(MasteringError):
    """A ledger that can't be opened, read or written."""


class Ledger:
    """An open ledger. Use it within `with`."""

    def __init__(self, path: Path, connection: Connection, queue: Path | None = None) -> None:
        self.path, self._connection, self._queue = path, connection, queue
        self._examined = False
        self.changed_verdicts: tuple[ChangedVerdict, ...] = ()  # by the migration of a ledger of before

    @classmethod
    def open(cls, path: Path, create: bool = False) -> "Ledger":
        """The ledger in a file; `create`: made when there is none. LedgerError when it can't be."""
        new = not path.exists()
        if new and not create:
            raise LedgerError(f"{path}: no such ledger; `obverse lot add` begins one, --ledger names another")
        mode = "rwc" if new else "rw"

        def connect() -> sqlite3.Connection:
            return sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", timeout=PATIENCE, uri=True)

        with _explained(path):
            engine = create_engine("sqlite+pysqlite://", creator=connect, poolclass=NullPool, isolation_level="AUTOCOMMIT")
            made = cls(path, engine.connect(), path.absolute().parent)
            try:
                made._connection.exec_driver_sql("PRAGMA journal_mode = DELETE")
                made._connection.exec_driver_sql("PRAGMA synchronous = EXTRA")
                made._ready(create)
            except BaseException:
                made._connection.close()
                raise
        if new:
            flush_folder(path.absolute().parent)
        return made

    def __enter__(self) -> "Ledger":
        return self

    def __exit__(self, *error: object) -> None:
        self._connection.close()

    # Transactions

    @contextmanager
    def write(self) -> Iterator["LogWriter"]:
        """The writer of new lines: all of it is on the disk when the block ends, or nothing when it fails."""
        from mastering.ledger.log_writer import LogWriter

        with self._explained(), self._first_in_queue(), self._transaction("BEGIN IMMEDIATE"):
            writer = LogWriter(self._connection)
            yield writer
            writer.flush()

    @contextmanager
    def read(self) -> Iterator[Questions]:
        """The ledger as it stands, for questions: nothing changes within the block."""
        with self._explained(), self._transaction("BEGIN"):
            with self._first_in_queue():  # only to begin: SQLite grants it the file before the next writer's turn
                self._connection.execute(_ANY_ROW)
            yield Questions(self._connection)

    @contextmanager
    def _first_in_queue(self) -> Iterator[None]:
        """Commands that use one ledger take turns: SQLite's own lock has no queue, and let one of four writers wait for seconds."""
        if self._queue is None:
            yield
            return
        try:
            with first_in_queue(self._queue, PATIENCE):
                yield
        except QueueTimeoutError as error:
            raise LedgerError(f"{self.path}: {_WORDS[sqlite3.SQLITE_BUSY]}") from error

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[None]:
        self._connection.exec_driver_sql(begin)
        try:
            yield
            self._connection.exec_driver_sql("COMMIT")
        except BaseException:
            if self._raw.in_transaction:  # SQLite itself has given up some of them
                self._connection.exec_driver_sql("ROLLBACK")
            raise

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Turns what SQLite says into one line; and whatever else goes wrong, where the file's damage is the reason."""
        try:
            with _explained(self.path):
                yield
        except SIGNS_OF_DAMAGE as error:
            damage = None if self._examined else self._damage()
            if damage is None:
                raise
            raise LedgerError(f"{self.path}: damaged ({damage}): `obverse ledger check` says more; go on with the newest backup") from error

    def _damage(self) -> str | None:
        """The first thing that is wrong with the file, None when it is sound."""
        from mastering.ledger.exchange import first_problem

        self._examined = True  # so that what the examination itself meets is not examined again
        try:
            return first_problem(self)
        finally:
            self._examined = False

    @property
    def _raw(self) -> sqlite3.Connection:
        raw = self._connection.connection.dbapi_connection
        assert isinstance(raw, sqlite3.Connection)
        return raw

    # The file

    def _pragma(self, name: str) -> int:
        return int(self._connection.exec_driver_sql(f"PRAGMA {name}").scalar_one())

    def _ready(self, create: bool) -> None:
        """Brings the schema to this program's version. LedgerError when the file is no ledger, a newer one, or empty (unless `create`)."""
        with self._first_in_queue(), self._transaction("BEGIN"):  # so that all three are of one moment, whoever else begins the ledger
            version, application = self._pragma("user_version"), self._pragma("application_id")
            empty = self._connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one() == 0
        if empty and not create:
            raise LedgerError(f"{self.path}: empty; if a ledger was here, go on with the newest backup, else `obverse lot add` begins one")
        if application != APPLICATION and not empty:
            raise LedgerError(f"{self.path}: a database, but no ledger of this program; nothing was changed")
        if version > VERSION:
            raise LedgerError(
                f"{self.path}: made by a newer version of this program (schema {version}, known {VERSION}); update the program"
            )
        if version < VERSION:
            self._migrate()

    def _migrate(self) -> None:
        with self._first_in_queue(), self._transaction("BEGIN IMMEDIATE"):
            self.changed_verdicts = migrate(self._connection, self._pragma("user_version"))  # asked again: another may have been first
            self._connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION}")

    def texts(self) -> Iterator[tuple[int, str, str]]:
        """Number, text and digest of every row of the log up to now, in order. Holds no lock while the caller is busy."""
        with _explained(self.path):
            last = self._connection.scalar(select(LOG.c.number).order_by(LOG.c.number.desc()).limit(1)) or 0
            number = 0
            while number < last:
                with self._first_in_queue():
                    rows = log_page(self._connection, number, last)
                if not rows:
                    return
                yield from rows
                number = rows[-1][0]

    def backup(self, target: Path) -> None:
        """A copy of the whole ledger as it stands now, while others may go on writing. LedgerError when it exists or can't be written."""
        if os.path.lexists(target):
            raise LedgerError(f"{target}: exists already; a backup never replaces a file")
        with new_file(target) as beside, _explained(target):
            self._copy_to(beside)

    def _copy_to(self, path: Path) -> None:
        try:
            copy = sqlite3.connect(path, isolation_level=None)
            try:
                copy.execute("PRAGMA synchronous = EXTRA")
                self._raw.backup(copy)
            finally:
                copy.close()
        except sqlite3.Error as error:
            raise LedgerError(f"{path.name}: {_words(error)}") from error


def holds_row(path: Path, digest: str) -> bool:
    """Whether the file is a ledger whose log has a row with this digest. It is left as it is, whatever it is."""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", timeout=PATIENCE, uri=True)) as copy:
            return copy.execute("SELECT 1 FROM log WHERE digest = ?", (digest,)).fetchone() is not None
    except sqlite3.Error:
        return False


def memory() -> Ledger:
    """A ledger in memory only, to try lines on."""
    engine = create_engine("sqlite+pysqlite://", poolclass=NullPool, isolation_level="AUTOCOMMIT")
    made = Ledger(Path(":memory:"), engine.connect())
    made._ready(create=True)
    return made


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    """Turns what SQLite says into one line about a file."""
    try:
        yield
    except DatabaseError as error:
        raise LedgerError(f"{path}: {_words(error.orig)}") from error
    except UnicodeDecodeError as error:  # SQLite quotes a damaged schema in its own message
        raise LedgerError(f"{path}: {_WORDS[sqlite3.SQLITE_CORRUPT]}") from error
    except sqlite3.Error as error:
        raise LedgerError(f"{path}: {_words(error)}") from error


_WORDS = {
    sqlite3.SQLITE_BUSY: f"locked by another program for {PATIENCE:.0f} s; nothing was changed: say it again when that one is done",
    sqlite3.SQLITE_LOCKED: "locked; nothing was changed: say it again",
    sqlite3.SQLITE_READONLY: "it can't be written (its file or folder is read-only); nothing was changed",
    sqlite3.SQLITE_FULL: "the disk is full; nothing was changed: make room and say it again",
    sqlite3.SQLITE_CORRUPT: "damaged; nothing was changed: move it away and go on with the newest backup",
    sqlite3.SQLITE_NOTADB: "no ledger (it is no database at all); nothing was changed",
    sqlite3.SQLITE_CANTOPEN: "can't be opened or made; see whether its folder is there and can be written",
    sqlite3.SQLITE_IOERR: "reading or writing its disk failed; nothing was changed: see whether the disk is full or failing",
}


def _words(error: object) -> str:
    code = getattr(error, "sqlite_errorcode", None)
    return _WORDS.get(code & 0xFF, str(error)) if isinstance(code, int) else str(error)
