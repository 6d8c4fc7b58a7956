"""What shows that a disc was verified, proved as far as it can be."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mastering.errors import MasteringError
from mastering.judging.readback import ReadBackError
from mastering.judging.standing import why_unsettled
from mastering.ledger.entities import Disc
from mastering.ledger.exchange import first_broken_row
from mastering.ledger.questions import Questions, Row
from mastering.ledger.store import Ledger
from mastering.recording.files_kept import digests, expected, path_of
from mastering.recording.masters import find_master


@dataclass(frozen=True)
class ProofLine:
    """One thing that was looked at. `ok` is None where it could not be proved: a file that is gone, a master that is not at hand."""

    what: str
    ok: bool | None
    row: int | None
    digest: str | None
    note: str

    def plain(self) -> dict[str, Any]:
        """As in `disc proof --json`."""
        return {"what": self.what, "ok": self.ok, "row": self.row, "digest": self.digest, "note": self.note}

    def text(self) -> str:
        """A line for people."""
        state = {True: "good", False: "BAD", None: "open"}[self.ok]
        where = f"row {self.row}, " if self.row is not None else ""
        return f"{state:5} {self.what}: {where}{self.digest[:16] + '...' if self.digest else ''} {self.note}".rstrip()


@dataclass(frozen=True)
class Proof:
    """All of it. `ok`: the disc is good, and nothing that could be proved was found changed."""

    serial: str
    ok: bool
    lines: tuple[ProofLine, ...]


def proof(ledger: Ledger, serial: str, shelves: Iterable[Path]) -> Proof:
    """What shows that a disc was verified. UnknownError when there is no such disc."""
    with ledger.read() as known:
        disc = known.disc_by(serial)
        rows = list(known.rows_of(disc))
        count, last = known.rows(), known.last_digest()
        master = _master_line(known, disc, ledger, shelves)
    broken = first_broken_row(ledger)
    lines = [
        ProofLine("disc", disc.verdict == "pass", disc.id, None, f"stands at {disc.verdict}, {disc.state}"),
        ProofLine("chain", broken is None, count, last, f"row {broken} is not what was written" if broken else "over the whole log"),
        master,
        *_row_lines(disc, rows, ledger),
    ]
    return Proof(disc.serial, all(line.ok is not False for line in lines), tuple(lines))


def _master_line(known: Questions, disc: Disc, ledger: Ledger, shelves: Iterable[Path]) -> ProofLine:
    batch = known.batch(disc.batch.name)
    label, digest = str(batch.line["master"]), str(batch.line["digest"])
    try:
        find_master(batch, ledger.path, shelves)
    except MasteringError as error:
        gone = "is not at hand" in str(error)
        return ProofLine("master", None if gone else False, batch.id, digest, f"{label}: {'not at hand' if gone else error}")
    return ProofLine("master", True, batch.id, digest, label)


def _row_lines(disc: Disc, rows: Iterable[Row], ledger: Ledger) -> Iterator[ProofLine]:
    """The disc's rows in the log, and its reads' files."""
    counts = {read.row: read for read in disc.reads}
    for row in rows:
        kind = row.line["kind"]
        note = str(row.line["at"]) + (f", side {row.line['side']}" if row.line.get("side") else "")
        if kind != "read":
            yield ProofLine(kind, True, row.number, row.digest, note)
            continue
        why = why_unsettled(disc.rows, counts[row.number]) if row.number in counts else None
        idle = f", does not count ({why})" if why else ""
        yield ProofLine("read", True, row.number, row.digest, f"{note}: {row.line['verdict']} by {row.line['evidence']}{idle}")
        yield _file_line(row, ledger)


def _file_line(row: Row, ledger: Ledger) -> ProofLine:
    """Whether a read's file still has the bytes that were judged."""
    name, wanted = str(row.line["readback"]), row.line.get("file_sha256")
    path = path_of(row.line, ledger.path)
    if path is None or wanted is None:
        return ProofLine("file", None, row.number, wanted, f"{name}: no longer there")
    try:
        same = digests(path, row.line) in expected(row.line)
    except ReadBackError:
        same = False
    return ProofLine("file", same, row.number, wanted, name if same else f"{name}: other bytes than were judged")
