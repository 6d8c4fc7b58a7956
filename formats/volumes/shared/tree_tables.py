"""Records of the hierarchical volume of 512-byte blocks: directories, entries, names and paths.

Source: a technical reference manual of the system's, appendix B. From memory: the first of a subdirectory's reserved bytes, which
bits of the access byte say what, and of which century a year is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from construct import Array, Byte, Bytes, BytesInteger, Default, Int16ul, Padding, Struct

from formats.errors import Problem
from formats.volumes.interface import JobPart
from formats.volumes.shared.names import ANY_BYTE, NameRule, shown
from formats.words import counted

STAMP = Struct("date" / Int16ul, "time" / Default(Int16ul, 0))

HEADER = Struct(
    "kind" / Byte,  # high half: F of the volume, E of a subdirectory; low half: length of the name
    "name" / Bytes(15),
    "reserved" / Bytes(8),
    "created" / STAMP,
    Padding(2),  # version and least version
    "access" / Byte,
    "entry_bytes" / Default(Byte, 39),
    "block_entries" / Default(Byte, 13),
    "files" / Int16ul,
    "pointer" / Int16ul,  # the bit map; of a subdirectory the block that holds its entry
    "total" / Int16ul,  # blocks of the volume; of a subdirectory its entry's number in that block, and bytes of an entry
)

ENTRY = Struct(
    "kind" / Byte,  # high half: 0 deleted, 1 to 3 how the file hangs on its key block, D a subdirectory
    "name" / Bytes(15),
    "type" / Byte,
    "key" / Int16ul,
    "blocks" / Int16ul,  # its indexes too
    "length" / BytesInteger(3, swapped=True),
    "created" / STAMP,
    Padding(2),
    "access" / Byte,
    "auxiliary" / Default(Int16ul, 0),
    "modified" / STAMP,
    "header" / Int16ul,  # the key block of its directory
)

DIRECTORY = Struct("previous" / Int16ul, "next" / Int16ul, "entries" / Array(13, Bytes(39)), Padding(1))

NAMES = NameRule(
    longest=15,
    pad=0x00,
    allowed=frozenset(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789."),
    raw=ANY_BYTE - frozenset(b"/\x00"),
)
VOLUME_HEADER, SUBDIRECTORY_HEADER, SUBDIRECTORY, DELETED = 0xF, 0xE, 0xD, 0x0
SUBDIRECTORY_TYPE, SUBDIRECTORY_MAGIC = 0x0F, b"\x75"
WRITE, UNLOCKED, LOCKED = 0x02, 0xC3, 0x01  # bits of the access byte: destroy 80, rename 40, write 02, read 01
UNNAMED = b"UNTITLED"
YEARS = range(1940, 2040)  # two digits; from 40 on they are of the last century
MOST_BYTES = 32 << 20  # of all files, holes and all: two of the longest


@dataclass(frozen=True)
class TreePlan:
    """Where a geometry's volume keeps what, in blocks."""

    directory: tuple[int, ...] = (2, 3, 4, 5)
    map: int = 6
    boot: int = 2  # how many blocks from 0 on

    @property
    def entries(self) -> int:
        """How many entries the volume directory holds besides its header."""
        count: int = DIRECTORY.entries.count
        return len(self.directory) * count - 1


PLANS = {"gcr6and2-35x16x256": TreePlan()}


def day_word(day: date) -> dict[str, int]:
    """A day as a volume's word: seven bits of the year, four of the month, five of the day; no time."""
    return {"date": day.year % 100 << 9 | day.month << 5 | day.day}


def stored_name(kind: int, path: bytes) -> dict[str, Any]:
    """An entry's first two fields, of the path's last name."""
    name = path.rpartition(b"/")[2]
    return {"kind": kind << 4 | len(name), "name": name.ljust(15, b"\0")}


def name_of(parsed: Any) -> bytes:
    """The name in a header or an entry as it was parsed."""
    name: bytes = parsed.name[: parsed.kind & 0xF]
    return name


@dataclass(frozen=True)
class EntryRead:
    """An entry as it was read: its path, its directory's key block, where it stands in it, what it owns."""

    path: bytes
    directory: int
    place: tuple[int, int]  # block, and number in it from 1
    entry: Any
    owned: int
    data: tuple[int, ...]

    @property
    def where(self) -> str:
        """Its path for people."""
        return shown(self.path)


