"""6-and-2 group code, 35 tracks of 16 sectors of 256 bytes."""

from fractions import Fraction

from construct import Byte, Bytes, Const, Default, Struct

from formats.model.geometry import Gap, Geometry, Zone
from formats.model.record import Check, Mark, Record, part
from formats.source import Source

SELF_SYNC = "1111111100"
FILE_ORDER = (0, 13, 11, 9, 7, 5, 3, 1, 14, 12, 10, 8, 6, 4, 2, 15)
BLOCK_ORDER = (0, 2, 4, 6, 8, 10, 12, 14, 1, 3, 5, 7, 9, 11, 13, 15)

GEOMETRY = Geometry(
    id="gcr6and2-35x16x256",
    sources=(
        Source(
            "Listings of the 16-sector read and write routines",
            "address fields, track writer, sector writer; sector translation tables; a formatter leaves at least 5 self-syncs",
            "looked up",
        ),
        Source(
            "A textbook on the 16-sector system",
            "chapter 3: fields, 5 self-syncs frame a byte, gap 2 of 5 to 10, gap 3 of 14 to 24",
            "published",
            "its gap 1 of 128 self-syncs before sector 0 is not declared: the end of the track overwrites its start, and what a turn has "
            "left, the last gap and 49 self-syncs, stands before sector 0 as well",
        ),
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=0,
    index=False,
    zones=(Zone(0, 34, 16, Fraction(4000)),),
    dump_order=FILE_ORDER,
    orders=(("file-order", FILE_ORDER), ("block-order", BLOCK_ORDER)),
    sector=(
        Record(
            "identifier",
            Mark(f"{0xD5AA96:024b}"),
            (
                part("pair-4and4", Struct("volume" / Byte, "track" / Byte, "sector" / Byte, "check" / Byte)),
                part("raw", Struct("epilogue" / Const(b"\xde\xaa"), "off" / Default(Bytes(1), b"\xeb"))),
            ),
            (Check("xor8", "volume", "sector", stored="check"),),
        ),
        Gap(5, SELF_SYNC, minimum=5),
        Record(
            "block",
            Mark(f"{0xD5AAAD:024b}"),
            (
                part("group-6and2", Struct("body" / Bytes(256), "residue" / Const(b"\x00"))),
                part("raw", Struct("epilogue" / Const(b"\xde\xaa"), "off" / Default(Bytes(1), b"\xeb"))),
            ),
        ),
        Gap(14, SELF_SYNC, minimum=5),
    ),
    tail=Gap(1, SELF_SYNC),
)
