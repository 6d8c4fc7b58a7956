"""Read-backs of a batch's discs, judged and put into the ledger."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from mastering.errors import MasteringError
from mastering.judging.identical import IdenticalDumps
from mastering.judging.readback import ReadBackError, Source
from mastering.judging.to_write import Guard
from mastering.judging.verdict import Verdict, sides_text
from mastering.ledger.bench_lookup import UnknownError
from mastering.ledger.checks import check_same_disc
from mastering.ledger.entities import Batch, Disc, File
from mastering.ledger.lines import Line, LineError
from mastering.ledger.log_writer import LogWriter
from mastering.ledger.lookup import Lookup
from mastering.ledger.store import Ledger
from mastering.ledger.tables import DRIVES
from mastering.master.master import Master
from mastering.recording.contents import Contents, contents, why_no_drive_gave_it
from mastering.recording.naming import FileError, Said, named, printable_name
from mastering.recording.serials_found import with_marker_found
from mastering.recording.writing import check_writable

if TYPE_CHECKING:
    from mastering.judging.verify import Verifier

__all__ = ["FileError", "Judge", "Recorder", "Said", "printed"]


@dataclass
class Judge:
    """Judges the read-backs of one master's discs. `others`: masters that a wrong disc may be of, asked for only then."""

    master: Master
    others: Iterable[Master] = ()

    def __post_init__(self) -> None:
        self._longest = max(len(side.dump) for side in self.master.sides.values())
        self._identical: dict[str | None, IdenticalDumps] = {}
        self._verifiers: dict[str | None, Verifier] = {}

    def judge(self, source: Source, side: str | None, data: bytes, report: bytes | None = None) -> Verdict:
        """The verdict of a read-back, by its file's bytes and its report's. MasteringError or ContainerError when it is none."""
        if side not in self._identical:
            self._identical[side] = IdenticalDumps(self.master, side)
        match = None if source.report else self._identical[side].match_bytes(data)
        if match is not None:
            return match.verdict(source.path)
        from mastering.judging.evidence import load
        from mastering.judging.verify import Verifier

        if side not in self._verifiers:
            self._verifiers[side] = Verifier(self.master, side, self.others)
        try:
            verifier = self._verifiers[side]
            return verifier.judge(load(source, self._longest, data, verifier.known_fields, report))
        except MemoryError as error:
            raise ReadBackError(f"{source.path}: there is not enough memory to judge it") from error


@dataclass(frozen=True)
class Judged:
    """A read-back that was judged: the disc that it is of, its verdict, its bytes' digests."""

    source: Source
    serial: str
    verdict: Verdict
    contents: Contents


Result = tuple[Source, Line | Exception]  # a read's line, or why the file was refused


