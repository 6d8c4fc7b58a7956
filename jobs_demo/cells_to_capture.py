"""Turns a reader's cells into a capture: python cells_to_capture.py FOLDER OUT.capture

For a reader that leaves one text file a track, named track-CC-H.txt (cylinder, head): in the first line the cell length in
nanoseconds, then the cells as 0 and 1, in as many lines as it likes, from one index hole to the next. Adapt `tracks` to yours.
"""

import json
import struct
import sys
import zlib
from pathlib import Path


def tracks(folder):
    """Cylinder, head, cell length in nanoseconds and cells of every track."""
    for path in sorted(Path(folder).glob("track-*.txt")):
        cell_ns, *cells = path.read_bytes().decode("ascii", "replace").split()
        yield *map(int, path.stem.split("-")[1:]), float(cell_ns), "".join(cells)


def chunk(kind, payload):
    """Length, type, payload, CRC-32 over type and payload."""
    return struct.pack(">I", len(payload)) + kind + payload + struct.pack(">I", zlib.crc32(kind + payload))


def main(folder, out):
    """Writes the capture."""
    about = json.dumps({"version": 1, "rpm": 300, "writer": "cells_to_capture.py"}).encode()
    parts = [bytes.fromhex("8A 4F 42 56 0D 0A 1A 0A"), chunk(b"HEAD", about)]
    for cylinder, head, cell_ns, cells in tracks(folder):
        if set(cells) - {"0", "1"}:
            sys.exit(f"{folder}: cylinder {cylinder} head {head}: a cell is neither 0 nor 1")
        size = (len(cells) + 7) // 8  # bytes. The 1 below means exactly one turn; else, for cells of any other length, use 0.
        fields = struct.pack(">BBHII", cylinder, head, 1, round(cell_ns * 1000), len(cells))
        parts.append(chunk(b"CELL", fields + int("0" + cells.ljust(8 * size, "0"), 2).to_bytes(size, "big")))
    data = b"".join([*parts, chunk(b"TAIL", b"")])
    Path(out).write_bytes(data) if len(parts) > 2 else sys.exit(f"{folder}: no track-CC-H.txt in it")


main(*sys.argv[1:]) if len(sys.argv) == 3 else sys.exit(__doc__)
