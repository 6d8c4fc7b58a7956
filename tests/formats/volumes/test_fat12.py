"""The FAT12 volume against images laid by hand with the offsets of the standard, then its builder, then both.

The media table is that of the support article on parameter blocks, and was measured in images that a general-purpose tool
made; `tests/foreign` holds the builder against such tools.
"""

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

# Geometry, bytes 11 to 27 of the boot sector, clusters, free bytes, root directory entries.
MEDIA = {
    "mfm-40x8x512": ("00 02 01 01 00 02 40 00 40 01 fe 01 00 08 00 01 00", 313, 160256, 64),
    "mfm-40x9x512": ("00 02 01 01 00 02 40 00 68 01 fc 02 00 09 00 01 00", 351, 179712, 64),
    "mfm-40x8x512-2s": ("00 02 02 01 00 02 70 00 80 02 ff 01 00 08 00 02 00", 315, 322560, 112),
    "mfm-40x9x512-2s": ("00 02 02 01 00 02 70 00 d0 02 fd 02 00 09 00 02 00", 354, 362496, 112),
    "mfm-80x9x512-2s": ("00 02 02 01 00 02 70 00 a0 05 f9 03 00 09 00 02 00", 713, 730112, 112),
    "mfm-80x15x512-2s": ("00 02 01 01 00 02 e0 00 60 09 f9 07 00 0f 00 02 00", 2371, 1213952, 224),
}
SINGLE, DOUBLE = "mfm-40x9x512", "mfm-40x9x512-2s"


def fat():
    return registry.volume("fat12")


def lay(dump: bytearray, place: int, found: bytes) -> None:
    dump[place : place + len(found)] = found


def entry(name: bytes, attributes: int, cluster: int, size: int) -> bytes:
    """A directory entry of 31 January 1984: 4 << 9 | 1 << 5 | 31."""
    return name + bytes([attributes]) + bytes(10) + b"\0\0\x3f\x08" + cluster.to_bytes(2, "little") + size.to_bytes(4, "little")


# The single-sided disc: boot sector 0, tables in sectors 1-2 and 3-4, root directory in 5-8, cluster 2 in 9.
TABLE, COPY, ROOT, DATA = 0x200, 0x600, 0xA00, 0x1200


def blank() -> bytearray:
    dump = bytearray(184320)
    lay(dump, 11, bytes.fromhex(MEDIA[SINGLE][0]))
    lay(dump, TABLE, b"\xfc\xff\xff")
    lay(dump, COPY, b"\xfc\xff\xff")
    return dump


def by_hand() -> bytearray:
    """Five files, a label, a directory with a file in it, deleted and long-name entries, a bad cluster: laid by hand."""
    dump = blank()
    entries = [
        entry(b"SALTMARSH  ", 0x08, 0, 0),
        entry(b"LAMP    COM", 0x01, 2, 600),
        entry(b"\xe5ONE    TXT", 0x00, 2, 600),
        entry(b"Al\0o\0n\0g\0n\0", 0x0F, 0, 0xFFFFFFFF),
        entry(b"EMPTY      ", 0x20, 0, 0),
        entry(b"DATA       ", 0x10, 3, 0),
        entry(b"\x05A      BIN", 0x06, 6, 512),
    ]
    lay(dump, ROOT, b"".join(entries))
    lay(dump, ROOT + 32 * 8, entry(b"BEHIND  END", 0, 2, 600))
    # Clusters 2 -> 5, 3 end, 4 bad, 5 end, 6 end, 7 end (FF8 to FFF all are one): pairs (005, FFF), (FF7, FFF), (FF8, FFF).
    for table in (TABLE, COPY):
        lay(dump, table + 3, bytes.fromhex("05 f0 ff f7 ff ff f8 ff ff"))
    lay(dump, DATA, b"L" * 512)
    lay(dump, DATA + 512, entry(b".          ", 0x10, 3, 0) + entry(b"..         ", 0x10, 0, 0) + entry(b"LEVELS  DAT", 0, 7, 3))
    lay(dump, DATA + 3 * 512, b"M" * 88 + b"slack")
    lay(dump, DATA + 4 * 512, bytes(range(256)) * 2)
    lay(dump, DATA + 5 * 512, b"123")
    return dump


