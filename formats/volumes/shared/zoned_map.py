"""Where the zoned volume keeps its header and the map of free blocks, for each kind of drive."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from construct import Byte, Bytes, BytesInteger, Default, Padding, Struct

from formats.volumes.shared.linked import Link, link_of, parts_of, text_of

LINK = Struct("track" / Byte, "sector" / Byte)

# Of 35 and 40 tracks: the map's entries lie in the header itself.
HEADER_18 = Struct(
    "link" / LINK,  # of the first directory sector
    "format" / Byte,
    Padding(1),
    "map" / Default(Bytes(140), bytes(140)),  # 04: an entry a track
    "name" / Bytes(16),  # 90: padded A0
    Padding(2, b"\xa0"),
    "id" / Bytes(2),  # A2: as in every identifier
    Padding(1, b"\xa0"),
    "dos" / Bytes(2),  # A5
    Padding(4, b"\xa0"),
    Padding(85),  # here too map entries where a disc has 40 tracks
)

# Of 77 tracks: the map has sectors of its own.
HEADER_39 = Struct(
    "link" / LINK,  # of the first sector of the map
    "format" / Byte,
    Padding(3),
    "name" / Bytes(16),  # 06: padded A0
    Padding(2, b"\xa0"),
    "id" / Bytes(2),  # 18
    Padding(1, b"\xa0"),
    "dos" / Bytes(2),  # 1B
    Padding(4, b"\xa0"),
    Padding(223),
)

MAP = Struct(
    "link" / LINK,  # of the map's next sector, of the directory from its last
    "format" / Default(Byte, 0x43),
    Padding(1),
    "first" / Byte,  # 04: its tracks, and the one behind them
    "end" / Byte,
    Padding(250),  # 06: an entry a track, 50 at most
)

ENTRY_18 = Struct("free" / Byte, "bits" / BytesInteger(3, swapped=True))  # sector 0 is bit 0 of the first byte; 1 is free
ENTRY_39 = Struct("free" / Byte, "bits" / BytesInteger(4, swapped=True))


@dataclass(frozen=True)
class MapPart:
    """The map's entries of tracks `first` to `last`, from `offset` in the sector `at`."""

    at: Link
    first: int
    last: int
    offset: int
    entry: Any = ENTRY_18

    @property
    def tracks(self) -> range:
        """Its tracks."""
        return range(self.first, self.last + 1)

    def place(self, track: int) -> int:
        """Where a track's entry begins in its sector."""
        size: int = self.entry.sizeof()
        return self.offset + (track - self.first) * size

    def read(self, sector: bytes, track: int) -> tuple[int, list[Link]]:
        """How many blocks of a track are free by its count, and which by its bits."""
        entry = self.entry.parse(sector[self.place(track) :])
        return entry.free, [(track, bit) for bit in range(8 * self.entry.bits.sizeof()) if entry.bits >> bit & 1]

    def write(self, sector: bytearray, track: int, free: set[int]) -> None:
        """Lay a track's entry into its sector."""
        entry = self.entry.build({"free": len(free), "bits": sum(1 << each for each in free)})
        sector[self.place(track) : self.place(track) + len(entry)] = entry


@dataclass(frozen=True)
class ZonedPlan:
    """Where a geometry's volume keeps what, and its steps from block to block. `format`, `dos`: as the header names its system."""

    header: Link
    directory: Link
    map: tuple[MapPart, ...]
    struct: Any = HEADER_18
    format: int = 0x41
    dos: bytes = b"2A"
    step: int = 10
    directory_step: int = 3

    @property
    def system(self) -> tuple[Link, ...]:
        """The sectors of the header and the map, each once; each leads to the next, the last one to the directory."""
        return tuple(dict.fromkeys((self.header, *(part.at for part in self.map))))

    @property
    def following(self) -> tuple[Link, ...]:
        """Where the link of each of `system` leads."""
        return (*self.system[1:], self.directory)

    def own_map(self) -> Iterator[MapPart]:
        """The parts of the map in sectors of their own."""
        return (part for part in self.map if part.at != self.header)

    def frames(self, name: bytes, disc_id: bytes) -> dict[Link, bytearray]:
        """The sectors of `system` without the map's entries."""
        fields = {"format": self.format, "name": name, "id": disc_id, "dos": self.dos}
        sectors = {self.header: bytearray(self.struct.build(fields | {"link": parts_of(self.following[0])}))}
        for part, link in zip(self.own_map(), self.following[1:], strict=False):
            sectors[part.at] = bytearray(MAP.build({"link": parts_of(link), "first": part.first, "end": part.last + 1}))
        return sectors

    def wrong_frames(self, read: dict[Link, bytes]) -> Iterator[tuple[str, str]]:
        """Where and how links, formats and track numbers in the sectors of `system` are not as they should be."""
        for at, right in zip(self.system, self.following, strict=True):
            if (link := link_of(LINK.parse(read[at]))) != right:
                where = "header" if at == self.header else "block map"
                yield where, f"the link of {text_of(at)} leads to {text_of(link) if link else 'nothing'}, not {text_of(right)}"
        if (number := self.struct.parse(read[self.header]).format) != self.format:
            yield "header", f"its format is {number:02X}, not {self.format:02X}: the drive would write nothing on it"
        for part in self.own_map():
            head = MAP.parse(read[part.at])
            if head.format != self.format:
                yield "block map", f"the format of {text_of(part.at)} is {head.format:02X}, not {self.format:02X}"
            if (head.first, head.end) != (part.first, part.last + 1):
                yield "block map", f"{text_of(part.at)} says tracks {head.first} to {head.end - 1}, not {part.first} to {part.last}"


def _parts_39(*lasts: int) -> tuple[MapPart, ...]:
    """The map of 77 tracks: every third sector of track 38, 50 tracks in each."""
    return tuple(MapPart((38, 3 * number), 50 * number + 1, last, 6, ENTRY_39) for number, last in enumerate(lasts))


_PART_18 = MapPart((18, 0), 1, 35, 0x04)

PLANS = {
    "gcr4to5-35z": ZonedPlan((18, 0), (18, 1), (_PART_18,)),
    "gcr4to5-35z20": ZonedPlan((18, 0), (18, 1), (_PART_18,), format=0x01, dos=b"\xa0\xa0"),
    "gcr4to5-40z": ZonedPlan((18, 0), (18, 1), (_PART_18, MapPart((18, 0), 36, 40, 0xC0))),
    "gcr4to5-77z": ZonedPlan((39, 0), (39, 1), _parts_39(50, 77), HEADER_39, 0x43, b"2C", step=5),
    "gcr4to5-77z-2s": ZonedPlan((39, 0), (39, 1), _parts_39(50, 100, 150, 154), HEADER_39, 0x43, b"2C", step=5),
}
