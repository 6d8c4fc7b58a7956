"""Zoned-GCR DOS: a directory on one track in the middle, its block map there or beside it, files as chains of blocks.

A file's bytes are all that its chain holds, its load address too. An empty file is one block whose last used byte is byte 1.
A block that the map calls used and no file owns is common practice (reserved by hand), and so are several entries of one name that
have no bytes of their own (lines across the directory): they are no problem. Neither is what a header says of its system's version.
"""

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any

from construct import Array, Byte, Bytes, Default, Int16ul, Padding, Struct

from formats.errors import Problem
from formats.model.geometry import Geometry
from formats.source import Source
from formats.volumes.interface import FileIn, FileOut, JobPart, VolumeIn, VolumeOut
from formats.volumes.shared.content import check_room, check_step, check_type, check_word, refuse, word_of
from formats.volumes.shared.file_system import FileSystem
from formats.volumes.shared.free_space import OutwardSpace
from formats.volumes.shared.image import Image
from formats.volumes.shared.linked import Link, LinkedBuilder, Walk, link_of, parts_of
from formats.volumes.shared.names import NameRule, check_names, shown, twice
from formats.volumes.shared.owners import claim
from formats.volumes.shared.places import lay_places
from formats.volumes.shared.plans import plan_of
from formats.volumes.shared.problems import Problems, key
from formats.volumes.shared.zoned_map import LINK, PLANS
from formats.words import counted

SOURCES = (
    Source("Firmware listings of the zoned drives", "next free sector, new directory entry, map", "looked up"),
    Source("Drive user manuals", "directory and block map; 664, 670, 2052 and 4133 blocks free", "published"),
    Source(
        "Map entries of tracks 36 to 40 from C0 on; steps on 77 tracks; header of 690 blocks behind the id",
        "no two makers of 40 tracks agree where the entries lie",
        "from memory",
    ),
)

ENTRY = Struct(
    "link" / LINK,  # of the sector, in its first entry only
    "type" / Byte,  # bit 7 closed, bit 6 locked
    "start" / LINK,
    "name" / Bytes(16),  # 05: padded A0
    "side" / Default(LINK, {"track": 0, "sector": 0}),  # 15: first side sector of a relative file
    "record" / Default(Byte, 0),
    Padding(4),
    "replacement" / Default(Bytes(2), bytes(2)),
    "blocks" / Int16ul,  # 1E
)

DIRECTORY = Struct("entries" / Array(8, ENTRY))

BLOCK = Struct("link" / LINK, "data" / Bytes(254))  # last block: track 0, and the index in the block of the last byte used

NAMES = NameRule(longest=16, pad=0xA0)
TYPES = {"sequential": 1, "program": 2, "user": 3}
DELETED, PROGRAM, RELATIVE = 0, 2, 4  # type 0 with bit 7 is an entry without bytes of its own, wherever it points; 4 is the highest
CLOSED, LOCKED, TYPE = 0x80, 0x40, 0x07
EMPTY = 1  # index of the last byte used in a last block without any
LAST = 0xFF  # the same of a directory sector


