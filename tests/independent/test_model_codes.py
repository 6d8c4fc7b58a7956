"""The model's codes against published values, before it judges anybody."""

import random
import zlib

import pytest
from model_capture import pack
from model_codes import A1, C2, FM_INDEX, FM_MARKS, bits, crc, five_and_three, fm, four_to_five, inverted, mfm, six_and_two
from model_encode import Sector, Style, block, cells_of, identifier
from model_fields import read_5and3, read_6and2
from model_geometry import GEOMETRIES
from model_judge import check_character, is_serial

PLAIN = Style(0)
# --- codes against published values -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "want"),
    [
        (b"123456789", "29B1"),  # the catalogues' check word of this CRC
        (b"\xa1\xa1\xa1", "CDB4"),
        (b"\xa1\xa1\xa1\xfe", "B230"),
        (b"\xa1\xa1\xa1\xfb", "E295"),
        (b"\xa1\xa1\xa1\xf8", "D2F6"),
        (b"\xfe\x00\x00\x00\x01", "F1D3"),  # a published track dump
        (b"\xfe\x00\x00\x0b\x01", "2D29"),
        (b"\xfe\x00\x00\x16\x01", "5806"),
        (b"\xf8" + b"\xe5" * 256, "E5B4"),
        (b"\xa1\xa1\xa1\xfe\x27\x01\x01\x01", "AB5F"),  # a published sector dump
        (b"\xa1\xa1\xa1\xfe\x00\x00\x01\x02", "CA6F"),
        (b"\xa1\xa1\xa1\xfe\x27\x01\x09\x02", "1295"),
        (b"\xa1\xa1\xa1\xfb" + b"\xe5" * 512, "C40B"),
        (b"\xa1\xa1\xa1\xfb" + bytes(512), "DA6E"),
        (b"\xa1\xa1\xa1\xf8" + bytes(512), "7B09"),
    ],
)
def test_crc(field, want):
    assert crc(field).hex().upper() == want


@pytest.mark.parametrize(
    ("data", "before", "want"),
    [
        (0xA1, "0", "44A9"), (0xC2, "0", "52A4"), (0x00, "0", "AAAA"), (0x00, "1", "2AAA"), (0x4E, "0", "9254"), (0xFF, "0", "5555"),
        (0xE5, "0", "5491"), (0xFE, "1", "5554"), (0xFB, "1", "5545"), (0xF8, "1", "554A"), (0xFC, "0", "5552"),
    ],
)  # fmt: skip
def test_mfm_cells(data, before, want):
    assert mfm(bytes([data]), before) == bits(bytes.fromhex(want))


@pytest.mark.parametrize(("data", "want"), [(0x00, "AAAA"), (0xFF, "FFFF"), (0xE5, "FEBB")])
def test_fm_cells(data, want):
    assert fm(bytes([data])) == bits(bytes.fromhex(want))


@pytest.mark.parametrize("tag", sorted(FM_MARKS))
def test_marks_in_fm_lack_three_clocks(tag):
    cells = FM_MARKS[tag]
    assert (int(cells[1::2], 2), int(cells[::2], 2)) == (tag, 0xC7)
    assert (int(FM_INDEX[1::2], 2), int(FM_INDEX[::2], 2)) == (0xFC, 0xD7)


@pytest.mark.parametrize(
    ("track", "sector", "check"),
    [(0, 0, "F1D3"), (0, 11, "2D29"), (0, 22, "5806")],  # a published track dump, of sectors of 256
)
def test_identifiers_in_fm(track, sector, check):
    cells = cells_of(identifier(GEOMETRIES["fm-40x10x256"], Sector(sector, track, 0, bytes(256)), PLAIN))
    assert cells == FM_MARKS[0xFE] + fm(bytes([track, 0, sector, 1]) + bytes.fromhex(check))


def test_a_deleted_block_in_fm():
    cells = cells_of(block(GEOMETRIES["fm-40x10x256"], Sector(1, 0, 0, b"\xe5" * 256, deleted=True), PLAIN))
    assert cells == FM_MARKS[0xF8] + fm(b"\xe5" * 256 + bytes.fromhex("E5B4"))


def test_a_complemented_block_has_the_check_of_what_stands_on_the_track():
    body = bytes(range(128))
    cells = cells_of(block(GEOMETRIES["fm-40x18x128-288rpm"], Sector(1, 0, 0, body), PLAIN))
    assert cells == FM_MARKS[0xFB] + fm(inverted(body) + crc(b"\xfb" + inverted(body)))


