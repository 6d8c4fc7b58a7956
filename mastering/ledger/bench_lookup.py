"""The ledger's lots, drives and batches as they are by now: what was said of them, what was changed, which drives are on hold."""

from abc import ABC, abstractmethod
from collections.abc import Iterable
from difflib import get_close_matches

from sqlalchemy import Connection, Table, bindparam, func, select

from mastering.judging.actions import Drive
from mastering.judging.standing import Hold, reader_was_right
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.geometries import served_sides
from mastering.ledger.lines import Line, LineError, logged
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, EVENTS, HOLDS, LOG, LOTS, READS


def master_key(line: Line) -> tuple[object, ...]:
    """What a batch's master is called: catalogue number, revision, edition and disc; two contents may not share it."""
    revision = str(line.get("revision") or line["master"].rpartition(" ")[2])
    return line["catalogue"], revision, line.get("edition"), line.get("disc", 1)


_NAMES = {table: select(table.c.name, table.c.line).order_by(table.c.line) for table in (LOTS, DRIVES, BATCHES)}
_TEXT = select(LOG.c.text).where(LOG.c.number == bindparam("number"))
_BATCHES = select(BATCHES.c.line, BATCHES.c.open, LOG.c.text).join(LOG, LOG.c.number == BATCHES.c.line)
_BATCH = _BATCHES.where(BATCHES.c.line == bindparam("line"))
_OF_KIND = select(EVENTS.c.line, EVENTS.c.kind, LOG.c.text).join(LOG, LOG.c.number == EVENTS.c.line).order_by(EVENTS.c.line)
_BENCH_EVENTS = _OF_KIND.where(EVENTS.c.kind.in_(("change", "drive-check", "drive-log")))
_HOLDS = select(HOLDS, DISCS.c.serial).join(DISCS, DISCS.c.line == HOLDS.c.disc).order_by(HOLDS.c.line)
_COMMANDS = {"lot": "`lot add` makes one", "drive": "`drive add` makes one", "batch": "`batch open` makes one"}


class UnknownError(LineError):
    """A name that the ledger does not know; says which known one is nearest."""

    def __init__(self, what: str, name: str, known: Iterable[str], where: str = "") -> None:
        known = list(known)
        near = get_close_matches(name, known, 1) or ([known[0]] if len(known) == 1 else [])
        advice = f"did you mean {near[0]}?" if near else f"known: {', '.join(known[:8])}" if known else _COMMANDS.get(what, "there is none")
        super().__init__(f"{what} {name}: not known{where}; {advice}")


