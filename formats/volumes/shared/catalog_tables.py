"""Records of the catalog DOS: table of contents, catalog, track/sector lists, names and types.

Source: a textbook on the 16-sector system, chapter 4. From memory: where the map's bits lie on 13 sectors.
"""

from dataclasses import dataclass

from construct import Array, Byte, Bytes, Default, Int8sb, Int16ub, Int16ul, Padding, Struct

from formats.volumes.interface import JobPart
from formats.volumes.shared.linked import Link
from formats.volumes.shared.names import NameRule

LINK = Struct("track" / Byte, "sector" / Byte)

CONTENTS = Struct(
    Padding(1),
    "catalog" / LINK,  # 01: first catalog sector
    "release" / Byte,
    Padding(2),
    "volume" / Byte,  # 06: 1 to 254
    Padding(32),
    "pairs" / Default(Byte, 122),  # 27: of a track/sector list
    Padding(8),
    "last" / Byte,  # 30: track allocated last, and where to go on from it
    "direction" / Int8sb,
    Padding(2),
    "tracks" / Byte,
    "sectors" / Byte,
    "size" / Int16ul,  # 36: bytes of a sector
    "map" / Array(50, Struct("free" / Int16ub, "unused" / Default(Int16ub, 0))),  # 38: the highest sector is the highest bit; 1 is free
)

ENTRY = Struct(
    "list" / LINK,  # track FF: deleted, 00: never used, nor any behind it
    "type" / Byte,  # bit 7 locked
    "name" / Bytes(30),  # 03: bit 7 set, padded A0
    "sectors" / Int16ul,  # 21: lists and data
)

CATALOG = Struct(Padding(1), "next" / LINK, Padding(8), "entries" / Array(7, ENTRY))

LIST = Struct(
    Padding(1),
    "next" / LINK,
    Padding(2),
    "offset" / Int16ul,  # 05: how many sectors of the file stand in the lists before
    Padding(5),
    "pairs" / Array(122, LINK),  # 0C: track 00 is a hole, which reads as zeros
)

NAMES = NameRule(longest=30, pad=0xA0, high=0x80)
TYPES = {"text": 0x00, "integer": 0x01, "floating": 0x02, "binary": 0x04}
WORDS = {0x01: Struct("length" / Int16ul), 0x02: Struct("length" / Int16ul), 0x04: Struct("address" / Int16ul, "length" / Int16ul)}
NOTHING: Link = (0, 0)
TEXT, LOCKED, DELETED = 0x00, 0x80, 0xFF
PAIRS = 122
MAP_BITS = 16  # of a track
HIGHEST_VOLUME = 254
LONGEST = 0xFFFF  # what a length word counts


@dataclass(frozen=True)
class CatalogPlan:
    """Where the volume of a geometry keeps its tables.

    `first` is the highest catalog sector, `boot` how many tracks its system has, `step` leads down from sector to sector; `sure`: a
    source gives the release, so no other may stand there.
    """

    release: int
    contents: Link = (17, 0)
    first: int = 15
    boot: int = 3
    step: int = 1
    sure: bool = True


PLANS = {"gcr6and2-35x16x256": CatalogPlan(release=3), "gcr5and3-35x13x256": CatalogPlan(release=2, first=12, sure=False)}

JOB_PART = JobPart("""\
# volume_number = 254
# boot = "boot.bin"           # the bytes of tracks 0 to 2

[[side.{side}.file]]
name = "FIRST"                # up to 30 characters
source = "{source}"
type = "binary"               # or "text", "integer", "floating"
load_address = 0x2000
# locked = true
""")