def test_marks_lack_one_clock():
    assert (A1, C2) == (bits(b"\x44\x89"), bits(b"\x52\x24"))


def test_a_whole_identifier_in_mfm():
    sector = Sector(1, 0, 0, bytes(512))
    want = "44 89 44 89 44 89 55 54 AA AA AA AA AA A9 2A A4 52 44 94 55"
    assert pack(cells_of(identifier(GEOMETRIES["mfm-40x9x512"], sector, PLAIN))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("track", "sector", "name", "want"),
    [
        (18, 0, "01", "52 57 35 29 72 9A E6 A5 55 55"),
        (1, 0, "AB", "52 55 25 29 4B 74 9C B5 55 55"),
        (17, 20, "A0", "52 6E E5 B9 6B 9A 9C B5 55 55"),
        (35, 16, "64", "52 66 B5 AA 53 9B A7 65 55 55"),
        (77, 22, "A0", "52 65 A5 D9 DD 9A 9C B5 55 55"),
    ],
)
def test_identifiers_in_4_to_5(track, sector, name, want):
    one = Sector(sector, track, 0, bytes(256), {"id1": ord(name[0]), "id2": ord(name[1])})
    assert pack(cells_of(identifier(GEOMETRIES["gcr4to5-35z"], one, PLAIN))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("body", "first", "last", "crc32"),
    [
        (bytes(256), "55 D4 A5 29 4A 52 94 A5 29 4A", "52 94 A5 29 4A 52 94 A5 29 4A", "D00C508C"),
        (bytes(range(256)), "55 D4 A5 2D 52 54 D4 E5 3D 56", "AE EA DA F6 BE AD 54 A5 29 4A", "FC676643"),
        (b"\xe5" * 256, "55 FC FF 3F CF F3 FC FF 3F CF", "F3 FC FF 3F CF F3 D4 A5 29 4A", "685230EB"),
        (b"\x4b" + b"\x01" * 255, "55 DD B5 2D 4B 52 D4 B5 2D 4B", "52 D4 B5 2D 4B 52 DD A5 29 4A", "25B2C0C8"),
    ],
)
def test_blocks_in_4_to_5(body, first, last, crc32):
    data = pack(cells_of(block(GEOMETRIES["gcr4to5-35z"], Sector(0, 1, 0, body), PLAIN)))
    assert (data[:10].hex(" ").upper(), data[-10:].hex(" ").upper(), f"{zlib.crc32(data):08X}") == (first, last, crc32)


@pytest.mark.parametrize(
    ("plain", "want"),
    [("00000000", "52 94 A5 29 4A"), ("12345678", "5C A6 E7 DA E9"), ("DEADBEEF", "EF B5 DD FB D5"), ("FFFFFFFF", "AD 6B 5A D6 B5")],
)
def test_4_to_5(plain, want):
    assert pack(four_to_five(bytes.fromhex(plain))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("volume", "track", "sector", "want"),
    [
        (254, 17, 0, "D5 AA 96 FF FE AA BB AA AA FF EF DE AA EB"),
        (254, 0, 0, "D5 AA 96 FF FE AA AA AA AA FF FE DE AA EB"),
        (1, 34, 15, "D5 AA 96 AA AB BB AA AF AF BE AE DE AA EB"),
    ],
)
def test_identifiers_in_4_and_4(volume, track, sector, want):
    one = Sector(sector, track, 0, bytes(256), {"volume": volume})
    assert pack(cells_of(identifier(GEOMETRIES["gcr6and2-35x16x256"], one, PLAIN))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("body", "first", "middle", "check", "crc32"),
    [
        (bytes(256), "96 96 96 96 96 96 96 96", "96 96 96 96 96", "96", "28A8E9E1"),
        (b"\xff" * 256, "FF 96 96 96 96 96 96 96", "96 96 96 96 96", "FF", "68248D34"),
        (bytes(range(256)), "9D E6 FF E6 FF E6 FF E6", "FF E6 EB 96 96", "FF", "336EAEB0"),
        (bytes(range(255, -1, -1)), "FB E6 FF E6 FF E6 FF E6", "FF E6 EB 96 96", "96", "D9D08558"),
        (b"\xe5" * 256, "E6 96 96 96 96 96 96 96", "96 96 B7 96 96", "F9", "28D51C64"),
        (b"\x01" + bytes(255), "9A 9A 96 96 96 96 96 96", "D6 D6 96 96 96", "96", "E3C25998"),
    ],
)
def test_6_and_2(body, first, middle, check, crc32):
    data = six_and_two(body)
    shown = (data[:8].hex(" ").upper(), data[84:89].hex(" ").upper(), data[342:].hex().upper(), f"{zlib.crc32(data):08X}")
    assert shown == (first, middle, check, crc32)


