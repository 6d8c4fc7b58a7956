"""The ledger's discs as values, by their serials: filled from its tables, asked only for what is needed, and once."""

from collections.abc import Callable, Iterable
from difflib import get_close_matches
from typing import Any

from sqlalchemy import Connection, Row, bindparam, select

from mastering.judging.standing import Read, Take, Writing
from mastering.ledger.bench_lookup import BenchLookup, UnknownError
from mastering.ledger.entities import Batch, Disc, File
from mastering.ledger.lines import LineError, logged
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, EVENTS, IMAGES, LOG, LOTS, READS, WRITINGS
from mastering.master.serial import is_serial, meant, serial, why_no_serial

_OF_KIND = select(EVENTS.c.line, EVENTS.c.kind, LOG.c.text).join(LOG, LOG.c.number == EVENTS.c.line).order_by(EVENTS.c.line)
_DISC = select(DISCS).where(DISCS.c.serial == bindparam("serial"))
_OF_DISC = {table: select(table).where(table.c.disc == bindparam("disc")).order_by(table.c.line) for table in (READS, WRITINGS)}
_OF_A_DISC = ("reject", "amend", "take", "disc")
_EVENTS_OF = _OF_KIND.add_columns(EVENTS.c.disc).where(EVENTS.c.disc == bindparam("disc"), EVENTS.c.kind.in_(_OF_A_DISC))
_OWNER = (
    select(DISCS.c.serial)
    .join(READS, READS.c.disc == DISCS.c.line)
    .where(READS.c.sha256 == bindparam("sha256"), READS.c.capture, ~READS.c.void)
    .limit(1)
)


