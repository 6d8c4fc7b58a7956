"""Fields are found wherever the head began, whatever the disc turned through, and cut ones are known as cut."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats import registry
from formats.model.geometry import Geometry
from formats.tracks.encode import encode_side
from formats.tracks.marks import find, room
from formats.tracks.reading import Reading, Stretch, read_fields

IDS = registry.names("geometries", foreign=False)
SIDES: dict[str, tuple[Geometry, list[np.ndarray], bytes]] = {}


def side(name: str) -> tuple[Geometry, list[np.ndarray], bytes]:
    """A geometry, the cells of its tracks (one byte a cell) and the dump that they hold."""
    if name not in SIDES:
        geometry = registry.geometry(name)
        dump = np.random.default_rng(11).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()
        tracks = encode_side(geometry, dump, geometry.identity_values(b"SM", 254))
        counts = [geometry.track_cells(cylinder) for cylinder in range(geometry.cylinders) for _ in range(geometry.heads)]
        cells = [np.unpackbits(np.frombuffer(track, np.uint8))[:count] for track, count in zip(tracks, counts, strict=True)]
        SIDES[name] = geometry, cells, dump
    return SIDES[name]


def stretch(cells: np.ndarray, turn: bool) -> Stretch:
    return Stretch(np.packbits(cells).tobytes(), len(cells), turn)


def bodies(geometry: Geometry, reading: Reading) -> list[bytes]:
    """What the sound sectors hold, by sector number."""
    sound = [number for number in range(len(reading.identifiers)) if reading.identifiers.sound[number]]
    blocks = [(int(reading.identifiers.number("sector")[number]), reading.block_of[number]) for number in sound]
    whole = reading.blocks.sound
    rows = [(sector, reading.blocks.bodies(slice(block, block + 1)).tobytes()) for sector, block in blocks if whole[block]]
    return [row for _, row in sorted(rows)]


@pytest.mark.parametrize("name", IDS)
@given(rotation=st.integers(0, 200_000), which=st.integers(0, 1_000))
def test_a_turn_may_begin_anywhere(name, rotation, which):
    geometry, tracks, _ = side(name)
    cells = tracks[which % len(tracks)]
    straight = bodies(geometry, read_fields(geometry, [stretch(cells, True)]))
    turned = bodies(geometry, read_fields(geometry, [stretch(np.roll(cells, rotation), True)]))
    assert straight == turned
    assert len(straight) == geometry.zone(which % len(tracks) // geometry.heads).sectors


@pytest.mark.parametrize("name", IDS)
@given(first=st.integers(0, 49_999), length=st.integers(1, 50_000))
def test_what_an_end_cuts_off_is_not_taken_for_damage(name, first, length):
    geometry, tracks, _ = side(name)
    reading = read_fields(geometry, [stretch(tracks[-1][first : first + length], False)])
    assert reading.identifiers.sound.all()
    assert (reading.blocks.sound | reading.blocks.cut).all()
    assert not reading.blocks.cut[:-1].any()


@pytest.mark.parametrize("name", IDS)
def test_stretches_of_any_length_stand_apart(name):
    """Many stretches, some of them empty or a few cells long, each with its own fields only."""
    geometry, tracks, _ = side(name)
    empty, sliver = Stretch(b"", 0, False), stretch(tracks[0][:5], True)
    stretches = [empty, stretch(tracks[0], True), sliver, stretch(tracks[1], True), empty]
    reading = read_fields(geometry, stretches)
    sectors = geometry.zones[0].sectors
    assert np.bincount(reading.identifiers.stretch, minlength=5).tolist() == [0, sectors, 0, sectors, 0]
    assert reading.identifiers.sound.all() and reading.blocks.sound.all()


@pytest.mark.parametrize("name", IDS)
@given(cells=st.binary(min_size=0, max_size=400), turn=st.booleans(), spare=st.integers(0, 7))
def test_any_cells_can_be_read(name, cells, turn, spare):
    geometry = registry.geometry(name)
    count = max(0, len(cells) * 8 - spare)
    packed = np.packbits(np.unpackbits(np.frombuffer(cells, np.uint8))[:count]).tobytes()
    reading = read_fields(geometry, [Stretch(packed, count, turn)])
    assert not reading.blocks.sound.any()


@given(cells=st.text("01", min_size=24, max_size=300), pattern=st.text("01", min_size=1, max_size=130), data=st.data())
def test_marks_are_found_at_every_cell(cells, pattern, data):
    """Against a search of the text itself."""
    at = data.draw(st.integers(0, len(cells)))
    cells = cells[:at] + pattern + cells[at:]
    packed = np.packbits(np.frombuffer(cells.encode(), np.uint8) - 48)
    buffer = np.concatenate((packed, np.zeros(room(pattern), np.uint8)))
    padded = "".join(f"{byte:08b}" for byte in buffer)
    wanted = [place for place in range(len(cells)) if padded.startswith(pattern, place)]
    assert [place for place in find(buffer, pattern).tolist() if place < len(cells)] == wanted


def first_sector(name: str) -> tuple[Geometry, np.ndarray, np.ndarray]:
    """A geometry, and the cells of a good identifier and of a good block, each with its mark."""
    geometry, tracks, _ = side(name)
    reading = read_fields(geometry, [stretch(tracks[0], True)])
    fields = (reading.identifiers, reading.blocks)
    identifier, block = (tracks[0][int(each.start[0]) : int(each.end[0])] for each in fields)
    return geometry, identifier, block


@pytest.mark.parametrize("name", IDS)
def test_a_block_is_an_identifiers_up_to_a_blocks_length_behind_it(name):
    """The length counts the mark, of 4-to-5 the whole sync: 2,640 cells. A block that begins right behind is its, too."""
    geometry, identifier, block = first_sector(name)
    length = {"gcr4to5": 2640}.get(geometry.code, len(block))
    for behind, whose in ((0, [0]), (length - 1, [0]), (length, [-1])):
        cells = np.concatenate((identifier, np.zeros(behind, np.uint8), block))
        reading = read_fields(geometry, [stretch(cells, False)])
        assert (reading.block_of.tolist(), reading.blocks.sound.tolist()) == (whose, [True])


@pytest.mark.parametrize("name", IDS)
def test_a_field_that_ends_where_its_stretch_ends_is_whole(name):
    geometry, identifier, block = first_sector(name)
    cells = np.concatenate((identifier, np.zeros(64, np.uint8), block))
    for short, sound in ((0, True), (1, False)):
        reading = read_fields(geometry, [stretch(cells[: len(cells) - short], False)])
        assert (reading.blocks.sound.tolist(), reading.blocks.cut.tolist()) == ([sound], [not sound])
        assert len(read_fields(geometry, [stretch(identifier[: len(identifier) - short], False)]).identifiers) == sound


@pytest.mark.parametrize("name", [name for name in IDS if registry.geometry(name).block.tag and registry.geometry(name).block.mark.lead])
def test_a_mark_whose_tag_can_be_seen_is_known_by_it(name):
    """Up to the tag's last cell what an end cuts off may be a block; then it is an identifier, and no block. In FM mark and tag are one."""
    geometry, identifier, _ = first_sector(name)
    tag = {"gcr4to5": 10 + 10, "mfm": 48 + 16}[geometry.code]
    for seen, blocks in ((tag - 1, [True]), (tag, []), (tag + 1, [])):
        reading = read_fields(geometry, [stretch(identifier[:seen], False)])
        assert reading.blocks.cut.tolist() == blocks


def test_no_stretches_hold_no_fields():
    reading = read_fields(registry.geometry("gcr4to5-35z"), [])
    assert len(reading.identifiers) == len(reading.blocks) == 0
