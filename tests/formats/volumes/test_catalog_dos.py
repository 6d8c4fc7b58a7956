"""The catalog volume against images laid by hand with the offsets of its published layout, then its builder, then both."""

import random
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats import registry
from formats.errors import VolumeError
from formats.model.geometry import Address
from formats.volumes.interface import FileIn, PlacedBytes, VolumeIn, VolumeOut
from formats.volumes.shared.image import Image

# Sector translation tables of the read and write routines: the volume's sector to the identifier's.
IDENTIFIER = (0, 13, 11, 9, 7, 5, 3, 1, 14, 12, 10, 8, 6, 4, 2, 15)


def catalog():
    return registry.volume("catalog-dos")


def geometry():
    return registry.geometry("gcr6and2-35x16x256")


def at(track: int, sector: int) -> int:
    """Where a sector begins in a dump in file order."""
    return (track * 16 + sector) * 256


def named(track: int, sector: int) -> Address:
    """The identifier of a sector of the volume."""
    return Address(track, 0, IDENTIFIER[sector])


def high(text: bytes) -> bytes:
    return bytes(byte | 0x80 for byte in text).ljust(30, b"\xa0")


def blank() -> bytearray:
    """An empty volume, byte for byte."""
    dump = bytearray(143360)
    dump[at(17, 0) : at(17, 0) + 7] = bytes.fromhex("00 11 0f 03 00 00 fe")
    dump[at(17, 0) + 0x27] = 122
    dump[at(17, 0) + 0x30 : at(17, 0) + 0x38] = bytes.fromhex("11 01 00 00 23 10 00 01")
    for track in (*range(3, 17), *range(18, 35)):
        dump[at(17, 0) + 0x38 + 4 * track : at(17, 0) + 0x3A + 4 * track] = b"\xff\xff"
    for sector in range(15, 1, -1):
        dump[at(17, sector) + 1 : at(17, sector) + 3] = bytes([17, sector - 1])
    return dump


def use(dump: bytearray, track: int, sector: int) -> None:
    """Take a sector off the map: F E D C B A 9 8, then 7 to 0."""
    dump[at(17, 0) + 0x38 + 4 * track + (sector < 8)] ^= 1 << sector % 8


Pairs = list[tuple[int, int]]


def lay_file(dump: bytearray, slot: int, kind: int, name: bytes, lists: Pairs, pairs: Pairs, count: int) -> None:
    """A catalog entry in sector 15, its lists with their pairs (0, 0 is a hole), and their sectors off the map."""
    start = at(17, 15) + 0x0B + 35 * slot
    dump[start : start + 35] = bytes([*lists[0], kind]) + name + count.to_bytes(2, "little")
    for number, (track, sector) in enumerate(lists):
        base = at(track, sector)
        if number + 1 < len(lists):
            dump[base + 1 : base + 3] = bytes(lists[number + 1])
        dump[base + 5 : base + 7] = (122 * number).to_bytes(2, "little")
        for place, pair in enumerate(pairs[122 * number : 122 * (number + 1)]):
            dump[base + 12 + 2 * place : base + 14 + 2 * place] = bytes(pair)
    for pair in {*lists, *pairs} - {(0, 0)}:
        use(dump, *pair)


def by_hand() -> bytearray:
    """Five files, laid by hand; one of them with a hole and a second list."""
    dump = blank()
    lay_file(dump, 0, 0x84, high(b"LAMPLIGHTER"), [(18, 15)], [(18, 14), (20, 3)], 3)
    dump[at(18, 14) : at(18, 14) + 256] = bytes.fromhex("00 20 2c 01") + b"L" * 252
    dump[at(20, 3) : at(20, 3) + 48] = b"M" * 48
    lay_file(dump, 1, 0x00, high(b"HOW TO PLAY"), [(16, 0)], [(16, 1)], 2)
    dump[at(16, 1) : at(16, 1) + 7] = b"\xcc\xc9\xd4\x00\xff\xff\xff"
    dump[at(17, 15) + 0x0B + 70] = 0xFF
    lay_file(dump, 3, 0x02, high(b"MENU"), [(3, 9)], [(34, 15)], 2)
    dump[at(34, 15) : at(34, 15) + 5] = b"\x03\x00RUN"
    lay_file(dump, 4, 0x10, high(b"MOVED"), [(21, 0), (21, 1)], [(22, 0), (0, 0), *[(0, 0)] * 120, (22, 1)], 4)
    dump[at(22, 0)], dump[at(22, 1)] = 0x11, 0x22
    lay_file(dump, 5, 0x01, b"\x4c\x41".ljust(30, b"\xa0"), [(5, 5)], [(5, 4)], 2)
    return dump


