"""Captures that no drive made, as large as the format allows: cells chosen to cost a reader as much time and memory as they can."""

import numpy as np

from formats import registry
from formats.containers.capture import Capture, Track, write
from formats.model.geometry import Geometry
from formats.tracks.encode import encode_side
from formats.tracks.reading import Stretch, read_fields

_CHUNK = (4 << 20) - 12  # bytes of cells of the largest chunk
_FILE = (64 << 20) - (1 << 12)


def largest(geometry: Geometry, cells: np.ndarray, chunk: int = _CHUNK, marks: int = 0) -> bytes:
    """A capture of as many chunks as a file may hold, each full of the same cells (a byte each) over and over."""
    packed = np.packbits(cells)
    period = np.packbits(np.tile(cells, 8)) if len(cells) % 8 else packed
    bits = np.resize(period, chunk).tobytes()
    count = min(_FILE // (chunk + 24 + 4 * marks), 2000 // (2 if marks else 1))
    places = tuple(range(0, 8 * chunk, max(8 * chunk // marks, 1)))[:marks] if marks else ()
    cell_ps = round(geometry.zones[0].cell_ns * 1000)
    return write(Capture(geometry.rpm, "hostile", tuple(Track(0, 0, False, cell_ps, 8 * chunk, bits, places) for _ in range(count))))


def first_track(geometry: Geometry) -> tuple[np.ndarray, list[tuple[int, int]], list[tuple[int, int]]]:
    """A good first track's cells, and where its identifiers and its blocks begin and end."""
    dump = np.random.default_rng(5).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()
    bits = encode_side(geometry, dump, geometry.identity_values(b"SM", 254))[0]
    count = geometry.track_cells(0)
    reading = read_fields(geometry, [Stretch(bits, count, True)])
    fields = (reading.identifiers, reading.blocks)
    spans = [list(zip(each.start.tolist(), each.end.tolist(), strict=True)) for each in fields]
    return np.unpackbits(np.frombuffer(bits, np.uint8))[:count], *spans


def heads_of_sectors(name: str, apart: int) -> bytes:
    """Good identifiers of the first track, each with a block's beginning behind it, every `apart` cells."""
    geometry = registry.geometry(name)
    cells, identifiers, blocks = first_track(geometry)
    parts = []
    for (start, end), (block, _) in zip(identifiers, blocks, strict=True):
        parts += [cells[start:end], cells[block : block + apart - (end - start)]]
    return largest(geometry, np.concatenate(parts))


def only(name: str, what: str) -> bytes:
    """Nothing but one pattern of cells: the mark of an identifier and its tag (`tag`), the mark alone (`mark`), or 1s (`ones`)."""
    geometry = registry.geometry(name)
    cells, identifiers, _ = first_track(geometry)
    mark = geometry.identifier.mark
    start = identifiers[0][0]
    length = {"tag": mark.lead + 16, "mark": len(mark.cells), "ones": 8}[what]
    return largest(geometry, np.ones(8, np.uint8) if what == "ones" else cells[start : start + length])


def good_track(name: str, chunk: int = _CHUNK, marks: int = 0) -> bytes:
    """A good track, for as many turns as fit."""
    geometry = registry.geometry(name)
    return largest(geometry, first_track(geometry)[0], chunk, marks)
