"""A disc in memory: the cells of every track, and what can be wrong with them. No disc or drive is involved."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from formats.geometry import Address, Geometry
from formats.reading import Stretch, read_fields
from formats.track import encode_side

Cells = npt.NDArray[np.uint8]
Place = tuple[int, int]  # cylinder and head


@dataclass(frozen=True)
class Disc:
    """One side as it was written: a turn of cells (one byte each) for every cylinder and head.

    `weak`: for some tracks the cells that come differently at every other turn.
    """

    geometry: Geometry
    tracks: Mapping[Place, Cells]
    weak: Mapping[Place, slice]


def written(geometry: Geometry, dump: bytes, identity: Mapping[str, int]) -> Disc:
    """A disc that a sound drive has written from a dump."""
    tracks = {}
    for number, packed in enumerate(encode_side(geometry, dump, identity)):
        cylinder, head = divmod(number, geometry.heads)
        tracks[cylinder, head] = np.unpackbits(np.frombuffer(packed, np.uint8))[: geometry.track_cells(cylinder)]
    return Disc(geometry, tracks, {})


def blank(geometry: Geometry, rng: np.random.Generator) -> Disc:
    """A disc on which nothing was ever recorded: noise, with a transition here and there."""
    sides = ((cylinder, head) for cylinder in range(geometry.cylinders) for head in range(geometry.heads))
    tracks = {side: (rng.random(geometry.track_cells(side[0])) < 0.02).astype(np.uint8) for side in sides}
    return Disc(geometry, tracks, {})


def dead_spot(disc: Disc, address: Address, share: float = 0.5) -> Disc:
    """The coating is gone on a share of a sector's block: no transitions there."""
    side, block = _block(disc, address)
    cells = disc.tracks[side].copy()
    middle, half = (block.start + block.stop) // 2, int((block.stop - block.start) * share / 2)
    cells[middle - half : middle + half] = 0
    return replace(disc, tracks={**disc.tracks, side: cells})


def soft_sector(disc: Disc, address: Address) -> Disc:
    """A sector whose block comes right at one turn and wrong at the next."""
    side, block = _block(disc, address)
    return replace(disc, weak={**disc.weak, side: slice(block.start + 400, block.stop - 400)})


def _block(disc: Disc, address: Address) -> tuple[Place, slice]:
    """Where a sector's block lies on its track. KeyError when the disc has no such sector."""
    side = (disc.geometry.cylinder(address.track, address.head), address.head)
    cells = disc.tracks[side]
    reading = read_fields(disc.geometry, [Stretch(np.packbits(cells).tobytes(), len(cells), True)])
    for number, sector in enumerate(reading.identifiers.number("sector").tolist()):
        block = int(reading.block_of[number])
        if sector == address.sector and block >= 0:
            return side, slice(int(reading.blocks.start[block]), int(reading.blocks.end[block]))
    raise KeyError(address)


def passing(disc: Disc, side: Place, turns: float, rng: np.random.Generator) -> tuple[Cells, tuple[int, ...]]:
    """The cells that pass the head from a random place on, and where the index hole passes."""
    cells = disc.tracks[side]
    count, first = len(cells), int(rng.integers(0, len(cells)))
    total = int(count * turns)
    made = np.resize(np.roll(cells, -first), total)
    if side in disc.weak:
        _disturb(made, disc.weak[side], first, count, rng)
    marks = range(count - first, total + 1, count) if first else range(0, total + 1, count)
    return made, tuple(marks)


def _disturb(cells: Cells, weak: slice, first: int, count: int, rng: np.random.Generator) -> None:
    """Scrambles the weak cells of every other turn, in place."""
    for start in _starts(weak.start - first, len(cells), count):
        end = min(len(cells), start + weak.stop - weak.start)
        if start >= 0:
            cells[start:end] ^= (rng.random(end - start) < 0.05).astype(np.uint8)


def _starts(place: int, total: int, count: int) -> Iterator[int]:
    """Where something at a place comes by on every other turn, the first of them not beyond the second."""
    yield from range(place % count, total, 2 * count)
