"""What the zoned 4-to-5 geometries share: the two fields of a sector, their sync, and where these are published."""

from construct import Byte, Bytes, Const, Default, Struct

from formats.model.record import Check, Mark, Record, part
from formats.source import Source

SYNC = Mark("1" * 10 + "0", begins=10, written="1" * 40)

IDENTIFIER = Record(
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
)

BLOCK = Record(
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
)

FORMATTER = Source("Firmware listings of the zoned drives", "formatter: sync 5, gap1 9, gap2 at least 4, computed a zone", "looked up")
CELLS = Source("Cell lengths of 16 MHz / 13 to 16 / 4", "agree with every sum of the listings", "from memory")

FORMATTER_77 = Source(
    "Firmware listings of the zoned drives of 77 tracks",
    "zones of 29, 27, 25 and 23 sectors from tracks 1, 40, 54 and 65; gap1 19, gap2 at least 18, tail limit 76; head 1 counts on from "
    "track 78",
    "looked up",
    "what the limit of 76 is of was not read, so it is not proved; here 100 bytes and more are left behind the last sector",
)
GAP_77 = Source(
    "Gap 2 on 77 tracks",
    "the 35-track formatter's rule: whole bytes a sector, less 4",
    "computed",
    "that the 77-track formatter has the same rule was not found; its least count allows it",
)
CELLS_77 = Source("Cell lengths of 24 MHz / 13 to 16 / 4", "the innermost, 375 kbit/s, agrees with a published figure", "from memory")