def read(dump: bytes, name: str = SINGLE) -> VolumeOut:
    return fat().read(Image(registry.geometry(name), dump))


def problems(dump: bytes, name: str = SINGLE) -> list[str]:
    return [str(problem) for problem in fat().check(Image(registry.geometry(name), dump))]


def build(*files: FileIn, on: str = SINGLE, **keys) -> Image:
    return fat().build(registry.geometry(on), VolumeIn(files, **keys))


def refused(*files: FileIn, on: str = SINGLE, **keys) -> str:
    with pytest.raises(VolumeError) as error:
        build(*files, on=on, **keys)
    return str(error.value)


# Read by hand


def test_a_blank_volume_has_351_clusters_free():
    empty = read(blank())
    assert (empty.label, empty.free, empty.unit, empty.files) == (b"", 351, 512, ())


def test_files_of_a_hand_laid_volume():
    held = read(by_hand())
    lamp, empty, odd, levels = held.files
    assert held.label == b"SALTMARSH"
    assert held.free == 351 - 6
    assert (lamp.name, lamp.type, lamp.load_address, lamp.locked) == (b"LAMP.COM", None, None, True)
    assert lamp.data == b"L" * 512 + b"M" * 88
    assert lamp.sectors == (Address(1, 0, 1), Address(1, 0, 4))
    assert (empty.name, empty.locked, empty.data, empty.sectors) == (b"EMPTY", False, b"", ())
    assert (odd.name, odd.data) == (b"\xe5A.BIN", bytes(range(256)) * 2)
    assert (levels.name, levels.data, levels.sectors) == (b"DATA/LEVELS.DAT", b"123", (Address(1, 0, 6),))


def test_a_hand_laid_volume_is_sound():
    assert problems(blank()) == []
    assert problems(by_hand()) == []


def test_a_disc_without_a_parameter_block_is_read_by_its_media_descriptor():
    dump = by_hand()
    lay(dump, 11, bytes(25))
    assert read(dump) == read(by_hand())
    assert problems(dump) == []


@pytest.mark.parametrize(
    "place, found",
    [(11, "80 00"), (13, "00"), (13, "03"), (14, "00 00"), (16, "00"), (17, "00 00"), (19, "69 01"), (19, "09 00"), (22, "00 00")],
)
def test_a_parameter_block_that_cannot_be_true_is_not_believed(place, found):
    dump = by_hand()
    lay(dump, place, bytes.fromhex(found))
    assert read(dump).files[0].data == b"L" * 512 + b"M" * 88


def test_a_disc_that_is_no_fat_volume_is_refused():
    dump = by_hand()
    lay(dump, 11, bytes(25))
    dump[TABLE] = 0xFE
    with pytest.raises(VolumeError, match="neither a parameter block for this geometry nor its media descriptor"):
        read(dump)
    assert len(problems(dump)) >= 1


