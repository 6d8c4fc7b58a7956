"""The zoned volume against images laid by hand with the offsets of its published layout, then its builder, then both."""

import random
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats import registry
from formats.errors import VolumeError
from formats.geometry import Address
from formats.image import Image
from formats.volumes.interface import FileIn, Place, VolumeIn, VolumeOut

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
DAMAGE = [
    (HEADER + 4 * 17 + 1, "ff", "block map: track 17 sector 0 is free, and used by LAMPLIGHTER"),
    (HEADER + 4 * 18 + 1, "fd", "block map: track 18 sector 0 is free, and used by the block map"),
    (HEADER + 4 * 18 + 1, "fe", "block map: track 18 sector 1 is free, and used by directory"),
    (HEADER + 4 * 30, "13", "block map: track 30 has 19 free blocks by its count, 18 by its bits"),
    (HEADER + 4 * 31 + 3, "03", "block map: 31/17 is free, and the disc has no such sector"),
    (HEADER + 4 * 1 + 3, "8f", "block map: 1/23 is free, and the disc has no such sector"),
    (HEADER + 1, "02", "header: its link to the directory is (18, 2), not (18, 1)"),
    (DIRECTORY, "13", "directory: its chain leads to 19/255, where no data can be"),
    (DIRECTORY, "12 00", "directory: its chain runs into 18/0, which belongs to the block map already"),
    (DIRECTORY + 0x02, "42", "LAMPLIGHTER: was never closed"),
    (DIRECTORY + 0x03, "00", "LAMPLIGHTER: has no first block"),
    (DIRECTORY + 0x1E, "03", "LAMPLIGHTER: the directory gives it 3 blocks, it has 2"),
    (DIRECTORY + 0x1F, "01", "LAMPLIGHTER: the directory gives it 258 blocks, it has 2"),
    (DIRECTORY + 4 * 32 + 0x15, "24", "RECORDS: its chain leads to 36/9, where no data can be"),
    (at(17, 0), "11 15", "LAMPLIGHTER: its chain leads to 17/21, where no data can be"),
    (at(17, 10), "11 00", "LAMPLIGHTER: its chain runs into 17/0, which belongs to LAMPLIGHTER already"),
    (at(17, 10), "13 03", "HOW TO PLAY: its chain runs into 19/3, which belongs to LAMPLIGHTER already"),
    (at(19, 3), "00 00", "HOW TO PLAY: the last byte used of its last block would be a byte of the link"),
]


@pytest.mark.parametrize("place, found, text", DAMAGE)
def test_check_finds(place, found, text):
    dump = by_hand()
    dump[place : place + len(bytes.fromhex(found))] = bytes.fromhex(found)
    assert text in problems(dump)


def test_a_file_without_an_end_is_not_read():
    dump = by_hand()
    dump[at(17, 10) : at(17, 10) + 2] = b"\x11\x00"
    with pytest.raises(VolumeError, match="runs into 17/0"):
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
    image = build(program(b"LONG", 254 * 3), places=[Place(Address(17, 0, 9), bytes([7]) * 300), Place(Address(18, 0, 4), b"KEEP")])
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
    assert "has 0 characters" in refused(FileIn(b"", b"", type="user"))
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
    assert "needs 1 more block than the 663" in refused(program(b"A", 254 * 664), places=[Place(Address(1, 0, 0), b"x")])


def test_a_directory_that_is_too_full():
    assert "145 files, where it holds 144" in refused(*(program(b"F%d" % number, 1) for number in range(145)))


@pytest.mark.parametrize(
    "place, text",
    [
        (Place(Address(18, 0, 0), b"x", "p"), "p: track 18 sector 0 is taken by the block map"),
        (Place(Address(17, 0, 20), bytes(600), "p"), "p: track 18 sector 1 is taken by the directory"),
        (Place(Address(36, 0, 0), b"x", "p"), "p: gcr4to5-35z has no track 36 sector 0"),
        (Place(Address(35, 0, 16), bytes(257), "p"), "p: 2 sectors from track 35 sector 16 on run 1 past the end of the disc"),
        (Place(Address(5, 0, 5), b"", "p"), "p: there are no bytes to place"),
    ],
)
def test_places_that_are_refused(place, text):
    assert text in refused(places=[place])


def test_two_places_may_not_overlap():
    text = refused(places=[Place(Address(5, 0, 5), bytes(300), "p"), Place(Address(5, 0, 6), b"x", "q")])
    assert text == "q: track 5 sector 6 is taken by p"


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
@given(st.lists(FILES, max_size=20, unique_by=lambda file: file.name), NAMES, st.integers(1, 16))
def test_what_is_built_is_read_again(files, label, interleave):
    image = build(*files, label=label, interleave=interleave)
    held = zoned().read(image)
    assert held.label == label
    assert [(each.name, each.type, each.locked) for each in held.files] == [(file.name, file.type, file.locked) for file in files]
    assert [each.data for each in held.files] == [file.load_address.to_bytes(2, "little") + file.data for file in files]
    assert held.free == 664 - sum(len(each.sectors) for each in held.files)
    assert problems(image.dump) == []


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
