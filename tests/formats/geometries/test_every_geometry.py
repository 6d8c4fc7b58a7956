"""Every declared geometry: what its id says, what sources say of it, and that its records and tracks hold together.

The fixture `geometry` is every one that is declared here or by an installed package; `declared` those of this repository, which are held
to the tables of published numbers below.
"""

import binascii
import math
import re
from dataclasses import replace
from fractions import Fraction
from functools import cache, partial
from itertools import pairwise

import numpy as np
import pytest

from formats import registry
from formats.errors import DefinitionError
from formats.model.geometry import Address, Gap, Geometry, Zone
from formats.model.proof import prove
from formats.model.radius import INNERMOST as INNERMOST_PUBLISHED
from formats.model.radius import innermost
from formats.model.record import Record, dtype_of, fields_of, struct_of
from formats.source import Source
from formats.tracks.encode import build_rows, encode_side
from formats.tracks.reading import Stretch, read_fields

IDS = registry.names("geometries")
DECLARED = registry.names("geometries", foreign=False)

# Capacity, first track and sector: user manuals of the zoned drives (683 and 690 blocks, "170 K"), firmware listings (2083 and 4166
# blocks on 77 tracks; 40 tracks from memory), a textbook on the 16-sector system (35 x 16 x 256, 35 x 13 x 256), the FAT12 media table
# (160 K to 1.2 M), products of the tracks, sectors and bytes of the standards (CV091 to CV093). Whole cells of a turn: 60 / rpm over
# the cell length, computed.
PUBLISHED = {
    "fm-40x16x128": (81_920, 0, 1, {0: 50_000, 39: 50_000}),
    "fm-40x18x128": (92_160, 0, 1, {0: 50_000, 39: 50_000}),
    "fm-40x18x128-288rpm": (92_160, 0, 1, {0: 52_083, 39: 52_083}),
    "fm-40x10x256": (102_400, 0, 0, {0: 50_000, 39: 50_000}),
    "gcr4to5-35z": (174_848, 1, 0, {0: 61_538, 16: 61_538, 17: 57_142, 24: 53_333, 30: 50_000, 34: 50_000}),
    "gcr4to5-35z20": (176_640, 1, 0, {0: 61_538, 17: 57_142, 24: 53_333, 34: 50_000}),
    "gcr4to5-40z": (196_608, 1, 0, {0: 61_538, 17: 57_142, 24: 53_333, 39: 50_000}),
    "gcr4to5-77z": (533_248, 1, 0, {0: 92_307, 38: 92_307, 39: 85_714, 53: 80_000, 64: 75_000, 76: 75_000}),
    "gcr4to5-77z-2s": (1_066_496, 1, 0, {0: 92_307, 38: 92_307, 39: 85_714, 53: 80_000, 64: 75_000, 76: 75_000}),
    "gcr5and3-35x13x256": (116_480, 0, 0, {0: 50_000, 34: 50_000}),
    "gcr6and2-35x16x256": (143_360, 0, 0, {0: 50_000, 34: 50_000}),
    "mfm-40x8x512": (163_840, 0, 1, {0: 100_000, 39: 100_000}),
    "mfm-40x8x512-2s": (327_680, 0, 1, {0: 100_000, 39: 100_000}),
    "mfm-40x9x512": (184_320, 0, 1, {0: 100_000, 39: 100_000}),
    "mfm-40x9x512-2s": (368_640, 0, 1, {0: 100_000, 39: 100_000}),
    "mfm-40x10x512-2s": (409_600, 0, 1, {0: 100_000, 39: 100_000}),
    "mfm-40x16x256-2s": (327_680, 0, 1, {0: 100_000, 39: 100_000}),
    "mfm-40x18x256": (184_320, 0, 1, {0: 100_000, 39: 100_000}),
    "mfm-40x26x128-288rpm": (133_120, 0, 1, {0: 104_166, 39: 104_166}),
    "mfm-80x16x256-2s": (655_360, 0, 1, {0: 100_000, 79: 100_000}),
    "mfm-80x9x512-2s": (737_280, 0, 1, {0: 100_000, 79: 100_000}),
    "mfm-80x5x1024-2s": (819_200, 0, 1, {0: 100_000, 79: 100_000}),
    "mfm-80x15x512-2s": (1_228_800, 0, 1, {0: 166_666, 79: 166_666}),
    "mfm-77x8x1024-2s": (1_261_568, 0, 1, {0: 166_666, 76: 166_666}),
}

