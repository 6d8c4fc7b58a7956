"""Corrections of what the ledger was told: of a disc, of a drive's reads. Each is a new row."""

from dataclasses import dataclass

from mastering.clock import moment, spelled
from mastering.errors import MasteringError
from mastering.ledger.entities import Disc
from mastering.ledger.log_writer import LogWriter
from mastering.ledger.tables import DRIVES


@dataclass(frozen=True)
class Correction:
    """What is corrected: None and False stand for what stays. `read`: which read is void, or was read by another drive."""

    lot: str | None = None
    inner: int | None = None
    wrote: str | None = None
    read: int | None = None
    void: bool = False
    read_by: str | None = None
    restore: bool = False
    reason: str = ""
    operator: str | None = None


def correct(writer: LogWriter, batch: str, serial: str, given: Correction, at: str) -> str:
    """Corrects what was said of a disc; returns its serial. MasteringError when nothing would change, or it is not clear what is meant."""
    disc = writer.disc(serial, writer.batch(batch))
    if given.wrote is not None and given.read is None:
        drives = {writing.drive for writing in disc.writings.values()} - {None}
        if len(drives) > 1:
            raise MasteringError(
                f"{disc.serial}: written by {' and '.join(sorted(map(str, drives)))}; say with --read which read's writing is meant"
            )
    before = _correctable(disc)
    writer.add(_line(batch, disc.serial, given, None, at))
    if _correctable(writer.disc(disc.serial, writer.batch(batch))) == before:
        raise MasteringError(f"{disc.serial}: the ledger says so already; nothing was changed")
    return disc.serial


def strike_out(writer: LogWriter, batch: str, given: Correction, since: str, at: str) -> list[str]:
    """Strikes out all reads of a drive in a batch since a time; returns the discs' serials. MasteringError when there are none."""
    found, time = writer.batch(batch), moment(since, "--since")
    drive = writer.id_of(DRIVES, "drive", str(given.read_by))
    serials = [
        disc.serial
        for disc in writer.discs_read_by(drive, 0, found.id)
        if any(_is_meant(disc, read.number, str(given.read_by)) and moment(disc.times[read.number], "at") >= time for read in disc.reads)
    ]
    if not serials:
        raise MasteringError(f"batch {batch}: drive {given.read_by} made no read since {spelled(time)} that counts; nothing was changed")
    writer.add(_line(batch, None, given, spelled(time), at))
    return serials


def _is_meant(disc: Disc, number: int, drive: str) -> bool:
    return any(read.number == number and read.read_by == drive and not read.void for read in disc.reads)


def _line(batch: str, serial: str | None, given: Correction, since: str | None, at: str) -> dict[str, object]:
    line: dict[str, object] = {
        "kind": "amend", "batch": batch, "serial": serial, "lot": given.lot, "wrote": given.wrote, "read": given.read, "void": given.void,
        "read_by": given.read_by, "restore": given.restore, "since": since, "reason": given.reason, "at": at,
    }  # fmt: skip
    return line | {key: value for key, value in (("inner", given.inner), ("operator", given.operator)) if value is not None}


def _correctable(disc: Disc) -> tuple[object, ...]:
    """What can be corrected of a disc, as it is now."""
    reads = [(read.void, read.read_by) for read in disc.reads]
    return disc.lot, disc.inner, reads, {key: writing.drive for key, writing in disc.writings.items()}, list(disc.restores)
