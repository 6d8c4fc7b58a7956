"""Volumes damaged on purpose: each case says what is wrong, and which words a report of it may use for the file or the place."""

from dataclasses import dataclass

import model_catalog
import model_fat
import model_tree
import model_zoned
from model_volumes import File, little, noise, rng_of

NAMES = (b"FIRST", b"SECOND", b"THIRD")


@dataclass(frozen=True)
class Damaged:
    """A damaged disc. `words`: a line of the report must hold one of them."""

    volume: str
    geometry: str
    what: str
    dump: bytes
    words: tuple[str, ...]


class Poke:
    """A dump under damage: `place` gives the start of a sector, block or cluster in it."""

    def __init__(self, dump, place):
        self.dump, self.place = bytearray(dump), place

    def __call__(self, at, offset, data):
        start = self.place(at) + offset
        assert self.dump[start : start + len(data)] != data
        self.dump[start : start + len(data)] = data
        return self

    def flip(self, at, offset, mask):
        return self(at, offset, bytes([self.dump[self.place(at) + offset] ^ mask]))


def of_place(*at):
    """How a sector may be named."""
    track, sector = at
    return (f"track {track} sector {sector}", f"track {track} head 0 sector {sector}", f"track {track}")


# --- zoned-dos ----------------------------------------------------------------------------------------------------------------