@dataclass
class Recorder:
    """Judges and records read-backs of one batch, of which a person has `said` something.

    `stamp`: the time of a new row. `called`: what the ledger calls a file, by its path.
    """

    ledger: Ledger
    batch: Batch
    judge: Judge
    said: Said
    stamp: Callable[[LogWriter], str]
    called: Callable[[str], str] = printable_name
    same_anywhere: bool = False  # its rows hold nothing of the machine that they were made on: a demo's are the same everywhere
    _guard: Guard = field(default_factory=Guard)

    def __post_init__(self) -> None:
        said, sides = self.said, tuple(self.judge.master.sides)
        if said.side is not None and said.side not in sides:
            raise MasteringError(f"--side {said.side}: this master has {sides_text(sides)}")
        with self.ledger.read() as known:
            self.batch = known.batch(self.batch.name)
            if not self.batch.open:
                raise MasteringError(f"batch {self.batch.name} is closed; open another one for these discs")
            if said.disc is not None:
                self.said = said = replace(said, disc=known.disc(said.disc, self.batch).serial)
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
        [(_, result)] = self.record_all([source])
        if isinstance(result, Exception):
            raise result
        return dict(result)

    def record_all(self, sources: Iterable[Source]) -> Iterator[Result]:
        """Judges all read-backs, then records them one by one: each line is on the disk when it is returned.

        All writings that the reads tell of are entered before the first read: they were read after both sides were written.
        """
        results = [self._judged(source) for source in sources]
        judged = [each for each in results if isinstance(each, Judged)]
        refused = self._refused(judged)
        pending = {each.serial: None for each in judged if id(each) not in refused}
        rewritten = {(each.serial, each.verdict.side) for each in judged if id(each) not in refused and self.said.rewritten}
        writings = _Pending(tuple(pending), {(serial, side) for serial, side in rewritten if side is not None})
        for result in results:
            if not isinstance(result, Judged):
                yield result
            else:
                yield result.source, self._recorded(result, writings)

    def _judged(self, source: Source) -> Judged | Result:
        from formats.errors import ContainerError

        try:
            serial, side = named(source, self.said, self.master)
            with self.ledger.read() as known:
                known.disc(serial, self.batch)  # before the work of judging
            of_file = contents(source)
            why = self._guard.why_no_read(source.path, of_file.sha256)
            if why is not None:
                raise FileError(source.path, why)
            return Judged(source, serial, self._verdict(source, side, of_file), of_file.without_data())
        except FileError as error:
            return source, error
        except LineError as error:
            return source, FileError(source.path, str(error))
        except (MasteringError, ContainerError) as error:
            return source, error

    def _verdict(self, source: Source, side: str | None, of_file: Contents) -> Verdict:
        why = why_no_drive_gave_it(self.master, of_file.data)
        if why is not None:
            raise FileError(source.path, why)
        verdict = self.judge.judge(source, side, of_file.data, of_file.report_data)
        known_side = verdict.side
        if known_side is None or self.batch.unserialled(known_side):
            return verdict
        return with_marker_found(verdict, self.master.sides[known_side])

    def _refused(self, judged: Iterable[Judged]) -> set[int]:
        """Those that will not be recorded, as far as it shows before anything is written."""
        refused: set[int] = set()
        with self.ledger.read() as known:
            for each in judged:
                try:
                    disc = known.disc(each.serial, known.batch(self.batch.name))
                    if disc.again(self._file(each), self.said.new_read) is not None:
                        refused.add(id(each))
                    else:
                        self._check(known, disc, each)
                except LineError:
                    refused.add(id(each))
        return refused

    def _check(self, known: Lookup, disc: Disc, judged: Judged) -> None:
        """LineError for a file that is no read of this disc."""
        check_same_disc(known, disc, judged.verdict.serial, self._file(judged))
        if judged.contents.capture and known.is_image(judged.contents.sha256):
            raise LineError("byte for byte a stamped image; no drive gives a file's cells back: read the disc itself")
        other = known.name_of_file(judged.contents.identity)
        if other is not None and other != self._file(judged).name:
            raise LineError(f"the same file as {other}, which was recorded already: read the disc itself")

    @staticmethod
    def _file(judged: Judged) -> File:
        return File.at(judged.source.path, judged.contents.sha256, judged.contents.report, judged.contents.capture)

    def _recorded(self, judged: Judged, writings: "_Pending") -> Line | Exception:
        try:
            with self.ledger.write() as writer:
                disc = writer.disc(judged.serial, writer.batch(self.batch.name))
                again = disc.again(self._file(judged), self.said.new_read)
                if again is not None:
                    return printed(writer.line(again.row)) | {"again": True}
                self._check(writer, disc, judged)
                writings.enter(self, writer)
                line = self._line(disc, judged) | {"readback": self.called(judged.source.path), "at": self.stamp(writer)}
                writer.add(line)
            writings.entered = True
            return printed(line)
        except FileError as error:
            return error
        except LineError as error:
            return FileError(judged.source.path, str(error))
        except MasteringError as error:
            return error

    def discs(self, serials: Iterable[str]) -> Iterator[Disc]:
        """How discs of the batch stand now."""
        with self.ledger.read() as known:
            yield from (known.disc(serial, known.batch(self.batch.name)) for serial in serials)

    def _line(self, disc: Disc, judged: Judged) -> dict[str, Any]:
        """The read's line: what was found, and which disc, writing, lot and drives it is about."""
        verdict, said = judged.verdict, self.said
        plain, side = verdict.plain(), verdict.side
        number = disc.newest_writing(side) or None if side is not None else None
        wrote = self.wrote(disc, side, number)
        lot = said.lot or disc.lot or _only(disc.batch.lots)
        if lot is None or (side is not None and wrote is None):
            asked = {"lots": f"--lot ({', '.join(disc.batch.lots)})"} if lot is None else {}
            asked |= {"drives": f"--wrote ({', '.join(disc.batch.drives)})"} if side is not None and wrote is None else {}
            several, say = " and ".join(asked), " and ".join(asked.values())
            raise LineError(f"{disc.serial}: batch {disc.batch.name} has several {several}; say with {say} which it was")
        read_by = said.read_by or _reader(disc.batch, side, wrote)
        return {
            "kind": "read",
            **self._with_margin(plain, disc.batch),
            "serial": disc.serial,
            "on_disc": plain["serial"],
            "simulated": plain["simulated"] or bool({wrote, read_by} & self._simulated),
            "batch": disc.batch.name,
            "read": max(disc.files, default=0) + 1,
            "writing": number,
            "lot": lot,
            "inner": said.inner or disc.inner,
            "wrote": wrote,
            "read_by": read_by,
            "operator": said.operator or disc.batch.line.get("operator"),
            "file_sha256": judged.contents.sha256,
            "report_sha256": judged.contents.report,
            "file": None if self.same_anywhere else judged.contents.identity,
            **({"slot": list(verdict.slot)} if verdict.slot else {}),
        }

    @staticmethod
    def _with_margin(plain: dict[str, Any], batch: Batch) -> dict[str, Any]:
        """A verdict's line; a flux read that passed by too small a margin is marginal."""
        limit, margin = batch.line.get("margin"), plain.get("margin")
        if plain["verdict"] == "pass" and limit is not None and margin and margin["plain"] > limit:
            return plain | {"verdict": "marginal", "action": "read-again"}
        return plain

    def wrote(self, disc: Disc, side: str | None, number: int | None) -> str | None:
        """The drive of a disc's writing; None where nobody says which one it was. LineError where a person contradicts the ledger."""
        writing = disc.writings.get((side or "", number or 0))
        if writing is not None and writing.drive is not None:
            if self.said.wrote not in (None, writing.drive):
                raise LineError(
                    f"{disc.serial}: side {side} was written by {writing.drive}, not {self.said.wrote}; "
                    "say --rewritten if it was written again, or correct it with `batch amend`"
                )
            return writing.drive
        return self.said.wrote or drive_that_writes(disc.batch, side)