def read(dump: bytes) -> VolumeOut:
    return catalog().read(Image(geometry(), dump))


def problems(dump: bytes) -> list[str]:
    return [str(problem) for problem in catalog().check(Image(geometry(), dump))]


def build(*files: FileIn, **keys) -> Image:
    return catalog().build(geometry(), VolumeIn(files, **keys))


def refused(*files: FileIn, **keys) -> str:
    with pytest.raises(VolumeError) as error:
        build(*files, **keys)
    return str(error.value)


def text(name: bytes, size: int) -> FileIn:
    return FileIn(name, b"\xc1" * size, type="text")


# Read by hand


def test_a_blank_volume_has_496_sectors_free():
    """A textbook's count after initialisation: 31 tracks of 16."""
    empty = read(blank())
    assert (empty.label, empty.free, empty.unit, empty.files) == (b"", 496, 256, ())


def test_files_of_a_hand_laid_volume():
    lamp, play, menu, moved, odd = read(by_hand()).files
    assert (lamp.name, lamp.type, lamp.load_address, lamp.locked) == (b"LAMPLIGHTER", "binary", 0x2000, True)
    assert lamp.data == b"L" * 252 + b"M" * 48
    assert lamp.sectors == (Address(18, 0, 2), Address(20, 0, 9))
    assert (play.name, play.type, play.load_address, play.locked, play.data) == (b"HOW TO PLAY", "text", None, False, b"\xcc\xc9\xd4")
    assert (menu.name, menu.type, menu.load_address, menu.data, menu.sectors) == (b"MENU", "floating", None, b"RUN", (Address(34, 0, 15),))
    assert (moved.type, len(moved.data), moved.sectors) == (0x10, 123 * 256, (Address(22, 0, 0), Address(22, 0, 13)))
    assert (moved.data[0], moved.data[122 * 256], moved.data.count(0)) == (0x11, 0x22, 123 * 256 - 2)
    assert (odd.name, odd.type, odd.data) == (b"LA", "integer", b"")
    assert read(by_hand()).free == 496 - 13


def test_a_hand_laid_volume_is_sound():
    assert problems(blank()) == []
    assert problems(by_hand()) == []


def test_the_catalog_goes_on_over_its_link():
    dump = by_hand()
    for slot in range(6, 7):
        lay_file(dump, slot, 0x00, high(b"LAST"), [(30, 0)], [(30, 1)], 2)
    dump[at(17, 14) + 0x0B : at(17, 14) + 0x0B + 35] = bytes([31, 0, 0x00]) + high(b"NEXT") + b"\x01\x00"
    use(dump, 31, 0)
    assert [file.name for file in read(dump).files][-2:] == [b"LAST", b"NEXT"]
    assert problems(dump) == []


