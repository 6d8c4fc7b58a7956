"""A drive's commands: filled in, run, and what each one left behind: a read-back, or the guard that it stopped at."""

import os
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from mastering.bench.settings import Drive
from mastering.command import Ended
from mastering.judging.readback import report_path

if TYPE_CHECKING:
    from formats.model.geometry import Address, Geometry

CommandGuard = Literal["too-fast", "stale-file", "written-file", "command-failed", "nothing-done", "not-ready", "no-disc"]
Stranger = Literal["finished-disc", "rejected-disc", "other-title", "returned-disc", "wrong-drive"]

NOT_READY, NO_DISC = 3, 4  # exit statuses of a drive's command
FASTEST = 1.03  # of the nominal speed: the fastest drive that a customer's disc may have been read in
_PLACEHOLDER = re.compile(r"\{(\w+)\}")


class GuardError(Exception):
    """A command that did not do what it should have: the guard's kind, and one line for the operator that says what was met."""

    def __init__(self, kind: CommandGuard | Stranger, say: str) -> None:
        self.kind: CommandGuard | Stranger = kind
        super().__init__(say)


def filled(arguments: Sequence[str], values: Mapping[str, str]) -> list[str]:
    """A command with the placeholders in its arguments replaced; a value is never split nor read for placeholders again."""
    return [_PLACEHOLDER.sub(lambda match: values[match[1]], argument) for argument in arguments]


def least_seconds(geometry: "Geometry", turns: float, cylinders: int | None = None) -> float:
    """The seconds that a disc needs to pass the heads for a read of so many cylinders (all of them where None), `turns` turns a track."""
    tracks = (geometry.cylinders if cylinders is None else cylinders) * geometry.heads
    return turns * tracks * 60 / (geometry.rpm * FASTEST)


def check_ended(ended: Ended, drive: Drive) -> None:
    """GuardError when a drive's command did not end with exit status 0."""
    if ended.why == "not-started":
        raise GuardError("command-failed", f"{drive.name}: can't be started: {ended.console}")
    if ended.why == "time-limit":
        raise GuardError("command-failed", f"{drive.name}: not done after {drive.seconds:g} seconds, so it was ended")
    if ended.why == "stopped":
        raise GuardError("command-failed", f"{drive.name}: ended before it was done")
    if ended.status == NOT_READY:
        raise GuardError("not-ready", f"{drive.name} is not ready: close its door, and look whether it is switched on")
    if ended.status == NO_DISC:
        raise GuardError("no-disc", f"{drive.name}: no disc is in it")
    if ended.status != 0:
        last = f": {ended.last_line}" if ended.last_line else ""
        raise GuardError("command-failed", f"{drive.name}: its command ended with status {ended.status}{last}")


def refuse_stale(output: Path) -> None:
    """GuardError when the file that a read is to leave is there before it began."""
    if os.path.lexists(output):
        raise GuardError("stale-file", f"{output}: was there before the disc was read")


def read_file(ended: Ended, drive: Drive, output: Path, geometry: "Geometry", least: float, written: bytes | None) -> Path:
    """What a read left in `output`. `least`: the seconds that the disc needed to turn; `written`: the stamped capture, where there is one.

    Raises GuardError: a read that was no read is never judged.
    """
    check_ended(ended, drive)
    if not output.is_file():
        raise GuardError("nothing-done", f"{drive.name}: its command ended well and left no {output.name}")
    if ended.seconds < least:
        raise GuardError(
            "too-fast",
            f"{drive.name}: done after {ended.seconds:.1f} seconds; the disc needs {least:.1f} to pass the head, so it was not read",
        )
    if written is not None and _holds(output, written):
        raise GuardError("written-file", f"{output.name} is, cell by cell, the image that was to be written: no drive reads a disc so")
    if drive.output != ".dump":
        return output
    return _with_report(ended, drive, output, geometry)


def _holds(path: Path, data: bytes) -> bool:
    return path.stat().st_size == len(data) and path.read_bytes() == data


def _with_report(ended: Ended, drive: Drive, dump: Path, geometry: "Geometry") -> Path:
    """A dump, with the sector report that its reader left or that its console text amounts to."""
    report = Path(report_path(str(dump)))
    if drive.report:
        if not report.is_file():
            raise GuardError("nothing-done", f"{drive.name}: left {dump.name} without its report {report.name}")
        return dump
    if drive.clean_line is not None and not any(map(drive.clean_line.search, ended.console.splitlines())):
        return dump  # without a report: a reader may have filled what it could not read
    if drive.report_line is None:
        return dump
    from formats.containers import sector_report
    from mastering.files import write_file

    write_file(report, sector_report.write(_states(ended.console.splitlines(), drive.report_line, geometry)))
    return dump


def _states(lines: Iterable[str], pattern: re.Pattern[str], geometry: "Geometry") -> list[tuple["Address", str, int | None]]:
    """The state of every sector by a reader's console text; a sector that no line names was read well.

    GuardError for a line that names a sector which the geometry lacks: the pattern does not fit this reader.
    """
    from formats.model.geometry import Address

    named: dict[Address, tuple[str, int | None]] = {}
    for line in lines:
        match = pattern.search(line)
        if match is None:
            continue
        groups = match.groupdict()
        address = Address(*(_number(groups.get(name), line) for name in ("track", "head", "sector")))
        if address not in geometry.places:
            raise GuardError("command-failed", f"report_line: {geometry.id} has no sector such as {line.strip()!r} names")
        tries = groups.get("tries")
        recovered = tries is not None and not groups.get("failed")
        state = ("good", _number(tries, line)) if recovered else ("unread", None)
        if named.get(address, ("good", 0))[0] != "unread":  # once given up, no later line makes a sector good
            named[address] = state
    return [(address, *named.get(address, ("good", 1))) for address in geometry.places]


def _number(text: str | None, line: str) -> int:
    """A group's number; a group that is not there (the head of a drive with one) is 0."""
    if text is None:
        return 0
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise GuardError("command-failed", f"report_line: {text!r} is no whole number, in {line.strip()!r}")
    return int(text)
