"""Read-backs of a batch's discs, judged and put into the ledger."""

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from mastering.errors import MasteringError
from mastering.files import digest
from mastering.judging.identical import Quick
from mastering.judging.readback import LARGEST_CAPTURE, LARGEST_REPORT, NAMED, REPORT, SIGNATURE, ReadBackError, Source, read_bounded
from mastering.judging.verdict import Verdict, sides_text
from mastering.ledger.entities import Batch, Disc, File
from mastering.ledger.lines import Line, LineError
from mastering.ledger.log_writer import LogWriter
from mastering.ledger.lookup import UnknownError
from mastering.ledger.store import Ledger
from mastering.ledger.tables import DRIVES
from mastering.master.master import Master
from mastering.master.serial import serial as serial_of
from mastering.master.serial import why_no_serial
from mastering.recording.writing import check_writable

if TYPE_CHECKING:
    from mastering.judging.verify import Verifier


class FileError(LineError):
    """A file that was refused as a read-back, and why."""

    def __init__(self, path: str, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"{path}: {why}")


def printable_name(path: str) -> str:
    """A path as any export can print it: bytes in no encoding are spelled out."""
    return path.encode("utf-8", "backslashreplace").decode()


@dataclass(frozen=True)
class Said:
    """What a person said of some read-backs: what is None follows from the file's name, the batch, or the disc's earlier reads."""

    disc: str | None = None
    side: str | None = None
    lot: str | None = None
    wrote: str | None = None
    read_by: str | None = None
    rewritten: bool = False


@dataclass
class Judge:
    """Judges the read-backs of one master's discs. `others`: masters that a wrong disc may be of, asked for only then."""

    master: Master
    others: Iterable[Master] = ()

    def __post_init__(self) -> None:
        self._longest = max(len(side.dump) for side in self.master.sides.values())
        self._quick: dict[str | None, Quick] = {}
        self._verifiers: dict[str | None, Verifier] = {}

    def judge(self, source: Source, side: str | None, data: bytes) -> Verdict:
        """The verdict of a read-back, whose bytes are `data`. MasteringError or ContainerError when it is none."""
        if side not in self._quick:
            self._quick[side] = Quick(self.master, side)
        match = None if source.report else self._quick[side].match_bytes(data)
        if match is not None:
            return match.verdict(source.path)
        from mastering.judging.evidence import load
        from mastering.judging.verify import Verifier

        if side not in self._verifiers:
            self._verifiers[side] = Verifier(self.master, side, self.others)
        try:
            verifier = self._verifiers[side]
            return verifier.judge(load(source, self._longest, data, verifier.known_fields))
        except MemoryError as error:
            raise ReadBackError(f"{source.path}: there is not enough memory to judge it") from error


