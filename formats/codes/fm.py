"""FM: each bit is a clock cell and a data cell, and a clock transition is always written.

Source: FD179X-02 data sheet, "FM". The data of a field is read from its data cells alone: clock cells carry nothing that a machine
looks at once the mark has been found.
"""

import numpy as np

from formats.codes.interface import Bytes, Flags
from formats.codes.shared.clocked import data_bytes, interleaved

_CLOCKS = 0xFF
_ENCODE = np.array([interleaved(_CLOCKS, byte) for byte in range(256)], ">u2")


class Fm:
    """Two cells a bit, the first of them 1."""

    id = "fm"
    unit = (1, 2)
    joined = False

    def encode(self, rows: Bytes) -> Bytes:
        """Clock and data cells."""
        return _ENCODE[rows].view(np.uint8)

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The data bits; every pair of cells is allowed."""
        data = data_bytes(rows)
        return data, np.ones(data.shape, np.bool_)


CODE = Fm()