@dataclass(frozen=True)
class DirectoryRead:
    """A directory as it was read: its blocks, its header, how many entries are in use, its own entry but for the volume's."""

    blocks: tuple[int, ...]
    header: Any
    count: int
    own: EntryRead | None

    @property
    def where(self) -> str:
        """Its path for people."""
        return self.own.where if self.own else "volume directory"


def wrong_entry(file: EntryRead, owned: int, length: int | None = None) -> Iterator[Problem]:
    """What is wrong with an entry that owns so many blocks; `length` is what it must say, where that is known."""
    entry = file.entry
    if entry.blocks != owned:
        yield Problem(file.where, f"the directory gives it {counted(entry.blocks, 'block')}, it has {owned}")
    if entry.header != file.directory:
        yield Problem(file.where, f"its directory begins in block {file.directory}, its entry says {entry.header}")
    if length is not None and entry.length != length:
        yield Problem(file.where, f"the directory gives it {counted(entry.length, 'byte')}, it has {length:,}")


@dataclass
class NewDirectory:
    """A directory in the making: its blocks; what its header says of its kind, name, pointer and total; its entries so far."""

    blocks: Sequence[int]
    kind: int
    path: bytes
    pointer: int
    total: int
    entries: list[dict[str, Any]] = field(default_factory=list)

    @property
    def next_place(self) -> tuple[int, int]:
        """The block of the next entry, and its number there from 1."""
        at, number = divmod(len(self.entries) + 1, DIRECTORY.entries.count)
        return self.blocks[at], number + 1

    def entry(self) -> dict[str, Any]:
        """Its own entry in the directory above."""
        fields = stored_name(SUBDIRECTORY, self.path) | {"type": SUBDIRECTORY_TYPE, "access": UNLOCKED}
        return fields | {"key": self.blocks[0], "blocks": len(self.blocks), "length": len(self.blocks) * DIRECTORY.sizeof()}

    def laid(self, day: date) -> Iterator[tuple[int, bytes]]:
        """Each block with its bytes, all entries of that day."""
        reserved = SUBDIRECTORY_MAGIC.ljust(8, b"\0") if self.kind == SUBDIRECTORY_HEADER else bytes(8)
        header = stored_name(self.kind, self.path) | {"reserved": reserved, "created": day_word(day), "access": UNLOCKED}
        slots = [HEADER.build(header | {"files": len(self.entries), "pointer": self.pointer, "total": self.total})]
        fields = {"created": day_word(day), "modified": day_word(day), "header": self.blocks[0]}
        slots += [ENTRY.build(entry | fields) for entry in self.entries]
        count = DIRECTORY.entries.count
        slots += [bytes(ENTRY.sizeof())] * (len(self.blocks) * count - len(slots))
        for at, (block, before, after) in enumerate(zip(self.blocks, (0, *self.blocks), (*self.blocks[1:], 0), strict=False)):
            yield block, DIRECTORY.build({"previous": before, "next": after, "entries": slots[at * count : (at + 1) * count]})


def path_problem(path: bytes, raw: bool) -> str:
    """Why this is no path of files of this volume; empty when it is one. The same for a single name."""
    for name in path.split(b"/"):
        if not name and path:
            return f"{shown(path)} has an empty name beside a slash"
        if wrong := NAMES.problem(name, raw):
            return wrong
        if not raw and not name[:1].isalpha():
            return f"{shown(name)} does not begin with a letter"
    return ""


def parents(path: bytes) -> list[bytes]:
    """The directories on the way to a file, outermost first, the volume's left out."""
    parts = path.split(b"/")
    return [b"/".join(parts[:count]) for count in range(1, len(parts))]


def order(paths: Sequence[bytes]) -> list[int]:
    """The places of some files in the order in which the directories list them."""
    first: dict[bytes, int] = {}
    for place, path in enumerate(paths):
        for parent in parents(path):
            first.setdefault(parent, place)
    ways = [[first[parent] for parent in parents(path)] for path in paths]
    return sorted(range(len(paths)), key=lambda place: (len(ways[place]), ways[place]))


JOB_PART = JobPart("""\
label = "MY.TITLE"            # up to 15 of A-Z, 0-9 and periods, a letter first; default: UNTITLED
# boot = "boot.bin"           # the bytes of blocks 0 and 1

[[side.{side}.file]]
name = "FIRST"                # as the label; "CAVES/FIRST" lies in the directory CAVES, which is made for it
source = "{source}"
type = 0x06                   # 0 to 255
load_address = 0x2000         # the auxiliary word; default 0
# locked = true
""")
