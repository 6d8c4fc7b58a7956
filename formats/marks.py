"""Where a pattern of cells begins in a packed buffer, at any bit of a byte: how the marks on a track are found.

Two-byte windows are compared with the two bytes that the pattern fills most at each of the eight bits; what remains is few.
"""

from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]


def find(buffer: Bytes, pattern: str) -> Ints:
    """Every bit of a packed buffer at which the pattern of cells begins, ascending. The buffer's last two bytes are only looked at."""
    keys = _keys(pattern)
    places = [np.zeros(0, np.int64)]
    for half in (0, 1):
        window = np.frombuffer(buffer, np.uint16, count=(len(buffer) - half) // 2, offset=half)
        hits = _hits(window, keys)
        at, values = hits * 2 + half, window[hits]
        for key in keys:
            fits = values & key.full == key.wanted
            if fits.any():
                places.append(_begun(buffer, at[fits] - key.anchor, key))
    found = np.concatenate(places)
    found.sort()
    return found


class _Key(NamedTuple):
    """A pattern at one bit of a byte: its cells and which bits of them count; `wanted` and `full`: of the two bytes that it fills most."""

    phase: int
    cells: bytes
    mask: bytes
    anchor: int
    wanted: int
    full: int


@cache
def _keys(pattern: str) -> tuple[_Key, ...]:
    """The pattern at each bit of a byte."""
    made = []
    for phase in range(8):
        size = max((phase + len(pattern) + 7) // 8, 2)
        wanted, mask = _bytes_at(pattern, phase, size), _bytes_at("1" * len(pattern), phase, size)
        anchor = max(range(size - 1), key=lambda at: mask[at : at + 2].count(0xFF) * 100 + (mask[at] | mask[at + 1] << 8).bit_count())
        key, full = (int(np.frombuffer(each[anchor : anchor + 2], np.uint16)[0]) for each in (wanted, mask))
        made.append(_Key(phase, wanted, mask, anchor, key, full))
    return tuple(made)


def _hits(window: npt.NDArray[np.uint16], keys: Sequence[_Key]) -> npt.NDArray[np.intp]:
    """Which of some two-byte words could be a pattern's at any bit: one look for all eight, as few are."""
    found, same, masked = np.zeros(len(window), np.bool_), np.empty(len(window), np.bool_), np.empty_like(window)
    for key in keys:
        words = window if key.full == 0xFFFF else np.bitwise_and(window, key.full, out=masked)
        found |= np.equal(words, key.wanted, out=same)
    return np.flatnonzero(found)


def _begun(buffer: Bytes, first: Ints, key: _Key) -> Ints:
    """The bits at which the pattern begins, of the bytes where two of its own are right."""
    size = len(key.cells)
    first = first[(first >= 0) & (first + size < len(buffer))]
    cells, mask = (np.frombuffer(each, np.uint8) for each in (key.cells, key.mask))
    right = (buffer[first[:, None] + np.arange(size)] & mask == cells).all(axis=1)
    made: Ints = first[right] * 8 + key.phase
    return made


def _bytes_at(cells: str, phase: int, size: int) -> bytes:
    return int(("0" * phase + cells).ljust(size * 8, "0"), 2).to_bytes(size, "big")
