"""Check words by name, for one run of bytes and for whole blocks of rows.

`crc16`: x^16 + x^12 + x^5 + 1, preset to ones, most significant bit first, not inverted: FD179X-02 data sheet, "CRC"; ECMA-66
and ECMA-70 name the same polynomial (from memory). `xor8`: the exclusive or of the bytes.
"""

from collections.abc import Callable
from functools import cache, reduce
from operator import xor
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

SIZES = {"crc16": 2, "xor8": 1}

_POLYNOMIAL, _PRESET = 0x11021, 0xFFFF


@cache
def one(name: str) -> Callable[[bytes], int]:
    """The check as a function of one run of bytes."""
    if name == "crc16":
        import crcmod

        made: Callable[[bytes], int] = crcmod.mkCrcFun(_POLYNOMIAL, initCrc=_PRESET, rev=False, xorOut=0)
        return made
    return lambda data: reduce(xor, data, 0)


def many(name: str, rows: "npt.NDArray[np.uint8]", before: bytes = b"") -> "npt.NDArray[np.uint16]":
    """The check of each row (n, k) as if the bytes `before` stood in front of it.

    A CRC is linear: that of a row is the exclusive or of what each byte at its place gives on its own, and of what the bytes
    before it leave. So one table a place serves all rows, and no loop runs over bytes or rows.
    """
    import numpy as np

    if name == "xor8":
        folded: npt.NDArray[np.uint8] = np.bitwise_xor.reduce(rows, axis=1)
        return folded.astype(np.uint16) ^ np.uint16(reduce(xor, before, 0))
    length = rows.shape[1]
    tables, places = _crc_tables(length)
    start = one(name)(before + bytes(length))
    made: npt.NDArray[np.uint16] = np.bitwise_xor.reduce(tables[places + rows], axis=1) ^ np.uint16(start)
    return made


@cache
def _crc_tables(length: int) -> "tuple[npt.NDArray[np.uint16], npt.NDArray[np.intp]]":
    """For each place of `length` bytes what each byte value adds to the CRC, in one flat table, and where a place's part begins."""
    import numpy as np

    last = np.array([one("crc16")(bytes([value])) ^ one("crc16")(bytes(1)) for value in range(256)], np.uint16)
    tables = np.empty((length, 256), np.uint16)
    row = last
    for place in range(length - 1, -1, -1):
        tables[place] = row
        row = (row << 8) ^ last[row >> 8]  # one more zero byte behind it
    return tables.reshape(-1), np.arange(length, dtype=np.intp) * 256
