"""FAT12 as ECMA-107 / ISO 9293 lay it down: a parameter block, two allocation tables, a root directory of a fixed size.

Names are 8.3. A cluster with placed bytes is marked bad, so that no system takes it and no checker counts it as lost. A root
directory is all that is built; subdirectories are read. A disc without a parameter block, as the oldest systems made them, is
read by its media descriptor.
"""

from binascii import crc32
from bisect import bisect_left
from collections import deque
from collections.abc import Iterator
from typing import Any

from construct import Byte, Bytes, Default, Int16ul, Int32ul, Padding, Struct

from formats.errors import Problem
from formats.model.geometry import Geometry
from formats.source import Source
from formats.volumes.interface import FileIn, FileOut, VolumeIn, VolumeOut
from formats.volumes.shared.chains import follow
from formats.volumes.shared.content import check_room, check_step, refuse
from formats.volumes.shared.fat_boot import BOOT, HALT, JOB_PART, SIGNATURE, parameters, stated, wrong_parameters
from formats.volumes.shared.fat_tables import DELETED, FatLayout, Medium, load_name, name_problem, pack, store_name, stored_problem, unpack
from formats.volumes.shared.fat_tables import LABEL as LABELS
from formats.volumes.shared.file_system import FileSystem
from formats.volumes.shared.image import Image
from formats.volumes.shared.names import check_names, shown, twice
from formats.volumes.shared.places import lay_places
from formats.volumes.shared.plans import plan_of
from formats.volumes.shared.problems import Problems, key
from formats.words import counted

SOURCES = (
    Source("ECMA-107, Volume and File Structure of Disk Cartridges", "parameter block, allocation tables, directory", "published"),
    Source("A support article on media descriptors", "media descriptors and parameter blocks of the usual discs", "published"),
)

ENTRY = Struct(
    "name" / Bytes(11),  # byte 0: E5 deleted, 00 end, 05 stands for E5
    "attributes" / Byte,
    Padding(10),
    "time" / Default(Int16ul, 0),
    "date" / Int16ul,  # 24
    "cluster" / Int16ul,
    "size" / Int32ul,
)

LINKS = (b".".ljust(11), b"..".ljust(11))  # a directory's to itself and to its parent
READ_ONLY, LABEL, DIRECTORY, LONG_NAME = 0x01, 0x08, 0x10, 0x0F
END_OF_DIRECTORY = 0x00
FREE, BAD, LAST, END_OF_CHAIN = 0x000, 0xFF7, 0xFF8, 0xFFF  # all from FF8 on end a chain
NO_LABEL = b"NO NAME"
EPOCH, LAST_YEAR = 1980, 2107
MOST_CHARACTERS = 16 << 20  # of all paths: far more than any disc that was made by its systems, and small enough to hold

PLANS = {
    "mfm-40x8x512": Medium(0xFE, 1, 64, 1),
    "mfm-40x9x512": Medium(0xFC, 1, 64, 2),
    "mfm-40x8x512-2s": Medium(0xFF, 2, 112, 1),
    "mfm-40x9x512-2s": Medium(0xFD, 2, 112, 2),
    "mfm-80x9x512-2s": Medium(0xF9, 2, 112, 3),
    "mfm-80x15x512-2s": Medium(0xF9, 1, 224, 7),
}


