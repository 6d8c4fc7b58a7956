"""The boot sector of FAT12 volumes, and what its parameter block says of the disc. ECMA-107 / ISO 9293.

The oldest systems wrote no parameter block: there the boot program's own bytes stand in its place, whatever they are.
"""

from collections.abc import Iterator
from typing import Any

from construct import Byte, Bytes, Default, Int16ul, Int32ul, Padding, Struct

from formats.errors import Problem
from formats.model.geometry import Geometry
from formats.volumes.interface import JobPart
from formats.volumes.shared.fat_tables import FatLayout, Medium

PARAMETERS = Struct(
    "sector_bytes" / Int16ul,  # 11
    "cluster_sectors" / Byte,  # a power of two
    "reserved" / Int16ul,  # 14: sectors before the first table
    "fats" / Byte,
    "root_entries" / Int16ul,  # 17
    "sectors" / Int16ul,
    "media" / Byte,  # 21
    "fat_sectors" / Int16ul,
    "track_sectors" / Int16ul,  # 24
    "heads" / Int16ul,
    "hidden" / Default(Int32ul, 0),
    "large" / Default(Int32ul, 0),
)

BOOT = Struct(
    "jump" / Bytes(3),
    "maker" / Default(Bytes(8), b"OBVERSE "),
    "parameters" / PARAMETERS,
    "drive" / Default(Byte, 0),  # 36
    Padding(1),
    "extended" / Default(Byte, 0x29),  # 38: the three fields behind it are there
    "serial" / Int32ul,
    "label" / Bytes(11),  # 43
    "type" / Default(Bytes(8), b"FAT12   "),
    "code" / Bytes(448),  # 62
    "signature" / Bytes(2),  # 510
)

HALT = b"\xeb\x3c\x90" + bytes(59) + b"\xf4\xeb\xfd"  # a jump to byte 62; there: halt, and again
SIGNATURE = b"\x55\xaa"

WORDS = {
    "sector_bytes": "bytes of a sector",
    "cluster_sectors": "sectors of a cluster",
    "reserved": "sectors before the tables",
    "fats": "tables",
    "root_entries": "entries of the root directory",
    "sectors": "sectors",
    "media": "media descriptor",
    "fat_sectors": "sectors of a table",
    "track_sectors": "sectors of a track",
    "heads": "heads",
}
ENOUGH = 3  # numbers that are right: fewer are chance, and what stands there is no parameter block


def parameters(medium: Medium, geometry: Geometry) -> dict[str, int]:
    """The numbers of the parameter block of a medium on a geometry."""
    of_medium = ("media", "cluster_sectors", "root_entries", "fat_sectors", "reserved", "fats")
    return {
        **{field: getattr(medium, field) for field in of_medium},
        "sector_bytes": geometry.size,
        "sectors": len(geometry.addresses),
        "track_sectors": len(geometry.numbers(0)),
        "heads": geometry.heads,
    }


def stated(block: Any, geometry: Geometry) -> FatLayout | None:
    """The layout that a parameter block states, None where it can't be true of a geometry."""
    if block.sector_bytes != geometry.size or block.cluster_sectors.bit_count() != 1 or block.sectors > len(geometry.addresses):
        return None
    if not (block.reserved and block.fats and block.root_entries and block.fat_sectors):
        return None
    medium = Medium(block.media, block.cluster_sectors, block.root_entries, block.fat_sectors, block.reserved, block.fats)
    layout = FatLayout(medium, block.sectors, geometry.size)
    return layout if layout.clusters else None


def wrong_parameters(block: Any, medium: Medium, geometry: Geometry) -> Iterator[Problem]:
    """Problems of a parameter block whose numbers are not those of a medium on a geometry. Bytes that are no parameter block have none."""
    right = parameters(medium, geometry)
    wrong = [field for field in WORDS if block[field] != right[field]]
    if len(WORDS) - len(wrong) < ENOUGH:
        return
    for field in wrong:
        value, expected = (f"{value:02X}" if field == "media" else str(value) for value in (block[field], right[field]))
        yield Problem("boot sector", f"{WORDS[field]}: {value}, where this geometry has {expected}")


JOB_PART = JobPart("""\
label = "MY TITLE"
# boot = "boot.bin"           # the code of the boot sector

[[side.{side}.file]]
name = "FIRST.BIN"            # 8.3
source = "{source}"
# locked = true
""")
