"""MFM: each bit is a clock cell and a data cell; a clock transition is written between two bits only if both are 0.

Source: data sheets of the controllers; a drive's manual. The data of a field is read from its data cells alone: clock cells carry
nothing that a machine looks at once the mark has been found.
"""

import numpy as np

from formats.codes.interface import Bytes, Flags
from formats.codes.shared.clocked import data_bytes


def _cells(byte: int) -> int:
    """16 cells of a byte behind a 0 bit."""
    cells, before = 0, 0
    for place in range(7, -1, -1):
        bit = byte >> place & 1
        cells = cells << 2 | (not before and not bit) << 1 | bit
        before = bit
    return cells


_ENCODE = np.array([_cells(byte) for byte in range(256)], ">u2")


class Mfm:
    """Two cells a bit."""

    id = "mfm"
    unit = (1, 2)
    joined = True

    def encode(self, rows: Bytes) -> Bytes:
        """Clock and data cells; the first clock of a byte gives way to a 1 at the end of the byte before it."""
        words = _ENCODE[rows]
        words[:, 1:] &= np.where(rows[:, :-1] & 1, 0x7FFF, 0xFFFF).astype(">u2")
        return words.view(np.uint8)

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The data bits; every pair of cells is allowed."""
        data = data_bytes(rows)
        return data, np.ones(data.shape, np.bool_)


CODE = Mfm()
