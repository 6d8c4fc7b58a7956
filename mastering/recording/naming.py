"""Which disc and side a read-back's file is of: by its name, or by what a person said of it."""

import os
from dataclasses import dataclass

from mastering.judging.readback import NAMED, Source
from mastering.judging.verdict import sides_text
from mastering.ledger.lines import LineError
from mastering.master.master import Master
from mastering.master.serial import serial as serial_of
from mastering.master.serial import why_no_serial


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
    """What a person said of some read-backs: what is None follows from the file's name, the batch, or the disc's earlier reads.

    `new_read`: a reader used a dump's name again for other bytes, or the same ones.
    """

    disc: str | None = None
    side: str | None = None
    lot: str | None = None
    wrote: str | None = None
    read_by: str | None = None
    rewritten: bool = False
    inner: int | None = None
    operator: str | None = None
    new_read: bool = False


def named(source: Source, said: Said, master: Master) -> tuple[str, str | None]:
    """The disc and side that a file is of. FileError when neither its name nor the person says so, or the two contradict each other."""
    path = source.path
    match = NAMED.fullmatch(path.rpartition("/")[2])
    if match is None:
        return _not_named(source, said, master)
    serial, side = match["serial"], match["side"]
    if said.disc not in (None, serial):
        raise FileError(path, f"named after {serial}, where --disc says {said.disc}; nothing was recorded")
    if said.side not in (None, side):
        raise FileError(path, f"named after side {side}, where --side says {said.side}; nothing was recorded")
    if side not in master.sides:
        raise FileError(path, f"side {side}, where this master has {sides_text(tuple(master.sides))}")
    if not serial.startswith(f"{master.catalogue}-"):
        raise FileError(path, why_no_serial(serial, master.catalogue))
    return serial, side


def _not_named(source: Source, said: Said, master: Master) -> tuple[str, str | None]:
    """The disc and side that a person says a file is of, whose name does not; what lies in a folder nobody has spoken of."""
    path = source.path
    if not os.path.lexists(path):
        raise FileError(path, "no such file")
    if said.disc is None or source.found:
        example = f"SERIAL-SIDE.SUFFIX in capitals, as {serial_of(master.catalogue, 1)}-A.dump"
        advice = "name the file itself with --disc and --side" if source.found else "say --disc and --side"
        raise FileError(path, f"its name does not say which disc it is: expected {example}; else {advice}")
    return said.disc, said.side or (None if len(master.sides) > 1 else "A")