# Margins in percent, as computed from the published gaps: how much faster a drive may turn before the last check meets the index.
# On 20 sectors of 354 bytes 0.89 would be left without any gap.
MARGINS = {
    "fm-40x16x128": [2.32],
    "fm-40x18x128": [1.89],
    "fm-40x18x128-288rpm": [2.49],
    "fm-40x10x256": [0.97],
    "gcr4to5-35z": [1.29, 1.58, 1.38, 1.43],
    "gcr4to5-35z20": [1.29, 0.62, 1.38, 1.43],
    "gcr4to5-40z": [1.29, 1.58, 1.38, 1.43],
    "gcr4to5-77z": [1.50, 1.50, 1.34, 1.57],
    "gcr4to5-77z-2s": [1.50, 1.50, 1.34, 1.57],
    "gcr5and3-35x13x256": [2.91],
    "gcr6and2-35x16x256": [1.29],
    "mfm-40x8x512": [17.97],
    "mfm-40x8x512-2s": [17.97],
    "mfm-40x9x512": [5.01],
    "mfm-40x9x512-2s": [5.01],
    "mfm-40x10x512-2s": [1.53],
    "mfm-40x16x256-2s": [3.41],
    "mfm-40x18x256": [0.61],
    "mfm-40x26x128-288rpm": [15.51],
    "mfm-80x16x256-2s": [3.41],
    "mfm-80x9x512-2s": [5.01],
    "mfm-80x5x1024-2s": [3.48],
    "mfm-80x15x512-2s": [4.88],
    "mfm-77x8x1024-2s": [7.99],
}


# Least counts of the gaps that a controller or a formatter insists on, in the order of a sector: FD179X-02 data sheet (MFM: 8 x 00,
# 22 x 4E, 12 x 00, 24 x 4E; FM: 4 x 00, 11 x FF, 6 x 00, 10 x FF); firmware listings (gap1 8 in the first ROM, gap2 4; on 77 tracks 19
# and 18); listings of the 16-sector routines (5 self-syncs); 7 of nine cells frame a byte from any of its cells (computed). 20 sectors
# leave no room for a gap2 of 4. Two formatters write a shorter data gap than that data sheet asks for: 9 by the tables of double-density controllers, 22 from
# memory.
MINIMA = {"fm": [4, 11, 6, 10], "mfm": [8, 22, 12, 24], "gcr4to5": [8, 4], "gcr5and3": [7, 7], "gcr6and2": [5, 5]}
MINIMA |= {"fm-40x18x128": [4, 11, 6, 9], "mfm-40x26x128-288rpm": [8, 22, 12, 22]}
MINIMA |= {"gcr4to5-35z20": [8, 1], "gcr4to5-77z": [19, 18], "gcr4to5-77z-2s": [19, 18]}

USUAL_RPM = {"mfm-80x15x512-2s": 360, "mfm-77x8x1024-2s": 360}  # ECMA-99: high density; elsewhere 300 where the id says nothing


@pytest.fixture(params=IDS)
def geometry(request) -> Geometry:
    return registry.geometry(request.param)


@pytest.fixture(params=DECLARED)
def declared(request) -> Geometry:
    return registry.geometry(request.param)


@pytest.fixture
def dump(geometry) -> bytes:
    return np.random.default_rng(5).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()


def identity(geometry: Geometry) -> dict[str, int]:
    return geometry.identity_values(b"SM", 254)


def test_every_declared_geometry_is_held_to_a_published_number():
    assert set(PUBLISHED) == set(MARGINS) == set(LAID_BY_HAND) == set(DECLARED)


def test_the_id_says_what_is_declared(geometry):
    match = re.fullmatch(r"(fm|mfm|gcr\dto\d|gcr\dand\d)-(\d+)(z\d*|x(\d+)x(\d+))(-2s)?(-\d+rpm)?", geometry.id)
    assert match is not None
    assert geometry.code == match[1]
    assert geometry.cylinders == int(match[2])
    assert geometry.heads == (2 if match[6] else 1)
    if match[3].startswith("z"):
        assert len({zone.sectors for zone in geometry.zones}) > 1
        assert not match[3][1:] or geometry.zones[1].sectors == int(match[3][1:])
    else:
        assert [(zone.sectors, geometry.size) for zone in geometry.zones] == [(int(match[4]), int(match[5]))]
    assert geometry.rpm == (int(match[7][1:-3]) if match[7] else USUAL_RPM.get(geometry.id, 300))


def test_capacity_numbering_and_turns_are_as_published(declared):
    dump_bytes, first_track, first_sector, cells = PUBLISHED[declared.id]
    assert declared.dump_bytes == dump_bytes == len(declared.addresses) * declared.size
    assert (declared.first_track, declared.first_sector) == (first_track, first_sector)
    assert {cylinder: declared.track_cells(cylinder) for cylinder in cells} == cells


def test_the_speed_margin_is_the_one_computed_from_the_published_gaps(declared):
    assert [round(100 * declared.speed_margin(zone), 2) for zone in declared.zones] == MARGINS[declared.id]


def test_the_least_gaps_are_the_controllers(declared):
    assert [gap.minimum for gap in declared.sector if isinstance(gap, Gap)] == MINIMA.get(declared.id, MINIMA[declared.code])


