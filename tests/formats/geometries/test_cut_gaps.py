"""A track whose last block fits a turn and whose last gap does not: it is written with that gap cut, and read back whole."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats import registry
from formats.errors import DefinitionError
from formats.model.geometry import Gap, Geometry, Zone
from formats.model.proof import prove
from formats.tracks.encode import encode_side
from formats.tracks.reading import Stretch, read_fields

NAMES = registry.names("geometries", foreign=False)


def turning(geometry: Geometry, zone: Zone, left: int) -> Geometry:
    """The first two tracks of a zone on a turn that ends so many cells behind the last block; nobody asks for more."""
    cells = geometry.needed_cells(zone) + left
    short = replace(zone, last=zone.first + 1, cell_ns=Fraction(60_000_000_000, geometry.rpm * cells))
    return prove(replace(geometry, zones=(short,), tail=replace(geometry.tail, minimum=0)))


def last_gap(geometry: Geometry, zone: Zone) -> int:
    """Cells of the gap behind a block."""
    gap = geometry.sector[-1]
    assert isinstance(gap, Gap)
    return geometry.laid_cells(gap, zone)


@st.composite
def cut(draw) -> Geometry:
    """Any geometry, any of its zones, with all of the last gap, some of it, or nothing."""
    geometry = registry.geometry(draw(st.sampled_from(NAMES)))
    zone = draw(st.sampled_from(geometry.zones))
    return turning(geometry, zone, draw(st.integers(0, last_gap(geometry, zone) + 40)))


def reads_back(geometry: Geometry) -> None:
    dump = np.random.default_rng(5).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()
    tracks = encode_side(geometry, dump, geometry.identity_values(b"SM", 254))
    assert {len(track) for track in tracks} == {(geometry.track_cells(0) + 7) // 8}
    reading = read_fields(geometry, [Stretch(track, geometry.track_cells(0), True) for track in tracks])
    assert len(reading.identifiers) == len(reading.blocks) == len(geometry.addresses)
    assert reading.identifiers.sound.all() and reading.blocks.sound.all()
    read = sorted(body.tobytes() for body in reading.blocks.bodies())
    assert read == sorted(dump[at : at + geometry.size] for at in range(0, len(dump), geometry.size))


@given(cut())
def test_what_passes_the_proof_is_written_and_read_back(geometry):
    reads_back(geometry)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_but_the_last_block_s_end(name):
    geometry = registry.geometry(name)
    reads_back(turning(geometry, geometry.zones[0], 0))
    with pytest.raises(DefinitionError, match=r"1 cells? too long for one turn"):
        turning(geometry, geometry.zones[0], -1)
