"""What a recording code offers."""

from typing import Protocol

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]


class Code(Protocol):
    """Bytes to cells and back, many rows at a time; every row on its own, as if cells of 0 stood before it.

    `unit` is the least number of bytes that it codes at once and the bytes of cells that they become. `joined` says that a cell
    of 1 at the start of a run must give way when the cell before it is 1 (MFM: no clock beside a 1).
    """

    id: str
    unit: tuple[int, int]
    joined: bool

    def encode(self, rows: Bytes) -> Bytes:
        """Rows of bytes (n, k) to rows of packed cells (n, k * unit[1] / unit[0])."""
        ...

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """Rows of packed cells to rows of bytes (n, k), and for each byte whether its code words are of the code."""
        ...