@dataclass
class Recorder:
    """Judges and records read-backs of one batch, of which a person has `said` something. `stamp`: the time of a new row of a writer."""

    ledger: Ledger
    batch: Batch
    judge: Judge
    said: Said
    stamp: Callable[[LogWriter], str]
    called: Callable[[str], str] = printable_name  # what the ledger calls a file, by its path
    _begun: dict[tuple[str, str], int] = field(default_factory=dict)  # writings that `rewritten` began in this command

    def __post_init__(self) -> None:
        said, sides = self.said, tuple(self.judge.master.sides)
        if said.side is not None and said.side not in sides:
            raise MasteringError(f"--side {said.side}: this master has {sides_text(sides)}")
        with self.ledger.read() as known:
            if not self.batch.open:
                raise MasteringError(f"batch {self.batch.name} is closed; open another one for these discs")
            if said.disc is not None:
                known.disc(said.disc, self.batch)
            for option, what, name, of_batch in (
                ("--lot", "lot", said.lot, self.batch.lots), ("--wrote", "drive", said.wrote, self.batch.drives),
            ):  # fmt: skip
                if name is not None and name not in of_batch:
                    raise UnknownError(what, name, of_batch, f" in batch {self.batch.name} ({option})")
            if said.read_by is not None:
                known.id_of(DRIVES, "drive", said.read_by)
            self._simulated = {name for name in known.ids(DRIVES) if known.drive(name)["simulated"]}

    @property
    def master(self) -> Master:
        """The batch's master."""
        return self.judge.master

    def record(self, source: Source) -> dict[str, Any]:
        """Judges a read-back and records it; returns its line, which is on the disk by then. MasteringError when it is refused."""
        try:
            return self._recorded(source)
        except FileError:
            raise
        except LineError as error:
            raise FileError(source.path, str(error)) from error

    def _recorded(self, source: Source) -> dict[str, Any]:
        serial, side = self._named(source)
        with self.ledger.read() as known:
            known.disc(serial, self.batch)  # before the work of judging
        data, sha256 = _contents(source)
        verdict = self.judge.judge(source, side, data)
        with self.ledger.write() as writer:
            disc = writer.disc(serial, writer.batch(self.batch.name))
            again = disc.again(File.at(source.path, sha256, data.startswith(SIGNATURE)))
            if again is not None:
                return told(writer.line(again.row)) | {"again": True}
            line = self._line(disc, verdict, sha256) | {"readback": self.called(source.path), "at": self.stamp(writer)}
            writer.add(line)
        if line["side"] is not None and self.said.rewritten:
            self._begun[serial, line["side"]] = line["writing"]
        return told(line)

    def discs(self, serials: Iterable[str]) -> Iterator[Disc]:
        """How discs of the batch stand now."""
        with self.ledger.read() as known:
            yield from (known.disc(serial, known.batch(self.batch.name)) for serial in serials)

    def _named(self, source: Source) -> tuple[str, str | None]:
        """The disc and side that a file is of. LineError when neither its name nor the person says so, or the two contradict each other."""
        path, said = source.path, self.said
        match = NAMED.fullmatch(path.rpartition("/")[2])
        if match is None:
            return self._not_named(source)
        serial, side = match["serial"], match["side"]
        if said.disc not in (None, serial):
            raise FileError(path, f"named after {serial}, where --disc says {said.disc}; nothing was recorded")
        if said.side not in (None, side):
            raise FileError(path, f"named after side {side}, where --side says {said.side}; nothing was recorded")
        if side not in self.master.sides:
            raise FileError(path, f"side {side}, where this master has {sides_text(self.master.sides)}")
        if not serial.startswith(f"{self.master.catalogue}-"):
            raise FileError(path, why_no_serial(serial, self.master.catalogue))
        return serial, side

    def _not_named(self, source: Source) -> tuple[str, str | None]:
        """The disc and side that a person says a file is of, whose name does not; what lies in a folder nobody has spoken of."""
        path, said = source.path, self.said
        if not os.path.lexists(path):
            raise FileError(path, "no such file")
        if said.disc is None or source.found:
            example = f"SERIAL-SIDE.SUFFIX in capitals, as {serial_of(self.master.catalogue, 1)}-A.dump"
            advice = "name the file itself with --disc and --side" if source.found else "say --disc and --side"
            raise FileError(path, f"its name does not say which disc it is: expected {example}; else {advice}")
        return said.disc, said.side or (None if len(self.master.sides) > 1 else "A")

    def _line(self, disc: Disc, verdict: Verdict, sha256: str) -> dict[str, Any]:
        """The read's line: what was found, and which disc, writing, lot and drives it is about."""
        plain, side = verdict.plain(), verdict.side
        writing, wrote = self._writing(disc, side)
        lot = self.said.lot or disc.lot or _only(self.batch.lots)
        if lot is None or (side is not None and wrote is None):
            asked = {"lots": f"--lot ({', '.join(self.batch.lots)})"} if lot is None else {}
            asked |= {"drives": f"--wrote ({', '.join(self.batch.drives)})"} if side is not None and wrote is None else {}
            several, say = " and ".join(asked), " and ".join(asked.values())
            raise LineError(f"{disc.serial}: batch {self.batch.name} has several {several}; say with {say} which it was")
        read_by = self.said.read_by or wrote
        return {
            "kind": "read",
            **plain,
            "serial": disc.serial,
            "on_disc": plain["serial"],
            "simulated": plain["simulated"] or bool({wrote, read_by} & self._simulated),
            "batch": self.batch.name,
            "read": max(disc.files, default=0) + 1,
            "writing": writing,
            "lot": lot,
            "wrote": wrote,
            "read_by": read_by,
            "file_sha256": sha256,
            **({"slot": list(verdict.slot)} if verdict.slot else {}),
        }

    def _writing(self, disc: Disc, side: str | None) -> tuple[int | None, str | None]:
        """The number of the writing that was read, and its drive: None where nobody says which one it was."""
        if side is None:
            return None, self.said.wrote
        newest = disc.newest_writing(side)
        begun = self._begun.get((disc.serial, side))
        if self.said.rewritten and begun is None:
            check_writable(disc)
        number = begun or (newest + 1 if self.said.rewritten else max(1, newest))
        known = disc.writings.get((side, number))
        if known is not None and known.drive is not None:
            if self.said.wrote not in (None, known.drive):
                raise LineError(
                    f"{disc.serial}: side {side} was written by {known.drive}, not {self.said.wrote}; "
                    "say --rewritten if it was written again, or correct it with `batch amend`"
                )
            return number, known.drive
        return number, self.said.wrote or _only(self.batch.drives)


def _only(names: Sequence[str]) -> str | None:
    """The name of a lot or drive where a batch has just one."""
    return names[0] if len(names) == 1 else None


def told(line: Line) -> dict[str, Any]:
    """A read's line as it is printed."""
    return {key: value for key, value in line.items() if key != "kind"}


def _contents(source: Source) -> tuple[bytes, str]:
    """A read-back's bytes and their digest; a sector report belongs to them."""
    if source.path.endswith(REPORT):
        raise ReadBackError(
            f"{source.path}: a sector report without its dump; put the dump beside it, with the same name and its own suffix"
        )
    data = read_bounded(source.path, LARGEST_CAPTURE)
    if source.report is None:
        return data, digest(data)
    return data, digest(f"{digest(data)}{digest(read_bounded(source.report, LARGEST_REPORT))}".encode())