TABLE, ENTRY = at(17, 0), at(17, 15) + 0x0B
DAMAGE = [
    (TABLE + 0x38 + 4 * 18, "ff", "free map: track 18 sector 15 is free, and used by LAMPLIGHTER"),
    (TABLE + 0x39 + 4 * 20, "ff", "free map: track 20 sector 9 is free, and used by LAMPLIGHTER"),
    (TABLE + 0x39 + 4 * 17, "01", "free map: track 17 sector 0 is free, and used by table of contents"),
    (TABLE + 0x38 + 4 * 17, "80", "free map: track 17 sector 15 is free, and used by catalog"),
    (TABLE + 0x38 + 4 * 35, "01", "free map: track 35 sector 8 is free, and the disc has no such sector"),
    (TABLE + 0x3A + 4 * 34, "00 80", "free map: the last two bytes of track 34 are 0080, not 0000"),
    (TABLE + 0x03, "09", "table of contents: its system's release is 9, not 3"),
    (ENTRY + 35 + 3, high(b"LAMPLIGHTER").hex(), "LAMPLIGHTER: 2 entries of the directory have this name"),
    (TABLE + 0x06, "00", "table of contents: volume 0 is not 1 to 254"),
    (TABLE + 0x06, "ff", "table of contents: volume 255 is not 1 to 254"),
    (TABLE + 0x27, "79", "table of contents: pairs of a list: 121, where 122 was expected"),
    (TABLE + 0x34, "28", "table of contents: tracks: 40, where 35 was expected"),
    (TABLE + 0x35, "0d", "table of contents: sectors of a track: 13, where 16 was expected"),
    (TABLE + 0x36, "00 02", "table of contents: bytes of a sector: 512, where 256 was expected"),
    (at(17, 3) + 1, "11 04", "catalog: its chain runs in a circle: it comes to track 17 sector 7 a second time"),
    (at(17, 3) + 1, "23 04", "catalog: its chain leads to track 35 sector 4, where no data can be"),
    (ENTRY + 0x21, "04", "LAMPLIGHTER: the catalog gives it 4 sectors, it has 3"),
    (ENTRY + 0x22, "01", "LAMPLIGHTER: the catalog gives it 259 sectors, it has 3"),
    (at(18, 15) + 1, "12 0f", "LAMPLIGHTER: its chain runs in a circle: it comes to track 18 sector 15 a second time"),
    (at(18, 15) + 12, "12 10", "LAMPLIGHTER: its chain leads to track 18 sector 16, where no data can be"),
    (at(18, 15) + 12, "00 00", "LAMPLIGHTER: its length word is missing"),
    (at(18, 14) + 2, "fd 01", "LAMPLIGHTER: needs 513 bytes by its length word, its sectors hold 512"),
    (at(16, 0) + 12, "14 03", "HOW TO PLAY: its chain runs into track 20 sector 9, which belongs to LAMPLIGHTER already"),
    (at(21, 1) + 5, "79", "MOVED: list 2 says that it begins with sector 121 of the file, not 122"),
]


@pytest.mark.parametrize("place, found, text", DAMAGE)
def test_check_finds(place, found, text):
    dump = by_hand()
    dump[place : place + len(bytes.fromhex(found))] = bytes.fromhex(found)
    assert text in problems(dump)


def test_a_file_whose_sectors_are_lost_is_not_read():
    dump = by_hand()
    dump[at(18, 15) + 12 + 2] = 0
    with pytest.raises(VolumeError, match="needs 304 bytes by its length word, its sectors hold 256"):
        read(dump)


# Built


def test_an_empty_volume_is_built_as_by_hand():
    built = build()
    assert bytes(built.dump) == bytes(blank())
    assert built.used == {Address(17, 0, sector) for sector in range(16)}


def test_the_map_counts_from_the_highest_sector():
    """The worked example of a textbook: only sectors E and 8 of a track free is 41 00 00 00."""
    keep = [PlacedBytes(named(20, sector), b"x") for sector in range(16) if sector not in (0xE, 8)]
    table = build(places=keep).read(Address(17, 0, 0))
    assert table[0x38 + 80 : 0x3C + 80].hex(" ") == "41 00 00 00"


def test_a_binary_file_stands_on_the_disc_as_the_layout_says():
    image = build(FileIn(b"LAMPLIGHTER", b"L" * 300, type="binary", load_address=0x2001, locked=True), volume_number=7)
    assert image.dump[ENTRY : ENTRY + 35] == b"\x12\x0f\x84" + high(b"LAMPLIGHTER") + b"\x03\x00"
    listed = image.dump[at(18, 15) : at(18, 16)]
    assert listed == bytes(12) + bytes.fromhex("12 0e 12 0d") + bytes(240)
    assert image.dump[at(18, 14) : at(18, 15)] == bytes.fromhex("01 20 2c 01") + b"L" * 252
    assert image.dump[at(18, 13) : at(18, 14)] == b"L" * 48 + bytes(208)
    assert image.dump[TABLE : TABLE + 7].hex(" ") == "00 11 0f 03 00 00 07"
    assert image.dump[TABLE + 0x30 : TABLE + 0x32].hex(" ") == "12 01"
    assert image.dump[TABLE + 0x38 + 72 : TABLE + 0x3C + 72].hex(" ") == "1f ff 00 00"
    assert image.used == {Address(17, 0, sector) for sector in range(16)} | {named(18, sector) for sector in (13, 14, 15)}


