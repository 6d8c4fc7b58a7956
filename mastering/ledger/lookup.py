"""What the ledger's tables hold, as values: lots, drives, batches, discs by their names. Asks only what it needs, and once."""

from collections.abc import Callable, Iterable
from difflib import get_close_matches
from typing import Any

from sqlalchemy import Connection, Row, Table, bindparam, func, select

from mastering.judging.standing import Read
from mastering.ledger.entities import Batch, Disc, File, Writing
from mastering.ledger.lines import Line, LineError, logged
from mastering.ledger.tables import BATCHES, DISCS, DRIVES, LOG, LOTS, READS, WRITINGS
from mastering.master.serial import is_serial, meant, why_no_serial


def revision(line: Line) -> str:
    """The revision of a batch line's master, which is called by its title and revision."""
    return str(line.get("revision") or line["master"].rpartition(" ")[2])


_ACTIONS = {"pass": "box", "other-side": "turn-over", "other-master": "ask", "other-geometry": "ask"}  # of a read-back that settles nothing

_COMMANDS = {"lot": "`lot add` makes one", "drive": "`drive add` makes one", "batch": "`batch open` makes one"}


# What is asked for every read that is recorded: made once, as making a statement takes longer than asking it.
_NAMES = {table: select(table.c.name, table.c.line).order_by(table.c.line) for table in (LOTS, DRIVES, BATCHES)}
_TEXT = select(LOG.c.text).where(LOG.c.number == bindparam("number"))
_BATCHES = select(BATCHES.c.line, BATCHES.c.open, LOG.c.text).join(LOG, LOG.c.number == BATCHES.c.line)
_BATCH = _BATCHES.where(BATCHES.c.line == bindparam("line"))
_DISC = select(DISCS).where(DISCS.c.serial == bindparam("serial"))
_OF_DISC = {table: select(table).where(table.c.disc == bindparam("disc")).order_by(table.c.line) for table in (READS, WRITINGS)}
_OWNER = (
    select(DISCS.c.serial)
    .join(READS, READS.c.disc == DISCS.c.line)
    .where(READS.c.sha256 == bindparam("sha256"), READS.c.capture, ~READS.c.void)
    .limit(1)
)


class UnknownError(LineError):
    """A name that the ledger does not know; says which known one is nearest."""

    def __init__(self, what: str, name: str, known: Iterable[str], where: str = "") -> None:
        known = list(known)
        near = get_close_matches(name, known, 1) or ([known[0]] if len(known) == 1 else [])
        advice = f"did you mean {near[0]}?" if near else f"known: {', '.join(known[:8])}" if known else _COMMANDS.get(what, "there is none")
        super().__init__(f"{what} {name}: not known{where}; {advice}")