class BenchLookup(ABC):
    """The ledger's lots, drives and batches, within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self._ids: dict[Table, dict[str, int]] = {}
        self._names: dict[int, str] = {}  # of lots and drives
        self._batches: dict[int, Batch] = {}
        self._lines: dict[int, Line] = {}  # of lots and drives that are not in the log yet
        self._changes: list[Line] | None = None
        self._checked: dict[str, int] = {}  # the row of each drive's newest passing check
        self._retired: set[str] = set()
        self._holds: list[Hold] | None = None

    @abstractmethod
    def find(self, serial: str) -> Disc | None:
        """The disc with this serial, None when there is none."""

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

    def remember_line(self, number: int, line: Line) -> None:
        """A line that is not in the log yet."""
        self._lines[number] = line

    def name_of(self, table: Table, line: int | None) -> str | None:
        """The name behind a key."""
        self.ids(table)
        return None if line is None else self._names[line]

    def line(self, number: int) -> Line:
        """A line of the log."""
        return self._lines[number] if number in self._lines else logged(self.connection.execute(_TEXT, {"number": number}).scalar_one())

    def batch(self, name: str) -> Batch:
        """A batch by its name. UnknownError when there is none."""
        line = self.id_of(BATCHES, "batch", name)
        if line not in self._batches:
            row = self.connection.execute(_BATCH, {"line": line}).one()
            self._take_batch(Batch(line, logged(row.text), row.open))
        return self._batches[line]

    def keep(self, batch: Batch) -> None:
        """A batch that is not in the tables yet."""
        self.remember(BATCHES, batch.name, batch.id)
        self._take_batch(batch)

    def _take_batch(self, batch: Batch) -> None:
        for change in self.changes():
            if (change["of"], change["name"]) == ("batch", batch.name):
                _change_batch(batch, change)
        self._batches[batch.id] = batch
        self._serve(batch)

    def _serve(self, batch: Batch) -> None:
        """Fills in what a batch's drives are like now."""
        drives = {name: self.drive(name) for name in batch.drives}
        batch.simulated = all(drive["simulated"] for drive in drives.values())
        held = self.held()
        batch.serving = tuple(
            Drive(name, served_sides(batch, drive, "writes"), served_sides(batch, drive, "reads"), name in held, name in self._retired)
            for name, drive in drives.items()
        )

    def digest_of(self, line: Line) -> str | None:
        """The digest of the master that was opened before under what a batch line's master is called; None when none was."""
        wanted = master_key(line)
        lines = (batch.line for batch in self.batches())
        return next((each["digest"] for each in lines if master_key(each) == wanted), None)

    def batches(self) -> list[Batch]:
        """Every batch, as created."""
        if not self._batches.keys() >= set(self.ids(BATCHES).values()):
            for row in self.connection.execute(_BATCHES).all():
                if row.line not in self._batches:
                    self._take_batch(Batch(row.line, logged(row.text), row.open))
        return [self._batches[line] for line in self.ids(BATCHES).values()]

    def lot(self, name: str) -> Line:
        """What is known of a lot by now. UnknownError when there is none."""
        return self._changed("lot", name, self.line(self.id_of(LOTS, "lot", name)))

    def used(self, lot: str) -> int:
        """How many discs of a lot were begun."""
        begun = (
            select(func.count()).select_from(DISCS).where(DISCS.c.lot == self.key_of(LOTS, lot), DISCS.c.counts.not_in((_NEW, _NOTHING)))
        )
        return int(self.connection.scalar(begun) or 0)

    def drive(self, name: str) -> Line:
        """What is known of a drive by now. UnknownError when there is none."""
        return self._changed("drive", name, self.line(self.id_of(DRIVES, "drive", name)))

    def master_state(self, digest: str) -> str | None:
        """What was decided last of a master: `hold`, `release`, `approve` or `supersede`; None when nothing was."""
        state = select(EVENTS.c.what).where(EVENTS.c.kind == "master", EVENTS.c.name == digest, EVENTS.c.what != "approve")
        return self.connection.scalar(state.order_by(EVENTS.c.line.desc()).limit(1))

    # What happened to them

    def changes(self) -> list[Line]:
        """Every change of a lot, a drive or a batch; what checks and logs of drives say is taken in with them."""
        if self._changes is None:
            self._changes = []
            for row in self.connection.execute(_BENCH_EVENTS).all():
                line = logged(row.text)
                self._changes += [line] if row.kind == "change" else []
                if row.kind != "change":
                    self._note_drive(line["drive"], row.line, line)
        return self._changes

    def take_change(self, line: Line) -> None:
        """A change that is not in the tables yet."""
        self.changes().append(line)
        for batch in self._batches.values():
            if (line["of"], line["name"]) == ("batch", batch.name):
                _change_batch(batch, line)
        self.forget_serving()

    def take_drive_event(self, drive: str, number: int, line: Line) -> None:
        """A check or a log entry of a drive that is not in the tables yet."""
        self.changes()
        self._note_drive(drive, number, line)
        self.forget_serving()

    def _note_drive(self, drive: str, number: int, line: Line) -> None:
        if line["kind"] == "drive-check" and line["ok"]:
            self._checked[drive] = number
        if line["kind"] == "drive-log":
            (self._retired.add if line["what"] == "retired" else self._retired.discard)(drive)

    def forget_serving(self) -> None:
        """Works out anew what the drives of the batches are like."""
        for batch in self._batches.values():
            self._serve(batch)

    def held(self) -> set[str]:
        """The drives that are on hold: no check passed since, and the writing that did it did not fail in a second drive as well."""
        self.changes()
        return {hold.drive for hold in self.holds() if hold.row > self._checked.get(hold.drive, 0) and not self._is_over(hold)}

    def _is_over(self, hold: Hold) -> bool:
        disc = self.find(hold.serial)
        return disc is not None and reader_was_right(disc.rows, hold)

    def holds(self) -> list[Hold]:
        """Every hold of a drive."""
        if self._holds is None:
            rows = self.connection.execute(_HOLDS).all()
            self._holds = [Hold(str(self.name_of(DRIVES, row.drive)), row.after, row.line, row.serial, row.side) for row in rows]
        return self._holds

    def keep_hold(self, number: int, line: Line, after: int) -> None:
        """A hold that is not in the tables yet."""
        self.holds().append(Hold(line["drive"], after, number, line["serial"], line["side"]))

    def give_holds(self, disc: Disc) -> None:
        """Tells a disc which of the drives that read it were put on hold."""
        readers = {read.read_by for read in disc.reads}
        disc.holds = tuple(hold for hold in self.holds() if hold.drive in readers)

    def newest_pass(self, drive: int) -> int:
        """The row of a drive's newest passing read; 0 without one."""
        newest = select(func.max(READS.c.line)).where(READS.c.drive == drive, READS.c.verdict == "pass", ~READS.c.void)
        return int(self.connection.scalar(newest) or 0)

    def _changed(self, of: str, name: str, line: Line) -> Line:
        kept = ("kind", "of", "name", "reason", "at")
        for change in self.changes():
            if (change["of"], change["name"]) == (of, name):
                line = {**line, **{key: value for key, value in change.items() if key not in kept}}
        return line


_NEW, _NOTHING = COUNTS.index("new"), COUNTS.index("nothing")


def _change_batch(batch: Batch, change: Line) -> None:
    """Takes a change into a batch: lots and drives are added."""
    line = dict(batch.line)
    for key in ("lots", "drives"):
        line[key] = [*line[key], *(change.get(key) or [])]
    line["good"] = change.get("good") or line["good"]
    batch.line = line
