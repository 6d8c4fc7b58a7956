"""Where a pattern of cells begins in a packed buffer, at any bit of a byte: how marks are searched for on a track.

Two-byte words, as few as are needed for one of them to lie in the pattern wherever it begins, are compared with the words that the
pattern can lay there; where one is equal, all of the pattern is compared.
"""

import sys
from collections.abc import Sequence
from functools import cache, reduce
from itertools import combinations
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint16]
Eights = npt.NDArray[np.uint64]
Ints = npt.NDArray[np.int64]

_HITS = 1 << 14  # words compared with all ways at a time: on a track full of marks every word is one, and each way takes room


class _Ways(NamedTuple):
    """All ways in which a pattern can lie about a word; an entry each.

    The word that lies `anchor` bytes after the pattern's first byte equals `wanted` in the bits that are set in `full`. `phase`: the bit
    of the first byte at which the pattern begins; `cells` and `mask` (n, eights of bytes): the bytes from the first on, and which of
    their bits belong to the pattern. `probes`: pairs (value, mask) like `wanted` and `full`, but fewer; every word that any way wants
    is matched by one of them. `step`: bytes from one word to the next.
    """

    step: int
    probes: tuple[tuple[int, int], ...]
    anchor: Ints
    wanted: Words
    full: Words
    phase: Ints
    cells: Eights
    mask: Eights


def find(buffer: Bytes, pattern: str) -> Ints:
    """Every bit of a packed buffer at which the pattern of cells begins, ascending; the buffer ends `room` bytes behind what matters."""
    ways = _ways(pattern)
    bits = np.concatenate([_begun(buffer, start, ways) for start in range(0, 2, ways.step)])
    bits.sort()
    return bits


def room(pattern: str) -> int:
    """How many bytes are looked at where a pattern begins, the one in which it does among them."""
    return -(-(7 + len(pattern)) // 64) * 8


@cache
def _ways(pattern: str) -> _Ways:
    """How words are compared: every fourth or second byte's where the pattern is so long that one of them lies in it whole."""
    step = next(each for each in (4, 2, 1) if each == 1 or len(pattern) >= 16 + 8 * each - 1)
    size = room(pattern)
    lays = []
    for phase in range(8):
        cells, mask = _bytes_at(pattern, phase, size), _bytes_at("1" * len(pattern), phase, size)
        for first in range(step):  # where the pattern's first byte lies among the words
            anchor = max(range(-first % step, size - 1, step), key=lambda at: int.from_bytes(mask[at : at + 2], "little").bit_count())
            wanted, full = (int.from_bytes(each[anchor : anchor + 2], sys.byteorder) for each in (cells, mask))
            lays.append((anchor, wanted, full, phase, cells, mask))
    anchors, wanteds, fulls, phases, all_cells, all_masks = zip(*lays, strict=True)
    cells_of, mask_of = (np.frombuffer(b"".join(each), np.uint64).reshape(len(lays), -1) for each in (all_cells, all_masks))
    return _Ways(
        step,
        _merge_probes(set(zip(wanteds, fulls, strict=True))),
        np.array(anchors),
        np.array(wanteds, np.uint16),
        np.array(fulls, np.uint16),
        np.array(phases),
        cells_of,
        mask_of,
    )


def _merge_probes(probes: set[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """Merges pairs of probes into the bits that both test, as long as a merged one matches at most twice as many words.

    A probe is (value, mask); every word that one of the given probes matches is matched by one of the result.
    """
    least = max(min(full.bit_count() for _, full in probes) - 1, 1)
    while True:
        pairs = ((one[1] & other[1] & ~(one[0] ^ other[0]), one, other) for one, other in combinations(sorted(probes), 2))
        full, one, other = max(pairs, key=lambda pair: pair[0].bit_count(), default=(0, (0, 0), (0, 0)))
        if full.bit_count() < least:
            return tuple(sorted(probes))
        probes = probes - {one, other} | {(one[0] & full, full)}


def _begun(buffer: Bytes, start: int, ways: _Ways) -> Ints:
    """The bits at which the pattern begins so that it covers a word at byte `start`, or at every `step` bytes from there."""
    words = buffer[start : len(buffer) - (len(buffer) - start) % 2].copy().view(np.uint16)  # a copy is aligned, and read twice as fast
    words = np.ascontiguousarray(words[:: max(ways.step // 2, 1)])
    hits = _hits(words, ways.probes)
    parts = [_begun_at(buffer, words, hits[at : at + _HITS], start, ways) for at in range(0, len(hits) or 1, _HITS)]
    return np.concatenate(parts) if len(parts) > 1 else parts[0]


def _begun_at(buffer: Bytes, words: Words, hits: npt.NDArray[np.intp], start: int, ways: _Ways) -> Ints:
    """The bits at which the pattern begins so that one of these words (`hits`: their places in `words`) lies in it."""
    way, hit = np.divmod(np.flatnonzero((words[hits] & ways.full[:, None]) == ways.wanted[:, None]), len(hits) or 1)
    first = hits[hit] * max(ways.step, 2) + start - ways.anchor[way]
    size = ways.cells.shape[1] * 8
    inside = (first >= 0) & (first + size <= len(buffer))
    first, way = first[inside], way[inside]
    windows = np.ndarray((max(len(buffer) - size + 1, 0), size), np.uint8, buffer, strides=(1, 1))
    same = windows[first].view(np.uint64) & ways.mask.take(way, axis=0) == ways.cells.take(way, axis=0)
    right = reduce(np.logical_and, same.T)
    bits: Ints = first[right] * 8 + ways.phase[way[right]]
    return bits


def _hits(words: Words, probes: Sequence[tuple[int, int]]) -> npt.NDArray[np.intp]:
    """The places of the words that a probe matches: only those can lie in the pattern."""
    matched, same, masked = np.zeros(len(words), np.bool_), np.empty(len(words), np.bool_), np.empty_like(words)
    for wanted, full in probes:
        np.equal(words if full == 0xFFFF else np.bitwise_and(words, full, out=masked), wanted, out=same)
        matched |= same
    return np.flatnonzero(matched)


def _bytes_at(cells: str, phase: int, size: int) -> bytes:
    return int(("0" * phase + cells).ljust(size * 8, "0"), 2).to_bytes(size, "big")
