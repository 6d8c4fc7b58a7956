"""The marks of FM's identifiers and blocks: bytes in which three clocks are left out, so that no data can look like them.

Source: FD179X-02 data sheet, address marks: FE, FB and F8 with clocks C7. Of a mark the clocks are looked at: they are what makes it
one.
"""

import numpy as np

from formats.codes.interface import Bytes, Flags
from formats.codes.shared.clocked import data_bytes, interleaved, words

_CLOCKS = 0xC7
_ENCODE = np.array([interleaved(_CLOCKS, byte) for byte in range(256)], ">u2")


class FmMark:
    """Two cells a bit, with the clocks of a mark."""

    id = "fm-mark"
    unit = (1, 2)
    joined = False

    def encode(self, rows: Bytes) -> Bytes:
        """Clock and data cells."""
        return _ENCODE[rows].view(np.uint8)

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The data bits, sound where the clocks are the mark's."""
        data = data_bytes(rows)
        return data, _ENCODE[data] == words(rows)


CODE = FmMark()
