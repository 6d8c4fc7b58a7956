"""4-and-4: a byte becomes two, its odd bits and its even bits, each with a 1 between them.

Source: listings of the 16-sector read and write routines: (v >> 1) | AA, v | AA.
"""

import numpy as np

from formats.codes.interface import Bytes, Flags


class PairFourAndFour:
    """One byte becomes two bytes of cells."""

    id = "pair-4and4"
    unit = (1, 2)
    joined = False

    def encode(self, rows: Bytes) -> Bytes:
        """Odd bits, then even bits."""
        return np.stack((rows >> 1 | 0xAA, rows | 0xAA), axis=-1).reshape(len(rows), 2 * rows.shape[1])

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The bytes; one is sound when all the 1s between its bits are there."""
        odd, even = rows[:, 0::2], rows[:, 1::2]
        data = ((odd << 1 | 1) & even).astype(np.uint8, copy=False)
        return data, (odd & even & 0xAA) == 0xAA


CODE = PairFourAndFour()