class Lookup(BenchLookup):
    """The ledger's lots, drives, batches and discs, within one transaction."""

    def __init__(self, connection: Connection) -> None:
        super().__init__(connection)
        self._discs: dict[str, Disc] = {}
        self._captures: dict[str, str] = {}  # serials by digest, of captures that are not in the tables yet

    def disc(self, text: str, batch: Batch) -> Disc:
        """A disc of a batch, by its serial or its number alone. UnknownError when its serial was not handed out there."""
        text = self.full_serial(text, batch.catalogue)
        disc = self.find(text)
        if disc is not None and disc.batch.id == batch.id:
            return disc
        if disc is not None:
            raise LineError(f"{text}: a disc of batch {disc.batch.name}, not of {batch.name}")
        if not is_serial(text, batch.catalogue):
            near, why = meant(text, self._serials(batch)), why_no_serial(text, batch.catalogue)
            raise LineError(f"{text}: {why}" + (f"; did you mean {near}?" if near and near not in why else ""))
        raise LineError(f"{text}: not handed out in batch {batch.name}; `batch serials {batch.name}` hands out the next ones")

    @staticmethod
    def full_serial(text: str, catalogue: str) -> str:
        """The serial that a person typed: a number alone is that of the catalogue number's disc."""
        number = text.isascii() and text.isdecimal() and len(text) <= _DIGITS and int(text)
        return serial(catalogue, number) if number else text

    def disc_by(self, text: str) -> Disc:
        """The disc of a serial, or of a number alone where all discs have one catalogue number. UnknownError names the nearest ones."""
        catalogues = list(dict.fromkeys(batch.catalogue for batch in self.batches()))
        of_number = [self.full_serial(text, catalogue) for catalogue in catalogues]
        found = [disc for serial in dict.fromkeys(of_number) if (disc := self.find(serial)) is not None]
        if len(found) == 1:
            return found[0]
        if found:
            raise LineError(f"{text}: there is {' and '.join(disc.serial for disc in found)}; give the whole serial")
        known = list(self.connection.scalars(select(DISCS.c.serial)))
        near = meant(text, known)
        raise UnknownError("serial", text, [near] if near else get_close_matches(text, known, 3))

    def known_disc(self, serial: str) -> Disc:
        """The disc with this serial. UnknownError when none was handed out."""
        disc = self.find(serial)
        if disc is None:
            raise UnknownError("serial", serial, ())
        return disc

    def find(self, serial: str) -> Disc | None:
        """The disc with this serial, None when there is none."""
        if serial not in self._discs:
            row = self.connection.execute(_DISC, {"serial": serial}).first()
            if row is None:
                return None
            key = {"disc": row.line}
            parts = (self.connection.execute(query, key).all() for query in (_OF_DISC[READS], _OF_DISC[WRITINGS], _EVENTS_OF))
            self._load([row], *parts)
        return self._discs[serial]

    def discs(self, batch: Batch) -> list[Disc]:
        """Every disc of a batch, as handed out."""
        rows = self.connection.execute(select(DISCS).where(DISCS.c.batch == batch.id).order_by(DISCS.c.line)).all()
        of_batch = select(DISCS.c.line).where(DISCS.c.batch == batch.id)
        reads = self.connection.execute(select(READS).where(READS.c.disc.in_(of_batch)).order_by(READS.c.line)).all()
        writings = self.connection.execute(select(WRITINGS).where(WRITINGS.c.disc.in_(of_batch)).order_by(WRITINGS.c.line)).all()
        about = (EVENTS.c.disc.in_(of_batch), EVENTS.c.kind.in_(_OF_A_DISC))
        events = self.connection.execute(_OF_KIND.add_columns(EVENTS.c.disc).where(*about)).all()
        self._load([row for row in rows if row.serial not in self._discs], reads, writings, events)
        return [self._discs[row.serial] for row in rows]

    def unfinished(self, batch: Batch) -> list[Disc]:
        """The discs of a batch that are neither good nor rejected, those that nothing was done with included."""
        of_batch = select(DISCS.c.serial).where(DISCS.c.batch == batch.id, DISCS.c.counts.in_((_NEW, _WORKING)))
        return [self.known_disc(serial) for serial in self.connection.scalars(of_batch.order_by(DISCS.c.line)).all()]

    def owner_of_capture(self, sha256: str) -> str | None:
        """The serial of the disc for which a capture with this digest was recorded, reads that are void left out."""
        if sha256 in self._captures:
            return self._captures[sha256]
        return self.connection.execute(_OWNER, {"sha256": sha256}).scalar()

    def name_of_file(self, identity: str | None) -> str | None:
        """The name under which a file was recorded, by its identity on its disk; None when it was not."""
        if identity is None:
            return None
        return self.connection.scalar(select(READS.c.file).where(READS.c.identity == identity, ~READS.c.void).limit(1))

    def is_image(self, sha256: str) -> bool:
        """Whether a stamped image with this digest was made for any disc."""
        return self.connection.execute(select(IMAGES.c.line).where(IMAGES.c.sha256 == sha256).limit(1)).first() is not None

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

    def _load(self, rows: Iterable[Row[Any]], reads: Iterable[Row[Any]], writings: Iterable[Row[Any]], events: Iterable[Row[Any]]) -> None:
        drive: Callable[[int | None], str | None] = lambda line: self.name_of(DRIVES, line)  # noqa: E731
        discs: dict[int, Disc] = {}
        for row in rows:
            batch = self.batch(str(self.name_of(BATCHES, row.batch)))
            lot = self.name_of(LOTS, row.lot)
            disc = Disc(row.line, row.serial, row.number, batch, lot, row.inner_box, row.dropped, row.imaged)
            discs[row.line] = self._discs[row.serial] = disc
        for row in writings:
            if row.disc in discs:
                batch_name = str(self.name_of(BATCHES, row.batch))
                discs[row.disc].writings[row.side, row.number] = Writing(
                    row.line, row.side, row.number, drive(row.drive), row.bench, batch_name
                )
        for row in reads:
            if row.disc in discs:
                _load_read(discs[row.disc], row, drive(row.drive))
        for row in events:
            if row.disc in discs:
                _load_event(discs[row.disc], row, self.batch)
        for disc in discs.values():
            self.give_holds(disc)
            disc.standing  # noqa: B018  (a damaged row shows here, where the ledger can still say so)

    def discs_read_by(self, drive: int, since: int, batch: int | None = None) -> list[Disc]:
        """The discs (of a batch) that a drive read in rows after one."""
        query = select(DISCS.c.serial).join(READS, READS.c.disc == DISCS.c.line).where(READS.c.drive == drive, READS.c.line > since)
        query = query if batch is None else query.where(DISCS.c.batch == batch)
        return [self.known_disc(serial) for serial in dict.fromkeys(self.connection.scalars(query.order_by(DISCS.c.line)).all())]


_NEW, _WORKING = COUNTS.index("new"), COUNTS.index("working")
_DIGITS = 18  # of a serial's number at most


def _load_read(disc: Disc, row: Row[Any], drive: str | None) -> None:
    disc.reads.append(
        Read(
            row.number,
            row.side,
            row.writing,
            drive,
            row.verdict,
            row.diagnosis,
            row.void,
            row.line,
            row.simulated,
            row.action,
            row.accepted,
            row.practice,
        )
    )
    disc.files[row.number] = File(row.file, row.sha256, row.report, row.capture)
    disc.operators[row.number], disc.times[row.number] = row.operator, row.at


def _load_event(disc: Disc, row: Row[Any], batch: Callable[[str], Batch]) -> None:
    line = logged(row.text)
    if row.kind == "reject":
        disc.rejects.append(row.line)
    elif row.kind == "take":
        rework = batch(line["batch"]).line.get("reworks") == line["from"]
        disc.takes.append(Take(row.line, rework, tuple(line["sides"])))
    elif row.kind == "disc":
        disc.life.append(line["what"])
    elif line.get("restore"):
        disc.restores.append(row.line)