DAMAGE = [
    (TABLE, "fe", "allocation table: begins with fe ff ff, where fc ff ff was expected"),
    (TABLE + 1, "ef", "allocation table: begins with fc ef ff, where fc ff ff was expected"),
    (TABLE + 2, "7f", "allocation table: begins with fc ff 7f, where fc ff ff was expected"),
    (COPY + 100, "01", "allocation table: copy 2 differs from the first"),
    (TABLE + 12, "ff 0f", "allocation table: cluster 8 is allocated, and no file's"),
    (TABLE + 3, "02 f0", "LAMP.COM: its chain runs in a circle: it comes to cluster 2 a second time"),
    (TABLE + 3, "03 f0", "DATA: its chain runs into cluster 3, which belongs to LAMP.COM already"),
    (TABLE + 3, "00 f0", "LAMP.COM: its chain leads to cluster 0, where no data can be"),
    (TABLE + 3, "61 f1", "LAMP.COM: its chain leads to cluster 353, where no data can be"),
    (TABLE + 3, "04 f0", "LAMP.COM: its chain leads to cluster 4087, where no data can be"),
    (TABLE + 3, "ff ff", "LAMP.COM: the directory gives it 600 bytes, its chain holds 512"),
    (ROOT + 32 + 28, "00 02", "LAMP.COM: its chain holds 2 clusters, more than a file of 512 bytes needs"),
    (ROOT + 32 + 28, "01 04", "LAMP.COM: the directory gives it 1,025 bytes, its chain holds 1,024"),
    (ROOT + 32 + 26, "00", "LAMP.COM: the directory gives it 600 bytes, its chain holds 0"),
    (ROOT + 32 * 4 + 28, "01", "EMPTY: the directory gives it 1 byte, its chain holds 0"),
    (ROOT + 32 * 5 + 26, "08", "DATA: its chain leads to cluster 0, where no data can be"),
    (19, "67 01", "boot sector: sectors: 359, where this geometry has 360"),
    (21, "f8", "boot sector: media descriptor: F8, where this geometry has FC"),
    (24, "08", "boot sector: sectors of a track: 8, where this geometry has 9"),
    (26, "02", "boot sector: heads: 2, where this geometry has 1"),
    (11, "00 04", "boot sector: bytes of a sector: 1024, where this geometry has 512"),
    (13, "03", "boot sector: sectors of a cluster: 3, where this geometry has 1"),
    (13, "02", "boot sector: sectors of a cluster: 2, where this geometry has 1"),
    (14, "02", "boot sector: sectors before the tables: 2, where this geometry has 1"),
    (16, "01", "boot sector: tables: 1, where this geometry has 2"),
    (17, "70", "boot sector: entries of the root directory: 112, where this geometry has 64"),
    (22, "58 02", "boot sector: sectors of a table: 600, where this geometry has 2"),
    (19, "00 00", "boot sector: sectors: 0, where this geometry has 360"),
    (ROOT + 32 + 1, "2a 01", "L*%01P.COM: its name has * %01, which no name can have"),
    (ROOT + 32, "20", " AMP.COM: its name begins with a space"),
    (ROOT + 32, "2e", ".AMP.COM: its name has ., which no name can have"),
    (ROOT + 32 * 5, "3f", "?ATA: its name has ?, which no name can have"),
    (ROOT + 32 * 4, "44 41 54 41 20", "DATA: 2 entries of the directory have this name"),
]
SOUND = [
    (ROOT + 32 + 1, "20", "a space within a name, as old systems' own files have it"),
    (ROOT + 32 + 1, "61 8e", "a small letter, and one beyond ASCII"),
    (DATA + 512 + 64, "4c 41 4d 50 20 20 20 20 43 4f 4d", "a name that another directory has"),
    (ROOT, "4c 41 4d 50 20 20 20 20 43 4f 4d", "a label that reads like a file"),
    (3, "4d 41 4b 45 52", "another maker"),
    (28, "01", "hidden sectors"),
    (36, "80 00 00", "no serial number"),
]


@pytest.mark.parametrize("place, found, text", DAMAGE)
def test_check_finds(place, found, text):
    dump = by_hand()
    lay(dump, place, bytes.fromhex(found))
    assert text in problems(dump)


@pytest.mark.parametrize("place, found, what", SOUND)
def test_what_other_systems_write_is_sound(place, found, what):
    dump = by_hand()
    lay(dump, place, bytes.fromhex(found))
    assert problems(dump) == []


def test_a_boot_program_in_the_place_of_the_parameter_block_is_no_problem():
    """The oldest systems' discs have none: a program stands there, two of whose numbers may be right by chance."""
    dump = by_hand()
    lay(dump, 11, bytes.fromhex("2d 4d 61 79 2d 38 31 00 fa 33 c0 8e d0 09 00 01 00"))
    assert problems(dump) == []
    dump[16] = 2
    assert len(problems(dump)) == 7


