"""The common case first: a dump that is the master's, byte for byte, outside the serial slot. Needs no numpy."""

import os
from collections.abc import Sequence
from dataclasses import dataclass

from mastering.judging.verdict import Verdict
from mastering.master.master import Master, Side
from mastering.master.serial import read_slot
from mastering.platform import open_regular


@dataclass(frozen=True)
class IdenticalDump:
    """The side that a dump equals, and the serial in its slot."""

    side: Side
    serial: str | None

    def verdict(self, readback: str) -> Verdict:
        """The verdict of a dump that equals its side."""
        count = len(self.side.dump) // self.side.size
        return Verdict(readback, self.side.name, self.serial, "dump", None, count, count, len(self.side.unproven), False, ())


class IdenticalDumps:
    """Finds out whether a file is a side's dump. `side`: the side that is believed, or None."""

    def __init__(self, master: Master, side: str | None) -> None:
        self._catalogue = master.catalogue
        self._sides: Sequence[Side] = [each for name, each in master.sides.items() if side in (None, name)]
        self._longest = max(len(each.dump) for each in self._sides)
        self._matches = [(each.dump, IdenticalDump(each, None)) for each in self._sides]

    def match(self, path: str) -> IdenticalDump | bytes | None:
        """The side that the file at a path equals; else its bytes, when it is no longer than a dump; else None."""
        try:
            handle, state = open_regular(path)
            try:
                data = os.read(handle, self._longest + 1)  # one more, so that a longer file can't pass
            finally:
                os.close(handle)
            if state.st_size != len(data):  # too long, or a file system that gives less than was asked for
                return None
        except OSError:
            return None
        return self.match_bytes(data) or (data if 0 < len(data) <= self._longest else None)

    def match_bytes(self, data: bytes) -> IdenticalDump | None:
        """The side that a dump equals."""
        for dump, match in self._matches:
            if data == dump:
                return match
        return self._with_serial(data)

    def _with_serial(self, data: bytes) -> IdenticalDump | None:
        for side in self._sides:
            start = side.slot_start
            if start is None or side.slot is None or len(data) != len(side.dump):
                continue
            end = start + side.slot.bytes
            slot, marker = data[start:end], side.dump[start:end]
            if slot != marker and data[:start] + marker + data[end:] == side.dump:
                right, serial = read_slot(slot, marker, self._catalogue)
                return IdenticalDump(side, serial) if right else None
        return None