@dataclass
class _Pending:
    """The writings that a command's reads tell of, entered with the first read that is recorded: new discs' sides, and rewritten ones."""

    serials: tuple[str, ...]
    rewritten: set[tuple[str, str]]
    entered: bool = False

    def enter(self, recorder: Recorder, writer: LogWriter) -> None:
        """Adds their rows."""
        if self.entered:
            return
        for serial in self.serials:
            disc = writer.disc(serial, writer.batch(recorder.batch.name))
            for side in disc.batch.sides:
                fresh = disc.rows.newest_writing(side) is None and (serial, side) not in self.rewritten
                if fresh or (serial, side) in self.rewritten:
                    self._add(recorder, writer, disc, side)

    def _add(self, recorder: Recorder, writer: LogWriter, disc: Disc, side: str) -> None:
        if (disc.serial, side) in self.rewritten:
            check_writable(disc)
        writer.add(
            {
                "kind": "writing",
                "batch": disc.batch.name,
                "serial": disc.serial,
                "side": side,
                "writing": disc.newest_writing(side) + 1,
                "drive": None,  # the reads tell it
                "at": recorder.stamp(writer),
            }
        )


def drive_that_writes(batch: Batch, side: str | None) -> str | None:
    """The only drive of a batch that writes a side, None where there are several."""
    serving = [drive.name for drive in batch.serving if side in drive.writes and not drive.retired]
    return _only(tuple(serving)) if serving else _only(batch.drives)


def _reader(batch: Batch, side: str | None, wrote: str | None) -> str | None:
    """The drive that read a side where nobody says it: the one that wrote it, if it reads such sides; else the only one that does."""
    serving = [drive.name for drive in batch.serving if side in drive.reads and not drive.retired]
    if wrote is None or side is None or wrote in serving or not serving:
        return wrote
    reader = _only(tuple(serving))
    if reader is None:
        raise LineError(f"drive {wrote} does not read side {side}; say with --read ({', '.join(serving)}) which one did")
    return reader


def _only(names: tuple[str, ...]) -> str | None:
    """The name of a lot or drive where there is just one."""
    return names[0] if len(names) == 1 else None


def printed(line: Line) -> dict[str, Any]:
    """A read's line as it is printed."""
    return {key: value for key, value in line.items() if key not in ("kind", "file")}