def test_types_and_their_words():
    files = [FileIn(kind.upper().encode(), b"DATA", type=kind, load_address=0x800 if kind == "binary" else None) for kind in KINDS]
    image = build(*files)
    held = catalog().read(image).files
    assert [(file.type, file.data) for file in held] == [(kind, b"DATA") for kind in KINDS]
    assert [file.load_address for file in held] == [None, None, None, 0x800]
    assert [image.dump[ENTRY + 35 * slot + 2] for slot in range(4)] == [0x00, 0x01, 0x02, 0x04]
    first = [image.dump[at(18, 14 - 2 * slot) :][:8] for slot in range(4)]
    assert first == [b"DATA\0\0\0\0", b"\x04\0DATA\0\0", b"\x04\0DATA\0\0", b"\0\x08\x04\0DATA"]


KINDS = ("text", "integer", "floating", "binary")


def test_a_text_of_a_whole_sector_still_has_its_00():
    image = build(text(b"T", 256))
    (file,) = catalog().read(image).files
    assert (file.data, file.sectors) == (b"\xc1" * 256, (named(18, 14),))
    assert image.dump[ENTRY + 33] == 3
    assert len(catalog().read(build(text(b"E", 0))).files[0].data) == 0


def test_sectors_are_taken_outward_from_the_catalog():
    image = build(text(b"LONG", 256 * 485))
    (file,) = catalog().read(image).files
    tracks = list(dict.fromkeys(address.track for address in file.sectors))
    assert tracks == [*range(18, 35), *range(16, 2, -1)]
    assert file.sectors[:3] == (named(18, 14), named(18, 13), named(18, 12))
    assert image.dump[TABLE + 0x30 : TABLE + 0x32] == b"\x03\xff"
    assert image.dump[ENTRY + 33 : ENTRY + 35] == (486 + 4).to_bytes(2, "little")
    second = image.dump[at(18, 15) + 1 : at(18, 15) + 3]
    assert second == bytes([25, 4])  # 1 list and 122 sectors further on: 7 tracks and 11 sectors
    assert image.dump[at(25, 4) + 5 : at(25, 4) + 7] == b"\x7a\x00"
    assert problems(image.dump) == []


def test_a_disc_can_be_filled_to_the_last_sector():
    image = build(text(b"ALL", 256 * 491 - 1))
    assert catalog().read(image).free == 0
    assert problems(image.dump) == []


def test_interleave_is_the_step_down_from_sector_to_sector():
    (file,) = catalog().read(build(text(b"T", 256 * 4), interleave=4)).files
    assert file.sectors == (named(18, 11), named(18, 7), named(18, 3), named(18, 14))


def test_boot_bytes_lie_on_the_first_three_tracks_in_file_order():
    boot = bytes(range(256)) * 48
    image = build(boot=boot, places=[])
    assert image.dump[: 3 * 4096] == boot
    assert image.read(Address(0, 0, 13)) == boot[256:512]
    assert {Address(track, 0, sector) for track in range(3) for sector in range(16)} <= image.used
    assert catalog().read(image).free == 496
    assert len(build(boot=bytes(257)).used) == 18


def test_placed_bytes_are_marked_used_and_files_go_around_them():
    image = build(text(b"T", 500), places=[PlacedBytes(named(18, 13), bytes([7]) * 300), PlacedBytes(Address(2, 0, 0), b"LOADER")])
    assert image.dump[at(18, 13) : at(18, 15)] == bytes([7]) * 300 + bytes(212)
    assert catalog().read(image).files[0].sectors == (named(18, 12), named(18, 11))
    assert catalog().read(image).free == 496 - 5
    assert image.dump[at(2, 0) : at(2, 0) + 6] == b"LOADER"
    assert problems(image.dump) == []