def test_a_parameter_block_of_another_disc_is_found():
    """That of the two-headed disc of 80 tracks: three of its numbers are those of every disc."""
    dump = by_hand()
    lay(dump, 11, bytes.fromhex(MEDIA["mfm-80x9x512-2s"][0]))
    assert "boot sector: media descriptor: F9, where this geometry has FC" in problems(dump)
    assert read(dump).files[0].data == b"L" * 512 + b"M" * 88


def test_the_last_cluster_is_352():
    dump = by_hand()
    for table in (TABLE, COPY):
        lay(dump, table + 3, b"\x60\xf1")
        lay(dump, table + 528, b"\xff\x0f")
        lay(dump, table + 7, b"\x0f\x00")
    assert read(dump).files[0].sectors[1] == Address(39, 0, 9)


def test_directories_that_lead_in_a_circle_come_to_an_end():
    dump = by_hand()
    lay(dump, DATA + 512 + 64, entry(b"ROUND      ", 0x10, 3, 0))
    assert "DATA/ROUND: its chain runs into cluster 3, which belongs to DATA already" in problems(dump)


def test_a_deep_nest_of_directories_is_read():
    dump = blank()
    lay(dump, ROOT, entry(b"D          ", 0x10, 2, 0))
    for cluster in range(2, 353):
        at, parent = DATA + 512 * (cluster - 2), cluster - 1 if cluster > 2 else 0
        lay(dump, at, entry(b".          ", 0x10, cluster, 0) + entry(b"..         ", 0x10, parent, 0))
        lay(dump, at + 64, entry(b"D          ", 0x10, cluster + 1, 0) if cluster < 352 else entry(b"F          ", 0, 0, 0))
    for table in (TABLE, COPY):
        lay(dump, table + 3, b"\xff" * (351 * 3 // 2) + b"\x0f")
    assert problems(dump) == []
    assert read(dump).files[0].name == b"D/" * 351 + b"F"


def nested(depth: int, files: int) -> bytes:
    """The largest disc with directories one in the other, so many files of no bytes in each."""
    dump = bytearray(build(on="mfm-80x15x512-2s").dump)
    table, copy, root, data = (place * 512 for place in (1, 8, 15, 29))
    lay(dump, root, entry(b"DEEPER  000", 0x10, 2, 0))
    for cluster in range(2, depth + 2):
        inner = [entry(b".          ", 0x10, cluster, 0), entry(b"..         ", 0x10, cluster - 1 if cluster > 2 else 0, 0)]
        inner += [entry(b"DEEPER  %03d" % (cluster % 1000), 0x10, cluster + 1, 0)] if cluster < depth + 1 else []
        inner += [entry(b"FILE    %03d" % number, 0, 0, 0) for number in range(files)]
        lay(dump, data + 512 * (cluster - 2), b"".join(inner))
    for place in (table, copy):
        lay(dump, place + 3, b"\xff" * (depth // 2 * 3))
    return bytes(dump)


def test_a_nest_of_directories_is_spelled_out_once(monkeypatch):
    """The work grows with the number of entries, not with the length of their paths: names are turned into text one by one."""
    from formats.volumes import fat12

    spelled = []
    monkeypatch.setattr(fat12, "shown", lambda name: spelled.append(len(name)) or name.decode())
    dump = nested(1200, 0)
    assert problems(dump, "mfm-80x15x512-2s") == [] and read(dump, "mfm-80x15x512-2s").files == ()
    assert sum(spelled) == 2 * 1200 * len("DEEPER.000")


def test_paths_that_no_memory_would_hold_are_refused():
    dump = nested(2370, 13)
    [said] = problems(dump, "mfm-80x15x512-2s")[:1]
    assert said == "root directory: its directories are nested so deep that their paths pass 16,777,216 characters"
    with pytest.raises(VolumeError, match="nested so deep"):
        read(dump, "mfm-80x15x512-2s")


def test_a_directory_links_to_itself_and_its_parent_and_has_no_size():
    """fsck.fat asks for the same."""
    dump = by_hand()
    lay(dump, DATA + 512, entry(b".          ", 0x10, 9, 0) + entry(b"..         ", 0x10, 3, 0))
    assert "DATA: its . leads to cluster 9, where 3 was expected" in problems(dump)
    assert "DATA: its .. leads to cluster 3, where 0 was expected" in problems(dump)
    lay(dump, DATA + 512, entry(b"..         ", 0x10, 0, 0))
    lay(dump, ROOT + 32 * 5, entry(b"DATA       ", 0x10, 3, 5))
    assert "DATA: its entry 1 should be ., a directory" in problems(dump)
    assert "DATA: a directory, and its entry gives it 5 bytes, where 0 was expected" in problems(dump)


# Built


@pytest.mark.parametrize("name", MEDIA)
def test_the_parameter_block_of_every_medium(name):
    block, clusters, free, _ = MEDIA[name]
    image = build(on=name)
    assert image.dump[11:28].hex(" ") == block
    assert image.dump[28:38] == bytes(10)
    held = read(image.dump, name)
    assert (held.free, held.free * held.unit, held.files) == (clusters, free, ())
    assert problems(image.dump, name) == []


def test_the_boot_sector_without_a_boot_file():
    boot = build().dump[:512]
    assert boot[:3].hex(" ") == "eb 3c 90"  # a jump to byte 62, where it halts
    assert boot[3:11] == b"OBVERSE "
    assert boot[36:39].hex(" ") == "00 00 29"
    assert boot[43:62] == b"NO NAME    FAT12   "
    assert boot[62:].hex() == "f4ebfd" + "00" * 445 + "55aa"


def test_the_boot_file_gives_the_jump_the_code_and_the_signature():
    code = bytes(range(256)) * 2
    boot = build(boot=code, label=b"SALT MARSH").dump[:512]
    assert boot[:3] + boot[62:] == code[:3] + code[62:]
    assert boot[11:28].hex(" ") == MEDIA[SINGLE][0]
    assert boot[43:54] == b"SALT MARSH "
    assert build(boot=code[:70]).dump[62:512] == code[62:70] + bytes(440) + b"\x55\xaa"
    assert "boot: 513 bytes, where sector 0 has 512" in refused(boot=bytes(513))


def test_the_serial_number_is_the_contents_own():
    def serial(*files, **keys):
        return bytes(build(*files, **keys).dump[39:43])

    a, b = FileIn(b"A", b"1"), FileIn(b"A", b"2")
    assert serial(a) == serial(a)
    assert len({serial(), serial(a), serial(b), serial(a, label=b"L"), serial(a, date=date(1984, 1, 31))}) == 5


def test_a_file_stands_on_the_disc_as_the_layout_says():
    image = build(FileIn(b"LAMP.COM", b"L" * 600, locked=True), FileIn(b"NOTES", b"x"), label=b"SALTMARSH", date=date(1984, 1, 31))
    assert image.dump[ROOT : ROOT + 32] == entry(b"SALTMARSH  ", 0x08, 0, 0)
    assert image.dump[ROOT + 32 : ROOT + 64] == entry(b"LAMP    COM", 0x01, 2, 600)
    assert image.dump[ROOT + 64 : ROOT + 96] == entry(b"NOTES      ", 0x00, 4, 1)
    assert image.dump[ROOT + 96 : DATA] == bytes(DATA - ROOT - 96)
    assert image.dump[TABLE : TABLE + 9].hex(" ") == "fc ff ff 03 f0 ff ff 0f 00"  # (FFC, FFF), (003, FFF), (FFF, 000)
    assert image.dump[COPY : COPY + 512] == image.dump[TABLE : TABLE + 512]
    assert image.dump[DATA : DATA + 1537] == b"L" * 600 + bytes(424) + b"x" + bytes(512 - 1) + bytes(1)
    assert image.used == set(image.geometry.addresses[:12])


def test_a_cluster_of_two_sectors_is_used_whole():
    image = build(FileIn(b"A", b"1"), on=DOUBLE)
    assert image.used == set(image.geometry.addresses[:14])
    assert read(image.dump, DOUBLE).files[0].sectors == (Address(0, 1, 4),)


def test_a_label_with_spaces_and_the_last_year():
    image = build(label=b"SALT MARSH", date=date(2107, 12, 31))
    assert read(image.dump).label == b"SALT MARSH"
    assert image.dump[ROOT + 24 : ROOT + 26] == b"\x9f\xff"
    assert build(label=b"X", date=date(1980, 1, 1)).dump[ROOT + 24 : ROOT + 26] == b"\x21\x00"


def test_interleave_is_the_step_from_cluster_to_cluster():
    image = build(FileIn(b"A", bytes(1500)), FileIn(b"B", bytes(1000)), interleave=2)
    a, b = read(image.dump).files
    assert a.sectors == (Address(1, 0, 1), Address(1, 0, 3), Address(1, 0, 5))
    assert b.sectors == (Address(1, 0, 2), Address(1, 0, 4))
    assert problems(image.dump) == []


def test_a_disc_can_be_filled_to_the_last_cluster():
    image = build(FileIn(b"ALL", bytes(179712)), interleave=7)
    assert read(image.dump).free == 0
    assert len(set(read(image.dump).files[0].sectors)) == 351
    assert problems(image.dump) == []


def test_a_placed_cluster_is_marked_bad_and_files_go_around_it():
    image = build(FileIn(b"A", bytes(1000)), places=[PlacedBytes(Address(1, 0, 2), bytes([7]) * 513)])
    assert image.dump[DATA + 512 : DATA + 1536] == bytes([7]) * 513 + bytes(511)
    assert image.dump[TABLE + 3 : TABLE + 9].hex(" ") == "05 70 ff f7 ff ff"  # 2 -> 5, 3 bad, 4 bad, 5 end
    assert read(image.dump).free == 351 - 4
    assert problems(image.dump) == []


@pytest.mark.parametrize("name", MEDIA)
def test_a_full_directory(name):
    room = MEDIA[name][3]
    image = build(*(FileIn(b"F%d" % number, b"") for number in range(room)), on=name)
    assert len(read(image.dump, name).files) == room
    files = [FileIn(b"F%d" % number, b"") for number in range(room)]
    assert f"{room} files, where it holds {room - 1}" in refused(*files, on=name, label=b"L")
    assert f"{room + 1} files, where it holds {room}" in refused(*files, FileIn(b"G", b""), on=name)


# Refused


def test_all_problems_come_at_once():
    found = refused(
        FileIn(b"lamp.com", b"", type="program", load_address=1, where="side.A.file[0]"),
        FileIn(b"NINEBYTES.COM", b"", where="side.A.file[1]"),
        label=b"TWELVE BYTES",
        image=b"x",
        date=date(1979, 12, 31),
        interleave=351,
        where="side.A",
    )
    assert found.split("; side.A.") == [
        "side.A.image: fat12 has no place for it; leave the key out",
        "interleave: a step of 351, where 1 to 350 make sense",
        "label: TWELVE BYTES has 12 characters, where 1 to 11 fit",
        "date: 1979-12-31 is not in the years 1980 to 2107",
        "file[0].name: lamp has 'l a m p', not among the volume's characters",
        "file[1].name: NINEBYTES has 9 characters, where 1 to 8 fit",
        "file[0].type: fat12 has no place for it; leave the key out",
        "file[0].load_address: fat12 has no place for it; leave the key out",
    ]
    assert "2108-01-01 is not in the years" in refused(date=date(2108, 1, 1))


@pytest.mark.parametrize(
    "name, what",
    [
        (b"", "the name is empty, where 1 to 8 characters were expected"),
        (b".COM", ".COM has nothing before its dot"),
        (b"LAMP.", "LAMP. ends in a dot"),
        (b"LAMP.COMM", "COMM has 4 characters, where 1 to 3 fit"),
        (b"LAMP.C.M", "has '.'"),
        (b"LAMP .C", "has ' '"),
        (b"A+B", "has '+'"),
        (b"A*B", "has '*'"),
        (b"A/B", "has '/'"),
        (b"\xc4", "has '%C4'"),
    ],
)
def test_names_that_are_refused(name, what):
    assert what in refused(FileIn(name, b""))


def accepted(raw: bool) -> bytes:
    """The single bytes that are a name."""
    fine = bytearray()
    for byte in range(256):
        with suppress(VolumeError):
            build(FileIn(bytes([byte]), b"", raw_name=raw))
            fine.append(byte)
    return bytes(fine)


def test_the_characters_of_names():
    """Common practice; the standard's own, letters, digits and the underline, are among them. Raw names are taken outright: all that is
    no control, no space, no separator, and none of the characters that checkers find in no name."""
    text = b"!#$%&'()-0123456789@ABCDEFGHIJKLMNOPQRSTUVWXYZ^_"
    assert accepted(raw=False) == text
    assert accepted(raw=True) == bytes(byte for byte in range(0x21, 0x100) if byte not in b'"*./:<>?\\|\x7f')


def test_two_files_of_one_name():
    assert "two files have the name A.B" in refused(FileIn(b"A.B", b""), FileIn(b"A.B", b"1"))


def test_raw_names_hold_letters_beyond_ascii():
    image = build(FileIn(b"\xe5\x8e.\xff", b"", raw_name=True))
    assert image.dump[ROOT : ROOT + 11] == b"\x05\x8e      \xff  "
    assert read(image.dump).files[0].name == b"\xe5\x8e.\xff"
    assert "name_bytes: %00 has '%00'" in refused(FileIn(b"\x00", b"", raw_name=True))


def test_a_disc_that_is_too_full_says_by_how_much():
    assert refused(FileIn(b"A", bytes(179713)), where="side.A") == "side.A: the disc is too full: needs 1 more cluster than the 351 it has"
    assert "needs 12 more clusters than the 354 it has" in refused(
        FileIn(b"A", bytes(300 * 1024)), FileIn(b"B", bytes(66 * 1024)), on=DOUBLE
    )


@pytest.mark.parametrize("sector", range(1, 10))
def test_places_on_the_volumes_own_sectors_are_refused(sector):
    assert f"p: track 0 sector {sector} is taken by the boot sector, the tables or the directory" == refused(
        places=[PlacedBytes(Address(0, 0, sector), b"x", "p")]
    )


# Laws

CHARACTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789!#$%&'()-@^_"
STEMS, EXTENSIONS = st.text(CHARACTERS, min_size=1, max_size=8), st.text(CHARACTERS, max_size=3)
NAMES = st.builds(lambda stem, extension: (f"{stem}.{extension}" if extension else stem).encode(), STEMS, EXTENSIONS)
FILES = st.builds(FileIn, NAMES, st.binary(max_size=3000), locked=st.booleans())


@settings(max_examples=40, deadline=None)
@given(st.lists(FILES, max_size=20, unique_by=lambda file: file.name), st.sampled_from(sorted(MEDIA)), st.integers(1, 30))
def test_what_is_built_is_read_again(files, on, interleave):
    image = build(*files, on=on, label=b"LABEL", interleave=interleave)
    held = read(image.dump, on)
    assert [(each.name, each.locked, each.data) for each in held.files] == [(file.name, file.locked, file.data) for file in files]
    assert problems(image.dump, on) == []
    assert {address for each in held.files for address in each.sectors} <= image.used


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32),
    st.booleans(),
    st.dictionaries(st.sampled_from([0, 11, TABLE, ROOT, ROOT + 160, DATA + 512]), st.binary(min_size=1, max_size=256)),
)
def test_no_image_brings_the_reader_down(seed, hand, damage):
    dump = by_hand() if hand else bytearray(random.Random(seed).randbytes(184320))
    for place, found in damage.items():
        lay(dump, place, found)
    problems(dump)
    with suppress(VolumeError):
        read(dump)
