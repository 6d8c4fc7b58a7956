"""Where on the disc: tracks that fail more often than the others, though one scratch kills several neighbours.

Two statistics, a scan over windows of 1 to 10 tracks (Kulldorff, Communications in Statistics 26, 1997; from memory) and a
chi-square over five zones for gentle gradients. Each disc counts once, shared among its failed tracks: a long scratch must not
outweigh many discs that fail on one track. What harmless discs would show comes from the discs themselves: each one's
whole pattern of failed tracks is moved to another place, so neighbours stay neighbours.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np

from mastering.deciding.statistics.arrays import Floats, Ints

WIDEST = 10  # tracks of a window
ZONES = 5
DRAWS = 999
KNOWN = 100  # failed tracks in the history from which on it tells what to expect; below that every track is alike


@dataclass(frozen=True)
class TrackScan:
    """The window of tracks that stands out most, `first` to `last` (from 0, both within); `discs`: how many failing discs failed there.

    `p`: the chance of such a window somewhere, where nothing is wrong. `zone` and `zone_p`: the same for a fifth of the disc.
    """

    first: int
    last: int
    discs: int
    p: float
    zone: int
    zone_p: float


def scan(patterns: Sequence[Ints], tracks: int, usual: Ints, rng: np.random.Generator, draws: int = DRAWS) -> TrackScan:
    """The place that stands out. `patterns`: a failing disc's failed tracks each, from 0; `usual`: earlier failures of each track."""
    expected = _expected(usual, tracks)
    counted = np.zeros(tracks)
    for pattern in patterns:
        counted[pattern] += 1 / len(pattern)
    moved = _moved(patterns, tracks, expected, rng, draws)
    ratio, first, last = max(
        (float(row.max()), int(row.argmax()), int(row.argmax()) + width) for width, (row,) in enumerate(_ratios(counted[None], expected))
    )
    highest = np.max([each.max(axis=1) for each in _ratios(moved, expected)], axis=0)
    zones = _zones(expected)
    zone_scores = _chi_square(counted[None], expected, zones)[0]
    return TrackScan(
        first,
        last,
        sum(bool(((pattern >= first) & (pattern <= last)).any()) for pattern in patterns),
        _share(highest, ratio),
        int((np.bincount(zones, counted) / np.bincount(zones, expected)).argmax()),
        _share(_chi_square(moved, expected, zones), float(zone_scores)),
    )


def _expected(usual: Ints, tracks: int) -> Floats:
    """The share of failures that each track is expected to have; one failure is lent to every track."""
    shares = usual + 1.0 if usual.sum() >= KNOWN else np.ones(tracks)
    return cast(Floats, shares / shares.sum())


def _moved(patterns: Sequence[Ints], tracks: int, expected: Floats, rng: np.random.Generator, draws: int) -> Floats:
    """The share of each track in each draw, shape (draws, tracks): every pattern begins somewhere else, where it fits."""
    moved = np.zeros(draws * tracks)
    rows = np.arange(draws)[:, None] * tracks
    for pattern in patterns:
        offsets = pattern - pattern.min()
        fitting = np.cumsum(expected[: tracks - offsets.max()])
        starts = np.searchsorted(fitting, rng.random(draws) * fitting[-1], side="right")
        moved[rows + starts[:, None] + offsets] += 1 / len(pattern)  # a pattern has no track twice
    return moved.reshape(draws, tracks)


def _ratios(counted: Floats, expected: Floats) -> Iterator[Floats]:
    """Log-likelihood ratios of windows 1, 2, ... tracks wide, shape (rows, windows): more inside than expected, and fewer outside."""
    from scipy.special import xlogy

    sums = np.concatenate((np.zeros((len(counted), 1)), np.cumsum(counted, axis=1)), axis=1)
    shares = np.concatenate(([0.0], np.cumsum(expected)))
    for width in range(1, min(WIDEST, len(expected) - 1) + 1):
        inside = sums[:, width:] - sums[:, :-width]
        wanted = sums[:, -1:] * (shares[width:] - shares[:-width])
        outside, rest = np.maximum(sums[:, -1:] - inside, 0.0), sums[:, -1:] - wanted
        yield np.where(inside > wanted, xlogy(inside, inside / wanted) + xlogy(outside, outside / rest), 0.0)


def _zones(expected: Floats) -> Ints:
    """The fifth that each track is in."""
    return cast(Ints, np.arange(len(expected)) * ZONES // len(expected))


def _chi_square(counted: Floats, expected: Floats, zones: Ints) -> Floats:
    """Pearson's chi-square over the zones for each row of counts."""
    share = np.bincount(zones, expected)
    sums = np.add.reduceat(counted, np.searchsorted(zones, np.arange(len(share))), axis=1)
    wanted = counted.sum(axis=1)[:, None] * share
    return cast(Floats, ((sums - wanted) ** 2 / wanted).sum(axis=1))


def _share(drawn: Floats, seen: float) -> float:
    """The chance of what was seen: (1 + draws that reach it) / (1 + draws). Rounding must not make equal ones differ."""
    return float((1 + np.count_nonzero(drawn >= seen - 1e-9)) / (1 + len(drawn)))
