"""The model's codes against published values, before it judges anybody."""

import zlib

import pytest
from model_capture import pack
from model_encode import A1, C2, GEOMETRIES, Sector, Style, bits, block, cells_of, crc, four_to_five, identifier, mfm, six_and_two
from model_judge import check_character, is_serial

PLAIN = Style(0)
ALL = sorted(GEOMETRIES)

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


def test_the_dump_orders_lengths_are_the_declared_ones():
    assert [GEOMETRIES[name].bytes() for name in ALL] == [174848, 143360, 184320, 368640]


def test_serials_end_in_the_standards_check_character():
    # the contract's own example, SM-004-0007-L
    assert check_character("SM0040007") == "L"
    assert is_serial("SM-004-0007-L", "SM-004")
    assert not any(is_serial(text, "SM-004") for text in ("SM-004-0007-M", "SM-004-007-L", "SM-005-0007-L", "SM-004-0000-L", "0007-L"))
