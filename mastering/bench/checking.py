"""A drive proved by itself: what its commands give (`drive try`), and whether it reads, or writes, a disc that is known to be good."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from formats.errors import ContainerError
from mastering.bench.drives import GuardError, check_ended, filled, least_seconds, read_file
from mastering.bench.settings import Bench, Drive
from mastering.command import Ended, Running
from mastering.errors import MasteringError
from mastering.judging.readback import Source
from mastering.master.master import Master, Side

if TYPE_CHECKING:
    from mastering.judging.identify import Identified
    from mastering.judging.verdict import Verdict


@dataclass(frozen=True)
class Tried:
    """What a command of a drive gave: the arguments that ran, how it ended, what it left, and what that would be taken for.

    `problem`: why nothing of it can be used, and `key` the key of bench.toml that is behind it, where one is.
    """

    arguments: tuple[str, ...]
    ended: Ended
    output: Path
    identified: "Identified | None" = None
    problem: str = ""
    key: str = ""


def try_drive(drive: Drive, folder: Path, masters: Iterable[Master]) -> Tried:
    """Runs a drive's probe, or its read where it has none, on whatever is in it. Writes no disc and records nothing."""
    command = "probe" if drive.probe else "read"
    arguments = getattr(drive, command)
    if not arguments:
        raise MasteringError(f"drive.{drive.name}: no `probe` and no `read`: this machine doesn't run its commands")
    output = folder / f"try-{drive.name}{drive.output}"
    values = {"output": str(output), "tracks": "0", "side": "A", "serial": "TRY", "drive": drive.name}
    ran = tuple(filled(arguments, values))
    ended = Running(ran, drive.seconds).wait()
    key = f"drive.{drive.name}.{command}"
    if ended.why == "not-started":
        return Tried(ran, ended, output, problem=ended.console, key=key)
    if ended.why == "time-limit":
        return Tried(ran, ended, output, problem=f"not done after {drive.seconds:g} seconds", key=f"drive.{drive.name}.seconds")
    try:
        check_ended(ended, drive)
    except GuardError as error:
        return Tried(ran, ended, output, problem=str(error), key=key)
    if not output.is_file():
        return Tried(ran, ended, output, problem=f"left no {output.name}: is {{output}} where the program expects its file?", key=key)
    for name, pattern in (("report_line", drive.report_line), ("clean_line", drive.clean_line)):
        if pattern is not None and not any(map(pattern.search, ended.console.splitlines())):
            lines = len(ended.console.splitlines())
            problem = f"no line of {lines} on its console matches" if lines else "its console stayed empty"
            return Tried(ran, ended, output, problem=problem, key=f"drive.{drive.name}.{name}")
    return _taken_for(Tried(ran, ended, output), masters, f"drive.{drive.name}.output")


def _taken_for(tried: Tried, masters: Iterable[Master], key: str) -> Tried:
    from mastering.judging.evidence import load
    from mastering.judging.identify import identify

    known = list(masters)
    longest = max((len(side.dump) for master in known for side in master.sides.values()), default=tried.output.stat().st_size)
    try:
        view = load(Source(str(tried.output)), longest)
    except (MasteringError, ContainerError) as error:
        return Tried(tried.arguments, tried.ended, tried.output, problem=str(error), key=key)
    return Tried(tried.arguments, tried.ended, tried.output, identify(view, known))


@dataclass(frozen=True)
class DriveCheck:
    """A check of a drive against a master. `folder`: where its files lie."""

    bench: Bench
    drive: Drive
    master: Master
    folder: Path

    def read(self, serial: str | None, reader: Drive | None = None) -> "Verdict":
        """Reads the disc in a drive (this one where `reader` is None), label up, and judges it. MasteringError when it was no read."""
        reader, side = reader or self.drive, self._side()
        output = self._new(f"check-{reader.name}{reader.output}")
        values = {"output": str(output), "tracks": "", "side": side.name, "serial": serial or "CHECK", "drive": reader.name}
        ended = Running(filled(reader.read, values), reader.seconds).wait()
        try:
            left = read_file(ended, reader, output, side.geometry, least_seconds(side.geometry, reader.turns), None)
        except GuardError as error:
            raise MasteringError(str(error)) from error
        return self._judged(left, side, serial)

    def write(self, masters: Iterable[Master]) -> None:
        """Writes the master's side, without a serial, on the blank in this drive. MasteringError when that failed.

        Nothing is written when the disc there carries a side of this master or of `masters`.
        """
        self._refuse_a_disc(masters)
        side = self._side()
        key = "capture" if any("{capture}" in argument for argument in self.drive.write) else "dump"
        path = self._new(f"check-{self.drive.name}.write.{key}")
        path.write_bytes(side.dump if key == "dump" else _cells(side))
        values = {key: str(path), "side": side.name, "serial": "CHECK", "drive": self.drive.name}
        try:
            check_ended(Running(filled(self.drive.write, values), self.drive.seconds).wait(), self.drive)
        except GuardError as error:
            raise MasteringError(str(error)) from error

    def _refuse_a_disc(self, masters: Iterable[Master]) -> None:
        with TemporaryDirectory(prefix="obverse-check-") as folder:
            tried = try_drive(self.drive, Path(folder), (self.master, *masters))
        if tried.problem:
            raise MasteringError(f"{tried.key}: {tried.problem}")
        if tried.identified is not None and tried.identified.matches:
            label = tried.identified.matches[0].label
            raise MasteringError(f"{self.drive.name}: the disc in it carries {label}: put a fresh blank in; nothing was written")

    @property
    def other_reader(self) -> Drive:
        """Another drive of the table that can read; this one where it is the only one."""
        others = (each for each in self.bench.drives.values() if each.read and each.name != self.drive.name)
        return next(others, self.drive)

    def _side(self) -> Side:
        return self.master.sides["A"]

    def _judged(self, left: Path, side: Side, serial: str | None) -> "Verdict":
        from mastering.judging.evidence import load
        from mastering.judging.verify import Verifier

        verdict = Verifier(self.master, side.name, ()).judge(load(Source(str(left)), len(side.dump)))
        if serial is not None and verdict.serial not in (None, serial):
            raise MasteringError(f"the disc carries {verdict.serial}, where {serial} was expected; put the reference disc in")
        return verdict

    def _new(self, name: str) -> Path:
        """A path of this folder that no file has."""
        self.folder.mkdir(parents=True, exist_ok=True)
        stem, dot, suffix = name.partition(".")
        number = 1
        while (path := self.folder / f"{stem}-{number}{dot}{suffix}").exists():
            number += 1
        return path


def _cells(side: Side) -> bytes:
    from formats.containers import capture
    from formats.tracks.encode import encode_side

    return capture.write_master(side.geometry, encode_side(side.geometry, side.dump, side.identity))
