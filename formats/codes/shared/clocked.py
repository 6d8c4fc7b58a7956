"""What FM and MFM have in common: every bit is two cells, a clock and then its data."""

import numpy as np
import numpy.typing as npt

from formats.codes.interface import Bytes


def interleaved(clocks: int, data: int) -> int:
    """The 16 cells of a byte of clocks and a byte of data."""
    return sum((clocks >> bit & 1) << 2 * bit + 1 | (data >> bit & 1) << 2 * bit for bit in range(8))


def _data(cells: int) -> int:
    """The data bits of eight cells."""
    return sum((cells >> 2 * place & 1) << place for place in range(4))


_NIBBLE = np.array([_data(half) for half in range(256)], np.uint8)
_DATA = (_NIBBLE[:, None] << 4 | _NIBBLE[None, :]).reshape(-1).astype(np.uint8)  # by a word of 16 cells


def words(rows: Bytes) -> npt.NDArray[np.uint16]:
    """Rows of packed cells as big-endian words of 16."""
    return np.ascontiguousarray(rows).view(">u2")


def data_bytes(rows: Bytes) -> Bytes:
    """The data cells of rows of packed cells, as rows of bytes half as long."""
    return _DATA.take(words(rows))
