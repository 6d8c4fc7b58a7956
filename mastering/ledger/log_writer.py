"""The ledger while it is written: checks each line against what is known, and gathers the rows that follow from it.

Everything happens within one transaction, which the store opens and ends. `add` refuses a line or takes it whole; `flush` writes.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from sqlalchemy import Connection, Table, func, select

from mastering.files import digest
from mastering.judging.standing import Read, reason_of_its_own
from mastering.judging.verdict import sides_text
from mastering.ledger.entities import Batch, Disc, File, Writing
from mastering.ledger.geometries import UnknownTracksError, first_sector_of, zones_of
from mastering.ledger.lines import Line, LineError, check_name, check_shape, logged, spelled
from mastering.ledger.lookup import Lookup, UnknownError
from mastering.ledger.row_buffer import RowBuffer
from mastering.ledger.tables import BATCHES, DISCS, DRIVES, LOG, LOTS, READS, WRITINGS
from mastering.master.serial import is_serial, number_of, why_no_serial

START = "0" * 64  # the digest before the first row


def chained(before: str, text: str) -> str:
    """The digest of a row: over the digest of the row before it and its own text."""
    return digest(f"{before}{text}".encode())


_LAST = select(LOG).order_by(LOG.c.number.desc()).limit(1)


class LogWriter(Lookup):
    """The ledger open for writing."""

    def __init__(self, connection: Connection) -> None:
        super().__init__(connection)
        last = connection.execute(_LAST).first()
        self.number: int = last.number if last else 0
        self.digest: str = last.digest if last else START
        self.last_at: str | None = logged(last.text).get("at") if last else None
        self._rows_to_write = RowBuffer(self)
        self._highest: dict[str, int] = {}

    def add(self, line: Line, logged_as: str | None = None) -> int:
        """Takes a line; returns its number. LineError (or UnknownError) when it contradicts what is known: then nothing is taken.

        `logged_as`: the text of a log's row whose line it is, which stays as it is.
        """
        check_shape(line)
        number = self.number + 1
        _APPLY[line["kind"]](self, number, line)
        text = spelled(line) if logged_as is None else logged_as
        self.number, self.digest, self.last_at = number, chained(self.digest, text), line.get("at", self.last_at)
        self._rows_to_write.row(LOG, number, text=text, digest=self.digest)
        return number

    def next_number(self, catalogue: str) -> int:
        """The number that a catalogue number's next serial has: one more than was ever handed out."""
        return self._highest_of(catalogue) + 1

    def next_batch(self) -> str:
        """The name of the next batch."""
        names = [name for name in self.ids(BATCHES) if name[:2] == "B-" and name[2:].isdecimal()]
        return f"B-{max((int(name[2:]) for name in names), default=0) + 1:04}"

    # Each kind of line

    def _lot(self, number: int, line: Line) -> None:
        self._name_new(LOTS, "lot", line["name"])
        self._rows_to_write.row(LOTS, number, name=line["name"])
        self.remember(LOTS, line["name"], number)

    def _drive(self, number: int, line: Line) -> None:
        self._name_new(DRIVES, "drive", line["name"])
        self._rows_to_write.row(DRIVES, number, name=line["name"])
        self.remember(DRIVES, line["name"], number)
        self.simulated[line["name"]] = line["simulated"]

    def _batch(self, number: int, line: Line) -> None:
        self._name_new(BATCHES, "batch", line["batch"])
        if not (line["sides"] and set(line["sides"]) <= {"A", "B"} and all(isinstance(each, str) for each in line["sides"].values())):
            raise LineError(f"sides is {line['sides']!r}, where sides A and B with their geometries were expected")
        for table, what, names in ((LOTS, "lot", line["lots"]), (DRIVES, "drive", line["drives"])):
            if not names or len(set(names)) != len(names):
                raise LineError(f"a batch needs at least one {what}, and each one once")
            for name in names:
                self.id_of(table, what, name)
        other = self.digest_of(line)
        if other not in (None, line["digest"]):
            raise LineError(
                f"{line['master']} was opened before with another content (digest {str(other)[:16]}...); "
                "give the corrected program a new revision, so that the discs can be told apart"
            )
        self._rows_to_write.row(BATCHES, number, name=line["batch"], catalogue=line["catalogue"], open=True)
        self.keep(self.batch_of(number, line))

    def _serial(self, number: int, line: Line) -> None:
        batch, serial = self._open(line), line["serial"]
        catalogue = batch.line["catalogue"]
        if not is_serial(serial, catalogue):
            raise LineError(f"{serial}: {why_no_serial(serial, catalogue)}")
        count = number_of(serial)
        if count <= self._highest_of(catalogue) and self.find(serial) is not None:
            raise LineError(f"{serial}: handed out already; a serial is never used again")
        self._highest[catalogue] = max(count, self._highest_of(catalogue))
        disc = Disc(number, serial, count, batch, batch.lots[0] if len(batch.lots) == 1 else None)
        self.keep_disc(disc)
        self._rows_to_write.disc(disc, new=True)

    def _read(self, number: int, line: Line) -> None:
        disc = self._disc(line)
        side, writing = line["side"], line["writing"]
        self._check_read(disc, line)
        lot = self._lot_for(disc, line["lot"])
        disc.lot = lot
        if side is not None:
            self._begin_writing(number, disc, side, writing, line["wrote"])
        read = Read(
            line["read"], side, writing, line["read_by"], line["verdict"], line["diagnosis"], False, number, line["simulated"],
            line["action"], disc.batch.accepts(line["evidence"]), disc.batch.practice,
        )  # fmt: skip
        file = File.of(line)
        disc.reads.append(read)
        disc.files[read.number] = file
        drive = None if read.read_by is None else self.id_of(DRIVES, "drive", read.read_by)
        self._rows_to_write.row(
            READS, number, disc=disc.id, number=read.number, side=side, writing=writing, drive=drive, verdict=read.verdict,
            diagnosis=read.diagnosis, void=False, simulated=read.simulated, file=file.name, sha256=file.sha256, capture=file.capture,
        )  # fmt: skip
        if file.capture and file.sha256:
            self.remember_capture(file.sha256, disc.serial)
        if reason_of_its_own(read) is None:
            self._rows_to_write.findings(number, line["findings"])
        self._rows_to_write.disc(disc)

    def _reject(self, number: int, line: Line) -> None:
        disc = self._disc(line, may_be_closed=True)
        if line["lot"] is not None:
            disc.lot = self._lot_for(disc, line["lot"])
        disc.by_eye = True
        self._rows_to_write.disc(disc)

    def _amend(self, number: int, line: Line) -> None:
        disc = self._disc(line, may_be_closed=True)
        lot, wrote, count = line["lot"], line["wrote"], line["read"]
        read = None if count is None else next((each for each in disc.reads if each.number == count), None)
        if count is not None and read is None:
            known = ", ".join(str(each.number) for each in disc.reads) or "none"
            raise LineError(f"{disc.serial}: it has no read {count} (its reads: {known})")
        if line["void"] and read is None:
            raise LineError(f"{disc.serial}: say with --read which read is void")
        if lot is not None:
            self._of_batch(disc, "lot", lot, disc.batch.lots)
            disc.lot = lot
        if wrote is not None:
            self._amend_drive(disc, wrote, read)
        if read is not None and line["void"]:
            disc.reads[disc.reads.index(read)] = replace(read, void=True)
            self._rows_to_write.change(READS, read.row, void=True)
        self._rows_to_write.disc(disc)

    def _close(self, number: int, line: Line) -> None:
        batch = self.batch(line["batch"])
        if not batch.open:
            raise LineError(f"batch {batch.name} is closed already")
        batch.open = False
        self._rows_to_write.change(BATCHES, batch.id, open=False)

    # What is checked

    def _name_new(self, table: Table, what: str, name: str) -> None:
        check_name(name, what)
        if name in self.ids(table):
            raise LineError(f"{what} {name}: there is one of that name already")

    def _open(self, line: Line, may_be_closed: bool = False) -> Batch:
        batch = self.batch(line["batch"])
        if not (batch.open or may_be_closed):
            raise LineError(f"batch {batch.name} is closed; open another one for these discs")
        return batch

    def _disc(self, line: Line, may_be_closed: bool = False) -> Disc:
        batch = self._open(line, may_be_closed)
        return self.disc(line["serial"], batch)

    def _check_read(self, disc: Disc, line: Line) -> None:
        side, writing, newest = line["side"], line["writing"], disc.newest_writing(line["side"] or "")
        if side is not None and side not in disc.batch.sides:
            raise LineError(f"{disc.serial}: side {side}, where its batch has {sides_text(disc.batch.sides)} only")
        if (side is None) != (writing is None) or (writing is not None and writing < max(1, newest)):
            raise LineError(f"{disc.serial}: writing {writing} of side {side}, whose newest one is {newest}")
        if line["read"] in disc.files:
            raise LineError(f"{disc.serial}: it has a read {line['read']} already")
        if line["wrote"] is not None:
            self._of_batch(disc, "drive", line["wrote"], disc.batch.drives)
        if line["on_disc"] not in (None, disc.serial):
            raise LineError(f"{self._stranger(line['on_disc'])}, where {disc.serial} was expected; nothing was recorded")
        if side is not None:
            self._check_places(disc, line)
        file = File.of(line)
        owner = self.owner_of_capture(file.sha256) if file.capture and file.sha256 else None
        if owner not in (None, disc.serial):
            raise LineError(
                f"byte for byte the capture of {owner}; no two reads are alike: read {disc.serial} itself "
                "(or, if that capture went to the wrong disc, make that read void with `batch amend`)"
            )

    @staticmethod
    def _check_places(disc: Disc, line: Line) -> None:
        """LineError for a finding in a sector that the disc does not have, and for another number of sectors than it has."""
        try:
            zones, first = zones_of(disc.batch, line["side"]), first_sector_of(disc.batch, line["side"])
        except UnknownTracksError:  # of a program that knew more geometries: its word is taken
            return
        expected = sum((last - begin + 1) * sectors for _, begin, last, sectors in zones)
        if line["sectors"]["expected"] != expected:
            raise LineError(f"sectors: {line['sectors']['expected']} expected, where side {line['side']} has {expected}")
        for finding in line["findings"]:
            head, track, sector = finding["head"], finding["track"], finding["sector"]
            sectors = next((count for of, begin, last, count in zones if of == head and begin <= track <= last), 0)
            if sectors == 0 or (first is not None and not first <= sector < first + sectors):
                raise LineError(f"findings: side {line['side']} has no sector {sector} on track {track} of head {head}")

    def _stranger(self, serial: str) -> str:
        """Which disc that is in the drive, and what the ledger knows of it."""
        other = self.find(serial)
        if other is None:
            return f"the disc carries {serial}, a serial that this ledger never handed out"
        words = {
            "pass": "a good disc",
            "marginal": "in doubt",
            "fail": "a bad disc",
            "open": "not finished" if other.reads else "not read yet",
        }
        known = "rejected by eye" if other.by_eye else words[other.verdict]
        return f"the disc carries {serial} (batch {other.batch.name}, {known})"

    def _lot_for(self, disc: Disc, lot: str) -> str:
        self._of_batch(disc, "lot", lot, disc.batch.lots)
        if disc.lot not in (None, lot):
            raise LineError(f"{disc.serial}: it is from lot {disc.lot}, not {lot}; correct it with `batch amend` if that is wrong")
        return lot

    @staticmethod
    def _of_batch(disc: Disc, what: str, name: str, known: Sequence[str]) -> None:
        if name not in known:
            raise UnknownError(what, name, known, f" in batch {disc.batch.name}")

    # What follows

    def _begin_writing(self, number: int, disc: Disc, side: str, writing: int, drive: str | None) -> None:
        if (side, writing) in disc.writings:
            return
        disc.writings[side, writing] = Writing(number, drive)
        wrote = None if drive is None else self.id_of(DRIVES, "drive", drive)
        self._rows_to_write.row(WRITINGS, number, disc=disc.id, side=side, number=writing, drive=wrote)

    def _amend_drive(self, disc: Disc, wrote: str, read: Read | None) -> None:
        """The drive of the writing that a read looked at, or of each side's newest one."""
        self._of_batch(disc, "drive", wrote, disc.batch.drives)
        if read is not None:
            keys = [(read.side, read.writing)] if read.side and read.writing else []
        else:
            keys = [(side, disc.newest_writing(side)) for side in disc.batch.sides if disc.newest_writing(side)]
        if not keys:
            raise LineError(f"{disc.serial}: no writing of it is known, so no drive wrote it")
        for key in keys:
            disc.writings[key].drive = wrote
            self._rows_to_write.change(WRITINGS, disc.writings[key].id, drive=self.id_of(DRIVES, "drive", wrote))

    def _highest_of(self, catalogue: str) -> int:
        if catalogue not in self._highest:
            number = select(func.max(DISCS.c.number)).join(BATCHES, DISCS.c.batch == BATCHES.c.line)
            self._highest[catalogue] = self.connection.scalar(number.where(BATCHES.c.catalogue == catalogue)) or 0
        return self._highest[catalogue]

    def flush(self) -> None:
        """Writes what was gathered, and lets go of the discs."""
        self._rows_to_write.write()
        self._rows_to_write = RowBuffer(self)
        self.forget_discs()


_APPLY: Mapping[str, Callable[[LogWriter, int, Line], None]] = {
    "lot": LogWriter._lot,
    "drive": LogWriter._drive,
    "batch": LogWriter._batch,
    "serial": LogWriter._serial,
    "read": LogWriter._read,
    "reject": LogWriter._reject,
    "amend": LogWriter._amend,
    "close": LogWriter._close,
}
