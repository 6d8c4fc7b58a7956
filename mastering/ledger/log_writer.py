"""The ledger while it is written: checks each line against the rows before it, and gathers the rows that follow from it.

Everything happens within one transaction, which the store opens and ends. `add` refuses a line or takes it whole; `flush` writes.
What a kind of line does stands in `bench_rows` and `disc_rows`.
"""

from collections.abc import Mapping

from sqlalchemy import Connection, func, select

from mastering.files import digest
from mastering.ledger import bench_rows, disc_rows
from mastering.ledger.entities import Disc
from mastering.ledger.lines import Line, check_shape, logged, spelled
from mastering.ledger.lookup import Lookup
from mastering.ledger.row_buffer import RowBuffer
from mastering.ledger.tables import BATCHES, DISCS, LOG

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
        self.rows = RowBuffer(self)
        self._highest: dict[str, int] = {}

    def add(self, line: Line, logged_as: str | None = None) -> int:
        """Takes a line; returns its number. LineError (or UnknownError) when it contradicts the rows before it: then nothing is taken.

        `logged_as`: the text of a log's row whose line it is, which stays as it is.
        """
        check_shape(line)
        number = self.number + 1
        text = spelled(line) if logged_as is None else logged_as
        _APPLY[line["kind"]](self, number, line)
        self.number, self.digest, self.last_at = number, chained(self.digest, text), line.get("at", self.last_at)
        self.rows.row(LOG, number, text=text, digest=self.digest)
        return number

    def replay(self, number: int, text: str) -> None:
        """Takes a row that stands in the log already: all other tables are filled anew."""
        line = logged(text)
        _APPLY[line["kind"]](self, number, line)

    def next_number(self, catalogue: str) -> int:
        """The number that a catalogue number's next serial has: one more than was ever handed out."""
        return self.highest_number(catalogue) + 1

    def next_batch(self) -> str:
        """The name of the next batch."""
        names = [name for name in self.ids(BATCHES) if name[:2] == "B-" and name[2:].isdecimal()]
        return f"B-{max((int(name[2:]) for name in names), default=0) + 1:04}"

    def highest_number(self, catalogue: str) -> int:
        """The highest number of a serial that was handed out for a catalogue number; 0 before the first one."""
        if catalogue not in self._highest:
            highest = select(func.max(DISCS.c.number)).where(DISCS.c.catalogue == catalogue)
            self._highest[catalogue] = self.connection.scalar(highest) or 0
        return self._highest[catalogue]

    def handed_out(self, catalogue: str, number: int) -> None:
        """Says that a number was given to a disc."""
        self._highest[catalogue] = max(number, self.highest_number(catalogue))

    def changed(self, disc: Disc, new: bool = False) -> None:
        """Says that a disc has new rows."""
        disc.changed()
        self.rows.disc(disc, new)

    def flush(self) -> None:
        """Writes the gathered rows, and forgets the discs."""
        self.rows.write()
        self.rows = RowBuffer(self)
        self.forget_discs()


_APPLY: Mapping[str, bench_rows.Apply] = {**bench_rows.APPLY, **disc_rows.APPLY}