@pytest.mark.parametrize(
    ("volume", "track", "sector", "want"),
    [(254, 17, 0, "D5 AA B5 FF FE AA BB AA AA FF EF DE AA EB")],
)
def test_identifiers_of_13_sectors(volume, track, sector, want):
    one = Sector(sector, track, 0, bytes(256), {"volume": volume})
    assert pack(cells_of(identifier(GEOMETRIES["gcr5and3-35x13x256"], one, PLAIN))).hex(" ").upper() == want


BODIES = [bytes(256), b"\xff" * 256, bytes(range(256)), bytes(range(255, -1, -1)), b"\xe5" * 256, b"\x01" + bytes(255)]


@pytest.mark.parametrize(
    ("body", "first", "last", "check", "crc32"),
    [
        (BODIES[0], "AB AB AB AB AB AB AB AB", "AB", "AB", "B345007E"),
        (BODIES[1], "BA F5 AB AB AB AB AB AB", "AB", "FF", "C2CAEAA7"),
        (BODIES[2], "BA D7 EF DB EF FF EF DB", "FF", "FF", "A6DBB03B"),
        (BODIES[3], "AB ED EF DB EF FF EF DB", "FF", "AB", "B187A8A2"),
        (BODIES[4], "B6 DF AB AB AB AB AB AB", "AB", "FB", "34FBE7FB"),
        (BODIES[5], "AB AB AB AB AB AB AB AB", "AB", "AB", "FF0098C6"),
    ],
)
def test_5_and_3(body, first, last, check, crc32):
    data = five_and_three(body)
    assert len(data) == 411
    shown = (data[:8].hex(" ").upper(), data[409:410].hex().upper(), data[410:].hex().upper(), f"{zlib.crc32(data):08X}")
    assert shown == (first, last, check, crc32)


@pytest.mark.parametrize("body", [*BODIES, random.Random(1).randbytes(256)])
def test_what_a_group_code_made_is_read_again(body):
    for read, coded in ((read_6and2, six_and_two(body)), (read_5and3, five_and_three(body))):
        assert read("block", bits(b"\xd5\xaa\xad" + coded + b"\xde\xaa\x00"), False) == (True, {"body": body})


LENGTHS = {
    "fm-40x16x128": 81920, "fm-40x18x128": 92160, "fm-40x18x128-288rpm": 92160, "fm-40x10x256": 102400, "mfm-40x8x512": 163840,
    "mfm-40x8x512-2s": 327680, "mfm-40x9x512": 184320, "mfm-40x9x512-2s": 368640, "mfm-40x10x512-2s": 409600, "mfm-40x16x256-2s": 327680,
    "mfm-40x18x256": 184320, "mfm-40x26x128-288rpm": 133120, "mfm-80x9x512-2s": 737280, "mfm-80x16x256-2s": 655360,
    "mfm-80x5x1024-2s": 819200, "mfm-80x15x512-2s": 1228800, "mfm-77x8x1024-2s": 1261568, "gcr4to5-35z": 174848, "gcr4to5-40z": 196608,
    "gcr4to5-35z20": 176640, "gcr4to5-77z": 533248, "gcr4to5-77z-2s": 1066496, "gcr6and2-35x16x256": 143360, "gcr5and3-35x13x256": 116480,
}  # fmt: skip


def test_the_lengths_of_the_dumps_are_the_published_ones():
    assert {name: geo.bytes() for name, geo in GEOMETRIES.items()} == LENGTHS


@pytest.mark.parametrize(("track", "block"), [(39, 1102), (40, 1131), (54, 1509), (65, 1784), (78, 2083)])
def test_first_blocks_of_tracks_of_two_zoned_heads(track, block):
    assert GEOMETRIES["gcr4to5-77z-2s"].places()[block][2:] == (track, 0)


def test_serials_end_in_the_standards_check_character():
    # the contract's own example, SM-004-0007-L
    assert check_character("SM0040007") == "L"
    assert is_serial("SM-004-0007-L", "SM-004")
    assert not any(is_serial(text, "SM-004") for text in ("SM-004-0007-M", "SM-004-007-L", "SM-005-0007-L", "SM-004-0000-L", "0007-L"))