def test_105_files_fill_the_catalog():
    image = build(*(text(b"F%d" % number, 1) for number in range(105)))
    held = catalog().read(image).files
    assert [file.name for file in held] == [b"F%d" % number for number in range(105)]
    assert image.dump[at(17, 1) + 0x0B + 35 * 6 + 3 :][:5] == high(b"F104")[:5]
    assert problems(image.dump) == []


# Refused


def test_all_problems_come_at_once():
    found = refused(
        FileIn(b"lamp", b"", type="binary", where="side.A.file[0]"),
        FileIn(b"TEXT", b"\xc1\x00", type="text", load_address=1, where="side.A.file[1]"),
        FileIn(b"BIG ", bytes(65536), type="integer", where="side.A.file[2]"),
        FileIn(b"WHAT", b"", type="program", where="side.A.file[3]"),
        image=b"x",
        interleave=16,
        volume_number=255,
        boot=bytes(12289),
        where="side.A",
    )
    assert found.split("; side.A.") == [
        "side.A.boot: 12,289 bytes, where 12,288 fit",
        "image: catalog-dos has no place for it; leave the key out",
        "interleave: a step of 16, where 1 to 15 make sense",
        "volume_number: 255 is not 1 to 254",
        "file[0].name: lamp has 'l a m p', not among the volume's characters",
        "file[2].name: BIG  ends with the byte that fills up short names, so its end would be lost",
        "file[0].load_address: is missing: such a file needs one, for instance 0x2000",
        "file[1].load_address: only a binary file has one; leave the key out",
        "file[1].source: a text ends at its first 00, and byte 1 is one",
        "file[2].source: 65,536 bytes, where the length word counts to 65,535",
        "file[3].type: 'program' is no type; catalog-dos has text, integer, floating, binary",
    ]
    assert "volume_number: 0 is not 1 to 254" in refused(volume_number=0)


def test_names_that_are_refused():
    assert "two files have the name X" in refused(text(b"X", 1), text(b"X", 1))
    assert "two files have the name %D8" in refused(text(b"X", 1), FileIn(b"\xd8", b"", type="text", raw_name=True))
    assert "31 characters, where 1 to 30 fit" in refused(text(b"X" * 31, 1))


def test_raw_names_stand_as_they_are():
    image = build(FileIn(b"\x4c\xc1", b"", type="text", raw_name=True), FileIn(b"\xcc\xc1", b"", type="text", raw_name=True))
    assert image.dump[ENTRY + 3 : ENTRY + 6] == b"\x4c\xc1\xa0"
    assert [file.name for file in catalog().read(image).files] == [b"\x4c\xc1", b"LA"]


def test_a_disc_that_is_too_full_says_by_how_much():
    assert refused(text(b"A", 256 * 491), where="side.B") == "side.B: the disc is too full: needs 1 more sector than the 496 it has"
    assert "needs 12 more sectors than the 496 it has" in refused(text(b"A", 256 * 490), text(b"B", 256 * 10))


def test_a_catalog_that_is_too_full():
    assert "106 files, where it holds 105" in refused(*(text(b"F%d" % number, 1) for number in range(106)))


@pytest.mark.parametrize(
    "place, what",
    [
        (PlacedBytes(Address(17, 0, 0), b"x", "p"), "p: track 17 sector 0 is taken by the catalog"),
        (PlacedBytes(Address(17, 0, 9), b"x", "p"), "p: track 17 sector 9 is taken by the catalog"),
        (PlacedBytes(Address(0, 0, 13), b"x", "p"), "p: track 0 sector 13 is taken by the boot bytes"),
        (PlacedBytes(Address(35, 0, 0), b"x", "p"), "p: gcr6and2-35x16x256 has no track 35 sector 0"),
        (PlacedBytes(Address(34, 0, 15), bytes(257), "p"), "p: 2 sectors from track 34 sector 15 on run 1 past the end of the disc"),
    ],
)
def test_places_that_are_refused(place, what):
    assert what == refused(places=[place], boot=bytes(512))


# 13 sectors: the catalog from sector 12 down, numbers as in the identifiers; release and the place of the map's bits from memory


def thirteen():
    return registry.geometry("gcr5and3-35x13x256")


def at_13(track: int, sector: int) -> int:
    return (track * 13 + sector) * 256


