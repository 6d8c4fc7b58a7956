"""The zoned volume against images laid by hand with the offsets of its published layout, then its builder, then both."""

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

SECTORS = [21] * 17 + [19] * 7 + [18] * 6 + [17] * 5


def zoned():
    return registry.volume("zoned-dos")


def geometry():
    return registry.geometry("gcr4to5-35z")


def at(track: int, sector: int) -> int:
    """Where a sector begins in a dump."""
    return (sum(SECTORS[: track - 1]) + sector) * 256


def blank() -> bytearray:
    """An empty volume, byte for byte."""
    dump = bytearray(174848)
    header = at(18, 0)
    dump[header : header + 4] = bytes.fromhex("12 01 41 00")
    for track in range(1, 36):
        entry = {21: "15 ff ff 1f", 19: "13 ff ff 07", 18: "12 ff ff 03", 17: "11 ff ff 01"}[SECTORS[track - 1]]
        dump[header + 4 * track : header + 4 * track + 4] = bytes.fromhex("11 fc ff 07" if track == 18 else entry)
    dump[header + 0x90 : header + 0xAB] = b"SALTMARSH".ljust(18, b"\xa0") + b"SM\xa02A\xa0\xa0\xa0\xa0"
    dump[at(18, 1) + 1] = 0xFF
    return dump


def lay_entry(dump: bytearray, slot: int, kind: int, track: int, sector: int, name: bytes, blocks: int) -> None:
    """A directory entry of the first directory sector."""
    start = at(18, 1) + 32 * slot + 2
    dump[start : start + 19] = bytes([kind, track, sector]) + name.ljust(16, b"\xa0")
    dump[start + 28 : start + 30] = blocks.to_bytes(2, "little")


