"""Hierarchical volume of 512-byte blocks: a volume directory at block 2, subdirectories, files on key blocks.

A file's name is its path: `CAVES/FIRST` lies in the subdirectory CAVES, which is made where the first file in it stands. Reader and
job list the files of the volume directory first, then those of its subdirectories, then of theirs. A block that the bit map calls
used and nobody owns is common practice (reserved by hand), and so is no problem.
"""

from bisect import bisect_left
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from formats.errors import Problem
from formats.model.geometry import Address, Geometry
from formats.source import Source
from formats.volumes.interface import FileIn, FileOut, VolumeIn, VolumeOut
from formats.volumes.shared.blocks import BLOCK, SEEDLING, TREE, Blocks, data_blocks, follow_file, index_blocks, lay_file, storage
from formats.volumes.shared.chains import follow
from formats.volumes.shared.content import check_room, check_step, check_word, refuse
from formats.volumes.shared.file_system import FileSystem
from formats.volumes.shared.image import Image
from formats.volumes.shared.names import check_names, shown, twice
from formats.volumes.shared.owners import claim
from formats.volumes.shared.places import lay_places
from formats.volumes.shared.plans import plan_of
from formats.volumes.shared.problems import Problems, key, other_numbers
from formats.volumes.shared.tree_tables import (
    DELETED,
    DIRECTORY,
    ENTRY,
    HEADER,
    JOB_PART,
    LOCKED,
    MOST_BYTES,
    NAMES,
    PLANS,
    SUBDIRECTORY,
    SUBDIRECTORY_HEADER,
    UNLOCKED,
    UNNAMED,
    VOLUME_HEADER,
    WRITE,
    YEARS,
    DirectoryRead,
    EntryRead,
    NewDirectory,
    name_of,
    order,
    parents,
    path_problem,
    stored_name,
    wrong_entry,
)
from formats.words import counted

SOURCES = (
    Source("A technical reference manual of the system's", "appendix B: directories, entries, index blocks, bit map", "published"),
    Source("First of a subdirectory's reserved bytes; bits of the access byte", "", "from memory"),
    Source("Order in which free blocks are taken", "ascending, indexes before data", "common practice"),
)


