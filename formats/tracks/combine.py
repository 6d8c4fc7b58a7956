"""Several turns of one track put together: what jitters from turn to turn is averaged out, what stands wrong for good stays.

Each turn is laid over the first: by the lag at which most transitions meet, then piece by piece, since a turn's clock may have slipped by
a cell, then by the slow rest. The mean times are decoded afresh, so the clock is that of all turns together.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from formats.tracks.intervals import Recovered, Rules, recover

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_SEAM = 1.2  # turns that a piece is long, so that a sector across the seam is whole in it
_MEETS = 0.6  # of a cell: how near two turns' transitions must be to be taken for the same one
_SLIPS = np.arange(-12, 13)  # cells by which a turn's clock may have slipped here
_PART = 96  # transitions for which a slip is sought
_ASTRAY = 0.3  # of a cell: mean distance from which on a part is taken to have slipped (at a fifth of a cell's jitter it is 0.2)
_APART = 0.4  # of the shortest run: transitions that are nearer are one
_SLOW = 65  # transitions over which the rest is averaged
_MOST = 9  # turns that are put together
_UNIT = 1000.0  # ns that stand for a cell


def turns_of(position: Floats, turn: float) -> list[Floats]:
    """The turns of a stretch whose transitions came at some cells (with parts), each from its own start on, somewhat longer than a turn."""
    if not len(position):
        return []
    starts = np.arange(position[0], position[-1] - 0.9 * turn, turn)
    ranges = [np.searchsorted(position, (start, start + _SEAM * turn)) for start in starts]
    return [position[first:last] - start for (first, last), start in zip(ranges, starts, strict=True)]


def combine(turns: Sequence[Floats], turn: float, rules: Rules) -> Recovered | None:
    """The cells of several turns of a track put together; None where there is but one, or where they don't meet."""
    if len(turns) < 2:
        return None
    reference = max(turns[:_MOST], key=len)
    others = [laid for each in turns[:_MOST] if each is not reference and (laid := _laid_over(each, reference, turn)) is not None]
    if not others:
        return None
    sums, counts = reference.copy(), np.ones(len(reference))
    strangers = []
    for other in others:
        at = _nearest(other, reference)
        back = _nearest(reference, other)
        met = (np.abs(other[at] - reference) < _MEETS) & (back[at] == np.arange(len(reference)))
        sums[met] += other[at][met]
        counts[met] += 1
        strange = np.delete(other, at[met])
        strangers.append(strange[(strange > reference[0]) & (strange < reference[-1])])
    needed = (len(others) + 1) / 2
    kept = (sums / counts)[counts >= needed] if len(others) > 1 else sums / counts
    made = np.unique(np.concatenate((kept, _agreed(strangers, needed))))
    made = made[np.diff(made, prepend=-1.0) > _APART * rules.shortest]  # nearer than any are: an error of one turn
    return recover(
        [np.diff(made, prepend=made[0] - max(made[0], 1.0)) * _UNIT],
        Rules(_UNIT, rules.shortest, rules.longest, rules.paired, rules.marked),
    )


def _nearest(other: Floats, reference: Floats) -> Ints:
    """For each transition of one turn the nearest of another."""
    after = np.clip(np.searchsorted(other, reference), 1, len(other) - 1)
    made: Ints = np.where(reference - other[after - 1] < other[after] - reference, after - 1, after)
    return made


def _agreed(strangers: Sequence[Floats], needed: float) -> Floats:
    """Transitions that the first turn lacks and most others have."""
    every = np.sort(np.concatenate(strangers))
    if len(strangers) < 2 or not len(every):
        return np.zeros(0)
    groups = np.split(every, np.flatnonzero(np.diff(every) > _MEETS) + 1)
    return np.array([group.mean() for group in groups if len(group) >= needed])


def _laid_over(turn_seen: Floats, reference: Floats, turn: float) -> Floats | None:
    """A turn's transitions at the places of the first one's; None where they don't meet."""
    lag = _lag(turn_seen, reference, turn)
    moved = turn_seen - lag
    before, behind = moved - turn, moved + turn  # begun elsewhere: what comes before the start stood at the end
    around = np.concatenate((before[before < moved[0] - _MEETS], moved, behind[behind > moved[-1] + _MEETS]))
    around = around[(around > reference[0] - 8) & (around < reference[-1] + 8)]
    if len(around) < 0.5 * len(reference):
        return None
    laid, slipped = around[_nearest(around, reference)], np.zeros(len(reference))
    for first in range(0, len(reference), _PART):
        here = slice(first, first + _PART)
        if np.minimum(np.abs(laid[here] - reference[here]), 1).mean() > _ASTRAY:
            tried = [around[_nearest(around, reference[here] + slip)] - slip for slip in _SLIPS]
            best = int(np.argmin([np.minimum(np.abs(each - reference[here]), 1).sum() for each in tried]))
            laid[here], slipped[here] = tried[best], _SLIPS[best]
    off = laid - reference
    met = np.abs(off) < 0.8
    if met.mean() < 0.5:
        return None
    slow = np.convolve(np.where(met, off, 0), np.ones(_SLOW), "same") / np.maximum(np.convolve(met, np.ones(_SLOW), "same"), 1)
    made: Floats = around - np.interp(around, np.maximum.accumulate(reference + slipped), slipped + slow)
    return np.sort(made)


def _lag(seen: Floats, reference: Floats, turn: float) -> float:
    """The cells by which one turn must be moved back for most of its transitions to meet the first one's."""
    size = round(turn)
    spectra = []
    for each in (seen, reference):
        places = np.zeros(size, np.float32)
        places[np.rint(each[each < each[0] + turn]).astype(np.int64) % size] = 1
        places += 0.5 * (np.roll(places, 1) + np.roll(places, -1))
        spectra.append(np.fft.rfft(places - places.mean()))
    return float(np.argmax(np.fft.irfft(spectra[0] * np.conj(spectra[1]), size)))
