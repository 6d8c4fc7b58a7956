"""Sound fields that were decoded before, told by their cells: the copies of one disc hold the same ones over and over.

To compare cells with known ones takes a fraction of the time that it takes to decode and check them, and says the same.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Decoded = tuple[Bytes, Flags, Flags]  # rows of bytes (n, k), which of them are legal (n, k), which rows are sound (n)
Decode = Callable[[Bytes], Decoded]

MOST = 4096  # fields that are kept, some megabytes: more than a side has; those of another disc push them out
_SHORT = 64  # bytes of cells: a shorter field is decoded as soon as it is found


class Recall:
    """What fields of one kind were decoded to. Of those that have the same key the first one is kept."""

    def __init__(self) -> None:
        self._known: tuple[npt.NDArray[np.uint64], Bytes, Bytes, Flags] | None = None  # keys, ascending; cells, bytes, their legality

    def decoded(self, cells: Bytes, decode: Decode) -> Decoded:
        """What `decode` makes of rows of cells (n, m); only those are given to it that are not known."""
        if cells.shape[1] < _SHORT or not len(cells):
            return decode(cells)
        if self._known is None:
            return self._learned(cells, decode)
        keys, known_cells, known_rows, known_legal = self._known
        place = np.minimum(np.searchsorted(keys, _keys(cells)), len(keys) - 1)
        known = (known_cells[place] == cells).all(axis=1)
        rows, legal = known_rows[place], known_legal[place]
        new = np.flatnonzero(~known)
        if len(new):
            rows[new], legal[new], known[new] = self._learned(cells[new], decode)
        return rows, legal, known

    def _learned(self, cells: Bytes, decode: Decode) -> Decoded:
        """What new fields are decoded to; the sound ones are known from now on."""
        rows, legal, sound = decode(cells)
        chosen = np.flatnonzero(sound)[:MOST]
        if len(chosen):
            old = self._known if self._known and len(self._known[0]) + len(chosen) <= MOST else None
            new = (_keys(cells[chosen]), cells[chosen], rows[chosen], legal[chosen])
            keys, *columns = new if old is None else (np.concatenate(pair) for pair in zip(old, new, strict=True))
            keys, first = np.unique(keys, return_index=True)
            self._known = keys, columns[0][first], columns[1][first], columns[2][first]
        return rows, legal, sound


def _keys(cells: Bytes) -> npt.NDArray[np.uint64]:
    """A number for each row, of its first and its last eight bytes: the check is among them, so that few rows share one."""
    first, last = (np.ascontiguousarray(part).view(np.uint64)[:, 0] for part in (cells[:, :8], cells[:, -8:]))
    return first * np.uint64(0x9E3779B97F4A7C15) ^ last
