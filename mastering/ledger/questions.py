"""What can be asked of the ledger: its rows, how a batch's discs stand, what happened to one disc."""

from collections.abc import Iterator
from json import dumps
from typing import NamedTuple

from sqlalchemy import func, select, text

from mastering.deciding.rates import By, Rate, Role
from mastering.judging.standing import ORDER
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.lines import Line, logged
from mastering.ledger.lookup import Lookup
from mastering.ledger.rates import rates
from mastering.ledger.tables import COUNTS, DISCS, EVENTS, IMAGES, LOG, READS

_NOTHING = COUNTS.index("nothing")


class Row(NamedTuple):
    """A row of the log."""

    number: int
    line: Line
    digest: str


class Questions(Lookup):
    """The ledger open for reading."""

    def rows(self) -> int:
        """How many rows the log has."""
        return int(self.connection.scalar(select(func.count()).select_from(LOG)) or 0)

    def last_digest(self) -> str | None:
        """The digest of the log's last row, None when there is none."""
        return self.connection.scalar(select(LOG.c.digest).order_by(LOG.c.number.desc()).limit(1))

    def row_with(self, digest: str) -> int | None:
        """The number of the row with a digest, None when no row has it."""
        return self.connection.scalar(select(LOG.c.number).where(LOG.c.digest == digest).limit(1))

    def highest_ever(self) -> int:
        """The highest number that a row of the log ever had."""
        return int(self.connection.scalar(text("SELECT seq FROM sqlite_sequence WHERE name = 'log'")) or 0)

    def counts(self, batch: Batch) -> dict[str, int]:
        """How many discs of a batch stand how; `fail` includes `rejected`."""
        query = select(DISCS.c.verdict, func.count()).where(DISCS.c.batch == batch.id, DISCS.c.counts != _NOTHING).group_by(DISCS.c.verdict)
        found = {ORDER[rank]: count for rank, count in self.connection.execute(query)}
        rejected = sum(disc.rejected for disc in self.discs(batch)) if found.get("fail") else 0
        return {standing: found.get(standing, 0) for standing in ("pass", "marginal", "fail", "open")} | {"rejected": rejected}

    def is_read(self, batch: Batch) -> bool:
        """Whether any read of a batch was recorded."""
        read = select(READS.c.line).join(DISCS, DISCS.c.line == READS.c.disc).where(DISCS.c.batch == batch.id)
        return self.connection.execute(read.limit(1)).first() is not None

    def closing_digest(self, batch: Batch) -> str | None:
        """The digest of the row that closed a batch, None while it is open."""
        if batch.open:
            return None
        start = func.instr(LOG.c.text, f'"kind":"close","batch":{dumps(batch.name)}') > 0
        return self.connection.scalar(select(LOG.c.digest).where(LOG.c.number > batch.id, start).order_by(LOG.c.number.desc()).limit(1))

    def rates(self, by: By, role: Role = "wrote") -> list[Rate]:
        """The rates of every group that has units, as created; tracks ascending."""
        return rates(self, by, role)

    # One disc

    def rows_of(self, disc: Disc) -> Iterator[Row]:
        """Every row of the log about a disc, in their order."""
        numbers = {disc.id, *(read.row for read in disc.reads), *(writing.row for writing in disc.writings.values())}
        for table in (EVENTS, IMAGES):
            numbers |= set(self.connection.scalars(select(table.c.line).where(table.c.disc == disc.id)))
        for number in sorted(numbers):
            row = self.connection.execute(select(LOG).where(LOG.c.number == number)).one()
            yield Row(row.number, logged(row.text), row.digest)

    def images_of(self, disc: Disc) -> dict[str, str]:
        """The digest of the newest stamped image of each side of a disc."""
        query = select(IMAGES.c.side, IMAGES.c.sha256).where(IMAGES.c.disc == disc.id).order_by(IMAGES.c.line)
        return {row.side: row.sha256 for row in self.connection.execute(query)}

    def corrections(self, disc: Disc) -> list[Line]:
        """The lines by which a disc was rejected by eye or corrected, in their order."""
        return [row.line for row in self.rows_of(disc) if row.line["kind"] in ("reject", "amend")]

    def discs_with_number(self, number: int) -> list[Disc]:
        """The discs with a number, whatever their title, as handed out."""
        serials = self.connection.scalars(select(DISCS.c.serial).where(DISCS.c.number == number).order_by(DISCS.c.line)).all()
        return [self.known_disc(serial) for serial in serials]

    def catalogues(self) -> list[str]:
        """The catalogue numbers of all batches."""
        return list(dict.fromkeys(batch.catalogue for batch in self.batches()))