def lay_block(dump: bytearray, track: int, sector: int, link: bytes, data: bytes, use: bool = True) -> None:
    """A block of a file, taken off the map."""
    dump[at(track, sector) : at(track, sector) + 2 + len(data)] = link + data
    if use:
        entry = at(18, 0) + 4 * track
        dump[entry] -= 1
        dump[entry + 1 + sector // 8] ^= 1 << sector % 8


def by_hand() -> bytearray:
    """Five files, laid by hand."""
    dump = blank()
    lay_entry(dump, 0, 0xC2, 17, 0, b"LAMPLIGHTER", 2)
    lay_block(dump, 17, 0, b"\x11\x0a", b"\x01\x08" + b"L" * 252)
    lay_block(dump, 17, 10, b"\x00\x04", b"END")
    lay_entry(dump, 1, 0x00, 20, 7, b"SCRATCHED", 1)
    lay_entry(dump, 2, 0x81, 19, 3, b"HOW TO PLAY", 1)
    lay_block(dump, 19, 3, b"\x00\x06", b"LIGHT")
    lay_entry(dump, 3, 0x83, 35, 16, b"A\xc1\xa0B", 1)
    lay_block(dump, 35, 16, b"\x00\xff", bytes(range(254)))
    lay_entry(dump, 4, 0x84, 1, 20, b"RECORDS", 2)
    lay_block(dump, 1, 20, b"\x00\x05", b"CARD")
    dump[at(18, 1) + 4 * 32 + 0x15 : at(18, 1) + 4 * 32 + 0x18] = bytes([2, 9, 4])
    lay_block(dump, 2, 9, b"\x00\x11", b"\x00\x04")
    lay_entry(dump, 5, 0x80, 40, 40, b"------------", 0)
    return dump


def read(dump: bytes) -> VolumeOut:
    return zoned().read(Image(geometry(), dump))


def problems(dump: bytes) -> list[str]:
    return [str(problem) for problem in zoned().check(Image(geometry(), dump))]


def build(*files: FileIn, **keys) -> Image:
    return zoned().build(geometry(), VolumeIn(files, **{"label": b"SALTMARSH", "disc_id": b"SM"} | keys))


def refused(*files: FileIn, **keys) -> str:
    with pytest.raises(VolumeError) as error:
        build(*files, **keys)
    return str(error.value)


def program(name: bytes, size: int) -> FileIn:
    return FileIn(name, bytes(size), type="sequential")


# Read by hand


def test_a_blank_volume_has_664_blocks_free():
    empty = read(blank())
    assert (empty.label, empty.free, empty.unit, empty.files) == (b"SALTMARSH", 664, 254, ())


def test_files_of_a_hand_laid_volume():
    lamp, play, odd, records, line = read(by_hand()).files
    assert (lamp.name, lamp.type, lamp.load_address, lamp.locked) == (b"LAMPLIGHTER", "program", 0x0801, True)
    assert lamp.data == b"\x01\x08" + b"L" * 252 + b"END"
    assert lamp.sectors == (Address(17, 0, 0), Address(17, 0, 10))
    assert (play.name, play.type, play.load_address, play.locked, play.data) == (b"HOW TO PLAY", "sequential", None, False, b"LIGHT")
    assert (odd.name, odd.type, odd.data, odd.sectors) == (b"A\xc1\xa0B", "user", bytes(range(254)), (Address(35, 0, 16),))
    assert (records.type, records.data) == (4, b"CARD")
    assert (line.type, line.data, line.sectors) == (0, b"", ())
    assert read(by_hand()).free == 658


def test_a_hand_laid_volume_is_sound():
    assert problems(blank()) == []
    assert problems(by_hand()) == []


def test_the_directory_goes_on_over_its_link():
    dump = by_hand()
    dump[at(18, 1) : at(18, 1) + 2] = b"\x12\x04"
    dump[at(18, 4) + 2 : at(18, 4) + 21] = b"\x82\x11\x05" + b"NINTH".ljust(16, b"\xa0")
    dump[at(18, 4) + 30] = 1
    lay_block(dump, 17, 5, b"\x00\x03", b"\x00\x10")
    lay_block(dump, 18, 4, b"\x00\xff", b"")
    assert read(dump).files[-1].load_address == 0x1000
    assert read(dump).files[-1].name == b"NINTH"
    assert problems(dump) == []


HEADER, DIRECTORY = at(18, 0), at(18, 1)
LAMP = b"LAMPLIGHTER".ljust(16, b"\xa0").hex()
SOUND = [
    (DIRECTORY + 5 * 32 + 5, LAMP, "a line across the directory that is called like a file"),
    (DIRECTORY + 32 + 5, LAMP, "a scratched file of the same name"),
    (HEADER + 0xA5, "33 44", "another version of the system"),
    (DIRECTORY + 0x15, "00 00 05", "a record's length where the file has no records"),
]
DAMAGE = [
    (HEADER + 4 * 17 + 1, "ff", "block map: track 17 sector 0 is free, and used by LAMPLIGHTER"),
    (HEADER + 4 * 18 + 1, "fd", "block map: track 18 sector 0 is free, and used by the block map"),
    (HEADER + 4 * 18 + 1, "fe", "block map: track 18 sector 1 is free, and used by directory"),
    (HEADER + 4 * 30, "13", "block map: track 30 has 19 free blocks by its count, 18 by its bits"),
    (HEADER + 4 * 31 + 3, "03", "block map: track 31 sector 17 is free, and the disc has no such sector"),
    (HEADER + 4 * 1 + 3, "8f", "block map: track 1 sector 23 is free, and the disc has no such sector"),
    (HEADER + 1, "02", "header: the link of track 18 sector 0 leads to track 18 sector 2, not track 18 sector 1"),
    (HEADER + 2, "42", "header: its format is 42, not 41: the drive would write nothing on it"),
    (DIRECTORY + 0x02, "87", "LAMPLIGHTER: type 7 is none of this system's"),
    (DIRECTORY + 0x02, "85", "LAMPLIGHTER: type 5 is none of this system's"),
    (DIRECTORY + 0x02, "84", "LAMPLIGHTER: a relative file, and it has no side sector"),
    (DIRECTORY + 4 * 32 + 0x15, "00 00", "RECORDS: a relative file, and it has no side sector"),
    (DIRECTORY + 2 * 32 + 5, LAMP, "LAMPLIGHTER: 2 entries of the directory have this name"),
    (DIRECTORY, "13", "directory: its chain leads to track 19 sector 255, where no data can be"),
    (DIRECTORY, "12 00", "directory: its chain runs into track 18 sector 0, which belongs to the block map already"),
    (DIRECTORY + 0x02, "42", "LAMPLIGHTER: was never closed"),
    (DIRECTORY + 0x03, "00", "LAMPLIGHTER: has no first block"),
    (DIRECTORY + 0x1E, "03", "LAMPLIGHTER: the directory gives it 3 blocks, it has 2"),
    (DIRECTORY + 0x1F, "01", "LAMPLIGHTER: the directory gives it 258 blocks, it has 2"),
    (DIRECTORY + 4 * 32 + 0x15, "24", "RECORDS: its chain leads to track 36 sector 9, where no data can be"),
    (at(17, 0), "11 15", "LAMPLIGHTER: its chain leads to track 17 sector 21, where no data can be"),
    (at(17, 10), "11 00", "LAMPLIGHTER: its chain runs in a circle: it comes to track 17 sector 0 a second time"),
    (at(17, 10), "13 03", "HOW TO PLAY: its chain runs into track 19 sector 3, which belongs to LAMPLIGHTER already"),
    (at(19, 3), "00 00", "HOW TO PLAY: the last byte used of its last block would be a byte of the link"),
]


@pytest.mark.parametrize("place, found, text", DAMAGE)
def test_check_finds(place, found, text):
    dump = by_hand()
    dump[place : place + len(bytes.fromhex(found))] = bytes.fromhex(found)
    assert text in problems(dump)


@pytest.mark.parametrize("place, found, what", SOUND)
def test_what_other_programs_write_is_sound(place, found, what):
    dump = by_hand()
    dump[place : place + len(bytes.fromhex(found))] = bytes.fromhex(found)
    assert problems(dump) == []


def test_lines_across_the_directory_may_all_be_called_the_same():
    dump = by_hand()
    lay_entry(dump, 6, 0x80, 0, 0, b"------------", 0)
    assert problems(dump) == []


def test_blocks_that_are_not_there_are_not_free():
    """Five bits behind the 19 sectors of track 20, by the count too; a track has no more free blocks than its count says either."""
    dump = blank()
    dump[HEADER + 4 * 20 : HEADER + 4 * 20 + 4] = bytes.fromhex("18 ff ff ff")
    assert read(dump).free == 664
    dump[HEADER + 4 * 20] = 9
    assert read(dump).free == 664 - 10


def test_a_header_says_the_id_of_the_identifiers():
    assert read(blank()).identity == {"id1": 0x53, "id2": 0x4D}


def test_a_file_without_an_end_is_not_read():
    dump = by_hand()
    dump[at(17, 10) : at(17, 10) + 2] = b"\x11\x00"
    with pytest.raises(VolumeError, match="in a circle: it comes to track 17 sector 0 a second time"):
        read(dump)


# Built


def test_the_map_of_a_blank_volume():
    """Masks by hand: sector 0 is bit 0 of the first byte, 1 is free; sectors 0 and 1 of track 18 are used."""
    header = build().read(Address(18, 0, 0))
    assert header == bytes(blank()[at(18, 0) : at(18, 0) + 256])
    assert header[4:8].hex(" ") == "15 ff ff 1f"
    assert header[72:76].hex(" ") == "11 fc ff 07"
    assert header[96:100].hex(" ") == "13 ff ff 07"
    assert header[100:104].hex(" ") == "12 ff ff 03"
    assert header[140:144].hex(" ") == "11 ff ff 01"


def test_an_empty_volume_is_built_as_by_hand():
    built = build()
    assert bytes(built.dump) == bytes(blank())
    assert built.used == {Address(18, 0, 0), Address(18, 0, 1)}


def order(image: Image, size: int) -> list[int]:
    (file,) = zoned().read(image).files
    return [address.sector for address in file.sectors][:size]


def test_a_file_takes_every_tenth_sector():
    """The order of the firmware's rule on a track of 21, 10 steps on."""
    image = build(program(b"LONG", 254 * 22))
    assert order(image, 21) == [0, 10, 20, 8, 18, 6, 16, 4, 14, 2, 12, 1, 11, 3, 13, 5, 15, 7, 17, 9, 19]
    (file,) = zoned().read(image).files
    assert file.sectors[21] == Address(16, 0, 7)  # outward with sector 19 kept: 19 + 10 - 21, and one less for the wrap


def test_files_of_other_zones_step_the_same():
    """Tables of the firmware's rule on tracks of 19 sectors: the second file begins on track 19, above the directory."""
    image = build(program(b"FIRST", 254 * 21), program(b"SECOND", 254 * 19))
    second = zoned().read(image).files[1]
    assert [each.track for each in second.sectors] == [19] * 19
    assert [each.sector for each in second.sectors] == [0, 10, 1, 11, 2, 12, 3, 13, 4, 14, 5, 15, 6, 16, 7, 17, 8, 18, 9]


def test_first_blocks_lie_nearest_to_the_directory_below_first():
    image = build(*(program(b"F%d" % number, 254 * count) for number, count in enumerate((21, 19, 21, 19, 21))))
    assert [file.sectors[0] for file in zoned().read(image).files] == [Address(track, 0, 0) for track in (17, 19, 16, 20, 15)]


def test_the_directory_takes_every_third_sector():
    image = build(*(program(b"F%d" % number, 1) for number in range(144)))
    chain, sector = [], 1
    while sector != 0xFF:
        chain.append(sector)
        sector = image.read(Address(18, 0, sector))[1]
    assert chain == [1, 4, 7, 10, 13, 16, 2, 5, 8, 11, 14, 17, 3, 6, 9, 12, 15, 18]
    assert problems(image.dump) == []
    assert len(zoned().read(image).files) == 144


def test_interleave_is_the_step_from_block_to_block():
    assert order(build(program(b"LONG", 254 * 4), interleave=6), 4) == [0, 6, 12, 18]


def test_a_disc_can_be_filled_to_the_last_block():
    image = build(program(b"ALL", 254 * 664))
    full = zoned().read(image)
    assert full.free == 0 and len(set(full.files[0].sectors)) == 664
    assert problems(image.dump) == []


def test_a_file_stands_on_the_disc_as_the_layout_says():
    image = build(FileIn(b"LAMPLIGHTER", b"L" * 300, type="program", load_address=0x2001, locked=True))
    assert image.read(Address(18, 0, 1))[:32] == b"\x00\xff\xc2\x11\x00LAMPLIGHTER\xa0\xa0\xa0\xa0\xa0" + bytes(9) + b"\x02\x00"
    assert image.read(Address(17, 0, 0)) == b"\x11\x0a\x01\x20" + b"L" * 252
    assert image.read(Address(17, 0, 10)) == b"\x00\x31" + b"L" * 48 + bytes(206)
    assert image.read(Address(18, 0, 0))[68:72].hex(" ") == "13 fe fb 1f"
    assert len(image.used) == 4


def test_types_and_load_addresses():
    files = (
        FileIn(b"P", b"\x34\x12data", type="program", load_address="in-file"),
        FileIn(b"S", b"text", type="sequential"),
        FileIn(b"U", b"code", type="user", load_address=0xC000),
        FileIn(b"E", b"", type="user"),
    )
    image = build(*files)
    p, s, u, e = zoned().read(image).files
    assert (p.type, p.load_address, p.data) == ("program", 0x1234, b"\x34\x12data")
    assert (s.type, s.load_address, s.data) == ("sequential", None, b"text")
    assert (u.type, u.load_address, u.data) == ("user", None, b"\x00\xc0code")
    assert (e.data, len(e.sectors)) == (b"", 1)
    assert [image.read(Address(18, 0, 1))[32 * slot + 2] for slot in range(4)] == [0x82, 0x81, 0x83, 0x83]


def test_placed_bytes_are_marked_used_and_files_go_around_them():
    image = build(
        program(b"LONG", 254 * 3), places=[PlacedBytes(Address(17, 0, 9), bytes([7]) * 300), PlacedBytes(Address(18, 0, 4), b"KEEP")]
    )
    assert image.read(Address(17, 0, 10)) == bytes([7]) * 44 + bytes(212)
    assert zoned().read(image).files[0].sectors == (Address(17, 0, 0), Address(17, 0, 11), Address(17, 0, 1))
    assert zoned().read(image).free == 664 - 5
    assert problems(image.dump) == []
    assert {Address(17, 0, 9), Address(17, 0, 10), Address(18, 0, 4)} <= image.used


# Refused


def test_all_problems_come_at_once():
    text = refused(
        FileIn(b"lamp", b"", type="program", where="side.A.file[0]"),
        FileIn(b"SEVENTEEN LETTERS", b"", type="binary", where="side.A.file[1]"),
        label=b"A LABEL FAR TOO LONG",
        disc_id=b"ABC",
        interleave=17,
        boot=b"x",
        image=b"x",
        where="side.A",
    )
    assert text.split("; side.") == [
        "side.A.boot: zoned-dos has no place for it; leave the key out",
        "A.image: zoned-dos has no place for it; leave the key out",
        "A.interleave: a step of 17, where 1 to 16 make sense",
        "A.label: A LABEL FAR TOO LONG has 20 characters, where 1 to 16 fit",
        "A.disc_id: 3 bytes, where two are the disc's id",
        "A.file[0].name: lamp has 'l a m p', not among the volume's characters",
        "A.file[1].name: SEVENTEEN LETTERS has 17 characters, where 1 to 16 fit",
        'A.file[0].load_address: a program needs one: a number, or "in-file" when the source begins with it',
        "A.file[1].type: 'binary' is no type; zoned-dos has sequential, program, user",
    ]


def test_names_that_are_refused():
    assert "two files have the name X, the other is a" in refused(
        FileIn(b"X", b"", type="user", where="a"), FileIn(b"X", b"", type="user", where="b")
    )
    assert "the name is empty, where 1 to 16 characters were expected" in refused(FileIn(b"", b"", type="user"))
    assert "name_bytes: A%A0 ends with the byte" in refused(FileIn(b"A\xa0", b"", raw_name=True, type="user"))
    assert "has '`'" in refused(FileIn(b"`", b"", type="user"))


def test_raw_names_hold_any_byte():
    (file,) = zoned().read(build(FileIn(b"\x00\xc1\xa0~", b"", raw_name=True, type="user"))).files
    assert file.name == b"\x00\xc1\xa0~"


def test_load_addresses_that_are_refused():
    assert "no type is given" in refused(FileIn(b"X", b""))
    assert "65536 is not a number from 0 to 65535" in refused(FileIn(b"X", b"", type="program", load_address=0x10000))
    assert "can't begin with its load address" in refused(FileIn(b"X", b"1", type="program", load_address="in-file"))
    assert "'there' is not a number" in refused(FileIn(b"X", b"1", type="user", load_address="there"))


def test_a_disc_that_is_too_full_says_by_how_much():
    assert refused(program(b"A", 254 * 600), program(b"B", 254 * 76), where="side.A").startswith(
        "side.A: the disc is too full: needs 12 more blocks"
    )
    assert "needs 1 more block than the 664" in refused(program(b"A", 254 * 664 + 1))
    assert "needs 1 more block than the 663" in refused(program(b"A", 254 * 664), places=[PlacedBytes(Address(1, 0, 0), b"x")])


def test_a_directory_that_is_too_full():
    assert "145 files, where it holds 144" in refused(*(program(b"F%d" % number, 1) for number in range(145)))


@pytest.mark.parametrize(
    "place, text",
    [
        (PlacedBytes(Address(18, 0, 0), b"x", "p"), "p: track 18 sector 0 is taken by the block map"),
        (PlacedBytes(Address(17, 0, 20), bytes(600), "p"), "p: track 18 sector 1 is taken by the directory"),
        (PlacedBytes(Address(36, 0, 0), b"x", "p"), "p: gcr4to5-35z has no track 36 sector 0"),
        (PlacedBytes(Address(35, 0, 16), bytes(257), "p"), "p: 2 sectors from track 35 sector 16 on run 1 past the end of the disc"),
        (PlacedBytes(Address(5, 0, 5), b"", "p"), "p: there are no bytes to place"),
    ],
)
def test_places_that_are_refused(place, text):
    assert text in refused(places=[place])


def test_two_places_may_not_overlap():
    text = refused(places=[PlacedBytes(Address(5, 0, 5), bytes(300), "p"), PlacedBytes(Address(5, 0, 6), b"x", "q")])
    assert text == "q: track 5 sector 6 is taken by p"


# The other kinds of drive: 20 sectors in the second zone, 40 tracks, 77 tracks with one head and with two

ZONES_77 = [29] * 39 + [27] * 14 + [25] * 11 + [23] * 13
TRACKS = {
    "gcr4to5-35z20": [21] * 17 + [20] * 7 + [18] * 6 + [17] * 5,
    "gcr4to5-40z": [*SECTORS, *[17] * 5],
    "gcr4to5-77z": ZONES_77,
    "gcr4to5-77z-2s": ZONES_77 * 2,
}
ENTRIES = {
    count: f"{count:02x} {bits}" for count, bits in {21: "ff ff 1f", 20: "ff ff 0f", 19: "ff ff 07", 18: "ff ff 03", 17: "ff ff 01"}.items()
}
ENTRIES_77 = {29: "1d ff ff ff 1f", 27: "1b ff ff ff 07", 25: "19 ff ff ff 01", 23: "17 ff ff 7f 00"}


class Side:
    """A side of one kind, laid by hand; `at` is where a sector begins in its dump: all of head 0, then all of head 1."""

    def __init__(self, kind: str) -> None:
        self.kind, self.tracks = kind, TRACKS[kind]
        self.dump = bytearray(256 * sum(self.tracks))

    def at(self, track: int, sector: int) -> int:
        return (sum(self.tracks[: track - 1]) + sector) * 256

    def lay(self, track: int, sector: int, offset: int, data: bytes | str) -> None:
        start = self.at(track, sector) + offset
        data = bytes.fromhex(data) if isinstance(data, str) else data
        self.dump[start : start + len(data)] = data

    def image(self) -> Image:
        return Image(registry.geometry(self.kind), self.dump)


def blank_18(kind: str, dos: bytes, format_: int) -> Side:
    """The map's entries in 18/0 from 04 on, those of tracks 36 to 40 from C0 on (from memory)."""
    side = Side(kind)
    side.lay(18, 0, 0, bytes([18, 1, format_, 0]))
    side.lay(18, 0, 0x90, b"SALTMARSH".ljust(18, b"\xa0") + b"SM\xa0" + dos + b"\xa0\xa0\xa0\xa0")
    for track, count in enumerate(side.tracks, 1):
        side.lay(18, 0, 4 * track if track < 36 else 0xC0 + 4 * (track - 36), ENTRIES[count])
    used = {20: "12 fc ff 0f", 19: "11 fc ff 07"}
    side.lay(18, 0, 4 * 18, used[side.tracks[17]])
    side.lay(18, 1, 1, "ff")
    return side


def blank_39(kind: str) -> Side:
    """Header 39/0, the map in every third sector of track 38, the directory from 39/1 on."""
    side = Side(kind)
    side.lay(39, 0, 0, "26 00 43")
    side.lay(39, 0, 6, b"SALTMARSH".ljust(18, b"\xa0") + b"SM\xa02C\xa0\xa0\xa0\xa0")
    parts = [(1, 50), (51, 100), (101, 150), (151, 154)] if len(side.tracks) > 77 else [(1, 50), (51, 77)]
    for number, (first, last) in enumerate(parts):
        link = [38, 3 * number + 3] if last < len(side.tracks) else [39, 1]
        side.lay(38, 3 * number, 0, bytes([*link, 0x43, 0, first, last + 1]))
        for track in range(first, last + 1):
            side.lay(38, 3 * number, 6 + 5 * (track - first), ENTRIES_77[side.tracks[track - 1]])
    side.lay(38, 0, 6 + 5 * 37, "19 b6 fd ff 1f" if len(parts) > 2 else "1b f6 ff ff 1f")  # but 0, 3, 6, 9, or 0, 3
    side.lay(38, 0, 6 + 5 * 38, "1b fc ff ff 1f")  # but 0 and 1
    side.lay(39, 1, 1, "ff")
    return side


BLANKS = {
    "gcr4to5-35z20": lambda: blank_18("gcr4to5-35z20", b"\xa0\xa0", 0x01),
    "gcr4to5-40z": lambda: blank_18("gcr4to5-40z", b"2A", 0x41),
    "gcr4to5-77z": lambda: blank_39("gcr4to5-77z"),
    "gcr4to5-77z-2s": lambda: blank_39("gcr4to5-77z-2s"),
}
FREE = {"gcr4to5-35z20": 670, "gcr4to5-40z": 749, "gcr4to5-77z": 2052, "gcr4to5-77z-2s": 4133}
FIRST = {"gcr4to5-35z20": 17, "gcr4to5-40z": 17, "gcr4to5-77z": 38, "gcr4to5-77z-2s": 38}


def build_on(kind: str, *files: FileIn, **keys) -> Image:
    return zoned().build(registry.geometry(kind), VolumeIn(files, **{"label": b"SALTMARSH", "disc_id": b"SM"} | keys))


@pytest.mark.parametrize("kind", BLANKS)
def test_an_empty_volume_of_every_kind(kind):
    """Free blocks by the drives' manuals (40 tracks: 85 more than 35 have)."""
    side = BLANKS[kind]()
    empty = zoned().read(side.image())
    assert (empty.label, empty.free, empty.files) == (b"SALTMARSH", FREE[kind], ())
    assert zoned().check(side.image()) == []
    assert bytes(build_on(kind).dump) == bytes(side.dump)


@pytest.mark.parametrize("kind", BLANKS)
def test_a_file_of_a_hand_laid_volume_of_every_kind(kind):
    """Its first block on the innermost track, its second on the first."""
    side = BLANKS[kind]()
    last = len(side.tracks)
    side.lay(last - (last > 77), 16, 0, bytes([1, 20]) + b"L" * 254)
    side.lay(1, 20, 0, b"\x00\x04END")
    directory = 39 if last >= 77 else 18
    side.lay(directory, 1, 2, bytes([0x82, last - (last > 77), 16]) + b"LAMPLIGHTER".ljust(16, b"\xa0"))
    side.lay(directory, 1, 0x1E, "02")
    (file,) = zoned().read(side.image()).files
    assert (file.name, file.type, file.load_address, file.data) == (b"LAMPLIGHTER", "program", 0x4C4C, b"L" * 254 + b"END")
    assert file.sectors == (Address(last - (last > 77), int(last > 77), 16), Address(1, 0, 20))
    said = [str(problem) for problem in zoned().check(side.image())]
    where = f"track {last - (last > 77)} sector 16" + " head 1" * (last > 77)
    assert said == ["block map: track 1 sector 20 is free, and used by LAMPLIGHTER", f"block map: {where} is free, and used by LAMPLIGHTER"]


@pytest.mark.parametrize("kind", BLANKS)
def test_a_disc_of_every_kind_can_be_filled(kind):
    image = build_on(kind, program(b"ALL", 254 * FREE[kind]))
    (file,) = zoned().read(image).files
    assert len(set(file.sectors)) == FREE[kind] and file.sectors[0].track == FIRST[kind]
    assert zoned().read(image).free == 0 and zoned().check(image) == []
    with pytest.raises(VolumeError, match=f"needs 1 more block than the {FREE[kind]:,}"):
        build_on(kind, program(b"ALL", 254 * FREE[kind] + 1))


@pytest.mark.parametrize("kind, room", [("gcr4to5-35z20", 152), ("gcr4to5-40z", 144), ("gcr4to5-77z", 224), ("gcr4to5-77z-2s", 224)])
def test_a_directory_of_every_kind_holds_a_track_of_entries(kind, room):
    files = [program(b"F%d" % number, 1) for number in range(room + 1)]
    assert len(zoned().read(build_on(kind, *files[:room])).files) == room
    with pytest.raises(VolumeError, match=f"where it holds {room}"):
        build_on(kind, *files)


@pytest.mark.parametrize(
    "kind, chain",
    [("gcr4to5-40z", [0, 10, 20]), ("gcr4to5-35z20", [0, 10, 20]), ("gcr4to5-77z", [1, 6, 11]), ("gcr4to5-77z-2s", [1, 7, 12])],
)
def test_files_step_ten_blocks_on_and_on_77_tracks_five(kind, chain):
    """From memory for 77 tracks, where files begin on track 38, beside the map."""
    image = build_on(kind, program(b"LONG", 254 * 3))
    assert [(each.track, each.sector) for each in zoned().read(image).files[0].sectors] == [(FIRST[kind], sector) for sector in chain]


@pytest.mark.parametrize("kind, chain", [("gcr4to5-35z20", [1, 4, 7, 10]), ("gcr4to5-77z", [1, 4, 7, 10])])
def test_directories_step_three_blocks_on(kind, chain):
    image = build_on(kind, *(program(b"F%d" % number, 1) for number in range(25)))
    found, track = [1], 39 if "77" in kind else 18
    while (sector := image.read(Address(track, 0, found[-1]))[1]) != 0xFF:
        found.append(sector)
    assert found == chain


@pytest.mark.parametrize(
    "track, sector, offset, found, text",
    [
        (39, 0, 0, "27", "header: the link of track 39 sector 0 leads to track 39 sector 0, not track 38 sector 0"),
        (38, 0, 0, "00", "block map: the link of track 38 sector 0 leads to nothing, not track 38 sector 3"),
        (38, 3, 1, "02", "block map: the link of track 38 sector 3 leads to track 39 sector 2, not track 39 sector 1"),
        (38, 3, 4, "32", "block map: track 38 sector 3 says tracks 50 to 77, not 51 to 77"),
        (38, 0, 5, "34", "block map: track 38 sector 0 says tracks 1 to 51, not 1 to 50"),
        (39, 0, 2, "41", "header: its format is 41, not 43: the drive would write nothing on it"),
        (38, 3, 2, "41", "block map: the format of track 38 sector 3 is 41, not 43"),
        (38, 3, 6 + 5 * 26, "16", "block map: track 77 has 22 free blocks by its count, 23 by its bits"),
        (38, 0, 6 + 5 * 37 + 1, "f7", "block map: track 38 sector 0 is free, and used by the block map"),
        (38, 3, 6 + 5 * 26 + 4, "80", "block map: track 77 sector 31 is free, and the disc has no such sector"),
    ],
)
def test_check_finds_on_77_tracks(track, sector, offset, found, text):
    side = blank_39("gcr4to5-77z")
    side.lay(track, sector, offset, found)
    assert text in [str(problem) for problem in zoned().check(side.image())]


def test_a_disc_of_40_tracks_without_entries_for_the_last_five_is_sound():
    """As a drive's own system leaves it, or a maker's who keeps them elsewhere."""
    side = blank_18("gcr4to5-40z", b"2A", 0x41)
    side.lay(18, 0, 0xC0, bytes(20))
    assert zoned().check(side.image()) == []
    assert zoned().read(side.image()).free == 664


# Laws


NAMES = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x5F), min_size=1, max_size=16).map(str.encode)
FILES = st.builds(
    FileIn,
    NAMES,
    st.binary(max_size=1200),
    type=st.sampled_from(["program", "sequential", "user"]),
    load_address=st.integers(0, 0xFFFF),
    locked=st.booleans(),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(FILES, max_size=20, unique_by=lambda file: file.name), NAMES, st.integers(1, 16), st.sampled_from(sorted(BLANKS)))