def test_the_gap_between_identifier_and_block_is_what_a_controller_says(declared):
    """FD179X-02 data sheet: gap II and the sync behind it as they are written, and no less."""
    written = {"fm": [11, 6], "mfm": [22, 12]}
    if declared.code in written:
        gap, sync = [gap for gap in declared.sector if isinstance(gap, Gap)][1:3]
        assert [gap.count, sync.count] == [gap.minimum, sync.minimum] == written[declared.code]


def test_a_block_s_mark_comes_as_soon_as_a_controller_asks(declared):
    """FD179X-02 data sheet: within 30 bytes of an identifier's check, MFM 43: the greatest gap, the sync and the mark itself."""
    most = {"fm": 30, "mfm": 43}
    if declared.code in most:
        gap, sync = [gap for gap in declared.sector if isinstance(gap, Gap)][1:3]
        assert gap.maximum + sync.count + (1 if declared.code == "fm" else 4) == most[declared.code]
    else:
        assert not any(gap.maximum for gap in declared.sector if isinstance(gap, Gap))


def test_the_least_index_gap_is_the_controllers(declared):
    """FD179X-02 data sheet, gap I: from the start of the track at least 16 x FF before the first sector, MFM 32 x 4E."""
    gaps = [gap for gap in declared.lead if isinstance(gap, Gap)]
    assert all(gap.minimum == gap.maximum == 0 for gap in gaps)
    least = [*[0] * (len(gaps) - 1), {"fm": 16, "mfm": 32}[declared.code]] if gaps else []
    assert [gap.from_start for gap in gaps] == least
    assert all(gap.from_start == 0 for gap in declared.sector if isinstance(gap, Gap))


def test_the_least_gap_at_the_end_is_the_controllers(declared):
    """FD179X-02 data sheet, gap IV: at least 16 bytes up to the index hole; two formatters leave less (sums of their bytes). Drives for
    group codes look for no index hole."""
    least = {"fm-40x10x256": 9, "mfm-40x18x256": 14}.get(declared.id, 16 if declared.code in ("fm", "mfm") else 0)
    assert (declared.tail.minimum, declared.tail.maximum, declared.tail.from_start) == (least, 0, 0)


def test_every_geometry_names_its_sources(geometry):
    assert geometry.sources
    assert all(source.title and source.section for source in geometry.sources)


def test_the_discs_needs_are_stated(geometry):
    """48 tracks per inch for 35 and 40 tracks, 100 for 77 of the zoned drives, 96 for more (ECMA-78, ECMA-99); 300 Oe for all single- and
    double-density discs, 600 for high density; group-coded drives need no index hole."""
    assert geometry.tpi == (48 if geometry.cylinders <= 40 else 100 if geometry.code == "gcr4to5" else 96)
    assert geometry.coercivity == ("600 Oe" if geometry.rpm == 360 else "300 Oe")
    assert geometry.index == geometry.id.startswith(("fm", "mfm"))


# Radii of the innermost tracks in millimetres and their flux changes an inch: drives' data sheets (5876, 5922, 9646 and 2581 of FM's bits),
# the others computed (CV129).
INNERMOST = {
    "mfm-40x9x512": (36.513, 5536),
    "mfm-40x9x512-2s": (34.395, 5877),
    "mfm-80x9x512-2s": (34.131, 5922),
    "mfm-77x8x1024-2s": (34.925, 9646),
    "mfm-80x15x512-2s": (34.131, 9870),
    "gcr4to5-35z": (39.158, 5162),
}


@pytest.mark.parametrize("name", INNERMOST)
def test_innermost_tracks_lie_where_their_published_densities_have_them(name):
    geometry = registry.geometry(name)
    radius, density = INNERMOST[name]
    assert abs(innermost(geometry) - radius) < 0.001
    shortest = {"mfm": 2, "gcr4to5": 1}[geometry.code]  # cells from one transition to the next, at the least
    changes = geometry.exact_cells(geometry.zones[-1]) / shortest
    assert abs(float(changes) / (2 * math.pi * innermost(geometry) / 25.4) - density) < 1.5


def test_no_declared_track_lies_further_in_than_published_ones(declared):
    assert innermost(declared) >= INNERMOST_PUBLISHED


def test_addresses_are_unique_and_places_are_their_inverse(geometry):
    assert len(set(geometry.addresses)) == len(geometry.addresses)
    assert [geometry.places[address] for address in geometry.addresses] == list(range(len(geometry.addresses)))


def test_the_plain_form_is_the_same_geometry(geometry):
    assert Geometry.from_plain(geometry.plain()) == geometry


def test_better_words_for_a_source_make_no_other_geometry(geometry):
    """Else a corrected citation would change the digest of every master that is built again, and its batches would be refused."""
    told = replace(geometry, sources=(*geometry.sources, Source("A newer edition", "the same section", "looked up")))
    assert told == geometry and told.plain() == geometry.plain()


# Orders