class _Reader(Walk):
    """One image, walked from its directory."""

    def __init__(self, image: Image) -> None:
        super().__init__(image)
        self.plan = plan_of(PLANS, image.geometry)
        self.header = self.sector(self.plan.struct, self.plan.header)
        self.owners.update(dict.fromkeys(self.plan.system, "the block map"))
        directory = self.chain(self.plan.directory, self._next, "directory")
        entries = [entry for link in directory for entry in self.sector(DIRECTORY, link).entries if entry.type]
        self.files = [(entry, *self._chains(entry)) for entry in entries]

    def _next(self, link: Link) -> Link | None:
        return link_of(self.sector(BLOCK, link).link)

    def _chains(self, entry: Any) -> tuple[tuple[Link, ...], int]:
        """A file's blocks, and how many blocks the directory should count: with the side sectors of a relative file."""
        if entry.type & TYPE == DELETED:
            return (), entry.blocks
        where = shown(NAMES.load(entry.name))
        chain = self.chain(link_of(entry.start), self._next, where)
        side = link_of(entry.side) if entry.type & TYPE == RELATIVE else None  # of others these bytes are nobody's
        return chain, len(chain) + len(self.chain(side, self._next, where))

    @cached_property
    def system(self) -> dict[Link, bytes]:
        """The header's sector and the map's."""
        return {link: self.image.read(self.addresses[link]) for link in self.plan.system}

    @cached_property
    def map(self) -> dict[int, tuple[int, list[Link]]]:
        """How many blocks of each track are free by the map's count, and which by its bits."""
        return {track: part.read(self.system[part.at], track) for part in self.plan.map for track in part.tracks}

    def _file(self, entry: Any, chain: Sequence[Link]) -> FileOut:
        data = b"".join(_used(self.sector(BLOCK, link)) for link in chain)
        number = entry.type & TYPE
        return FileOut(
            NAMES.load(entry.name),
            word_of(TYPES, number),
            int.from_bytes(data[:2], "little") if number == PROGRAM and len(data) >= 2 else None,
            bool(entry.type & LOCKED),
            data,
            tuple(self.addresses[link] for link in chain),
            (LINK.sizeof(), LINK.sizeof()),
        )

    @property
    def names(self) -> list[str]:
        """The names of the files, for people."""
        return [shown(NAMES.load(entry.name)) for entry, _, _ in self.files]

    def volume(self) -> VolumeOut:
        """The files, unclosed ones too. `free`: the blocks that are free by the map's counts and bits, the directory's track left out."""
        counts = {track: min(count, sum(link in self.addresses for link in free)) for track, (count, free) in self.map.items()}
        free = sum(count for track, count in counts.items() if track != self.plan.directory[0])
        files = tuple(self._file(entry, chain) for entry, chain, _ in self.files)
        identity = dict(zip(("id1", "id2"), self.header.id, strict=True))
        return VolumeOut(NAMES.load(self.header.name), free, BLOCK.data.sizeof(), files, identity)

    def contradictions(self) -> Iterator[Problem]:
        """Problems that a reader can live with and a master can't."""
        for where, what in self.plan.wrong_frames(self.system):
            yield Problem(where, what)
        for entry, chain, blocks in self.files:
            yield from self._entry(entry, chain, blocks, shown(NAMES.load(entry.name)))
        yield from twice(shown(NAMES.load(entry.name)) for entry, _, _ in self.files if entry.type & TYPE != DELETED)
        for track, (count, free) in self.map.items():
            if count != len(free):
                yield Problem("block map", f"track {track} has {counted(count, 'free block')} by its count, {len(free)} by its bits")
            yield from self.free_in_map(free, "block map")

    def _entry(self, entry: Any, chain: Sequence[Link], blocks: int, where: str) -> Iterator[Problem]:
        number = entry.type & TYPE
        if not entry.type & CLOSED:
            yield Problem(where, "was never closed")
        if number > RELATIVE:
            yield Problem(where, f"type {number} is none of this system's")
        if number == RELATIVE and not link_of(entry.side):
            yield Problem(where, "a relative file, and it has no side sector")
        if entry.blocks != blocks:
            yield Problem(where, f"the directory gives it {counted(entry.blocks, 'block')}, it has {blocks:,}")
        if not chain and number != DELETED:
            yield Problem(where, "has no first block")
        if chain and (last := self.sector(BLOCK, chain[-1]).link).track == 0 and last.sector < EMPTY:
            yield Problem(where, "the last byte used of its last block would be a byte of the link")


def _used(block: Any) -> bytes:
    data: bytes = block.data
    return data if block.link.track else data[: max(block.link.sector - EMPTY, 0)]


