"""The capture file, written and read a second time: chunks, their CRC-32, and the cells of `CELL`."""

import json
import struct
import zlib
from dataclasses import dataclass, replace

from model_codes import bits

SIGNATURE = bytes.fromhex("8A4F42560D0A1A0A")


@dataclass
class Stretch:
    """One `CELL` chunk: cells of one cylinder and head; `circular` is flag 1; `marks` index marks or None."""

    cylinder: int
    head: int
    cells: str
    cell_ps: int
    circular: bool = False
    marks: list | None = None


def pack(cells):
    """Cells as bytes, the first in the most significant bit, the last byte padded with 0."""
    if not cells:
        return b""
    padded = cells + "0" * (-len(cells) % 8)
    return int(padded, 2).to_bytes(len(padded) // 8, "big")


def chunk(kind, payload):
    """One chunk of the stream."""
    return struct.pack(">I", len(payload)) + kind + payload + struct.pack(">I", zlib.crc32(kind + payload))


def capture_file(stretches, **head):
    """The bytes of a capture that holds the stretches in the given order."""
    out = [SIGNATURE, chunk(b"HEAD", json.dumps({"version": 1, "rpm": 300, "writer": "test", **head}).encode())]
    for one in stretches:
        payload = struct.pack(">BBHII", one.cylinder, one.head, int(one.circular), one.cell_ps, len(one.cells)) + pack(one.cells)
        out.append(chunk(b"CELL", payload))
        if one.marks is not None:
            out.append(chunk(b"MARK", struct.pack(f">H{len(one.marks)}I", len(one.marks), *one.marks)))
    return b"".join([*out, chunk(b"TAIL", b"")])


def backwards(stretches):
    """The same stretches as a drive delivers them while the medium passes the wrong way (say `reversed=True` in the head)."""
    out = []
    for one in stretches:
        marks = None if one.marks is None else [len(one.cells) - at for at in reversed(one.marks)]
        out.append(replace(one, cells=one.cells[::-1], marks=marks))
    return out


class BrokenCaptureError(Exception):
    """A chunk whose CRC is wrong."""


@dataclass
class Capture:
    """A capture as read from its file, turned round when it says that it is reversed."""

    stretches: list
    rpm: float
    tpi: float | None
    simulated: bool


def parse_capture(data):
    """Read the chunks of a capture with `CELL` only."""
    at, head, stretches = len(SIGNATURE), {}, []
    while at < len(data):
        (size,) = struct.unpack_from(">I", data, at)
        kind, payload = data[at + 4 : at + 8], data[at + 8 : at + 8 + size]
        if struct.unpack_from(">I", data, at + 8 + size)[0] != zlib.crc32(kind + payload):
            raise BrokenCaptureError("a chunk's CRC is wrong")
        at += 12 + size
        if kind == b"HEAD":
            head = json.loads(payload)
        elif kind == b"CELL":
            cylinder, face, flags, cell_ps, count = struct.unpack_from(">BBHII", payload)
            cells = bits(payload[12:])[:count]
            stretches.append(Stretch(cylinder, face, cells, cell_ps, bool(flags & 1)))
        elif kind == b"MARK":
            stretches[-1].marks = list(struct.unpack_from(f">{(size - 2) // 4}I", payload, 2))
    if head.get("reversed"):
        for one in stretches:
            one.cells = one.cells[::-1]
            if one.marks is not None:
                one.marks = [len(one.cells) - mark for mark in reversed(one.marks)]
    return Capture(stretches, head["rpm"], head.get("tpi"), bool(head.get("simulated")))