def test_the_zoned_dump_holds_track_18_at_block_357():
    """CV130, CV131: running sums of the zone table."""
    places = registry.geometry("gcr4to5-35z").places
    assert places[Address(18, 0, 0)] == 357
    assert places[Address(35, 0, 16)] == 682


def test_the_zones_of_77_tracks_begin_where_the_listings_have_them():
    """CV132: tracks 39, 40, 54, 65 begin at blocks 1102, 1131, 1509, 1784; on two heads track 78, the first of head 1, at 2083."""
    one, two = registry.geometry("gcr4to5-77z"), registry.geometry("gcr4to5-77z-2s")
    for geometry in (one, two):
        assert [geometry.places[Address(track, 0, 0)] for track in (39, 40, 54, 65)] == [1102, 1131, 1509, 1784]
    assert [two.places[Address(track, 1, 0)] for track in (78, 78 + 39, 78 + 53, 78 + 64)] == [
        2083 + each for each in (0, 1131, 1509, 1784)
    ]
    assert two.addresses[-1] == Address(154, 1, 22)


def test_the_first_generation_has_20_sectors_on_tracks_18_to_24():
    """Firsts of the zones: 0, 357, 497, 605, 690 blocks in all."""
    geometry = registry.geometry("gcr4to5-35z20")
    assert [geometry.places[Address(track, 0, 0)] for track in (1, 18, 25, 31)] == [0, 357, 497, 605]
    assert geometry.addresses[-1] == Address(35, 0, 16) and geometry.places[geometry.addresses[-1]] == 689


def test_13_sectors_pass_the_head_every_tenth_number():
    """CV113: 0 A 7 4 1 B 8 5 2 C 9 6 3, plus ten modulo 13; from memory. A dump holds them as numbered."""
    geometry = registry.geometry("gcr5and3-35x13x256")
    assert list(geometry.order) == [10 * place % 13 for place in range(13)]
    assert [address.sector for address in geometry.addresses[:14]] == [*range(13), 0]


def test_file_order_and_block_order_are_the_firmwares():
    """CV110, CV112, CV133: 0 D B 9 7 5 3 1 E C A 8 6 4 2 F; rule -2i mod 15, F fixed; blocks hold neighbouring file-order pairs."""
    geometry = registry.geometry("gcr6and2-35x16x256")
    assert [address.sector for address in geometry.addresses[:16]] == [(-2 * place) % 15 for place in range(15)] + [15]
    assert geometry.places[Address(17, 0, 0)] * 256 == 69_632
    blocks = geometry.image_order("block-order")
    assert blocks is not None
    pairs = [f"{geometry.places[blocks[2 * block]] % 16:X}{geometry.places[blocks[2 * block + 1]] % 16:X}" for block in range(8)]
    assert pairs == ["0E", "DC", "BA", "98", "76", "54", "32", "1F"]


def test_two_heads_alternate_by_cylinder():
    """CV135: cylinder, head, sector (0,0,1) (0,1,1) (1,0,1) (39,1,9) are sectors 0, 9, 18, 719."""
    places = registry.geometry("mfm-40x9x512-2s").places
    assert [places[Address(*address)] for address in ((0, 0, 1), (0, 1, 1), (1, 0, 1), (39, 1, 9))] == [0, 9, 18, 719]


def test_cylinders_of_fifteen_sectors_and_two_heads():
    """CV136: sector 1234 of the high-density disc, counted from 0, is cylinder 41, head 0, sector 5."""
    assert registry.geometry("mfm-80x15x512-2s").addresses[1234] == Address(41, 0, 5)


@pytest.mark.parametrize(("name", "last"), [("fm-40x18x128-288rpm", 18), ("mfm-40x26x128-288rpm", 26)])
def test_at_288_rpm_the_odd_sectors_pass_first(name, last):
    """From memory; a dump holds them as they are numbered all the same."""
    geometry = registry.geometry(name)
    assert geometry.order == (*range(1, last, 2), *range(2, last + 1, 2))
    assert [address.sector for address in geometry.addresses[:last]] == list(range(1, last + 1))


def test_orders_of_ready_images():
    two_heads, one_head = registry.geometry("mfm-40x9x512-2s"), registry.geometry("mfm-40x9x512")
    apart = two_heads.image_order("heads-apart")
    assert apart is not None
    assert [apart[360], apart[-1]] == [Address(0, 1, 1), Address(39, 1, 9)]
    assert one_head.image_order("heads-apart") is None
    assert one_head.image_order("block-order") is None
    assert one_head.image_order("as-numbered") == one_head.addresses
    backwards = one_head.image_order(tuple(range(9, 0, -1)))
    assert backwards is not None and backwards[0] == Address(0, 0, 9)
    assert one_head.image_order((1, 2, 3)) is None


# Records


@pytest.fixture
def records(geometry) -> list[Record]:
    """Those that hold anything: the index mark of FM is a mark alone."""
    return [each for each in (*geometry.lead, *geometry.sector) if isinstance(each, Record) and each.fields]


