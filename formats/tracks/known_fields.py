"""Sound fields that were decoded before, recognised by their cells: the copies of one disc hold the same fields over and over.

Comparing cells with those of a remembered field takes a fraction of the time of decoding and checking them, and has the same result.
Whoever judges many read-backs holds a `KnownFields` and passes it along; threads may share it.
"""

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from formats.model.record import Record

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Eights = npt.NDArray[np.uint64]
Decoded = tuple[Bytes, Flags, Flags]  # rows of bytes (n, k), which of them are legal (n, k), which rows are sound (n)
Decode = Callable[[Bytes], Decoded]

MOST = 4096  # fields that are kept, some megabytes: more than a side has; those of another disc push them out
_FEW = 8  # of so many fields one that is not known is not worth keeping: each copy has another serial
_SHORT = 64  # bytes of cells: to decode a shorter field takes no longer than to look it up


class _Known(NamedTuple):
    """Remembered fields: their keys, ascending and each once; their cells; their decoded bytes, and which of these are legal."""

    keys: Eights
    cells: Eights
    rows: Bytes
    legal: Flags


class KnownFields:
    """The fields of every kind that were decoded before."""

    def __init__(self) -> None:
        self._kinds: dict[Record, Recall] = {}

    def of(self, record: Record) -> "Recall":
        """The remembered fields of one kind of record."""
        return self._kinds.setdefault(record, Recall())


class Recall:
    """The remembered fields of one kind of record. Of fields that have the same key the first one is kept.

    The remembered fields are replaced as a whole and never changed, and each call reads the reference once: of two threads that add
    fields at the same time one loses what it added, and nothing else.
    """

    def __init__(self) -> None:
        self._known: _Known | None = None

    def decoded(self, cells: Bytes, decode: Decode) -> Decoded:
        """Rows of cells (n, m) decoded; `decode` is called with those only that are not remembered."""
        if cells.shape[1] < _SHORT or not len(cells):
            return decode(cells)
        before = self._known
        if before is None:
            return self._learned(cells, decode(cells))
        keys = _keys(cells)
        place = np.minimum(np.searchsorted(before.keys, keys), len(before.keys) - 1)
        known = (before.cells.take(place, axis=0) == _eights(cells)).all(axis=1) & (before.keys[place] == keys)
        rows, legal = before.rows.take(place, axis=0), before.legal.take(place, axis=0)
        new = np.flatnonzero(~known)
        if len(new):
            decoded = decode(cells[new])
            rows[new], legal[new], known[new] = decoded
            if len(new) * _FEW > len(cells):
                self._learned(cells[new], decoded)
        return rows, legal, known

    def _learned(self, cells: Bytes, decoded: Decoded) -> Decoded:
        """Remembers the sound ones of some fields, and returns `decoded` as it is."""
        rows, legal, sound = decoded
        chosen = np.flatnonzero(sound)[:MOST]
        if len(chosen):
            new = _Known(_keys(cells[chosen]), _eights(cells)[chosen], rows[chosen], legal[chosen])
            old = self._known
            self._known = _joined(new if old is None or len(old.keys) + len(chosen) > MOST else old, new)
        return decoded


def _joined(old: _Known, new: _Known) -> _Known:
    keys, first = np.unique(np.concatenate((old.keys, new.keys)), return_index=True)
    pairs: Iterable[tuple[Any, Any]] = zip(old[1:], new[1:], strict=True)
    columns = [np.concatenate(pair)[first] for pair in pairs]
    return _Known(keys, *columns)


def _eights(cells: Bytes) -> Eights:
    """All whole eights of bytes of each row. The same first eight and the same key mean that the last eight are the same, too."""
    eights: Eights = cells[:, : cells.shape[1] // 8 * 8].view(np.uint64)
    return eights


def _keys(cells: Bytes) -> Eights:
    """A number for each row, of its first and its last eight bytes: the check is among them, so that few rows share one."""
    first, last = (np.ascontiguousarray(part).view(np.uint64)[:, 0] for part in (cells[:, :8], cells[:, -8:]))
    keys: Eights = first * np.uint64(0x9E3779B97F4A7C15) ^ last  # odd, of no meaning: spreads the first's bits
    return keys
