"""5-and-3 group code, 35 tracks of 13 sectors of 256 bytes."""

from fractions import Fraction

from construct import Byte, Bytes, Const, Default, Struct

from formats.model.geometry import Gap, Geometry, Zone
from formats.model.record import Check, Mark, Record, part
from formats.source import Source

SELF_SYNC = "111111110"

GEOMETRY = Geometry(
    id="gcr5and3-35x13x256",
    sources=(
        Source(
            "A textbook on the 16-sector system",
            "chapter 3: fields, nine-cell self-sync bytes, gap 2 of 5 to 10, gap 3 of 14 to 24",
            "published",
            "its gaps are those of 16 sectors; 13 have more room, so the greatest, 10 and 24, are declared. Its gap 1 of 128 self-syncs "
            "before sector 0 is not: what a turn has left stands there",
        ),
        Source("A 13-sector drive's manual", "fields; table of disk bytes", "published"),
        Source("Least count of self-sync bytes", "7 frame a byte from any cell", "computed"),
        Source("D5 AA B5; order of the sectors round the track; order of the bits", "every tenth number, modulo 13", "from memory"),
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=0,
    index=False,
    zones=(Zone(0, 34, 13, Fraction(4000)),),
    order=(0, 10, 7, 4, 1, 11, 8, 5, 2, 12, 9, 6, 3),
    sector=(
        Record(
            "identifier",
            Mark(f"{0xD5AAB5:024b}"),
            (
                part("pair-4and4", Struct("volume" / Byte, "track" / Byte, "sector" / Byte, "check" / Byte)),
                part("raw", Struct("epilogue" / Const(b"\xde\xaa"), "off" / Default(Bytes(1), b"\xeb"))),
            ),
            (Check("xor8", "volume", "sector", stored="check"),),
        ),
        Gap(10, SELF_SYNC, minimum=7),
        Record(
            "block",
            Mark(f"{0xD5AAAD:024b}"),
            (
                part("group-5and3", Struct("body" / Bytes(256), "residue" / Const(b"\x00"))),
                part("raw", Struct("epilogue" / Const(b"\xde\xaa"), "off" / Default(Bytes(1), b"\xeb"))),
            ),
        ),
        Gap(24, SELF_SYNC, minimum=7),
    ),
    tail=Gap(1, SELF_SYNC),
)