class _Reader:
    """One image, walked from its root directory."""

    def __init__(self, image: Image) -> None:
        self.image, self.geometry = image, image.geometry
        self.problems = Problems()
        self.owners: dict[int, str] = {}
        self.label = b""
        self.files: list[tuple[bytes, str, Any, tuple[int, ...]]] = []  # path, path for people, entry, clusters
        self.directories: list[tuple[str, Any, int, bytes]] = []  # path for people, entry, its parent's cluster, its bytes
        self.stored: list[tuple[str, bytes]] = []  # every entry's path for people, and its name as it stands in the directory
        self.parameters = BOOT.parse(self._sectors(range(1))).parameters
        self.medium = plan_of(PLANS, self.geometry)
        self.stated = stated(self.parameters, self.geometry)
        self.layout = self.stated or FatLayout(self.medium, len(self.geometry.addresses), self.geometry.size)
        table = self._sectors(self.layout.table(0))
        self.table = unpack(table)
        if self.stated or table[0] == self.layout.medium.media:
            self._walk()
        else:
            self.problems.add("boot sector", "there is neither a parameter block for this geometry nor its media descriptor in the table")

    def _sectors(self, places: range) -> bytes:
        size = self.geometry.size
        return bytes(self.image.dump[places.start * size : places.stop * size])

    def _chain(self, first: int, owner: str) -> tuple[int, ...]:
        def following(cluster: int) -> int | None:
            return None if self.table[cluster] >= LAST else self.table[cluster]

        clusters, wrong = follow(first, following, self.layout.clusters.__contains__, self.owners, owner, "cluster {}".format)
        if wrong:
            self.problems.add(owner, wrong)
        return clusters

    def _data(self, chain: tuple[int, ...]) -> bytes:
        return b"".join(self._sectors(self.layout.sectors_of(cluster)) for cluster in chain)

    def _walk(self) -> None:
        """Read the root directory, then the directories in it, and so on. Each takes a cluster of its own, so there is an end."""
        directories, characters = deque([(b"", "", 0, self._sectors(range(self.layout.root, self.layout.data)))]), 0
        while directories:
            path, above, cluster, data = directories.popleft()
            for entry in _entries(data):
                name = load_name(entry.name)
                where = above + shown(name)  # grows by one name a level, so that a nest of directories is not spelled out anew for each
                characters += len(where)
                if characters > MOST_CHARACTERS:
                    self.problems.add(
                        "root directory", f"its directories are nested so deep that their paths pass {MOST_CHARACTERS:,} characters"
                    )
                    return
                if entry.attributes & DIRECTORY or not entry.attributes & LABEL:
                    self.stored.append((where, entry.name))
                if entry.attributes & DIRECTORY:
                    inner = self._data(self._chain(entry.cluster, where))
                    self.directories.append((where, entry, cluster, inner))
                    directories.append((path + name + b"/", where + "/", entry.cluster, inner))
                elif entry.attributes & LABEL:
                    self.label = self.label or LABELS.load(entry.name)
                else:
                    self._file(path + name, where, entry)

    def _file(self, name: bytes, where: str, entry: Any) -> None:
        chain = self._chain(entry.cluster, where) if entry.cluster else ()
        if entry.size > len(chain) * self.layout.cluster_bytes:
            room = len(chain) * self.layout.cluster_bytes
            self.problems.add(where, f"the directory gives it {counted(entry.size, 'byte')}, its chain holds {room:,}")
        self.files.append((name, where, entry, chain))

    @property
    def names(self) -> list[str]:
        """The paths of the files and directories, for people."""
        return [where for where, _ in self.stored]

    def volume(self) -> VolumeOut:
        """The files, those of the root directory first. `free`: clusters whose entry in the table says free."""
        free = sum(self.table[cluster] == FREE for cluster in self.layout.clusters)
        return VolumeOut(self.label, free, self.layout.cluster_bytes, tuple(self._out(*file) for file in self.files))

    def _out(self, name: bytes, _: str, entry: Any, chain: tuple[int, ...]) -> FileOut:
        places = [place for cluster in chain for place in self.layout.sectors_of(cluster)]
        sectors = tuple(self.geometry.addresses[place] for place in places[: -(-entry.size // self.geometry.size)])
        return FileOut(name, None, None, bool(entry.attributes & READ_ONLY), self._data(chain)[: entry.size], sectors)

    def contradictions(self) -> Iterator[Problem]:
        """Problems that a reader can live with and a master can't."""
        yield from wrong_parameters(self.parameters, self.medium, self.geometry)
        yield from self._wrong_tables()
        for where, stored in self.stored:
            if wrong := stored_problem(stored):
                yield Problem(where, wrong)
        yield from twice(where for where, _ in self.stored)
        for directory in self.directories:
            yield from _wrong_directory(*directory)
        for _, where, entry, chain in self.files:
            if len(chain) > -(-entry.size // self.layout.cluster_bytes):
                yield Problem(
                    where,
                    f"its chain holds {counted(len(chain), 'cluster')}, more than a file of {counted(entry.size, 'byte')} needs",
                )

    def _wrong_tables(self) -> Iterator[Problem]:
        layout, first = self.layout, self._sectors(self.layout.table(0))
        if first[:3] != bytes([layout.medium.media, 0xFF, 0xFF]):
            yield Problem("allocation table", f"begins with {first[:3].hex(' ')}, where {layout.medium.media:02x} ff ff was expected")
        for copy in range(1, layout.medium.fats):
            if self._sectors(layout.table(copy)) != first:
                yield Problem("allocation table", f"copy {copy + 1} differs from the first")
        for cluster in layout.clusters:
            if self.table[cluster] not in (FREE, BAD) and cluster not in self.owners:
                yield Problem("allocation table", f"cluster {cluster} is allocated, and no file's")


def _wrong_directory(where: str, entry: Any, parent: int, data: bytes) -> Iterator[Problem]:
    """A directory has no size, and begins with links to itself and to its parent (0: the root)."""
    if entry.size:
        yield Problem(where, f"a directory, and its entry gives it {counted(entry.size, 'byte')}, where 0 was expected")
    for number, (name, cluster) in enumerate(zip(LINKS, (entry.cluster, parent), strict=True)):
        if not data:
            return  # its chain is wrong, which has been told
        link = ENTRY.parse(data[number * ENTRY.sizeof() : (number + 1) * ENTRY.sizeof()])
        if link.name != name or not link.attributes & DIRECTORY:
            yield Problem(where, f"its entry {number + 1} should be {name.decode().strip()}, a directory")
        elif link.cluster != cluster:
            yield Problem(where, f"its {name.decode().strip()} leads to cluster {link.cluster}, where {cluster} was expected")


def _entries(data: bytes) -> Iterator[Any]:
    """The entries of a directory that are in use, without those of long names and the links to itself and its parent."""
    size = ENTRY.sizeof()
    for start in range(0, len(data), size):
        entry = ENTRY.parse(data[start : start + size])
        if entry.name[0] == END_OF_DIRECTORY:
            return
        if entry.name[0] != DELETED and entry.attributes & LONG_NAME != LONG_NAME and entry.name not in LINKS:
            yield entry


class _Builder:
    """Builds one side with this volume."""

    def __init__(self, geometry: Geometry, content: VolumeIn) -> None:
        self.image, self.content, self.geometry = Image(geometry), content, geometry
        self.layout = FatLayout(plan_of(PLANS, geometry), len(geometry.addresses), geometry.size)
        self.problems = Problems()
        self.table = {cluster: FREE for cluster in self.layout.clusters}

    def build(self) -> Image:
        geometry, layout = self.geometry, self.layout
        owners = dict.fromkeys(geometry.addresses[: layout.data], "the boot sector, the tables or the directory")
        for address in lay_places(self.image, self.content.places, owners, self.problems):
            if cluster := layout.cluster_of(geometry.places[address]):
                self.table[cluster] = BAD
        self._check()
        self.problems.stop()
        entries = [self._file(file) for file in self.content.files]
        if self.content.label:
            entries.insert(0, self._entry(LABELS.store(self.content.label), LABEL, 0, 0))
        self._lay(range(layout.root, layout.data), b"".join(entries))
        table = pack([0xF00 | layout.medium.media, END_OF_CHAIN, *self.table.values()])
        for copy in range(layout.medium.fats):
            self._lay(layout.table(copy), table)
        self._lay(range(1), self._boot())
        if free := list(self.table.values()).count(FREE):
            self.image.spare = geometry.addresses[layout.sectors_of(self._clusters(free)[-1])[-1]]
        return self.image

    def _check(self) -> None:
        content, problems, layout = self.content, self.problems, self.layout
        refuse(content, "fat12", ("image",), problems)
        check_step(content, len(layout.clusters) - 1, problems)
        if content.label and (wrong := LABELS.problem(content.label)):
            problems.add(key(content.where, "label"), wrong)
        if not EPOCH <= content.date.year <= LAST_YEAR:
            problems.add(key(content.where, "date"), f"{content.date} is not in the years {EPOCH} to {LAST_YEAR}")
        if content.boot and len(content.boot) > self.geometry.size:
            problems.add(key(content.where, "boot"), f"{len(content.boot)} bytes, where sector 0 has {self.geometry.size}")
        check_names(content.files, name_problem, store_name, problems)
        for file in content.files:
            for name in ("type", "load_address"):
                if getattr(file, name) is not None:
                    problems.add(key(file.where, name), "fat12 has no place for it; leave the key out")
        needed = sum(-(-len(file.data) // layout.cluster_bytes) for file in content.files)
        room = layout.medium.root_entries - bool(content.label)
        check_room(content, needed, list(self.table.values()).count(FREE), "cluster", entries=room, problems=problems)

    def _lay(self, places: range, data: bytes) -> None:
        size = self.geometry.size
        for number, place in enumerate(places):
            self.image.write(self.geometry.addresses[place], data[number * size : (number + 1) * size])

    def _file(self, file: FileIn) -> bytes:
        """Lays a file's clusters. Returns its directory entry."""
        size, chain = self.layout.cluster_bytes, self._clusters(-(-len(file.data) // self.layout.cluster_bytes))
        for number, (cluster, then) in enumerate(zip(chain, [*chain[1:], END_OF_CHAIN], strict=False)):
            self.table[cluster] = then
            self._lay(self.layout.sectors_of(cluster), file.data[number * size : (number + 1) * size])
        return self._entry(store_name(file.name, file.raw_name), READ_ONLY * file.locked, chain[0] if chain else 0, len(file.data))

    def _clusters(self, count: int) -> list[int]:
        """Free clusters: the first, then `interleave` on from each, again from the start where there is none further on."""
        free = [cluster for cluster, entry in self.table.items() if entry == FREE]
        chain: list[int] = []
        for _ in range(count):
            start = chain[-1] + (self.content.interleave or 1) if chain else 0
            chain.append(free.pop(bisect_left(free, start) % len(free)))
        return chain

    def _entry(self, name: bytes, attributes: int, cluster: int, size: int) -> bytes:
        date = self.content.date
        stamp = date.year - EPOCH << 9 | date.month << 5 | date.day
        built: bytes = ENTRY.build({"name": name, "attributes": attributes, "date": stamp, "cluster": cluster, "size": size})
        return built

    def _boot(self) -> bytes:
        """Sector 0: jump, code and signature of the boot file, as far as it reaches, the rest ours."""
        layout, geometry, content = self.layout, self.geometry, self.content
        code = content.boot or HALT
        sector = code + (bytes(geometry.size - len(SIGNATURE)) + SIGNATURE)[len(code) :]
        block = parameters(layout.medium, geometry)
        parts = BOOT.parse(sector)
        serial = crc32(repr([content.label, content.date, *((file.name, file.data) for file in content.files)]).encode())
        label = LABELS.store(content.label or NO_LABEL)
        boot: bytes = BOOT.build(
            {"jump": parts.jump, "parameters": block, "serial": serial, "label": label, "code": parts.code, "signature": parts.signature}
        )
        return boot


VOLUME = FileSystem("fat12", SOURCES, JOB_PART, PLANS, _Builder, _Reader)