def test_each_record_is_the_same_in_all_three_forms(geometry, dump, records):
    """construct's bytes, the numpy rows and the plain fields agree for the first and the last sector."""
    count = len(geometry.addresses)
    place = np.array(geometry.addresses, np.uint8)
    values = {"track": place[:, 0], "head": place[:, 1], "sector": place[:, 2], **identity(geometry)}
    values["body"] = np.frombuffer(dump, np.uint8).reshape(count, -1)
    for record in records:
        rows = build_rows(record, values, count if record.name != "index" else 1)
        for row in (rows[0], rows[-1]):
            parsed = record.struct.parse(row.tobytes())
            assert record.struct.build(parsed) == row.tobytes()
            seen = row.view(dtype_of(record.fields))[0]
            for field in record.fields:
                on_track = ~seen[field.name] if field.complemented else seen[field.name]
                assert parsed[field.name] == (int(on_track) if field.kind == "uint" else on_track.tobytes())
        assert fields_of(struct_of(record.fields)) == record.fields


# Tracks


SELF_SYNC = "1111111100"  # FF in ten cells: textbook on the 16-sector system, chapter 3


def bits(text: str) -> str:
    """Bytes in hexadecimal as cells."""
    return "".join(f"{byte:08b}" for byte in bytes.fromhex(text))