class _Reader:
    """One image, walked from its volume directory."""

    def __init__(self, image: Image) -> None:
        self.blocks, self.plan = Blocks(image), plan_of(PLANS, image.geometry)
        self.problems = Problems()
        self.owners: dict[int, str] = dict.fromkeys(range(self.plan.boot), "the loader")
        self.entries: list[EntryRead] = []
        self.files: list[EntryRead] = []
        self.folders: list[DirectoryRead] = []
        key = self.plan.directory[0]
        self.header = HEADER.parse(DIRECTORY.parse(self.blocks.read(key)).entries[0])
        if self.header.kind >> 4 != VOLUME_HEADER:
            self.problems.add(f"block {key}", "there is no volume directory")
            return
        if wrong := self._own(self.header.pointer, "the bit map"):
            self.problems.add("bit map", wrong)
            return
        self._walk(key)
        if sum(file.entry.length for file in self.files) > MOST_BYTES:
            self.problems.add("volume directory", f"its files have more than {MOST_BYTES:,} bytes by their lengths")

    def _own(self, block: int, owner: str) -> str:
        """Gives a block to an owner. Returns why it can't have the block, empty when it can."""
        if block not in self.blocks:
            return f"leads to block {block}, where no data can be"
        there = claim(self.owners, [block], owner)
        if there and there[0][1] == owner:
            return f"leads to block {block} a second time"
        return f"leads to block {block}, which belongs to {there[0][1]} already" if there else ""

    def _chain(self, first: int, owner: str) -> tuple[int, ...]:
        """The blocks of a directory, as far as its chain can be followed."""

        def following(block: int) -> int | None:
            after: int = DIRECTORY.parse(self.blocks.read(block)).next
            return after or None

        chain, wrong = follow(first, following, self.blocks.__contains__, self.owners, owner, "block {}".format)
        if wrong:
            self.problems.add(owner, wrong)
        return chain

    def _walk(self, key: int) -> None:
        """Read the volume directory, then the directories in it, and so on. Each takes a block of its own, so there is an end."""
        folders: deque[EntryRead | None] = deque([None])
        while folders:
            own = folders.popleft()
            first, path = (own.entry.key, own.path + b"/") if own else (key, b"")
            chain = self._chain(first, own.where if own else "volume directory")
            entries = list(self._entries(path, first, chain))
            self.entries += entries
            folders += [each for each in entries if each.entry.kind >> 4 == SUBDIRECTORY]
            self.files += [self._file(each) for each in entries if each.entry.kind >> 4 != SUBDIRECTORY]
            if chain:
                header = HEADER.parse(DIRECTORY.parse(self.blocks.read(first)).entries[0])
                self.folders.append(DirectoryRead(chain, header, len(entries), own))

    def _entries(self, path: bytes, key: int, chain: Sequence[int]) -> Iterator[EntryRead]:
        for block in chain:
            for number, raw in enumerate(DIRECTORY.parse(self.blocks.read(block)).entries, 1):
                entry = ENTRY.parse(raw)
                if entry.kind >> 4 != DELETED and (block, number) != (key, 1):
                    yield EntryRead(path + name_of(entry), key, (block, number), entry, 0, ())

    def _file(self, file: EntryRead) -> EntryRead:
        """The file, completed with the blocks of its bytes (0 for a hole) and the number of blocks that it owns."""
        kind, length = file.entry.kind >> 4, file.entry.length
        if not SEEDLING <= kind <= TREE:
            self.problems.add(file.where, f"storage type {kind:X} is none that can be followed")
            return file
        blocks, owned, wrong = follow_file(self.blocks, file.entry.key, kind, lambda block: self._own(block, file.where))
        if not wrong and length > len(blocks) * BLOCK:
            wrong = f"the directory gives it {counted(length, 'byte')}, its blocks hold {len(blocks) * BLOCK:,} at most"
        if wrong:
            self.problems.add(file.where, wrong)
        return replace(file, owned=owned, data=tuple(blocks[: -(-length // BLOCK)]))

    @property
    def free(self) -> list[int]:
        """The blocks that the bit map calls free."""
        bits = self.blocks.read(self.header.pointer)
        return [8 * at + bit for at, byte in enumerate(bits) for bit in range(8) if byte << bit & 0x80]

    @property
    def names(self) -> list[str]:
        """The paths of the files and directories, for people."""
        return [each.where for each in self.entries]

    def volume(self) -> VolumeOut:
        """The files. `free`: the blocks of the disc whose bits in the map say free."""
        free = sum(block in self.blocks for block in self.free)
        return VolumeOut(name_of(self.header), free, BLOCK, tuple(map(self._out, self.files)))

    def _out(self, file: EntryRead) -> FileOut:
        entry = file.entry
        data = b"".join(self.blocks.read(block) if block else bytes(BLOCK) for block in file.data)[: entry.length]
        sectors = tuple(self.blocks.sectors(file.data, entry.length))
        return FileOut(file.path, entry.type, entry.auxiliary, not entry.access & WRITE, data, sectors)

    def contradictions(self) -> Iterator[Problem]:
        """Problems that a reader can live with and a master can't."""
        if self.header.total != len(self.blocks.pairs):
            yield Problem(
                "volume directory", f"the volume has {counted(self.header.total, 'block')}, this disc has {len(self.blocks.pairs)}"
            )
        if self.folders and (wrong := NAMES.problem(name_of(self.header), raw=True)):
            yield Problem("volume directory", wrong)
        for folder in self.folders:
            yield from self._folder(folder)
        for block, number, wrong in ((*each.place, NAMES.problem(name_of(each.entry), raw=True)) for each in self.entries):
            if wrong:
                yield Problem(f"block {block} entry {number}", wrong)
        yield from twice(each.where for each in self.entries)
        for file in self.files:
            yield from wrong_entry(file, file.owned)
        for block in self.free if self.folders else ():
            if block not in self.blocks:
                yield Problem("bit map", f"block {block} is free, and the disc has no such block")
            elif block in self.owners:
                yield Problem("bit map", f"block {block} is free, and used by {self.owners[block]}")

    def _folder(self, folder: DirectoryRead) -> Iterator[Problem]:
        header, where, own = folder.header, folder.where, folder.own
        numbers = (
            ("bytes of an entry", header.entry_bytes, ENTRY.sizeof()),
            ("entries of a block", header.block_entries, DIRECTORY.entries.count),
            ("files", header.files, folder.count),
        )
        yield from other_numbers(where, numbers)
        for block, before in zip(folder.blocks, (0, *folder.blocks), strict=False):
            if (previous := DIRECTORY.parse(self.blocks.read(block)).previous) != before:
                yield Problem(where, f"block {block} says that {previous} comes before it, not {before}")
        if own:
            yield from wrong_entry(own, len(folder.blocks), len(folder.blocks) * BLOCK)
            block, number = own.place
            parent = (header.kind >> 4, name_of(header), header.pointer, header.total)
            if parent != (SUBDIRECTORY_HEADER, name_of(own.entry), block, ENTRY.sizeof() << 8 | number):
                yield Problem(where, f"its header does not lead back to entry {number} of block {block}")


class _Builder:
    """Builds one side with this volume."""

    def __init__(self, geometry: Geometry, content: VolumeIn) -> None:
        self.image, self.content, self.plan = Image(geometry), content, plan_of(PLANS, geometry)
        self.blocks = Blocks(self.image)
        self.problems = Problems()
        self.free: list[int] = []
        self.inside: dict[bytes, set[bytes]] = {b"": set()}  # what each directory holds
        self.folders: dict[bytes, NewDirectory] = {}
        for file in content.files:
            for above, below in pairwise([b"", *parents(file.name), file.name]):
                self.inside.setdefault(above, set()).add(below)

    def build(self) -> Image:
        plan, content, pairs = self.plan, self.content, self.blocks.pairs
        system = (*plan.directory, plan.map)
        owners = {address: "the volume directory or the bit map" for block in system for address in pairs[block]}
        self._boot(owners)
        laid = set(lay_places(self.image, content.places, owners, self.problems))
        taken = {*range(plan.boot), *system, *(block for block, pair in enumerate(pairs) if laid.intersection(pair))}
        self.free = [block for block in range(len(pairs)) if block not in taken]
        self._check()
        self.problems.stop()
        self.folders[b""] = NewDirectory(plan.directory, VOLUME_HEADER, content.label or UNNAMED, plan.map, len(pairs))
        for file in content.files:
            self._file(file)
        for folder in self.folders.values():
            for block, data in folder.laid(content.date):
                self.blocks.write(block, data)
        bits = sum(1 << 8 * BLOCK - 1 - block for block in self.free)  # block 0 is the highest bit of byte 0
        self.blocks.write(plan.map, bits.to_bytes(BLOCK, "big"))
        unused = [address for block in range(plan.boot) for address in pairs[block] if address not in owners]
        last = pairs[self._take(len(self.free))[-1]] if self.free else unused
        self.image.spare = last[-1] if last else None
        return self.image

    def _boot(self, owners: dict[Address, str]) -> None:
        """Lay the boot bytes into the loader's blocks; what they do not reach is open to places."""
        boot, size = self.content.boot or b"", self.image.geometry.size
        sectors = [address for block in range(self.plan.boot) for address in self.blocks.pairs[block]]
        if len(boot) > len(sectors) * size:
            self.problems.add(key(self.content.where, "boot"), f"{len(boot):,} bytes, where {len(sectors) * size:,} fit")
        for start, address in zip(range(0, len(boot), size), sectors, strict=False):
            owners[address] = "the boot bytes"
            self.image.write(address, boot[start : start + size])

    def _check(self) -> None:
        content, problems = self.content, self.problems
        refuse(content, "block-tree", ("image",), problems)
        check_step(content, len(self.blocks.pairs) - 1, problems)
        if content.label and (wrong := path_problem(content.label, False)):
            problems.add(key(content.where, "label"), wrong)
        if content.date.year not in YEARS:
            problems.add(key(content.where, "date"), f"{content.date} is not in the years {YEARS[0]} to {YEARS[-1]}")
        check_names(content.files, path_problem, lambda name, raw: name, problems)
        for file in content.files:
            if file.name in self.inside:
                problems.add(file.where, f"{shown(file.name)} is a directory of other files")
            _check_words(file, problems)
        needed = sum(index_blocks(len(file.data)) + data_blocks(len(file.data)) for file in content.files)
        needed += sum(self._size(path) for path in self.inside if path)
        check_room(content, needed, len(self.free), "block", entries=len(content.files), problems=problems)
        if (count := len(self.inside[b""])) > self.plan.entries:
            held = f"{count} files and directories, where it holds {self.plan.entries}"
            problems.add(content.where, f"the volume directory is too full: {held}; put some into a directory")

    def _size(self, path: bytes) -> int:
        """Blocks of a directory, its header counted among its entries."""
        count: int = DIRECTORY.entries.count
        return -(-(1 + len(self.inside[path])) // count)

    def _take(self, count: int) -> list[int]:
        """Free blocks: the first, then `interleave` on from each, again from the start where there is none further on."""
        taken: list[int] = []
        for _ in range(count):
            start = taken[-1] + (self.content.interleave or 1) if taken else 0
            taken.append(self.free.pop(bisect_left(self.free, start) % len(self.free)))
        return taken

    def _file(self, file: FileIn) -> None:
        """Lay a file's blocks and its entry, and make the directories on its way that are not there yet."""
        above, length = b"", len(file.data)
        for path in parents(file.name):
            if path not in self.folders:
                self._folder(path, self.folders[above])
            above = path
        indexes, own = self._take(index_blocks(length)), self._take(data_blocks(length))
        entry = stored_name(storage(length), file.name) | {"type": file.type, "auxiliary": file.load_address or 0}
        entry |= {"key": lay_file(self.blocks, file.data, indexes, own), "blocks": len(indexes) + len(own), "length": length}
        self.folders[above].entries.append(entry | {"access": LOCKED if file.locked else UNLOCKED})

    def _folder(self, path: bytes, above: NewDirectory) -> None:
        """Lays out a subdirectory and adds its entry to the directory above."""
        blocks = self._take(self._size(path))
        block, number = above.next_place
        self.folders[path] = NewDirectory(blocks, SUBDIRECTORY_HEADER, path, block, ENTRY.sizeof() << 8 | number)
        above.entries.append(self.folders[path].entry())


def _check_words(file: FileIn, problems: Problems) -> None:
    if isinstance(file.type, bool) or not isinstance(file.type, int) or not 0 <= file.type <= 0xFF:
        given = "no type is given" if file.type is None else f"{file.type!r} is no type"
        problems.add(key(file.where, "type"), f"{given}; block-tree has numbers from 0 to 255")
    if file.load_address is not None:
        check_word(file.load_address, key(file.where, "load_address"), problems)


VOLUME = FileSystem("block-tree", SOURCES, JOB_PART, PLANS, _Builder, _Reader, order)
