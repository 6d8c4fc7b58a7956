"""A disc in memory: the cells of every track, and what can be wrong with them. No disc or drive is involved."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from formats.model.geometry import Address, Geometry, fill_cells
from formats.model.record import Part, Record
from formats.tracks.encode import encode_side
from formats.tracks.reading import Stretch, read_fields

Cells = npt.NDArray[np.uint8]
Place = tuple[int, int]  # cylinder and head

NOISE = 0.02  # share of cells with a transition where nothing was recorded
_SPARED = 400  # cells at either end of a weak block that stay as they are: its mark among them


@dataclass(frozen=True)
class Disc:
    """One side as it was written: a turn of cells (one byte each) for every cylinder and head.

    `weak`: for some tracks the runs of cells that come differently at every other turn.
    """

    geometry: Geometry
    tracks: Mapping[Place, Cells]
    weak: Mapping[Place, tuple[slice, ...]]


# Writing


def written(geometry: Geometry, dump: bytes, identity: Mapping[str, int], speed: float = 1.0, deleted: Collection[Address] = ()) -> Disc:
    """A disc that a drive has written from a dump.

    `speed`: how fast the drive turned, as a share of the nominal speed; a faster one has room for fewer cells, ValueError when it has
    no room for all sectors. `deleted`: sectors marked as deleted data, ValueError where the geometry has no such mark.
    """
    disc = Disc(geometry, laid(geometry, dump, identity), {})
    if deleted:
        marked = laid(_marking_deleted(geometry), dump, identity)
        for address in deleted:
            side, block = _block(disc, address)
            disc.tracks[side][block] = marked[side][block]
    return replace(disc, tracks={side: at_speed(geometry, side[0], cells, speed) for side, cells in disc.tracks.items()})


def blank(geometry: Geometry, rng: np.random.Generator) -> Disc:
    """A disc on which nothing was ever recorded: noise, with a transition here and there."""
    tracks = {side: (rng.random(geometry.track_cells(side[0])) < NOISE).astype(np.uint8) for side in geometry.sides}
    return Disc(geometry, tracks, {})


def laid(geometry: Geometry, dump: bytes, identity: Mapping[str, int]) -> dict[Place, Cells]:
    """A turn of cells for every track, at nominal speed."""
    tracks = {}
    for number, packed in enumerate(encode_side(geometry, dump, identity)):
        cylinder, head = divmod(number, geometry.heads)
        tracks[cylinder, head] = np.unpackbits(np.frombuffer(packed, np.uint8))[: geometry.track_cells(cylinder)]
    return tracks


def _marking_deleted(geometry: Geometry) -> Geometry:
    """The geometry as a writer has it that marks every block as deleted data."""
    block = geometry.block
    if not block.deleted:
        raise ValueError(f"{geometry.id} has no mark for deleted data")

    def marked(part: Part) -> Part:
        fields = (replace(field, value=block.deleted) if field.name == block.tag else field for field in part.fields)
        return replace(part, fields=tuple(fields))

    other = Record(block.name, block.mark, tuple(map(marked, block.parts)), block.checks, block.tag)
    return replace(geometry, sector=tuple(other if each is block else each for each in geometry.sector))


def at_speed(geometry: Geometry, cylinder: int, cells: Cells, speed: float) -> Cells:
    """A turn as long as it comes out at a speed: the gap at its end is longer or shorter. ValueError when that leaves no room."""
    count = int(len(cells) / speed)
    if count < geometry.needed_cells(geometry.zone(cylinder)):
        raise ValueError(f"{geometry.id} has no room on cylinder {cylinder} at {speed} of its speed")
    fill = cells[-fill_cells(geometry.tail) :]
    return np.concatenate([cells, np.resize(fill, max(0, count - len(cells)))])[:count]


# Damage


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
    run = slice(block.start + _SPARED, block.stop - _SPARED)
    return replace(disc, weak={**disc.weak, side: (*disc.weak.get(side, ()), run)})


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


# Reading


def passing(disc: Disc, side: Place, turns: float, rng: np.random.Generator) -> tuple[Cells, tuple[int, ...]]:
    """The cells that pass the head from a random place on, and where the index hole passes."""
    cells = disc.tracks[side]
    count, first = len(cells), int(rng.integers(0, len(cells)))
    total = int(count * turns)
    made = np.resize(np.roll(cells, -first), total)
    for run in disc.weak.get(side, ()):
        at = (run.start - first) % count + int(rng.integers(2)) * count
        for start in range(at, total, 2 * count):  # every other turn, whichever comes first
            end = min(total, start + run.stop - run.start)
            made[start:end] ^= (rng.random(end - start) < 0.05).astype(np.uint8)
    return made, tuple(range((-first) % count, total + 1, count))
