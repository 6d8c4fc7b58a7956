"""The hierarchical volume against images laid by hand with the offsets of its published layout, then its builder, then both."""

import random
from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats import registry
from formats.errors import VolumeError
from formats.model.geometry import Address
from formats.volumes.interface import FileIn, PlacedBytes, VolumeIn, VolumeOut
from formats.volumes.shared.image import Image

# Published pairs: the two file-order sectors of each of a track's eight blocks; a listing's table: their identifiers.
PAIRS = ((0x0, 0xE), (0xD, 0xC), (0xB, 0xA), (0x9, 0x8), (0x7, 0x6), (0x5, 0x4), (0x3, 0x2), (0x1, 0xF))
IDENTIFIERS = (0, 2, 4, 6, 8, 10, 12, 14, 1, 3, 5, 7, 9, 11, 13, 15)


def tree():
    return registry.volume("block-tree")


def geometry():
    return registry.geometry("gcr6and2-35x16x256")


def lay(dump: bytearray, block: int, offset: int, data: bytes | str) -> None:
    """Bytes into a block, which lies in two sectors of a dump in file order."""
    data = bytes.fromhex(data) if isinstance(data, str) else data
    for place, byte in enumerate(data, offset):
        dump[(block // 8 * 16 + PAIRS[block % 8][place // 256]) * 256 + place % 256] = byte


def held(dump: bytes, block: int) -> bytes:
    """A block's bytes."""
    starts = [(block // 8 * 16 + half) * 256 for half in PAIRS[block % 8]]
    return b"".join(bytes(dump[start : start + 256]) for start in starts)


def sectors(*blocks: int) -> tuple[Address, ...]:
    """The identifiers of both halves of some blocks."""
    return tuple(Address(block // 8, 0, IDENTIFIERS[2 * (block % 8) + half]) for block in blocks for half in (0, 1))


def header(name: bytes, kind: int, files: int, tail: str, reserved: str = "00") -> bytes:
    """The first entry of a directory; 1 January 1980 is 21 A0."""
    start = bytes([kind << 4 | len(name)]) + name.ljust(15, b"\0") + bytes.fromhex(reserved).ljust(8, b"\0")
    return start + bytes.fromhex("21 A0 00 00 00 00 C3 27 0D") + bytes([files, 0]) + bytes.fromhex(tail)


def entry(name: bytes, kind: int, type_: int, key: int, blocks: int, length: int, **other) -> bytes:
    """A file's entry."""
    numbers = bytes([type_]) + key.to_bytes(2, "little") + blocks.to_bytes(2, "little") + length.to_bytes(3, "little")
    access, aux, directory = other.get("access", 0xC3), other.get("aux", 0), other.get("directory", 2)
    tail = bytes([0, 0, access]) + aux.to_bytes(2, "little") + bytes.fromhex("21 A0 00 00") + directory.to_bytes(2, "little")
    return bytes([kind << 4 | len(name)]) + name.ljust(15, b"\0") + numbers + bytes.fromhex("21 A0 00 00") + tail


def slot(number: int) -> int:
    """Where an entry of a directory block begins, counted from 0."""
    return 4 + 39 * number


def blank() -> bytearray:
    """An empty volume, byte for byte."""
    dump = bytearray(143360)
    for block, before, after in ((2, 0, 3), (3, 2, 4), (4, 3, 5), (5, 4, 0)):
        lay(dump, block, 0, bytes([before, 0, after, 0]))
    lay(dump, 2, 4, header(b"SALTMARSH", 0xF, 0, "06 00 18 01"))
    lay(dump, 6, 0, b"\x01" + b"\xff" * 34)
    return dump


def use(dump: bytearray, *blocks: int) -> None:
    """Take blocks off the map: block 0 is bit 7 of byte 0."""
    for block in blocks:
        lay(dump, 6, block // 8, bytes([held(dump, 6)[block // 8] & ~(0x80 >> block % 8)]))


def by_hand() -> bytearray:
    """A file of each storage type, two of them with holes, and a directory with a file in it."""
    dump = blank()
    lay(dump, 2, slot(1), entry(b"LAMP.LIGHTER", 1, 0x06, 7, 1, 300, aux=0x2000, access=0x01))
    lay(dump, 7, 0, b"L" * 300)
    lay(dump, 2, slot(2), entry(b"GONE", 0, 0x04, 8, 1, 10))
    lay(dump, 2, slot(3), entry(b"LEVELS", 2, 0x04, 9, 3, 1500))
    lay(dump, 9, 0, bytes([10, 0, 0x17]))  # block 10, a hole, block 0117
    lay(dump, 9, 256, bytes([0, 0, 0x01]))
    lay(dump, 10, 0, b"A" * 512)
    lay(dump, 0x117, 0, b"C" * 512)
    lay(dump, 2, slot(4), entry(b"BOOK", 3, 0xFF, 20, 3, 131072 + 600, aux=0xFFFF))
    lay(dump, 20, 1, bytes([21]))  # the first index is a hole
    lay(dump, 21, 1, bytes([22]))
    lay(dump, 22, 0, b"END" * 30)
    lay(dump, 5, slot(12), entry(b"CAVES", 0xD, 0x0F, 30, 1, 512))
    lay(dump, 30, 4, header(b"CAVES", 0xE, 1, "05 00 0D 27", "75"))
    lay(dump, 30, slot(5), entry(b"FIRST", 1, 0x00, 31, 1, 0, directory=30))
    lay(dump, 2, 4 + 0x21, bytes([4]))
    use(dump, 7, 9, 10, 0x117, 20, 21, 22, 30, 31)
    return dump


def read(dump: bytes) -> VolumeOut:
    return tree().read(Image(geometry(), dump))


def problems(dump: bytes) -> list[str]:
    return [str(problem) for problem in tree().check(Image(geometry(), dump))]


def build(*files: FileIn, **keys) -> Image:
    return tree().build(geometry(), VolumeIn(files, **{"label": b"SALTMARSH"} | keys))


def refused(*files: FileIn, **keys) -> str:
    with pytest.raises(VolumeError) as error:
        build(*files, **keys)
    return str(error.value)


def plain(name: bytes, size: int = 1) -> FileIn:
    return FileIn(name, bytes(place * 7 % 251 + 1 for place in range(size)), type=4)


# Read by hand


def test_a_blank_volume_has_273_blocks_free():
    """280 less loader 2, directory 4, map 1."""
    empty = read(blank())
    assert (empty.label, empty.free, empty.unit, empty.files) == (b"SALTMARSH", 273, 512, ())


def test_files_of_a_hand_laid_volume():
    lamp, levels, book, first = read(by_hand()).files
    assert (lamp.name, lamp.type, lamp.load_address, lamp.locked, lamp.data) == (b"LAMP.LIGHTER", 6, 0x2000, True, b"L" * 300)
    assert lamp.sectors == sectors(7)
    assert (levels.name, levels.type, levels.locked) == (b"LEVELS", 4, False)
    assert levels.data == b"A" * 512 + bytes(512) + b"C" * 476
    assert levels.sectors == sectors(10, 0x117)
    assert (book.type, book.load_address) == (0xFF, 0xFFFF)
    assert book.data == bytes(131072 + 512) + (b"END" * 30)[:88]
    assert book.sectors == sectors(22)[:1]
    assert (first.name, first.type, first.data, first.sectors) == (b"CAVES/FIRST", 0, b"", ())
    assert read(by_hand()).free == 273 - 9


def test_a_hand_laid_volume_is_sound():
    assert problems(blank()) == []
    assert problems(by_hand()) == []


def test_a_file_that_can_be_written_is_not_locked():
    dump = by_hand()
    lay(dump, 2, slot(1) + 0x1E, "03")
    assert not read(dump).files[0].locked


LAMP, LEVELS, BOOK, CAVES = slot(1), slot(3), slot(4), slot(12)
DAMAGE = [
    (2, 4, "E9", "block 2: there is no volume directory"),
    (2, 4 + 0x1F, "26", "volume directory: bytes of an entry: 38, where 39 was expected"),
    (2, 4 + 0x20, "0C", "volume directory: entries of a block: 12, where 13 was expected"),
    (2, 4 + 0x21, "05", "volume directory: files: 5, where 4 was expected"),
    (2, 4 + 0x23, "18 01", "bit map: leads to block 280, where no data can be"),
    (2, 4 + 0x23, "01", "bit map: leads to block 1, which belongs to the loader already"),
    (2, 4 + 0x25, "17", "volume directory: the volume has 279 blocks, this disc has 280"),
    (2, 0, "05", "volume directory: block 2 says that 5 comes before it, not 0"),
    (4, 0, "02", "volume directory: block 4 says that 2 comes before it, not 3"),
    (3, 2, "02", "volume directory: its chain runs in a circle: it comes to block 2 a second time"),
    (3, 2, "18 01", "volume directory: its chain leads to block 280, where no data can be"),
    (6, 0, "03", "bit map: block 6 is free, and used by the bit map"),
    (6, 0, "81", "bit map: block 0 is free, and used by the loader"),
    (6, 0, "11", "bit map: block 3 is free, and used by volume directory"),
    (6, 0, "02 FF", "bit map: block 9 is free, and used by LEVELS"),
    (6, 34, "FF", "bit map: block 279 is free, and used by LEVELS"),
    (6, 35, "80", "bit map: block 280 is free, and the disc has no such block"),
    (2, LAMP, "4C", "LAMP.LIGHTER: storage type 4 is none that can be followed"),
    (2, LAMP, "10", "block 2 entry 2: the name is empty, where 1 to 15 characters were expected"),
    (5, CAVES, "D0", "block 5 entry 13: the name is empty, where 1 to 15 characters were expected"),
    (2, 4, "F0", "volume directory: the name is empty, where 1 to 15 characters were expected"),
    (2, LEVELS, b"\x24BOOK".hex(), "BOOK: 2 entries of the directory have this name"),
    (2, LEVELS, b"\x25CAVES".hex(), "CAVES: 2 entries of the directory have this name"),
    (2, LAMP + 0x11, "1F", "CAVES/FIRST: leads to block 31, which belongs to LAMP.LIGHTER already"),
    (2, LAMP + 0x11, "00", "LAMP.LIGHTER: leads to block 0, which belongs to the loader already"),
    (2, LAMP + 0x11, "18 01", "LAMP.LIGHTER: leads to block 280, where no data can be"),
    (2, LAMP + 0x13, "02", "LAMP.LIGHTER: the directory gives it 2 blocks, it has 1"),
    (2, LAMP + 0x15, "01 02", "LAMP.LIGHTER: the directory gives it 513 bytes, its blocks hold 512 at most"),
    (2, LAMP + 0x25, "03", "LAMP.LIGHTER: its directory begins in block 2, its entry says 3"),
    (2, LEVELS + 0x15, "01 00 02", "LEVELS: the directory gives it 131,073 bytes, its blocks hold 131,072 at most"),
    (21, 2, "15", "BOOK: leads to block 21 a second time"),
    (20, 5, "FF", "BOOK: the directory gives it 3 blocks, it has 4"),
    (5, CAVES + 0x13, "02", "CAVES: the directory gives it 2 blocks, it has 1"),
    (5, CAVES + 0x15, "00 04", "CAVES: the directory gives it 1,024 bytes, it has 512"),
    (5, CAVES + 0x25, "05", "CAVES: its directory begins in block 2, its entry says 5"),
    (5, CAVES + 0x11, "02", "CAVES: its chain runs into block 2, which belongs to volume directory already"),
    (30, 4, "F5", "CAVES: its header does not lead back to entry 13 of block 5"),
    (30, 5, "D3", "CAVES: its header does not lead back to entry 13 of block 5"),
    (30, 4 + 0x23, "02", "CAVES: its header does not lead back to entry 13 of block 5"),
    (30, 4 + 0x25, "0C", "CAVES: its header does not lead back to entry 13 of block 5"),
    (30, 4 + 0x26, "26", "CAVES: its header does not lead back to entry 13 of block 5"),
    (30, 4 + 0x21, "02", "CAVES: files: 2, where 1 was expected"),
    (30, 2, "1E", "CAVES: its chain runs in a circle: it comes to block 30 a second time"),
    (30, slot(5) + 0x25, "02", "CAVES/FIRST: its directory begins in block 30, its entry says 2"),
]


@pytest.mark.parametrize("block, offset, found, text", DAMAGE)
def test_check_finds(block, offset, found, text):
    dump = by_hand()
    lay(dump, block, offset, found)
    assert text in problems(dump)


def test_a_file_may_be_called_like_one_of_another_directory():
    dump = by_hand()
    lay(dump, 2, LEVELS, b"\x25FIRST")
    assert problems(dump) == []


def test_blocks_that_are_not_there_are_not_free():
    dump = blank()
    lay(dump, 6, 35, "FF")
    assert read(dump).free == 273


def test_a_block_that_an_index_leads_to_is_the_files_behind_its_end_too():
    """Allotted ahead: pointer 3 of a file that ends in its third block."""
    dump = by_hand()
    lay(dump, 9, 3, bytes([24]))
    assert "LEVELS: the directory gives it 3 blocks, it has 4" in problems(dump)
    assert "bit map: block 24 is free, and used by LEVELS" in problems(dump)
    assert read(dump).files[1].sectors == sectors(10, 0x117)


def test_files_that_can_not_be_followed_are_not_read():
    dump = by_hand()
    lay(dump, 2, LAMP + 0x11, "18 01")
    with pytest.raises(VolumeError, match=r"LAMP\.LIGHTER: leads to block 280, where no data can be"):
        read(dump)


def test_holes_do_not_make_a_disc_of_any_size():
    """Three trees of holes whose lengths say more than twice the longest file."""
    dump, longest = blank(), 0xFFFFFF
    for number, length in enumerate((longest, longest, 3)):
        lay(dump, 2, slot(1 + number), entry(b"HOLE%d" % number, 3, 0x04, 10 + number, 1, length))
    assert "volume directory: its files have more than 33,554,432 bytes by their lengths" in problems(dump)
    lay(dump, 2, slot(3) + 0x15, "02")
    assert not [each for each in problems(dump) if "by their lengths" in each]


# Built


def test_an_empty_volume_is_built_as_by_hand():
    built = build()
    assert bytes(built.dump) == bytes(blank())
    assert built.used == set(sectors(2, 3, 4, 5, 6))
    assert read(build(label=b"").dump).label == b"UNTITLED"


def test_the_date_of_the_job_is_every_entrys():
    """CV118: 31 January 1984 is 3F A8."""
    dump = build(plain(b"A"), plain(b"D/B"), date=date(1984, 1, 31)).dump
    assert held(dump, 2)[0x1C:0x20].hex() == held(dump, 2)[slot(1) + 0x18 : slot(1) + 0x1C].hex() == "3fa80000"
    assert held(dump, 2)[slot(1) + 0x21 : slot(1) + 0x25].hex() == "3fa80000"
    assert held(dump, 8)[0x1C:0x20].hex() == held(dump, 2)[slot(2) + 0x18 : slot(2) + 0x1C].hex() == "3fa80000"
    assert held(build(date=date(2026, 12, 1)).dump, 2)[0x1C:0x1E].hex() == "8135"  # 26 << 9 | 12 << 5 | 1


@pytest.mark.parametrize("year, fits", [(1939, False), (1940, True), (2039, True), (2040, False)])
def test_two_digits_hold_the_years_1940_to_2039(year, fits):
    """From memory."""
    if fits:
        assert build(date=date(year, 1, 1)).used
    else:
        assert refused(date=date(year, 1, 1), where="side.A") == f"side.A.date: {year}-01-01 is not in the years 1940 to 2039"


def test_a_small_file_stands_on_the_disc_as_the_layout_says():
    image = build(FileIn(b"LAMP.LIGHTER", b"L" * 300, type=6, load_address=0x2000, locked=True), plain(b"B", 0))
    assert held(image.dump, 2)[slot(1) : slot(2)] == entry(b"LAMP.LIGHTER", 1, 0x06, 7, 1, 300, aux=0x2000, access=0x01)
    assert held(image.dump, 2)[slot(2) : slot(3)] == entry(b"B", 1, 0x04, 8, 1, 0)
    assert held(image.dump, 2)[4 : slot(1)] == header(b"SALTMARSH", 0xF, 2, "06 00 18 01")
    assert held(image.dump, 7) == b"L" * 300 + bytes(212)
    assert held(image.dump, 6)[:3].hex() == "007fff"
    assert image.used == set(sectors(2, 3, 4, 5, 6, 7, 8))
    assert (read(image.dump).files[0].sectors, read(image.dump).files[1].sectors) == (sectors(7), ())


def test_a_file_of_more_than_a_block_hangs_on_an_index():
    image = build(plain(b"F", 512), plain(b"G", 513))
    assert held(image.dump, 2)[slot(1) : slot(2)] == entry(b"F", 1, 0x04, 7, 1, 512)
    assert held(image.dump, 2)[slot(2) : slot(3)] == entry(b"G", 2, 0x04, 8, 3, 513)
    assert held(image.dump, 8) == bytes([9, 10]) + bytes(510)
    assert held(image.dump, 10) == plain(b"G", 513).data[512:] + bytes(511)
    assert read(image.dump).files[1].sectors == (*sectors(9), sectors(10)[0])


def test_a_file_of_more_than_256_blocks_hangs_on_an_index_of_indexes():
    sapling = build(plain(b"F", 131072))
    assert held(sapling.dump, 2)[slot(1) : slot(2)] == entry(b"F", 2, 0x04, 7, 257, 131072)
    assert held(sapling.dump, 7)[255:257] == bytes([263 & 0xFF, 0]) and held(sapling.dump, 7)[511] == 1
    image = build(plain(b"F", 131073))
    assert held(image.dump, 2)[slot(1) : slot(2)] == entry(b"F", 3, 0x04, 7, 260, 131073)
    assert held(image.dump, 7) == bytes([8, 9]) + bytes(510)
    assert held(image.dump, 8)[:3] == bytes([10, 11, 12]) and held(image.dump, 9) == bytes([10]) + bytes(255) + bytes([1]) + bytes(255)
    assert held(image.dump, 266) == plain(b"F", 131073).data[-1:] + bytes(511)
    assert problems(image.dump) == []


def test_a_directory_is_made_where_its_first_file_stands():
    image = build(plain(b"A"), plain(b"CAVES/FIRST"), plain(b"B"), plain(b"CAVES/SECOND"), plain(b"CAVES/DEEP/THIRD"))
    root = held(image.dump, 2)
    assert root[4 + 0x21] == 3
    assert root[slot(2) : slot(3)] == entry(b"CAVES", 0xD, 0x0F, 8, 1, 512)
    assert root[slot(3) : slot(4)] == entry(b"B", 1, 0x04, 10, 1, 1)
    caves = held(image.dump, 8)
    assert caves[: slot(1)] == bytes(4) + header(b"CAVES", 0xE, 3, "02 00 03 27", "75")
    assert caves[slot(1) : slot(2)] == entry(b"FIRST", 1, 0x04, 9, 1, 1, directory=8)
    assert caves[slot(3) : slot(4)] == entry(b"DEEP", 0xD, 0x0F, 12, 1, 512, directory=8)
    assert held(image.dump, 12)[: slot(1)] == bytes(4) + header(b"DEEP", 0xE, 1, "08 00 04 27", "75")
    assert [file.name for file in read(image.dump).files] == [b"A", b"B", b"CAVES/FIRST", b"CAVES/SECOND", b"CAVES/DEEP/THIRD"]
    assert problems(image.dump) == []


def test_a_directory_takes_a_block_for_every_13_entries_and_its_header():
    for count, blocks in ((12, 1), (13, 2), (25, 2), (26, 3)):
        image = build(*(plain(b"D/F%d" % number) for number in range(count)))
        assert held(image.dump, 2)[slot(1) : slot(2)] == entry(b"D", 0xD, 0x0F, 7, blocks, 512 * blocks)
        chain = [held(image.dump, block)[:4] for block in range(7, 7 + blocks)]
        before, after = [0, *range(7, 6 + blocks)], [*range(8, 7 + blocks), 0]
        assert chain == [bytes([first, 0, then, 0]) for first, then in zip(before, after, strict=True)]
        assert [file.name for file in read(image.dump).files] == [b"D/F%d" % number for number in range(count)]
        assert problems(image.dump) == []


def test_an_entry_in_a_later_block_is_led_back_to():
    image = build(*(plain(b"F%d" % number) for number in range(12)), plain(b"D/E"))
    assert held(image.dump, 3)[slot(0) : slot(1)] == entry(b"D", 0xD, 0x0F, 19, 1, 512)
    assert held(image.dump, 19)[: slot(1)] == bytes(4) + header(b"D", 0xE, 1, "03 00 01 27", "75")
    assert problems(image.dump) == []


def test_the_reader_lists_the_volume_directory_first_and_the_job_is_put_in_that_order():
    names = [b"A/X", b"B/C/Y", b"Z", b"A/W", b"B/V", b"B/C/U", b"A/D/T"]
    order = tree().order(names)
    assert [names[place] for place in order] == [b"Z", b"A/X", b"A/W", b"B/V", b"A/D/T", b"B/C/Y", b"B/C/U"]
    assert [file.name for file in read(build(*map(plain, names)).dump).files] == [names[place] for place in order]


def test_51_entries_fill_the_volume_directory_and_a_directory_is_one():
    files = [plain(b"F%d" % number) for number in range(50)]
    image = build(*files, plain(b"D/A"), plain(b"D/B"))
    assert len(read(image.dump).files) == 52
    assert held(image.dump, 5)[slot(12) : slot(13)] == entry(b"D", 0xD, 0x0F, 57, 1, 512)
    text = refused(*files, plain(b"D/A"), plain(b"E"), where="side.B")
    assert text == "side.B: the volume directory is too full: 52 files and directories, where it holds 51; put some into a directory"


def test_a_disc_can_be_filled_to_the_last_block():
    image = build(plain(b"A", 131072), *(plain(b"D/F%d" % number) for number in range(14)))
    assert read(image.dump).free == 0
    assert problems(image.dump) == []
    assert "needs 1 more block than the 273" in refused(plain(b"A", 131072), *(plain(b"D/F%d" % number) for number in range(15)))
    assert "needs 2 more blocks than the 273" in refused(plain(b"A", 131073 + 511), *(plain(b"F%d" % number, 0) for number in range(15)))


def test_interleave_is_the_step_from_block_to_block():
    image = build(plain(b"F", 512 * 4), interleave=3)
    assert read(image.dump).files[0].sectors == sectors(8, 11, 14, 17)
    around = build(plain(b"F", 512 * 3), interleave=279)
    assert read(around.dump).files[0].sectors == sectors(8, 9, 10)


def test_boot_bytes_lie_in_blocks_0_and_1():
    boot = bytes(range(256)) * 4
    image = build(boot=boot)
    assert held(image.dump, 0) + held(image.dump, 1) == boot
    assert set(sectors(0, 1)) <= image.used
    assert read(image.dump).free == 273
    assert build(boot=bytes(257)).used - build().used == set(sectors(0))
    assert refused(boot=bytes(1025), where="side.B") == "side.B.boot: 1,025 bytes, where 1,024 fit"


def test_placed_bytes_are_marked_used_and_files_go_around_them():
    """A block is used when one of its sectors is."""
    image = build(plain(b"F", 1024), places=[PlacedBytes(sectors(8)[1], bytes([7]) * 100), PlacedBytes(sectors(0)[0], b"LOADER")])
    assert held(image.dump, 8) == bytes(256) + bytes([7]) * 100 + bytes(156)
    assert read(image.dump).files[0].sectors == sectors(9, 10)
    assert read(image.dump).free == 273 - 4
    assert held(image.dump, 0)[:6] == b"LOADER"
    assert problems(image.dump) == []
    assert {sectors(8)[1], sectors(0)[0]} <= image.used and sectors(8)[0] not in image.used


def test_types_and_words_are_numbers():
    files = [FileIn(b"F%d" % number, b"", type=number, load_address=number * 257) for number in (0, 15, 255)]
    files.append(FileIn(b"N", b"", type=1))
    assert [(file.type, file.load_address) for file in read(build(*files).dump).files] == [(0, 0), (15, 3855), (255, 65535), (1, 0)]


# Refused


def test_all_problems_come_at_once():
    found = refused(
        FileIn(b"lamp", b"", type=6, where="side.A.file[0]"),
        FileIn(b"A/B", b"", type=6, load_address=0x10000, where="side.A.file[1]"),
        FileIn(b"A", b"", type="binary", where="side.A.file[2]"),
        FileIn(b"C", b"", load_address="in-file", where="side.A.file[3]"),
        FileIn(b"D", b"", type=256, where="side.A.file[4]"),
        image=b"x",
        interleave=280,
        label=b"1.LABEL",
        where="side.A",
    )
    assert found.split("; side.A.") == [
        "side.A.image: block-tree has no place for it; leave the key out",
        "interleave: a step of 280, where 1 to 279 make sense",
        "label: 1.LABEL does not begin with a letter",
        "file[0].name: lamp has 'l a m p', not among the volume's characters",
        "file[1].load_address: 65536 is not a number from 0 to 65535",
        "file[2]: A is a directory of other files",
        "file[2].type: 'binary' is no type; block-tree has numbers from 0 to 255",
        "file[3].type: no type is given; block-tree has numbers from 0 to 255",
        "file[3].load_address: 'in-file' is not a number from 0 to 65535",
        "file[4].type: 256 is no type; block-tree has numbers from 0 to 255",
    ]


@pytest.mark.parametrize(
    "name, text",
    [
        (b"SIXTEEN.LETTERS.", "has 16 characters, where 1 to 15 fit"),
        (b"", "the name is empty, where 1 to 15 characters were expected"),
        (b"/A", "/A has an empty name beside a slash"),
        (b"A//B", "A//B has an empty name beside a slash"),
        (b"A/", "A/ has an empty name beside a slash"),
        (b"A/9", "9 does not begin with a letter"),
        (b".A", ".A does not begin with a letter"),
        (b"A B", "A B has ' ', not among the volume's characters"),
        (b"A_B", "A_B has '_', not among"),
        (b"a", "a has 'a', not among"),
        (b"A/B/C@", "C@ has '@', not among"),
    ],
)
def test_names_that_are_refused(name, text):
    assert text in refused(FileIn(name, b"", type=4))


def test_names_that_are_taken():
    assert build(*map(plain, (b"ABCDEFGHIJKLMNO", b"PQRSTUVWXYZ.012", b"Z3456789", b"Z/Z"))).used
    assert "two files have the name D/X" in refused(plain(b"D/X"), plain(b"D/X"))
    assert "two files have the name" not in refused(plain(b"D/X"), plain(b"X"), plain(b"D"))


def test_raw_names_hold_any_byte_but_a_slash_and_zero():
    raw = FileIn(b"\xc1b/ \xff\x01", b"x", raw_name=True, type=4)
    assert [file.name for file in read(build(raw).dump).files] == [b"\xc1b/ \xff\x01"]
    assert "A%00B has '%00'" in refused(FileIn(b"A\0B", b"", raw_name=True, type=4))


@pytest.mark.parametrize(
    "place, what",
    [
        (PlacedBytes(sectors(2)[1], b"x", "p"), "p: track 0 sector 10 is taken by the volume directory or the bit map"),
        (PlacedBytes(sectors(6)[0], b"x", "p"), "p: track 0 sector 9 is taken by the volume directory or the bit map"),
        (PlacedBytes(sectors(0)[1], b"x", "p"), "p: track 0 sector 2 is taken by the boot bytes"),
        (PlacedBytes(Address(35, 0, 0), b"x", "p"), "p: gcr6and2-35x16x256 has no track 35 sector 0"),
    ],
)
def test_places_that_are_refused(place, what):
    assert what == refused(places=[place], boot=bytes(512))


# Laws

LETTERS, OTHERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ", "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789."
NAMES = st.builds(str.__add__, st.sampled_from(LETTERS), st.text(OTHERS, max_size=14)).map(str.encode)
PATHS = st.lists(st.sampled_from([b"CAVES", b"LEVELS", b"A"]), max_size=3).flatmap(
    lambda way: NAMES.map(lambda name: b"/".join([*way, b"N" + name[:14]]))
)
FILES = st.builds(
    FileIn,
    PATHS,
    st.binary(max_size=1600),
    type=st.integers(0, 255),
    load_address=st.integers(0, 0xFFFF),
    locked=st.booleans(),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(FILES, max_size=20, unique_by=lambda file: file.name), NAMES, st.integers(1, 279))
def test_what_is_built_is_read_again(files, label, interleave):
    image = build(*files, label=label, interleave=interleave)
    found = read(image.dump)
    ordered = [files[place] for place in tree().order([file.name for file in files])]
    assert found.label == label
    assert [(each.name, each.type, each.load_address, each.locked, each.data) for each in found.files] == [
        (file.name, file.type, file.load_address, file.locked, file.data) for file in ordered
    ]
    assert problems(image.dump) == []
    assert {address for each in found.files for address in each.sectors} <= image.used


@settings(max_examples=80, deadline=None)
@given(
    st.integers(0, 2**32),
    st.booleans(),
    st.lists(st.tuples(st.sampled_from([2, 3, 5, 6, 9, 20, 30]), st.integers(0, 511), st.binary(min_size=1, max_size=40)), max_size=4),
)
def test_no_image_brings_the_reader_down(seed, hand, damage):
    dump = by_hand() if hand else bytearray(random.Random(seed).randbytes(143360))
    if not hand:
        lay(dump, 2, 4, header(b"SALTMARSH", 0xF, 0, "06 00 18 01"))
    for block, offset, found in damage:
        lay(dump, block, offset, found[: 512 - offset])
    problems(dump)
    with suppress(VolumeError):
        read(dump)
