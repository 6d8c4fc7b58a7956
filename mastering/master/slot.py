"""Where a side carries the serial of its disc: the slot as a master keeps it, and the text that stands there in a master."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Slot:
    """`bytes` bytes from `offset` on in a sector of a side; `place`: that sector's place in the dump, in sectors."""

    track: int
    head: int
    sector: int
    offset: int
    bytes: int
    place: int

    def plain(self) -> dict[str, Any]:
        """The slot as `master.json` has it."""
        return dict(vars(self))


def around(slot: Slot, sector: bytes) -> tuple[bytes, bytes]:
    """What stands before and behind a slot in its sector's bytes."""
    return sector[: slot.offset], sector[slot.offset + slot.bytes :]


def marker_text(length: int) -> bytes:
    """The text of a slot in a master, where the job gives none: no serial, and at a glance no file's own. `length`: 10 bytes or more."""
    words = "<<SERIAL-GOES-HERE" if length >= 20 else "<<SERIAL"  # 8 characters and the two that close it
    return f"{words.ljust(length - 2, '-')}>>".encode("ascii")
