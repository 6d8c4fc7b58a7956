"""The arithmetic of FAT12 volumes: where a medium's parts lie, 12-bit entries, 8.3 names. ECMA-107 / ISO 9293."""

from dataclasses import dataclass

from formats.volumes.shared.names import ANY_BYTE, NameRule, shown

ENTRY_BYTES = 32
FIRST_CLUSTER = 2
PAIR_BYTES = 3  # two entries of a table, the even one in the low 12 bits of the number, low byte first

# Common practice; ECMA-107's own characters, letters, digits and the underline, are among them.
CHARACTERS = frozenset(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789!#$%&'()-@^_")
NEVER = frozenset(range(0x20)) | frozenset(b'"*./:<>?\\|\x7f')  # in no name, as checkers have it; letters beyond ASCII stand in many
RAW = ANY_BYTE - NEVER - {0x20}
STEM = NameRule(longest=8, pad=0x20, allowed=CHARACTERS, raw=RAW)
EXTENSION = NameRule(longest=3, pad=0x20, allowed=STEM.allowed, raw=STEM.raw)
LABEL = NameRule(longest=11, pad=0x20, allowed=CHARACTERS | {0x20})
DELETED, STANDS_FOR_DELETED = 0xE5, 0x05  # a name's first byte E5 is stored as 05, for E5 marks a deleted entry


@dataclass(frozen=True)
class Medium:
    """What a media descriptor stands for, the geometry aside."""

    media: int
    cluster_sectors: int
    root_entries: int
    fat_sectors: int
    reserved: int = 1
    fats: int = 2


@dataclass(frozen=True)
class FatLayout:
    """Where things lie, counted in sectors from 0: a medium on `sectors` sectors of `size` bytes."""

    medium: Medium
    sectors: int
    size: int

    @property
    def root(self) -> int:
        """The first sector of the root directory."""
        return self.medium.reserved + self.medium.fats * self.medium.fat_sectors

    @property
    def data(self) -> int:
        """The first sector of the first cluster."""
        return self.root + -(-self.medium.root_entries * ENTRY_BYTES // self.size)

    @property
    def cluster_bytes(self) -> int:
        """Bytes of a cluster."""
        return self.medium.cluster_sectors * self.size

    @property
    def clusters(self) -> range:
        """The clusters that have sectors and an entry in the table."""
        entries = self.medium.fat_sectors * self.size // PAIR_BYTES * 2
        return range(FIRST_CLUSTER, min(FIRST_CLUSTER + (self.sectors - self.data) // self.medium.cluster_sectors, entries))

    def table(self, copy: int) -> range:
        """The sectors of one copy of the table."""
        first = self.medium.reserved + copy * self.medium.fat_sectors
        return range(first, first + self.medium.fat_sectors)

    def sectors_of(self, cluster: int) -> range:
        """The sectors of a cluster."""
        first = self.data + (cluster - FIRST_CLUSTER) * self.medium.cluster_sectors
        return range(first, first + self.medium.cluster_sectors)

    def cluster_of(self, sector: int) -> int | None:
        """The cluster that a sector is in; None for a sector before the first cluster or after the last."""
        cluster = FIRST_CLUSTER + (sector - self.data) // self.medium.cluster_sectors
        return cluster if cluster in self.clusters else None


def pack(entries: list[int]) -> bytes:
    """The bytes of a table; a last entry without a partner is paired with 0."""
    odds = [*entries[1::2], 0]
    return b"".join((even | odd << 12).to_bytes(PAIR_BYTES, "little") for even, odd in zip(entries[::2], odds, strict=False))


def unpack(table: bytes) -> list[int]:
    """The entries of a table; bytes at the end that make no pair are left out."""
    pairs = [int.from_bytes(table[start : start + PAIR_BYTES], "little") for start in range(0, len(table) - PAIR_BYTES + 1, PAIR_BYTES)]
    return [half for pair in pairs for half in (pair & 0xFFF, pair >> 12)]


def _split(name: bytes) -> tuple[bytes, bytes]:
    stem, _, extension = name.partition(b".")
    return stem, extension


def name_problem(name: bytes, raw: bool = False) -> str:
    """Why this is no 8.3 name; empty when it is one."""
    stem, extension = _split(name)
    if name.endswith(b"."):
        return f"{shown(name)} ends in a dot, which the directory does not hold"
    if extension and not stem:
        return f"{shown(name)} has nothing before its dot"
    return STEM.problem(stem, raw) or (EXTENSION.problem(extension, raw) if extension else "")


def store_name(name: bytes, raw: bool = False) -> bytes:
    """The eleven bytes of a name in the directory."""
    stem, extension = _split(name)
    stored = STEM.store(stem, raw) + EXTENSION.store(extension, raw)
    return bytes([STANDS_FOR_DELETED]) + stored[1:] if stored[0] == DELETED else stored


def load_name(stored: bytes) -> bytes:
    """The name of eleven bytes in the directory."""
    first = bytes([DELETED]) if stored[0] == STANDS_FOR_DELETED else stored[:1]
    stem, extension = STEM.load(first + stored[1 : STEM.longest]), EXTENSION.load(stored[STEM.longest :])
    return stem + b"." + extension if extension else stem


def stored_problem(stored: bytes) -> str:
    """What is wrong with the eleven bytes of a name in a directory; empty when nothing is. A space within it is common practice."""
    first = stored[:1] if stored[0] != STANDS_FOR_DELETED else b""
    if first == b" ":
        return "its name begins with a space"
    wrong = bytes(byte for byte in dict.fromkeys(first + stored[1:]) if byte in NEVER)
    return f"its name has {' '.join(shown(bytes([byte])) for byte in wrong)}, which no name can have" if wrong else ""