def zoned(geometry):
    """Damage to a disc of three files."""
    rng = rng_of("damage", geometry)
    disc = model_zoned.Disc(geometry, rng)
    for name in NAMES:
        disc.put(File(name, noise(rng, 1500), "sequential"))
    dump, where = disc.dump(), disc.layout
    first, second, _ = (disc.chains[name] for name in NAMES)
    entries = (where.directory, 1)
    sector, offset, _ = where.entry(first[2][0])
    outside = where.tracks + 1
    last = first[-1]
    free = disc.room.free[0]

    def poke():
        return Poke(dump, lambda at: 256 * where.place(*at))

    def bit(at):
        block, start, _ = where.entry(at[0])
        return poke().flip(block, start + 1 + at[1] // 8, 1 << at[1] % 8)

    def in_first(*more):
        return ("FIRST", *(word for at in more for word in of_place(*at)))

    yield "a chain that comes back to its first block", poke()(last, 0, bytes(first[0])), in_first(last, first[0])
    yield "a block that links to itself", poke()(first[3], 0, bytes(first[3])), in_first(first[3])
    yield "a chain into another file", poke()(first[2], 0, bytes(second[2])), in_first(second[2])
    yield "two entries with one chain", poke()(entries, 3, bytes(second[0])), in_first(second[0])
    yield "a chain into the map", poke()(first[2], 0, bytes([where.directory, 0])), in_first((where.directory, 0))
    yield "a used block marked free", bit(first[2]), in_first(first[2])
    yield "a free block marked used, and counted", bit(free), of_place(*free)
    yield "a wrong count of free blocks", poke().flip(sector, offset, 0x01), of_place(first[2][0], 0)
    yield "a map of sectors that the track lacks", poke().flip(sector, offset + 3 + where.big, 0x80), of_place(first[2][0], 0)
    yield "an entry that points at a track that is not there", poke()(entries, 3, bytes([outside, 0])), in_first()
    yield "an entry that points at a sector that is not there", poke()(entries, 3, bytes([17, 29])), in_first()
    yield "an entry that points nowhere", poke()(entries, 3, bytes(2)), in_first()
    yield "a link to a sector that is not there", poke()(first[1], 0, bytes([first[1][0], 40])), in_first(first[1])
    yield "a chain cut short", poke()(first[2], 0, b"\0\xff"), in_first(first[2])
    yield "a last block of less than no bytes", poke()(last, 0, b"\0\0"), in_first(last)
    yield "a wrong length in blocks", poke()(entries, 0x1E, little(7)), in_first()
    yield "an unclosed file", poke()(entries, 2, b"\x01"), in_first()
    yield "a directory that comes back", poke()(entries, 0, bytes(entries)), ("directory", *of_place(*entries))
    yield "a directory that goes on outside", poke()(entries, 0, bytes([outside, 1])), ("directory", *of_place(*entries))
    if where.big:
        yield "a map that goes on elsewhere", poke()(where.maps[0], 0, bytes([38, 4])), ("map", *of_place(38, 0))
        yield "a map of other tracks", poke()(where.maps[0], 4, b"\x02"), ("map", *of_place(38, 0))


# --- catalog-dos --------------------------------------------------------------------------------------------------------------


def catalog(geometry):
    """Damage to a disc of two binary files and a text."""
    rng = rng_of("damage", geometry)
    disc = model_catalog.Disc(geometry, rng)
    for name, kind in zip(NAMES, ("binary", "binary", "integer"), strict=True):
        disc.put(File(name, noise(rng, 1500), kind, 0x2000 if kind == "binary" else None))
    disc.put(File(b"LONG", noise(rng, 40000), "binary", 0x2000))
    dump = disc.dump()
    first, second, _ = (disc.chains[name] for name in NAMES)
    [mine], [other], _ = (disc.lists[name] for name in NAMES)
    long = disc.lists[b"LONG"]
    top, table = (17, disc.sectors - 1), (17, 0)

    def poke():
        return Poke(dump, lambda at: 256 * (at[0] * disc.sectors + at[1]))

    def bit(at):
        byte, place = model_catalog.bit(disc.sectors, at[1])
        return poke().flip(table, 0x38 + 4 * at[0] + byte, 1 << place)

    def in_first(*more):
        return ("FIRST", *(word for at in more for word in of_place(*at)))

    yield "a list that links to itself", poke()(mine, 1, bytes(mine)), in_first(mine)
    yield "lists that come back", poke()(long[1], 1, bytes(long[0])), ("LONG",)
    yield "a list that is another file's", poke()(top, 0x0B, bytes(other)), in_first(other)
    yield "a sector that is another file's", poke()(mine, 0x0E, bytes(second[3])), in_first(second[3])
    yield "a sector twice in one file", poke()(mine, 0x0E, bytes(first[0])), in_first(first[0])
    yield "a sector of the catalog in a file", poke()(mine, 0x0E, bytes(top)), in_first(top)
    yield "a used sector marked free", bit(first[2]), in_first(first[2])
    yield "a list's sector marked free", bit(mine), in_first(mine)
    yield "a sector of the catalog marked free", bit((17, 3)), ("catalog", *of_place(17, 3))
    yield "a list on a track that is not there", poke()(top, 0x0B, bytes([35, 0])), in_first()
    yield "a list in a sector that is not there", poke()(top, 0x0B, bytes([20, 16])), in_first()
    yield "a sector that is not there", poke()(mine, 0x0E, bytes([200, 3])), in_first(mine)
    yield "a sector on track 0 that is not there", poke()(mine, 0x0C + 2 * 6, bytes([0, 200])), in_first(mine)
    yield "a list cut short", poke()(mine, 0x0C + 4, bytes(20)), in_first(mine)
    yield "lists cut short", poke()(long[0], 1, bytes(2)), ("LONG",)
    yield "a list for other sectors", poke()(long[1], 5, little(121)), ("LONG",)
    yield "a length word longer than the file", poke()(first[0], 2, little(5000)), in_first(first[0])
    yield "a wrong length in sectors", poke()(top, 0x0B + 0x21, little(9)), in_first()
    yield "a catalog that comes back", poke()((17, 5), 1, bytes(top)), ("catalog", *of_place(17, 5))
    yield "a catalog that goes on outside", poke()((17, 5), 1, bytes([60, 1])), ("catalog", *of_place(17, 5))
    yield "a catalog that begins outside", poke()(table, 1, bytes([60, 1])), ("catalog", *of_place(17, 0))
    yield "a table of other tracks", poke()(table, 0x34, bytes([40])), ("tracks", *of_place(17, 0))
    yield "a table of other sectors", poke()(table, 0x35, bytes([10])), ("sectors", *of_place(17, 0))


# --- block-tree ---------------------------------------------------------------------------------------------------------------


def of_block(*blocks):
    return tuple(f"block {block}" for block in blocks)


def tree(_):
    """Damage to a disc of three files, a directory, a tree."""
    rng = rng_of("damage", "tree")
    disc = model_tree.Disc(rng)
    for name in NAMES:
        disc.put(File(name, noise(rng, 1500), 6, 0x2000))
    caves = disc.directory(b"CAVES", 2)
    disc.put(File(b"CAVES/DEEP", noise(rng, 1200), 6, 0x2000), caves)
    dump = disc.dump()
    first, second, _ = (disc.chains[name] for name in NAMES)
    key, other = disc.keys[b"FIRST"], disc.keys[b"SECOND"]
    entry, folder, inside = 4 + 39, 4 + 39 * 4, 4 + 39
    here, there = caves.blocks

    class Halves(Poke):
        """A block's bytes lie in two sectors."""

        def __call__(self, block, offset, data):
            for k, byte in enumerate(data):
                half, rest = divmod(offset + k, 256)
                self.dump[256 * model_tree.halves(block)[half] + rest] = byte
            return self

        def flip(self, block, offset, mask):
            half, rest = divmod(offset, 256)
            return self(block, offset, bytes([self.dump[256 * model_tree.halves(block)[half] + rest] ^ mask]))

    def poke():
        return Halves(dump, None)

    def bit(block):
        return poke().flip(6, block // 8, 0x80 >> block % 8)

    def pointer(index, k, block):
        return poke()(index, k, bytes([block % 256]))(index, 256 + k, bytes([block // 256]))

    yield "an index that is another file's", poke()(2, entry + 0x11, little(other)), ("FIRST", *of_block(other))
    yield "a block that is another file's", pointer(key, 1, second[1]), ("FIRST", *of_block(second[1]))
    yield "a block twice in one file", pointer(key, 1, first[0]), ("FIRST", *of_block(first[0]))
    yield "an index that points at itself", pointer(key, 1, key), ("FIRST", *of_block(key))
    yield "a file in the map", pointer(key, 1, 6), ("FIRST", *of_block(6))
    yield "a used block marked free", bit(first[1]), ("FIRST", *of_block(first[1]))
    yield "an index marked free", bit(key), ("FIRST", *of_block(key))
    yield "a directory's block marked free", bit(there), ("CAVES", *of_block(there))
    yield "a map of blocks that are not there", poke().flip(6, 35, 0x80), ("map", *of_block(280, 6))
    yield "an index that is not there", poke()(2, entry + 0x11, little(280)), ("FIRST",)
    yield "an index in block 0", poke()(2, entry + 0x11, little(0)), ("FIRST",)
    yield "a block that is not there", pointer(key, 1, 0x1FF), ("FIRST", *of_block(key))
    yield "a wrong count of blocks", poke()(2, entry + 0x13, little(9)), ("FIRST",)
    yield "an end behind the index", poke()(2, entry + 0x15, little(200_000, 3)), ("FIRST",)
    yield "a storage type that there is not", poke()(2, entry, bytes([0x65])), ("FIRST",)
    yield "a seedling of three blocks", poke()(2, entry, bytes([0x15])), ("FIRST",)
    yield "a header that is another directory's", poke()(2, entry + 0x25, little(here)), ("FIRST",)
    yield "a wrong count of files", poke()(2, 0x25, little(9)), ("directory", "file count", *of_block(2))
    yield "a wrong count of files in a directory", poke()(here, 0x25, little(9)), ("CAVES", *of_block(here))
    yield "a wrong count of blocks on the disc", poke()(2, 0x29, little(281)), ("blocks", *of_block(2))
    yield "a map elsewhere", poke()(2, 0x27, little(7)), ("map", *of_block(2, 7))
    yield "a directory that comes back", poke()(there, 2, little(here)), ("CAVES", *of_block(here, there))
    yield "the volume's directory comes back", poke()(5, 2, little(2)), ("directory", *of_block(2, 5))
    yield "a directory that goes on outside", poke()(there, 2, little(999)), ("CAVES", *of_block(there))
    yield "a directory in itself", poke()(here, inside, b"\xd4")(here, inside + 0x11, little(here)), ("CAVES", *of_block(here))
    yield "a wrong link back", poke()(there, 0, little(3)), ("CAVES", *of_block(there))
    yield "a parent that is not its", poke()(here, 0x27, little(3)), ("CAVES", *of_block(here))
    yield "a parent's entry that is not its", poke()(here, 0x29, b"\x02"), ("CAVES", *of_block(here))
    yield "a directory without a header", poke()(here, 4, b"\0"), ("CAVES", *of_block(here))
    yield "a directory that is not there", poke()(2, folder + 0x11, little(300)), ("CAVES",)


# --- fat12 --------------------------------------------------------------------------------------------------------------------


def of_cluster(*clusters):
    return tuple(f"cluster {cluster}" for cluster in clusters)


def fat(geometry):
    """Damage to a disc of three files and a directory."""
    rng = rng_of("damage", geometry)
    disc = model_fat.Disc(geometry, rng)
    for name in NAMES:
        disc.put(File(name, noise(rng, 5 * disc.unit - 9)))
    disc.put(File(b"NOTHING", b""))
    disc.folder(b"CAVES")
    disc.put(File(b"CAVES/DEEP", noise(rng, 2 * disc.unit)))
    dump = disc.dump()
    first, second, _ = (disc.chains[name] for name in NAMES)
    [caves] = disc.chains[b"CAVES"]
    root, data = 512 * (1 + 2 * disc.spf), 512 * disc.first()
    entry, nothing, folder = root + 32, root + 32 * 4, root + 32 * 5
    inside = data + disc.unit * (caves - 2)

    def poke():
        return Poke(dump, lambda at: at)

    def link(cluster, value, tables=(1, 2)):
        made = poke()
        for table in tables:
            at = 512 * (1 + (table - 1) * disc.spf) + 3 * cluster // 2
            word = made.dump[at] + 256 * made.dump[at + 1]
            word = word & 0x000F | value << 4 if cluster % 2 else word & 0xF000 | value
            made(at, 0, little(word))
        return made

    lost = disc.room.free[0]
    yield "a chain that comes back", link(first[-1], first[0]), ("FIRST", *of_cluster(first[0], first[-1]))
    yield "a cluster that links to itself", link(first[2], first[2]), ("FIRST", *of_cluster(first[2]))
    yield "a chain into another file", link(first[2], second[2]), ("FIRST", *of_cluster(second[2]))
    yield "two entries with one chain", poke()(entry, 26, little(second[0])), ("FIRST", *of_cluster(second[0]))
    yield "a used cluster marked free", link(first[2], 0), ("FIRST", *of_cluster(first[2]))
    yield "a used cluster marked bad", link(first[2], 0xFF7), ("FIRST", *of_cluster(first[2]))
    yield "a cluster that no file has", link(lost, 0xFFF), of_cluster(lost)
    yield "a link that is not there", link(first[2], disc.clusters + 2), ("FIRST", *of_cluster(first[2]))
    yield "a link to cluster 1", link(first[2], 1), ("FIRST", *of_cluster(first[2]))
    yield "a chain cut short", link(first[2], 0xFFF), ("FIRST", *of_cluster(first[2]))
    yield "a size too small for the chain", poke()(entry, 28, little(disc.unit, 4)), ("FIRST",)
    yield "a size too large for the chain", poke()(entry, 28, little(1 << 24, 4)), ("FIRST",)
    yield "an entry that points outside", poke()(entry, 26, little(60000)), ("FIRST",)
    yield "an entry that points nowhere", poke()(entry, 26, little(0)), ("FIRST",)
    yield "an empty file with a cluster", poke()(nothing, 26, little(lost)), ("NOTHING",)
    yield "tables that differ", link(first[2], first[4], (2,)), ("table", *of_cluster(first[2]))
    yield "a medium that is another", poke()(21, 0, b"\xf0"), ("boot", "sector 0", "media", "medium")
    yield "a table of another medium", poke()(512, 0, b"\xf0")(512 * (1 + disc.spf), 0, b"\xf0"), ("table", "media", "medium")
    yield "another count of sectors", poke()(19, 0, little(disc.total + 8)), ("boot", "sectors")
    yield "a directory with a size", poke()(folder, 28, little(32, 4)), ("CAVES",)
    yield "a directory outside", poke()(folder, 26, little(0xF00)), ("CAVES",)
    yield "a directory that is not itself", poke()(inside, 26, little(lost)), ("CAVES", *of_cluster(caves))
    yield "a parent that is not its", poke()(inside + 32, 26, little(lost)), ("CAVES", *of_cluster(caves))
    yield "a directory in itself", poke()(inside + 64, 11, b"\x10")(inside + 64, 26, little(caves)), ("CAVES", *of_cluster(caves))


MAKERS = {
    "zoned-dos": (zoned, tuple(model_zoned.ZONES)),
    "catalog-dos": (catalog, tuple(model_catalog.SECTORS)),
    "block-tree": (tree, (model_tree.GEOMETRY,)),
    "fat12": (fat, tuple(model_fat.MEDIA)),
}


def every():
    """All damaged discs."""
    for volume, (maker, geometries) in MAKERS.items():
        for geometry in geometries:
            for what, made, words in maker(geometry):
                yield Damaged(volume, geometry, what, bytes(made.dump), words)