def cells_of(geometry: Geometry, dump: bytes, chosen: list[int]) -> list[str]:
    """The cells of some tracks of a side; those of all have the right length."""
    tracks = encode_side(geometry, dump, identity(geometry))
    counts = [geometry.track_cells(cylinder) for cylinder in range(geometry.cylinders) for _ in range(geometry.heads)]
    assert [len(track) for track in tracks] == [(count + 7) // 8 for count in counts]
    return [f"{int.from_bytes(tracks[each], 'big'):0{len(tracks[each]) * 8}b}"[: counts[each]] for each in chosen]


def test_a_side_is_read_back_as_it_was_written(geometry, dump):
    tracks = encode_side(geometry, dump, identity(geometry))
    sides = [(cylinder, head) for cylinder in range(geometry.cylinders) for head in range(geometry.heads)]
    stretches = [Stretch(track, geometry.track_cells(cylinder), True) for track, (cylinder, _) in zip(tracks, sides, strict=True)]
    reading = read_fields(geometry, stretches)
    found, blocks = reading.identifiers, reading.blocks
    assert len(found) == len(blocks) == len(geometry.addresses)
    assert found.sound.all() and blocks.sound.all() and not blocks.deleted.any()
    bodies, read = blocks.bodies(), {}
    for number, block in enumerate(reading.block_of):
        head = sides[found.stretch[number]][1]
        address = Address(int(found.number("track")[number]), head, int(found.number("sector")[number]))
        assert geometry.cylinder(address.track, head) == sides[found.stretch[number]][0]
        read[address] = bodies[block].tobytes()
    assert b"".join(read[address] for address in geometry.addresses) == dump
    for name, value in identity(geometry).items():
        assert (found.number(name) == value).all()


# Cells between two transitions, by the rule of each code (CV137 to CV141).
INTERVALS = {"fm": {1, 2}, "mfm": {2, 3, 4}, "gcr4to5": {1, 2, 3}, "gcr5and3": {1, 2}, "gcr6and2": {1, 2, 3}}


def test_transitions_are_as_far_apart_as_the_code_allows(geometry, dump):
    """The turn's end meets its start in the gap, where a cut fill may leave a little more; marks of MFM keep to the rule too."""
    for cells in cells_of(geometry, dump, [0, geometry.cylinders * geometry.heads - 1]):
        ones = [place for place, cell in enumerate(cells) if cell == "1"]
        assert {after - before for before, after in pairwise(ones)} <= INTERVALS[geometry.code]


def mfm(data: bytes, before: int = 0) -> str:
    """Cells by the rule, bit by bit: a clock only between two zeros."""
    cells = ""
    for bit in bits(data.hex()):
        cells += ("1" if not before and bit == "0" else "0") + bit
        before = int(bit)
    return cells


def fm(data: bytes) -> str:
    """Cells by the rule, bit by bit: a clock always."""
    return "".join("1" + bit for bit in bits(data.hex()))


def word(text: str) -> bytes:
    """The check word of a field: FD179X-02 data sheet, here by Python's own function for that polynomial."""
    return binascii.crc_hqx(bytes.fromhex(text), 0xFFFF).to_bytes(2, "big")


FM_MARKS = {0xFC: "F77A", 0xFE: "F57E", 0xFB: "F56F", 0xF8: "F56A"}  # CV032 to CV035
FULL_LEAD = {"fm": (40, 26), "mfm": (80, 50)}  # with the index mark: 73 and 146 bytes

# The controllers' formats: FD179X-02 data sheet (gaps of 27 for FM 16 x 128, 54 for MFM 16 x 256), the tables of double-density controllers (in hexadecimal: 09, 50
# for 8 and 9 x 512, 74 for 1024, 54 for 15 x 512), a looked-up track of 18 x 256, the others from memory. Gap before and behind the index
# mark (0: no mark), data gap, bytes left behind the last data gap (CV098 to CV101 and the sums of each format).
FORMATS = {
    "fm-40x16x128": (40, 26, 27, 44),
    "fm-40x18x128": (16, 0, 9, 49),
    "fm-40x18x128-288rpm": (40, 0, 14, 65),
    "fm-40x10x256": (16, 0, 21, 9),
    "mfm-40x8x512": (80, 50, 80, 872),
    "mfm-40x8x512-2s": (80, 50, 80, 872),
    "mfm-40x9x512": (80, 50, 80, 218),
    "mfm-40x9x512-2s": (80, 50, 80, 218),
    "mfm-40x10x512-2s": (80, 50, 30, 64),
    "mfm-40x16x256-2s": (80, 50, 54, 152),
    "mfm-40x18x256": (32, 32, 24, 14),
    "mfm-40x26x128-288rpm": (80, 50, 22, 852),
    "mfm-80x16x256-2s": (80, 50, 54, 152),
    "mfm-80x9x512-2s": (80, 50, 80, 218),
    "mfm-80x5x1024-2s": (80, 50, 116, 94),
    "mfm-80x15x512-2s": (80, 50, 84, 400),
    "mfm-77x8x1024-2s": (80, 50, 116, 654),
}


@cache
def soft_track(name: str, track: int, head: int, tag: int = 0xFB) -> str:
    """A track of zeros as its formatter lays it."""
    code, plan = name.split("-")[:2]
    _, sectors, size = map(int, plan.split("x"))
    first = PUBLISHED[name][2]
    numbers = sorted(range(first, first + sectors), key=lambda number: (number % 2 == 0, number) if "288rpm" in name else number)
    lay = fm_cells if code == "fm" else mfm_cells
    body = (b"\xff" if name == "fm-40x18x128-288rpm" else b"\0") * size  # from memory: that disc holds the complement
    length = {128: 0, 256: 1, 512: 2, 1024: 3}[size]
    cells = lay([(bytes([track, head, number, length]), body) for number in numbers], *FORMATS[name], tag)
    turn = PUBLISHED[name][3][0]
    assert turn - 16 < len(cells) <= turn  # what is left is less than a byte of the tail, because the turn is no whole number of bytes
    cells = (cells + lay([], *FORMATS[name], tag)[:32])[:turn]
    return "0" + cells[1:] if code == "mfm" and cells[-1] == "1" else cells  # the turn's end meets its start


def fm_cells(sectors: list[tuple[bytes, bytes]], before: int, after: int, gap: int, left: int, tag: int) -> str:
    cells = fm(b"\xff" * before) + (fm(bytes(6)) + bits(FM_MARKS[0xFC]) + fm(b"\xff" * after) if after else "")
    for identifier, block in sectors:
        cells += fm(bytes(6)) + bits(FM_MARKS[0xFE]) + fm(identifier + word("FE" + identifier.hex()))
        cells += fm(b"\xff" * 11 + bytes(6)) + bits(FM_MARKS[tag]) + fm(block + word(f"{tag:02X}" + block.hex())) + fm(b"\xff" * gap)
    return cells + fm(b"\xff" * left)


def mfm_cells(sectors: list[tuple[bytes, bytes]], before: int, after: int, gap: int, left: int, tag: int) -> str:
    a1, c2 = bits("4489" * 3), bits("5224" * 3)  # CV050, CV051
    cells = mfm(b"\x4e" * before + bytes(12)) + c2 + mfm(b"\xfc" + b"\x4e" * after, 0)
    for identifier, block in sectors:
        for ahead, field in ((b"", b"\xfe" + identifier), (b"\x4e" * 22, bytes([tag]) + block)):
            cells += mfm(ahead + bytes(12), int(cells[-1])) + a1 + mfm(field + word("A1A1A1" + field.hex()), 1)
        cells += mfm(b"\x4e" * gap, int(cells[-1]))
    return cells + mfm(b"\x4e" * left, int(cells[-1]))


WORDS_4TO5 = ["0A", "0B", "12", "13", "0E", "0F", "16", "17", "09", "19", "1A", "1B", "0D", "1D", "1E", "15"]  # firmware listings


@cache
def group_4to5(data: bytes) -> str:
    return "".join(f"{int(WORDS_4TO5[int(digit, 16)], 16):05b}" for digit in data.hex())


@cache
def zoned_track(track: int, sectors: int, gap: int, cells_of_turn: int, gap1: int = 9) -> str:
    """The formatter's track of zeros: sync 5 x FF, header, gap1 9 x 55 (77 tracks: 19), sync, block, gap2 by zone. Firmware listings."""
    cells = ""
    for sector in range(sectors):
        id1, id2 = b"SM"
        header = bytes([8, sector ^ track ^ id2 ^ id1, sector, track, id2, id1, 0x0F, 0x0F])
        cells += "1" * 40 + group_4to5(header) + bits("55" * gap1) + "1" * 40 + group_4to5(b"\7" + bytes(259)) + bits("55" * gap)
    return (cells + bits("55" * 400))[:cells_of_turn]


def pair(*values: int) -> str:
    return "".join(f"{value >> 1 | 0xAA:08b}{value | 0xAA:08b}" for value in values)


def sixteen_sector_track(track: int) -> str:
    """The formatter's track of zeros: D5 AA 96, volume, track, sector, check, DE AA EB, 5 syncs, D5 AA AD, 343 x 96 (CV071), DE AA EB,
    14 syncs (14 to 24 by the textbook)."""
    cells = ""
    for sector in range(16):
        cells += bits("D5 AA 96") + pair(254, track, sector, 254 ^ track ^ sector) + bits("DE AA EB") + SELF_SYNC * 5
        cells += bits("D5 AA AD" + "96" * 343 + "DE AA EB") + SELF_SYNC * 14
    return (cells + SELF_SYNC * 50)[:50_000]


def thirteen_sector_track(track: int) -> str:
    """The same for 13 sectors: D5 AA B5, nine-cell self-syncs (10 and 24: a textbook's 5 to 10 and 14 to 24), 411 x AB (CV077), every
    tenth number."""
    self_sync, cells = "111111110", ""
    for place in range(13):
        sector = 10 * place % 13
        cells += bits("D5 AA B5") + pair(254, track, sector, 254 ^ track ^ sector) + bits("DE AA EB") + self_sync * 10
        cells += bits("D5 AA AD" + "AB" * 411 + "DE AA EB") + self_sync * 24
    return (cells + self_sync * 200)[:50_000]


Zones = dict[int, tuple[int, ...]]
ZONED: Zones = {
    1: (21, 8, 61_538),
    18: (19, 17, 57_142),
    25: (18, 12, 53_333),
    31: (17, 9, 50_000),
}  # first track: sectors, gap2 (CV097), cells
ZONED_20 = ZONED | {18: (20, 1, 57_142)}  # 3 bytes a sector are left at most
ZONED_77: Zones = {1: (29, 29, 92_307, 19), 40: (27, 28, 85_714, 19), 54: (25, 32, 80_000, 19), 65: (23, 39, 75_000, 19)}  # and gap1


def zoned_side(zones: Zones, tracks: int, cylinder: int, head: int) -> str:
    """A track of a drive whose tracks count from 1, those of head 1 on from head 0's; the same zones on both heads."""
    zone = zones[max(first for first in zones if first <= cylinder + 1)]
    return zoned_track(cylinder + 1 + head * tracks, *zone)


LAID_BY_HAND = {  # by cylinder and head
    "gcr4to5-35z": partial(zoned_side, ZONED, 35),
    "gcr4to5-35z20": partial(zoned_side, ZONED_20, 35),
    "gcr4to5-40z": partial(zoned_side, ZONED, 40),
    "gcr4to5-77z": partial(zoned_side, ZONED_77, 77),
    "gcr4to5-77z-2s": partial(zoned_side, ZONED_77, 77),
    "gcr5and3-35x13x256": lambda cylinder, _: thirteen_sector_track(cylinder),
    "gcr6and2-35x16x256": lambda cylinder, _: sixteen_sector_track(cylinder),
    **{name: partial(soft_track, name) for name in FORMATS},
}


def test_a_side_of_zeros_is_laid_out_cell_by_cell_as_its_formatter_does(declared):
    """Every cell of some tracks against tracks that are laid by hand above, from the sources named there."""
    sides = [(cylinder, head) for cylinder in range(declared.cylinders) for head in range(declared.heads)]
    chosen = [*(each for each in (0, 1, 17, 24, 30, 39, 53, 64, 78, 106, 128) if each < len(sides) - 1), len(sides) - 1]
    for track, cells in zip(chosen, cells_of(declared, bytes(declared.dump_bytes), chosen), strict=True):
        assert cells == LAID_BY_HAND[declared.id](*sides[track])


def test_deleted_data_is_read_as_such(declared):
    """FD179X-02 data sheet: F8 instead of FB marks deleted data, its check made anew. Group codes have no such mark."""
    if declared.id not in FORMATS:
        assert declared.block.deleted == b""
        return
    cells = soft_track(declared.id, 0, 0, 0xF8)
    packed = np.packbits(np.frombuffer(cells.encode(), np.uint8) - ord("0")).tobytes()
    blocks = read_fields(declared, [Stretch(packed, len(cells), True)]).blocks
    assert len(blocks) == declared.zones[0].sectors and blocks.sound.all() and blocks.deleted.all()


# CV052, CV053, CV067, CV070, and CV011 in cells: whole identifiers with their checks, computed by hand.
KNOWN = {
    "fm-40x16x128": "F5 7E AA AA AA AA AA AB AA AA FB AE FA AF",  # track 0, head 0, sector 1, length code 0, CRC D2C3
    "mfm-40x9x512": "44 89 44 89 44 89 55 54 AA AA AA AA AA A9 2A A4 52 44 94 55",  # track 0, head 0, sector 1, length code 2, CRC CA6F
    "gcr4to5-35z": "52 57 35 29 72 9A E6 A5 55 55",  # track 18, sector 0, disc id "01"
    "gcr5and3-35x13x256": "D5 AA B5 FF FE AA BB AA AA FF EF DE AA EB",  # the same on 13 sectors
    "gcr6and2-35x16x256": "D5 AA 96 FF FE AA BB AA AA FF EF DE AA EB",  # volume 254, track 17, sector 0
}


@pytest.mark.parametrize("name", KNOWN)
def test_known_fields_stand_where_they_should(name):
    geometry = registry.geometry(name)
    tracks = encode_side(geometry, bytes(geometry.dump_bytes), geometry.identity_values(b"01", 254))
    assert bits(KNOWN[name]) in "".join(f"{byte:08b}" for track in tracks for byte in track)


# CRCs of whole identifiers and of blocks full of one byte, computed four ways, some published (CV010 to CV031).
IDENTIFIER_WORDS = {
    "fm-40x16x128": ((39, 0, 16), 0x84E2),
    "fm-40x18x128": ((39, 0, 18), 0xE280),
    "fm-40x18x128-288rpm": ((39, 0, 18), 0xE280),
    "fm-40x10x256": ((39, 0, 9), 0x2D28),
    "mfm-40x16x256-2s": ((39, 1, 1), 0xAB5F),  # read from a real disc
    "mfm-40x18x256": ((0, 0, 1), 0xFA0C),
    "mfm-40x9x512-2s": ((39, 1, 9), 0x1295),
    "mfm-80x16x256-2s": ((39, 1, 16), 0x9B1D),
    "mfm-80x15x512-2s": ((79, 1, 15), 0x6422),
    "mfm-80x5x1024-2s": ((79, 1, 5), 0x9BC8),
}
BLOCK_WORDS = {("fm", 128): 0x5D30, ("fm", 256): 0xA40C, ("mfm", 256): 0x7827, ("mfm", 512): 0xC40B, ("mfm", 1024): 0x1B30}


@pytest.mark.parametrize("name", FORMATS)
def test_check_words_are_the_computed_and_published_ones(name):
    geometry = registry.geometry(name)
    filler = 0x1A if name == "fm-40x18x128-288rpm" else 0xE5  # complemented on the disc
    tracks = encode_side(geometry, bytes([filler]) * geometry.dump_bytes, identity(geometry))
    reading = read_fields(geometry, [Stretch(track, geometry.track_cells(0), True) for track in tracks])
    wanted = BLOCK_WORDS.get((geometry.code, geometry.size))
    if wanted is not None:
        assert set(reading.blocks.number("crc").tolist()) == {wanted}
    if name in IDENTIFIER_WORDS:
        found, address = reading.identifiers, IDENTIFIER_WORDS[name][0]
        numbers = [found.number(each).tolist() for each in ("track", "head", "sector")]
        assert found.number("crc")[list(zip(*numbers, strict=True)).index(address)] == IDENTIFIER_WORDS[name][1]


# A declaration that contradicts itself


def changed(**changes):
    return prove(replace(registry.geometry("gcr4to5-35z"), **changes))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"zones": (Zone(1, 35, 22, Fraction(3250), gap=8),)}, r"22 sectors are 2,110 cells too long for one turn"),
        ({"zones": (Zone(1, 35, 21, Fraction(3250), gap=3),)}, r"a gap of 3 is below its minimum of 4"),
        ({"zones": (Zone(1, 17, 21, Fraction(3250), 8), Zone(19, 35, 17, Fraction(4000), 9))}, r"zone 19-35 does not follow on zone 1-17"),
        ({"zones": (Zone(1, 0, 21, Fraction(3250), 8),)}, r"zone 1-0 is empty"),
        ({"size": 512}, r"a body of 256 bytes in a geometry of 512"),
        ({"heads": 3}, r"3 heads"),
        ({"zones": (Zone(1, 35, 1, Fraction(3_250_000), gap=8),)}, r"1 sector is 2,771 cells too long for one turn"),
        ({"order": (0, 1, 2)}, r"the order 0 1 2 does not name each sector once"),
        ({"sector": registry.geometry("gcr4to5-35z").sector[:2]}, r"needs one identifier and one block"),
    ],
)
def test_a_declaration_that_contradicts_itself_is_refused(changes, said):
    with pytest.raises(DefinitionError, match=said):
        changed(**changes)