class Lookup:
    """The ledger's lots, drives, batches and discs, within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self._ids: dict[Table, dict[str, int]] = {}
        self._names: dict[int, str] = {}  # of lots and drives
        self._batches: dict[int, Batch] = {}
        self._discs: dict[str, Disc] = {}
        self.simulated: dict[str, bool] = {}  # whether a drive is a simulated one
        self._captures: dict[str, str] = {}  # serials by digest, of captures that are not in the tables yet

    # Lots, drives, batches

    def ids(self, table: Table) -> dict[str, int]:
        """The names in a table of lots, drives or batches, in the order in which they were made, with their keys."""
        if table not in self._ids:
            self._ids[table] = {row.name: row.line for row in self.connection.execute(_NAMES[table])}
            self._names |= {line: name for name, line in self._ids[table].items()}
        return self._ids[table]

    def id_of(self, table: Table, what: str, name: str) -> int:
        """The key of a name. UnknownError when there is none."""
        known = self.ids(table)
        if name not in known:
            raise UnknownError(what, name, known)
        return known[name]

    def key_of(self, table: Table, name: str | None) -> int | None:
        """The key of a known name; None's is None."""
        return None if name is None else self.ids(table)[name]

    def remember(self, table: Table, name: str, line: int) -> None:
        """A lot, drive or batch that is not in the tables yet."""
        self.ids(table)[name] = line
        self._names[line] = name

    def name_of(self, table: Table, line: int | None) -> str | None:
        """The name behind a key."""
        self.ids(table)
        return None if line is None else self._names[line]

    def line(self, number: int) -> dict[str, Any]:
        """A line of the log."""
        return logged(self.connection.execute(_TEXT, {"number": number}).scalar_one())

    def batch(self, name: str) -> Batch:
        """A batch by its name. UnknownError when there is none."""
        line = self.id_of(BATCHES, "batch", name)
        if line not in self._batches:
            row = self.connection.execute(_BATCH, {"line": line}).one()
            self._batches[line] = self.batch_of(line, logged(row.text), row.open)
        return self._batches[line]

    def batch_of(self, number: int, line: Line, is_open: bool = True) -> Batch:
        """The batch that a line opened. One of an earlier ledger says nothing of practice: it is, where all its drives are simulated."""
        practice = line.get("practice")
        return Batch(number, line, is_open, all(self._is_simulated(name) for name in line["drives"]) if practice is None else practice)

    def _is_simulated(self, drive: str) -> bool:
        """Whether a drive is a simulated one."""
        if drive not in self.simulated:
            self.simulated[drive] = bool(self.drive(drive)["simulated"])
        return self.simulated[drive]

    def keep(self, batch: Batch) -> None:
        """A batch that is not in the tables yet."""
        self.remember(BATCHES, batch.name, batch.id)
        self._batches[batch.id] = batch

    def digest_of(self, line: Line) -> str | None:
        """The digest of the master that was opened before with a batch line's catalogue number and revision; None when none was."""
        wanted = (line["catalogue"], revision(line))
        lines = (batch.line for batch in self.batches())
        return next((each["digest"] for each in lines if (each["catalogue"], revision(each)) == wanted), None)

    def batches(self) -> list[Batch]:
        """Every batch, as created."""
        if not self._batches.keys() >= set(self.ids(BATCHES).values()):
            for row in self.connection.execute(_BATCHES):
                self._batches.setdefault(row.line, self.batch_of(row.line, logged(row.text), row.open))
        return [self._batches[line] for line in self.ids(BATCHES).values()]

    def lot(self, name: str) -> dict[str, Any]:
        """What was said of a lot. UnknownError when there is none."""
        return self.line(self.id_of(LOTS, "lot", name))

    def used(self, lot: str) -> int:
        """How many discs are known to be from a lot."""
        return int(self.connection.scalar(select(func.count()).where(DISCS.c.lot == self.key_of(LOTS, lot))) or 0)

    def drive(self, name: str) -> dict[str, Any]:
        """What was said of a drive. UnknownError when there is none."""
        return self.line(self.id_of(DRIVES, "drive", name))

    # Discs

    def disc(self, serial: str, batch: Batch) -> Disc:
        """A disc of a batch. UnknownError when its serial was not handed out there."""
        disc = self.find(serial)
        if disc is not None and disc.batch.id == batch.id:
            return disc
        if disc is not None:
            raise LineError(f"{serial}: a disc of batch {disc.batch.name}, not of {batch.name}")
        catalogue = batch.line["catalogue"]
        if not is_serial(serial, catalogue):
            near, why = meant(serial, self._serials(batch)), why_no_serial(serial, catalogue)
            raise LineError(f"{serial}: {why}" + (f"; did you mean {near}?" if near and near not in why else ""))
        raise LineError(f"{serial}: not handed out in batch {batch.name}; `batch serials {batch.name}` hands out the next ones")

    def find(self, serial: str) -> Disc | None:
        """The disc with this serial, None when there is none."""
        if serial not in self._discs:
            row = self.connection.execute(_DISC, {"serial": serial}).first()
            if row is None:
                return None
            self._load([row], self._rows_of(READS, row), self._rows_of(WRITINGS, row))
        return self._discs[serial]

    def discs(self, batch: Batch) -> list[Disc]:
        """Every disc of a batch, as handed out."""
        rows = self.connection.execute(select(DISCS).where(DISCS.c.batch == batch.id).order_by(DISCS.c.line)).all()
        of_batch = select(DISCS.c.line).where(DISCS.c.batch == batch.id)
        reads = self.connection.execute(select(READS).where(READS.c.disc.in_(of_batch)).order_by(READS.c.line)).all()
        writings = self.connection.execute(select(WRITINGS).where(WRITINGS.c.disc.in_(of_batch)).order_by(WRITINGS.c.line)).all()
        self._load([row for row in rows if row.serial not in self._discs], reads, writings)
        return [self._discs[row.serial] for row in rows]

    def owner_of_capture(self, sha256: str) -> str | None:
        """The serial of the disc for which a capture with this digest was recorded, reads that are void left out."""
        if sha256 in self._captures:
            return self._captures[sha256]
        return self.connection.execute(_OWNER, {"sha256": sha256}).scalar()

    def keep_disc(self, disc: Disc) -> None:
        """A disc that is not in the tables yet."""
        self._discs[disc.serial] = disc

    def remember_capture(self, sha256: str, serial: str) -> None:
        """A capture that is not in the tables yet."""
        self._captures[sha256] = serial

    def forget_discs(self) -> None:
        """Lets go of every disc; they are loaded anew when asked for."""
        self._discs.clear()
        self._captures.clear()

    def _serials(self, batch: Batch) -> list[str]:
        return list(self.connection.scalars(select(DISCS.c.serial).where(DISCS.c.batch == batch.id)))

    def _rows_of(self, table: Table, disc: Row[Any]) -> list[Row[Any]]:
        return list(self.connection.execute(_OF_DISC[table], {"disc": disc.line}))

    def _read_of(self, row: Row[Any], batch: Batch, drive: str | None) -> Read:
        """A read as the rules need it. What its row lacks is looked up in the log, for the few reads of which it matters."""
        known: Line = {"action": _ACTIONS.get(row.diagnosis or row.verdict, "read-again")}
        if row.void or "accept" in batch.line or (row.simulated and not batch.practice):
            known = self.line(row.line)
        accepted = "evidence" not in known or batch.accepts(known["evidence"])
        return Read(
            row.number, row.side, row.writing, drive, row.verdict, row.diagnosis, row.void, row.line, row.simulated,
            known["action"], accepted, batch.practice,
        )  # fmt: skip

    def _load(self, rows: Iterable[Row[Any]], reads: Iterable[Row[Any]], writings: Iterable[Row[Any]]) -> None:
        drive: Callable[[int | None], str | None] = lambda line: self.name_of(DRIVES, line)  # noqa: E731
        made: dict[int, Disc] = {}
        for row in rows:
            batch = self.batch(str(self.name_of(BATCHES, row.batch)))
            disc = Disc(row.line, row.serial, row.number, batch, self.name_of(LOTS, row.lot), row.rejected)
            made[row.line] = self._discs[row.serial] = disc
        for row in writings:
            if row.disc in made:
                made[row.disc].writings[row.side, row.number] = Writing(row.line, drive(row.drive))
        for row in reads:
            if row.disc in made:
                disc = made[row.disc]
                disc.reads.append(self._read_of(row, disc.batch, drive(row.drive)))
                disc.files[row.number] = File(row.file, row.sha256, row.capture)
        for disc in made.values():
            _ = disc.verdict  # a damaged row shows here, where the ledger can still say so