def blank_13() -> bytearray:
    dump = bytearray(116480)
    dump[at_13(17, 0) : at_13(17, 0) + 7] = bytes.fromhex("00 11 0c 02 00 00 fe")
    dump[at_13(17, 0) + 0x27] = 122
    dump[at_13(17, 0) + 0x30 : at_13(17, 0) + 0x38] = bytes.fromhex("11 01 00 00 23 0d 00 01")
    for track in (*range(3, 17), *range(18, 35)):
        dump[at_13(17, 0) + 0x38 + 4 * track : at_13(17, 0) + 0x3A + 4 * track] = b"\xff\xf8"
    for sector in range(12, 1, -1):
        dump[at_13(17, sector) + 1 : at_13(17, sector) + 3] = bytes([17, sector - 1])
    return dump


def build_13(*files: FileIn, **keys) -> Image:
    return catalog().build(thirteen(), VolumeIn(files, **keys))


def problems_13(dump: bytes) -> list[str]:
    return [str(problem) for problem in catalog().check(Image(thirteen(), dump))]


def test_a_map_of_13_sectors_whose_bits_lie_as_those_of_16_is_read_too():
    """The textbook's table, taken as it stands; where the bits lie on 13 sectors is from memory."""
    dump = blank_13()
    for track in (*range(3, 17), *range(18, 35)):
        dump[at_13(17, 0) + 0x38 + 4 * track : at_13(17, 0) + 0x3A + 4 * track] = b"\x1f\xff"
    assert catalog().read(Image(thirteen(), dump)).free == 403
    assert problems_13(dump) == []
    dump[at_13(17, 0) + 0x39 + 4 * 17] = 1
    assert problems_13(dump) == ["free map: track 17 sector 0 is free, and used by table of contents"]


def test_a_blank_volume_of_13_sectors_has_403_free():
    """31 tracks of 13."""
    assert catalog().read(Image(thirteen(), blank_13())).free == 403
    assert problems_13(blank_13()) == []
    built = build_13()
    assert bytes(built.dump) == bytes(blank_13())
    assert built.used == {Address(17, 0, sector) for sector in range(13)}


def test_files_of_a_hand_laid_volume_of_13_sectors():
    dump = blank_13()
    dump[at_13(17, 12) + 0x0B : at_13(17, 12) + 0x0B + 35] = bytes([18, 12, 0x84]) + high(b"LAMPLIGHTER") + b"\x03\x00"
    dump[at_13(18, 12) + 12 : at_13(18, 12) + 16] = bytes([18, 11, 34, 0])
    dump[at_13(18, 11) : at_13(18, 11) + 256] = bytes.fromhex("00 20 2c 01") + b"L" * 252
    dump[at_13(34, 0) : at_13(34, 0) + 48] = b"M" * 48
    dump[at_13(17, 0) + 0x38 + 4 * 18 : at_13(17, 0) + 0x3A + 4 * 18] = b"\x3f\xf8"
    dump[at_13(17, 0) + 0x38 + 4 * 34 : at_13(17, 0) + 0x3A + 4 * 34] = b"\xff\xf0"
    (lamp,) = catalog().read(Image(thirteen(), dump)).files
    assert (lamp.name, lamp.type, lamp.load_address, lamp.locked) == (b"LAMPLIGHTER", "binary", 0x2000, True)
    assert lamp.data == b"L" * 252 + b"M" * 48
    assert lamp.sectors == (Address(18, 0, 11), Address(34, 0, 0))
    assert problems_13(dump) == []
    dump[at_13(17, 0) + 0x39 + 4 * 34] = 0xF8
    assert problems_13(dump) == ["free map: track 34 sector 0 is free, and used by LAMPLIGHTER"]
    dump[at_13(17, 0) + 0x39 + 4 * 34] = 0xF4
    assert problems_13(dump) == ["free map: track 34 has bits behind its 13 sectors"]


def test_bits_of_sectors_that_are_not_there_are_not_free():
    dump = blank_13()
    dump[at_13(17, 0) + 0x39 + 4 * 34] = 0xFF
    dump[at_13(17, 0) + 0x38 + 4 * 35] = 0xFF
    assert catalog().read(Image(thirteen(), dump)).free == 403
    dump = blank()
    dump[TABLE + 0x38 + 4 * 35] = 0xFF
    assert read(dump).free == 496


