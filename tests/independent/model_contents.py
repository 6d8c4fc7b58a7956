"""Discs with awkward but legal contents, made by the models: `discs(volume, geometry)` names them, each maker gives one."""

import model_catalog
import model_fat
import model_tree
import model_zoned
from model_volumes import ODD, File, lengths, noise, number, plain, rng_of, text

# --- zoned-dos ----------------------------------------------------------------------------------------------------------------


def zoned_file(rng, name, length, kind, locked=False):
    data = noise(rng, length)
    return File(name, data, kind, number(data, 0) if kind == "program" and length > 1 else None, locked)


def zoned_awkward(geometry, rng):
    """Every length by every type, every character in names, deleted entries before, between and behind, all of it scattered."""
    disc = model_zoned.Disc(geometry, rng)
    disc.scratch()
    names = iter(plain(rng, 16, 27))
    for kind in model_zoned.TYPES:
        for k, length in enumerate(lengths(254, 254 * 45 + 9)):
            disc.put(zoned_file(rng, next(names), length, kind, locked=k % 2 == 1))
            if k % 4 == 0:
                disc.scratch()
    for name in [*ODD, b"\xc1\xd3 LAMPS\x01\xff", b"TWO  WORDS", b"A,B:C=*?"]:
        disc.put(zoned_file(rng, name, 300, "user"))
    disc.put(zoned_file(rng, b"REPLACED ONCE", 300, "user"), extra=bytes([0, 0, 0, 1, 2, 3, 4, 5, 6]))
    disc.put_relative(b"RECORDS", noise(rng, 20 * 100), 100)
    disc.scratch()
    return disc


def zoned_crowded(geometry, rng):
    """As many files as the directory has room for, and one of all that is left but a sector."""
    disc = model_zoned.Disc(geometry, rng, label=b"0123456789ABCDEF", disc_id=b"\xa0\x01")
    count = 8 * (disc.layout.count(disc.layout.directory) - 1)
    for name in plain(rng, 16, count)[:-1]:
        disc.put(zoned_file(rng, name, rng.randint(0, 254), "sequential"))
    disc.put(zoned_file(rng, b"THE REST", 254 * (len(disc.room.free) - 1), "program"))
    return disc


def zoned_blank(geometry, rng):
    """A name and nothing else."""
    return model_zoned.Disc(geometry, rng, label=b"BLANK")


# --- catalog-dos --------------------------------------------------------------------------------------------------------------


def catalog_file(rng, name, length, kind, locked=False):
    return File(name, (text if kind == "text" else noise)(rng, length), kind, 0x2000 + length % 999 if kind == "binary" else None, locked)


def catalog_awkward(geometry, rng):
    """Every length by every type, the words of binary files and programs reckoned in; lists of two sectors; deleted entries."""
    disc = model_catalog.Disc(geometry, rng)
    disc.delete()
    names = iter(plain(rng, 30, 28))
    for kind, before in (("binary", 4), ("integer", 2), ("floating", 2), ("text", 1)):
        for k, length in enumerate((0, 1, 256 - before, 257 - before, 512 - before, 513 - before, 3000)):
            disc.put(catalog_file(rng, next(names), length, kind, locked=k % 2 == 1), spare=k % 3 == 2)
            if k % 4 == 0:
                disc.delete()
    for name in [*ODD, b'COMMA, COLON: AND "QUOTE"', b"x lower ~{}|"]:
        disc.put(catalog_file(rng, name, 300, "text"))
    disc.put(catalog_file(rng, b"TWO LISTS", 122 * 256 - 3, "binary"))
    return disc


