"""Check words by name, for one run of bytes and for whole blocks of rows.

`crc16`: x^16 + x^12 + x^5 + 1, preset to ones, most significant bit first, not inverted: FD179X-02 data sheet, "CRC"; ECMA-66
and ECMA-70 name the same polynomial (from memory). `xor8`: the exclusive or of the bytes.
"""

from binascii import crc_hqx
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

    The CRC of rows is the standard library's, which a test holds equal to `one`.
    """
    import numpy as np

    if name == "xor8":
        folded: npt.NDArray[np.uint8] = np.bitwise_xor.reduce(rows, axis=1)
        return folded.astype(np.uint16) ^ np.uint16(reduce(xor, before, 0))
    start, data, length = crc_hqx(before, _PRESET), rows.tobytes(), rows.shape[1]
    view = memoryview(data)
    return np.array([crc_hqx(view[at : at + length], start) for at in range(0, len(data), length or 1)], np.uint16)
