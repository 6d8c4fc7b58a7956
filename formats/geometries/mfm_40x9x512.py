"""MFM, 40 tracks of nine sectors of 512 bytes, one head."""

from fractions import Fraction

from construct import Byte, Bytes, Const, Int16ub, Struct

from formats.geometry import Gap, Geometry, Zone
from formats.record import Check, Mark, Record, part
from formats.source import Source

A1 = Mark(f"{0x4489:016b}" * 3, data=b"\xa1\xa1\xa1")
C2 = Mark(f"{0x5224:016b}" * 3)

GEOMETRY = Geometry(
    id="mfm-40x9x512",
    sources=(
        Source("FD179X-02 floppy disk formatter/controller data sheet", "double-density track format; gap minima", "published"),
        Source("Data sheets of 8272-compatible controllers", "Typical values for formatting: 512 bytes, 9 sectors, gap 50", "published"),
        Source("ECMA-70", "MFM recording, 7958 ftprad, 300 rpm", "from memory", "the catalogue entry was read, the text was not"),
    ),
    rpm=300,
    tpi=48,
    size=512,
    first_sector=1,
    zones=(Zone(0, 39, 9, Fraction(2000)),),
    lead=(
        Gap(80, 0x4E, "mfm"),
        Gap(12, 0x00, "mfm"),
        Record("index", C2, (part("mfm", Struct("type" / Const(b"\xfc"))),), tag="type"),
        Gap(50, 0x4E, "mfm"),
    ),
    sector=(
        Gap(12, 0x00, "mfm", minimum=8),
        Record(
            "identifier",
            A1,
            (
                part(
                    "mfm", Struct("type" / Const(b"\xfe"), "track" / Byte, "head" / Byte, "sector" / Byte, "length" / Byte, "crc" / Int16ub)
                ),
            ),
            (Check("crc16", "mark", "length", stored="crc"),),
            tag="type",
        ),
        Gap(22, 0x4E, "mfm", minimum=22),
        Gap(12, 0x00, "mfm", minimum=12),
        Record(
            "block",
            A1,
            (part("mfm", Struct("type" / Const(b"\xfb"), "body" / Bytes(512), "crc" / Int16ub)),),
            (Check("crc16", "mark", "body", stored="crc"),),
            tag="type",
            deleted=b"\xf8",
        ),
        Gap(80, 0x4E, "mfm", minimum=24),
    ),
    tail=Gap(1, 0x4E, "mfm"),
)