def test_what_is_built_on_any_kind_is_read_again(files, label, interleave, kind):
    image = build_on(kind, *files, label=label, interleave=interleave)
    held = zoned().read(image)
    assert held.label == label
    assert [(each.name, each.type, each.locked) for each in held.files] == [(file.name, file.type, file.locked) for file in files]
    assert [each.data for each in held.files] == [file.load_address.to_bytes(2, "little") + file.data for file in files]
    assert held.free == FREE[kind] - sum(len(each.sectors) for each in held.files)
    assert zoned().check(image) == []


@settings(max_examples=40, deadline=None)
@given(st.lists(FILES, max_size=20, unique_by=lambda file: file.name), NAMES, st.integers(1, 16))
def test_what_is_built_is_read_again(files, label, interleave):
    image = build(*files, label=label, interleave=interleave)
    held = zoned().read(image)
    assert held.label == label
    assert [(each.name, each.type, each.locked) for each in held.files] == [(file.name, file.type, file.locked) for file in files]
    assert [each.data for each in held.files] == [file.load_address.to_bytes(2, "little") + file.data for file in files]
    assert held.free == 664 - sum(len(each.sectors) for each in held.files)
    assert problems(image.dump) == []


@pytest.mark.parametrize(
    "first, size, address, doubted",
    [
        (0x2000, 9, 0x2000, True),
        (0x2000, 9, 0x2001, False),
        (0x01FF, 9, "in-file", True),
        (0x0200, 9, "in-file", False),
        (0xFFFE, 4, "in-file", False),
        (0xFFFE, 5, "in-file", True),
        (0x0801, 2, "in-file", False),
        (0, 1, 0, False),
    ],
)
def test_a_load_address_that_would_stand_twice_or_not_at_all(first, size, address, doubted):
    """Below 0x0200 the machine keeps its own; 0xFFFE and two bytes end at 0xFFFF."""
    data = (first.to_bytes(2, "little") + bytes(size))[:size]
    assert bool(list(zoned().doubts(FileIn(b"A", data, type="program", load_address=address)))) == doubted
    assert not list(zoned().doubts(FileIn(b"A", data, type="sequential", load_address=address)))


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32),
    st.booleans(),
    st.dictionaries(st.sampled_from([HEADER, DIRECTORY, at(17, 0), at(17, 10)]), st.binary(min_size=1, max_size=256)),
)
def test_no_image_brings_the_reader_down(seed, hand, damage):
    dump = by_hand() if hand else bytearray(random.Random(seed).randbytes(174848))
    for place, found in damage.items():
        dump[place : place + len(found)] = found
    problems(dump)
    with suppress(VolumeError):
        read(dump)


@settings(max_examples=30, deadline=None)
@given(st.binary(min_size=1, max_size=256), st.sampled_from([(38, 0), (38, 3), (39, 0), (39, 1)]), st.booleans())
def test_no_image_of_77_tracks_brings_the_reader_down(damage, place, blank):
    side = blank_39("gcr4to5-77z") if blank else Side("gcr4to5-77z")
    side.lay(*place, 0, damage)
    zoned().check(side.image())
    with suppress(VolumeError):
        zoned().read(side.image())