def test_the_release_of_13_sectors_is_from_memory_and_so_no_problem():
    dump = blank_13()
    dump[at_13(17, 0) + 3] = 1
    assert problems_13(dump) == []


def test_the_table_of_contents_says_the_volume_number_of_the_identifiers():
    assert read(blank()).identity == {"volume": 254}


def test_what_lies_in_the_map_behind_the_last_track_is_no_problem():
    dump = blank()
    dump[TABLE + 0x3A + 4 * 35] = 0xFF
    assert problems(dump) == []


def test_a_disc_of_13_sectors_can_be_filled():
    image = build_13(text(b"ALL", 256 * 399 - 1), boot=b"B" * 9984)
    held = catalog().read(image)
    assert (held.free, len(held.files[0].sectors)) == (0, 399)  # and four lists
    assert list(dict.fromkeys(address.track for address in held.files[0].sectors)) == [*range(18, 35), *range(16, 2, -1)]
    assert problems_13(image.dump) == []
    assert image.dump[:9984] == b"B" * 9984
    with pytest.raises(VolumeError, match="needs 1 more sector than the 403"):
        build_13(text(b"ALL", 256 * 399))
    with pytest.raises(VolumeError, match="9,985 bytes, where 9,984 fit"):
        build_13(boot=bytes(9985))


def test_84_files_fill_the_catalog_of_13_sectors():
    files = [text(b"F%d" % number, 1) for number in range(85)]
    assert [file.name for file in catalog().read(build_13(*files[:84])).files] == [file.name for file in files[:84]]
    with pytest.raises(VolumeError, match="85 files, where it holds 84"):
        build_13(*files)


# Laws

CHARACTERS = st.characters(min_codepoint=0x20, max_codepoint=0x5F)
NAMES = st.text(CHARACTERS, min_size=1, max_size=30).map(str.encode).filter(lambda name: name[-1:] != b" ")
DATA = st.binary(max_size=1200)
BINARIES = st.builds(FileIn, NAMES, DATA, type=st.just("binary"), load_address=st.integers(0, 0xFFFF), locked=st.booleans())
PROGRAMS = st.builds(FileIn, NAMES, DATA, type=st.sampled_from(["integer", "floating"]), locked=st.booleans())
TEXTS = st.builds(FileIn, NAMES, DATA.map(lambda data: data.replace(b"\0", b"\x8d")), type=st.just("text"))


@settings(max_examples=40, deadline=None)
@given(st.lists(BINARIES | PROGRAMS | TEXTS, max_size=20, unique_by=lambda file: file.name), st.integers(1, 12), st.booleans())
def test_what_is_built_is_read_again(files, interleave, sixteen):
    image = (build if sixteen else build_13)(*files, interleave=interleave)
    held = catalog().read(image)
    assert [(each.name, each.type, each.locked, each.load_address, each.data) for each in held.files] == [
        (file.name, file.type, file.locked, file.load_address, file.data) for file in files
    ]
    assert catalog().check(image) == []
    assert {address for each in held.files for address in each.sectors} <= image.used


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32),
    st.booleans(),
    st.dictionaries(st.sampled_from([TABLE, at(17, 15), at(18, 15), at(18, 14), at(21, 0)]), st.binary(min_size=1, max_size=256)),
)
def test_no_image_brings_the_reader_down(seed, hand, damage):
    dump = by_hand() if hand else bytearray(random.Random(seed).randbytes(143360))
    for place, found in damage.items():
        dump[place : place + len(found)] = found
    problems(dump)
    with suppress(VolumeError):
        read(dump)


def test_a_label_is_the_masters_own_where_the_volume_has_no_place_for_it():
    """A job may say it all the same: `master.json` keeps it, the disc does not."""
    content = VolumeIn((), label=b"LAMPLIGHTER", volume_number=254)
    built = registry.volume("catalog-dos").build(registry.geometry("gcr6and2-35x16x256"), content)
    assert b"LAMPLIGHTER" not in bytes(byte & 0x7F for byte in built.dump)
