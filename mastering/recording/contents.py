"""A read-back's bytes as the ledger remembers them: their digests, and which file it was."""

import os
from dataclasses import dataclass, replace
from pathlib import Path

from formats.bounds import LARGEST_CAPTURE, LARGEST_REPORT, SIGNATURE
from mastering.files import digest
from mastering.judging.readback import REPORT, ReadBackError, Source, read_bounded
from mastering.master.master import Master


@dataclass(frozen=True)
class Contents:
    """The bytes of a read-back's file and of its report, their SHA-256, whether it is a capture, and the file's identity on its disk."""

    data: bytes
    report_data: bytes | None
    sha256: str
    report: str | None
    capture: bool
    identity: str | None

    def without_data(self) -> "Contents":
        """The same for whom the bytes are of no use any more."""
        return replace(self, data=b"", report_data=None)


def contents(source: Source) -> Contents:
    """Reads a read-back's file. ReadBackError when it can't be read, or is a sector report without its dump."""
    if source.path.endswith(REPORT):
        raise ReadBackError(
            f"{source.path}: a sector report without its dump; put the dump beside it, with the same name and its own suffix"
        )
    data = read_bounded(source.path, LARGEST_CAPTURE)
    report = None if source.report is None else read_bounded(source.report, LARGEST_REPORT)
    of_report = None if report is None else digest(report)
    return Contents(data, report, digest(data), of_report, data.startswith(SIGNATURE), _identity(source.path))


def _identity(path: str) -> str | None:
    """Device, number, size and time of last modification of a file, None where the system has no such numbers."""
    try:
        state = os.stat(path)  # noqa: PTH116  (as in `readback`)
    except OSError:
        return None
    return f"{state.st_dev}:{state.st_ino}:{state.st_size}:{state.st_mtime_ns}" if state.st_ino else None


def why_no_drive_gave_it(master: Master, data: bytes) -> str | None:
    """Why a capture can't have come from a drive, None for all others: it is the master's own, byte for byte."""
    if not data.startswith(SIGNATURE):
        return None
    for name in master.sides:
        path = Path(master.path) / "data" / f"side-{name}.capture"
        try:
            if path.stat().st_size == len(data) and path.read_bytes() == data:
                return f"byte for byte the capture of the master's side {name}; no drive gives a file's cells back: read the disc itself"
        except OSError:
            continue
    return None
