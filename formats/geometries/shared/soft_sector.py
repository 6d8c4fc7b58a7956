"""What the soft-sectored tracks of FM and MFM have in common: index, identifier and block, and the gaps around them.

Only declarations import this: it is what they are written in. Gap lengths are in bytes; a sector's data gap is the one behind its
block, whose length is all that its formatters disagree about. Source: FD179X-02 data sheet, track formats and gap limits: gap I, from the
start of the track, at least 16 (MFM 32); gap II and the sync behind it as written here or longer, as far as a block's mark still comes
within 30 (43) bytes of its identifier; gap III at least 10 (24); gap IV, up to the index hole, at least 16.
"""

from construct import Byte, Bytes, Const, Int16ub, Struct

from formats.model.geometry import Element, Gap
from formats.model.record import Check, Mark, Record, complemented, part
from formats.source import Source

FM_SHEET = Source(
    "FD179X-02 floppy disk formatter/controller data sheet", "single-density track format; address marks; gap limits", "published"
)
MFM_SHEET = Source("FD179X-02 floppy disk formatter/controller data sheet", "double-density track format; gap limits", "published")
_NOT_READ = "the catalogue entry was read, the text was not"
ECMA_66 = Source("ECMA-66", "FM recording, 7958 ftprad, 300 rpm", "from memory", _NOT_READ)
_RECORDING_ONLY = f"{_NOT_READ}; its own tracks have 16 sectors of 256 bytes"
ECMA_70 = Source("ECMA-70", "MFM recording, 7958 ftprad, 300 rpm; 16 sectors of 256 bytes", "from memory", _NOT_READ)
ECMA_70_RECORDING = Source("ECMA-70", "the recording only: MFM, 7958 ftprad, 300 rpm", "from memory", _RECORDING_ONLY)
ECMA_78 = Source("ECMA-78", "MFM recording, 7958 ftprad, 96 tracks to the inch, 300 rpm; 16 sectors of 256 bytes", "from memory", _NOT_READ)
ECMA_78_RECORDING = Source(
    "ECMA-78", "the recording only: MFM, 7958 ftprad, 96 tracks to the inch, 300 rpm", "from memory", _RECORDING_ONLY
)
_HIGH_DENSITY = "MFM recording, 13262 ftprad, 96 tracks to the inch, 360 rpm"
ISO_8630_2 = Source("ISO 8630-2", f"track format A, 77 tracks: {_HIGH_DENSITY}", "from memory", _NOT_READ)
ISO_8630_3 = Source("ECMA-99 and ISO 8630-3", f"track format B, 80 tracks: {_HIGH_DENSITY}", "from memory", _NOT_READ)

_IDENTIFIER = ("track" / Byte, "head" / Byte, "sector" / Byte, "length" / Byte, "crc" / Int16ub)

# FM: one byte with clocks left out is the mark, and the check begins with it.

_FM_INDEX = Mark(f"{0xF77A:016b}")
_FM_IDENTIFIER = Mark(f"{0xF57E:016b}", begins=0)
_FM_BLOCK = Mark(f"{0xF56:012b}", begins=0)  # what F56F, of a block, and F56A, of a deleted one, have in common

FM_LEAD: tuple[Element, ...] = (
    Gap(40, 0xFF, "fm"),
    Gap(6, 0x00, "fm"),
    Record("index", _FM_INDEX, ()),
    Gap(26, 0xFF, "fm", from_start=16),
)
FM_TAIL = Gap(1, 0xFF, "fm", minimum=16)


def fm_lead(count: int) -> tuple[Element, ...]:
    """What stands before the first sector where there is no index mark."""
    return (Gap(count, 0xFF, "fm", from_start=16),)


def fm_sector(size: int, data_gap: int, least: int = 10, inverted: bool = False) -> tuple[Element, ...]:
    """A sector of `size` bytes; `least`: of the data gap; `inverted`: its bytes stand complemented."""
    body = complemented(Bytes(size)) if inverted else Bytes(size)
    return (
        Gap(6, 0x00, "fm", minimum=4),
        Record(
            "identifier",
            _FM_IDENTIFIER,
            (part("fm-mark", Struct("type" / Const(b"\xfe"))), part("fm", Struct(*_IDENTIFIER))),
            (Check("crc16", "type", "length", stored="crc"),),
            tag="type",
        ),
        Gap(11, 0xFF, "fm", minimum=11, maximum=23),  # written as 11; a reader waits 30 bytes for the mark behind it
        Gap(6, 0x00, "fm", minimum=6),
        Record(
            "block",
            _FM_BLOCK,
            (part("fm-mark", Struct("type" / Const(b"\xfb"))), part("fm", Struct("body" / body, "crc" / Int16ub))),
            (Check("crc16", "type", "body", stored="crc"),),
            tag="type",
            deleted=b"\xf8",
        ),
        Gap(data_gap, 0xFF, "fm", minimum=least),
    )


# MFM: three bytes with a clock left out are the mark; the byte behind them says whose it is.

_A1 = Mark(f"{0x4489:016b}" * 3, data=b"\xa1\xa1\xa1")
_C2 = Mark(f"{0x5224:016b}" * 3)

MFM_TAIL = Gap(1, 0x4E, "mfm", minimum=16)


def mfm_lead(before: int = 80, after: int = 50) -> tuple[Element, ...]:
    """What stands before the first sector: so many bytes of gap before the index mark's sync, and behind the mark."""
    return (
        Gap(before, 0x4E, "mfm"),
        Gap(12, 0x00, "mfm"),
        Record("index", _C2, (part("mfm", Struct("type" / Const(b"\xfc"))),), tag="type"),
        Gap(after, 0x4E, "mfm", from_start=32),
    )


def mfm_sector(size: int, data_gap: int, least: int = 24) -> tuple[Element, ...]:
    """A sector of `size` bytes; `least`: of the data gap."""
    return (
        Gap(12, 0x00, "mfm", minimum=8),
        Record(
            "identifier",
            _A1,
            (part("mfm", Struct("type" / Const(b"\xfe"), *_IDENTIFIER)),),
            (Check("crc16", "mark", "length", stored="crc"),),
            tag="type",
        ),
        Gap(22, 0x4E, "mfm", minimum=22, maximum=27),  # written as 22; a reader waits 43 bytes for the mark behind it
        Gap(12, 0x00, "mfm", minimum=12),
        Record(
            "block",
            _A1,
            (part("mfm", Struct("type" / Const(b"\xfb"), "body" / Bytes(size), "crc" / Int16ub)),),
            (Check("crc16", "mark", "body", stored="crc"),),
            tag="type",
            deleted=b"\xf8",
        ),
        Gap(data_gap, 0x4E, "mfm", minimum=least),
    )