def catalog_crowded(geometry, rng):
    """As many files as the catalog has room for, then one of the longest binary files, of three lists, and a text up to the last sector."""
    disc = model_catalog.Disc(geometry, rng, volume=1)
    names = plain(rng, 30, 7 * (disc.sectors - 1))
    for k, name in enumerate(names[:-2]):
        disc.put(catalog_file(rng, name, k % 200, ("text", "integer", "floating", "binary")[k % 4]))
    size = min(0xFFFF, 256 * (len(disc.room.free) - 10))
    disc.put(catalog_file(rng, b"LONG", size, "binary"))
    left = len(disc.room.free) - 1
    disc.put(catalog_file(rng, b"THE REST", 256 * (left - left // 123 - 2), "text"))
    return disc


def catalog_holes(geometry, rng):
    """Sectors that are not there, in the middle of a list and across the end of one; texts without an end; the types that have no name."""
    disc = model_catalog.Disc(geometry, rng)
    data = bytearray(noise(rng, 200 * 256))
    holes = {3, 4, *range(100, 130), 198}
    for k in holes:
        data[256 * k - 4 : 256 * k + 252] = bytes(256)
    disc.put(File(b"HOLES", bytes(data[: 199 * 256 + 17]), "binary", 0x4000), holes=holes)
    disc.put(catalog_file(rng, b"AFTER", 700, "integer"))
    before = text(rng, 256)
    disc.put(File(b"TEXT UP TO A HOLE", before, "text"), holes={1}, raw=before + bytes(256) + text(rng, 30))
    disc.put(File(b"NO SECTOR AT ALL", b"", "text"), raw=b"")
    disc.put(File(b"NO 00 AT THE END", before + before, "text"), raw=before + before)
    for kind in (0x08, 0x10, 0x20, 0x40):
        disc.put(File(b"KIND %02X" % kind, noise(rng, 512), kind))
    return disc


# --- block-tree ---------------------------------------------------------------------------------------------------------------


def tree_file(rng, name, length, kind=6, load=0x2000, locked=False):
    return File(name, noise(rng, length), kind, load, locked)


def tree_awkward(_, rng):
    """Every length, many types, deleted entries; directories in directories, one of several blocks."""
    disc = model_tree.Disc(rng, label=b"A" + b".9" * 7)
    disc.delete()
    for k, (name, length) in enumerate(zip(plain(rng, 15, 9), lengths(512, 60000), strict=True)):
        disc.put(tree_file(rng, name, length, (0, 1, 4, 6, 0xB0, 0xFA, 0xFC, 0xFE, 0xFF)[k], 0x1111 * k, locked=k % 2 == 1))
        disc.delete()
    caves = disc.directory(b"CAVES.AND.HALLS", 3)
    disc.put(tree_file(rng, b"LAST.OF.ALL", 700))
    deep, empty = disc.directory(b"D", 1, caves), disc.directory(b"EMPTY", 1, caves)
    for k, name in enumerate(plain(rng, 15, 30)):
        disc.put(tree_file(rng, caves.path + b"/" + name, 40 * k), caves)
        if k % 10 == 0:
            disc.delete(caves)
    deeper = disc.directory(b"E", 1, deep)
    disc.put(tree_file(rng, deeper.path + b"/F", 1025), deeper)
    disc.put(tree_file(rng, deep.path + b"/F", 1), deep)
    assert not empty.entries
    return disc


def tree_full(_, rng):
    """A tree of two index blocks, a volume directory without room, one block left."""
    disc = model_tree.Disc(rng)
    disc.put(tree_file(rng, b"TREE", 131_073))
    left = len(disc.room.free) - 1
    for k in range(left):
        disc.put(tree_file(rng, b"S%d" % k, 512))
    for _ in range(50 - left):
        disc.delete()
    return disc


def tree_sparse(_, rng):
    """Files of more bytes than the disc has: holes in an index, an index that is not there, the longest file."""
    disc = model_tree.Disc(rng)
    length = 300 * 512 + 5
    data = bytearray(length)
    there = {0, 7, 255, 256, 299}
    for k in there:
        data[512 * k : 512 * k + 512] = noise(rng, 512)
    disc.put(File(b"SAPLING", bytes(data[: 100 * 512]), 4, 0), holes=set(range(100)) - there)
    disc.put(File(b"TREE", bytes(data), 4, 0), holes=set(range(301)) - there)
    data = bytearray(1_000_000)
    data[:512] = data[-512:] = noise(rng, 512)
    count = -(-len(data) // 512)
    last = {count - 2, count - 1}
    disc.put(File(b"WIDE", bytes(data), 4, 0), holes=set(range(count)) - last - {0})
    disc.put(tree_file(rng, b"WAS.LONGER", 100), deep=2)
    disc.put(tree_file(rng, b"WAS.MUCH.LONGER", 600), deep=3)
    for k in range(44):
        disc.put(tree_file(rng, b"N%d" % k, k))
    return disc


# --- fat12 --------------------------------------------------------------------------------------------------------------------

FAT_NAMES = [b"LONGEST8.EXT", b"N.1", b"A B C.D E", b"!#$%&'()", b"-@^_`{}~.$~1", b"\xe5\x80.\x9a", b"12345678", b"Z.Z"]


def fat_awkward(geometry, rng):
    """Every length, every end of a chain, every legal odd character, deleted entries, a bad cluster; directories in directories."""
    disc = model_fat.Disc(geometry, rng)
    disc.delete()
    for k, length in enumerate(lengths(disc.unit, 60 * disc.unit + 9)):
        disc.put(File(b"F%d.BIN" % k, noise(rng, length), locked=k % 2 == 1), end=0xFFF - k % 8, attribute=(0, 2, 4, 32, 38)[k % 5])
        disc.delete()
    disc.bad()
    disc.folder(b"CAVES.9", 4)
    for name in FAT_NAMES:
        disc.put(File(name, noise(rng, 3)))
    disc.folder(b"CAVES.9/DEEP")
    for k in range(45):
        disc.put(File(b"CAVES.9/C%d.LVL" % k, noise(rng, 30 * k)))
        if k % 9 == 0:
            disc.delete(b"CAVES.9")
    disc.folder(b"CAVES.9/DEEP/DEEPER")
    disc.put(File(b"CAVES.9/DEEP/DEEPER/F0.BIN", noise(rng, disc.unit + 1), locked=True))
    disc.folder(b"EMPTY")
    return disc


def fat_full(geometry, rng):
    """A root without room, one cluster left."""
    disc = model_fat.Disc(geometry, rng, label=b"ELEVEN  CHR")
    for k in range(disc.entries - 2):
        disc.put(File(b"R%d" % k, noise(rng, k)))
    disc.put(File(b"THE.RST", noise(rng, disc.unit * (len(disc.room.free) - 1))))
    return disc


def fat_bare(geometry, rng):
    """No label; where the oldest system wrote it, no parameter block either, and no entry behind the last one is clean."""
    disc = model_fat.Disc(geometry, rng, label=b"", parameters=geometry not in ("mfm-40x8x512", "mfm-40x8x512-2s"))
    disc.put(File(b"ONE.DAT", noise(rng, 5000)))
    if not disc.parameters:
        disc.folders[b""] += [bytes(32), noise(rng, 32), noise(rng, 32)]
    return disc


MAKERS = {
    "zoned-dos": (zoned_awkward, zoned_crowded, zoned_blank),
    "catalog-dos": (catalog_awkward, catalog_crowded, catalog_holes),
    "block-tree": (tree_awkward, tree_full, tree_sparse),
    "fat12": (fat_awkward, fat_full, fat_bare),
}
GEOMETRIES = {
    "zoned-dos": tuple(model_zoned.ZONES),
    "catalog-dos": tuple(model_catalog.SECTORS),
    "block-tree": (model_tree.GEOMETRY,),
    "fat12": tuple(model_fat.MEDIA),
}
READERS = {
    "zoned-dos": model_zoned.held,
    "catalog-dos": model_catalog.held,
    "block-tree": lambda _, dump: model_tree.held(dump),
    "fat12": model_fat.held,
}
CASES = [(volume, geometry, maker) for volume, makers in MAKERS.items() for geometry in GEOMETRIES[volume] for maker in makers]


def made(volume, geometry, maker):
    """A disc, the same each time."""
    return maker(geometry, rng_of(volume, geometry, maker.__name__))
