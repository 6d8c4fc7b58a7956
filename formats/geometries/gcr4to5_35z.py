"""4-to-5 group code, 35 tracks in four zones of 21, 19, 18 and 17 sectors of 256 bytes."""

from fractions import Fraction

from construct import Byte, Bytes, Const, Default, Struct

from formats.geometry import Gap, Geometry, Zone
from formats.record import Check, Mark, Record, part
from formats.source import Source

SYNC = Mark("1" * 10 + "0", begins=10, written="1" * 40)

GEOMETRY = Geometry(
    id="gcr4to5-35z",
    sources=(
        Source("Firmware listings of the zoned drives", "formatter: sync 5, gap1 9, gap2 at least 4, computed a zone", "looked up"),
        Source("Drive user manuals", "683 blocks, tracks 1 to 35, sectors by zone", "published"),
        Source("Cell lengths of 16 MHz / 13 to 16 / 4", "agree with every sum of the listings", "from memory"),
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=0,
    index=False,
    zones=(
        Zone(1, 17, 21, Fraction(3250), gap=8),
        Zone(18, 24, 19, Fraction(3500), gap=17),
        Zone(25, 30, 18, Fraction(3750), gap=12),
        Zone(31, 35, 17, Fraction(4000), gap=9),
    ),
    sector=(
        Record(
            "identifier",
            SYNC,
            (
                part(
                    "group-4to5",
                    Struct(
                        "type" / Const(b"\x08"),
                        "check" / Byte,
                        "sector" / Byte,
                        "track" / Byte,
                        "id2" / Byte,
                        "id1" / Byte,
                        "off" / Default(Bytes(2), b"\x0f\x0f"),
                    ),
                ),
            ),
            (Check("xor8", "sector", "id1", stored="check"),),
            tag="type",
        ),
        Gap(9, 0x55, "raw", minimum=8),
        Record(
            "block",
            SYNC,
            (
                part(
                    "group-4to5",
                    Struct("type" / Const(b"\x07"), "body" / Bytes(256), "check" / Byte, "off" / Default(Bytes(2), b"\x00\x00")),
                ),
            ),
            (Check("xor8", "body", "body", stored="check"),),
            tag="type",
        ),
        Gap(0, 0x55, "raw", minimum=4),
    ),
    tail=Gap(1, 0x55, "raw"),
)