class _Builder(LinkedBuilder):
    """Builds one side with this volume."""

    def __init__(self, geometry: Geometry, content: VolumeIn) -> None:
        super().__init__(geometry, content)
        self.plan = plan_of(PLANS, geometry)
        self.space = OutwardSpace(geometry, self.plan.directory[0])

    def build(self) -> Image:
        content, owners = self.content, dict.fromkeys((self.addresses[link] for link in self.plan.system), "the block map")
        claim(owners, [self.addresses[self.plan.directory]], "the directory")
        lay_places(self.image, content.places, owners, self.problems)
        self.space.remove(owners)
        self._check()
        self.problems.stop()
        end = self._directory([self._file(file) for file in content.files])
        self._header()
        spare = self.space.last(self._step) or self.space.last_on_track(end, self.plan.directory_step)
        self.image.spare = self.addresses[spare] if spare else None
        return self.image

    @property
    def _step(self) -> int:
        return self.content.interleave or self.plan.step

    def _check(self) -> None:
        content, problems = self.content, self.problems
        refuse(content, "zoned-dos", ("boot", "image"), problems)
        check_step(content, min(self.space.sectors.values()) - 1, problems)
        if content.label and (wrong := NAMES.problem(content.label)):
            problems.add(key(content.where, "label"), wrong)
        if len(content.disc_id) != 2:
            problems.add(key(content.where, "disc_id"), f"{len(content.disc_id)} bytes, where two are the disc's id")
        check_names(content.files, NAMES.problem, NAMES.store, problems)
        for file in content.files:
            _check_file(file, problems)
        blocks = sum(max(1, -(-_length(file) // BLOCK.data.sizeof())) for file in content.files)
        available = self.space.available((*self.space.below, *self.space.above))
        room = DIRECTORY.entries.count * (1 + len(self.space.free[self.space.middle]))
        check_room(content, blocks, available, "block", entries=room, problems=problems)

    def _file(self, file: FileIn) -> dict[str, Any]:
        """Lays a file's blocks. Returns its directory entry."""
        address = file.load_address
        data = (address.to_bytes(2, "little") if isinstance(address, int) else b"") + file.data
        size, step = BLOCK.data.sizeof(), self._step
        parts = [data[start : start + size] for start in range(0, len(data), size)] or [b""]
        chain = [self.space.first()]
        while len(chain) < len(parts):
            chain.append(self.space.after(chain[-1], step))
        links = [*chain[1:], (0, len(parts[-1]) + EMPTY)]
        for at, link, part in zip(chain, links, parts, strict=True):
            self.write(at, BLOCK.build({"link": parts_of(link), "data": part.ljust(size, b"\0")}))
        return {
            "link": parts_of((0, 0)),
            "type": TYPES[str(file.type)] | CLOSED | LOCKED * file.locked,
            "start": parts_of(chain[0]),
            "name": NAMES.store(file.name, file.raw_name),
            "blocks": len(chain),
        }

    def _directory(self, entries: list[dict[str, Any]]) -> Link:
        """Lays the directory's sectors. Returns the last of them."""
        at, nothing = self.plan.directory, {"link": parts_of((0, 0)), "type": 0, "start": parts_of((0, 0)), "name": bytes(16), "blocks": 0}
        for start in range(0, max(len(entries), 1), 8):
            eight = (entries[start : start + 8] + [nothing] * 8)[:8]
            following = self.space.on_track(*at, self.plan.directory_step) if start + 8 < len(entries) else None
            link = self.space.take(following) if following else (0, LAST)
            self.write(at, DIRECTORY.build({"entries": [eight[0] | {"link": parts_of(link)}, *eight[1:]]}))
            at = following or at
        return at

    def _header(self) -> None:
        """Lays the header and the map, with the blocks that are free once all files are laid."""
        sectors = self.plan.frames(NAMES.store(self.content.label), self.content.disc_id)
        for part in self.plan.map:
            for track in part.tracks:
                part.write(sectors[part.at], track, self.space.free[track])
        for link, sector in sectors.items():
            self.write(link, bytes(sector))


def _length(file: FileIn) -> int:
    return len(file.data) + 2 * isinstance(file.load_address, int)


def _check_file(file: FileIn, problems: Problems) -> None:
    where = key(file.where, "load_address")
    check_type(file, TYPES, "zoned-dos", problems)
    if file.load_address == "in-file":
        if len(file.data) < 2:
            problems.add(where, f"a source of {counted(len(file.data), 'byte')} can't begin with its load address")
    elif file.load_address is not None:
        check_word(file.load_address, where, problems)
    elif file.type == "program":
        problems.add(where, 'a program needs one: a number, or "in-file" when the source begins with it')


LOWEST = 0x0200  # below it the machine keeps its own stack and pointers: no program is loaded there (common practice)


def _doubts(file: FileIn) -> Iterator[Problem]:
    """A load address that would stand twice, or not at all."""
    where, first = key(file.where, "load_address"), int.from_bytes(file.data[:2], "little")
    if file.type != "program" or len(file.data) < 2:
        return
    if file.load_address == first:
        yield Problem(
            where, 'the source begins with these two bytes already, so the address would stand twice; if it is one, write "in-file"'
        )
    if file.load_address == "in-file" and first < LOWEST:
        yield Problem(where, f"the source begins with 0x{first:04X}, where no program is loaded; if that is no address, give one here")
    elif file.load_address == "in-file" and first + len(file.data) - 2 > 0x10000:
        last = first + len(file.data) - 3
        yield Problem(
            where,
            f"the source begins with 0x{first:04X}, and would run on to 0x{last:X}, past 0xFFFF; if that is no address, give one here",
        )


JOB_PART = JobPart("""\
label = "MY TITLE"
# disc_id = "MT"              # two characters; default: the catalogue number's last two
# interleave = 10             # the step from one block of a file to its next

[[side.{side}.file]]
name = "FIRST"                # up to 16 characters
source = "{source}"
type = "program"              # or "sequential", "user"
load_address = 0x2000         # or "in-file", when the source begins with it
# locked = true
# volatile = true             # the customer's machine may change this file
# name_bytes = "4C 41"        # instead of `name`: its bytes outright

# [[side.{side}.place]]            # bytes at a fixed sector, around which files are laid
# track = 35
# sector = 0
# source = "loader.bin"
""")

VOLUME = FileSystem("zoned-dos", SOURCES, JOB_PART, PLANS, _Builder, _Reader, doubted=_doubts)
