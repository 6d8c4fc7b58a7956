"""Where on the disc: tracks that fail more often than the others, though one scratch kills several neighbours.

Two statistics, a scan over windows of 1 to 10 tracks (Kulldorff, Communications in Statistics 26, 1997; from memory) and a
chi-square over five zones for gentle gradients. What harmless discs would show comes from the discs themselves: each one's
whole pattern of failed tracks is moved to another place, so neighbours stay neighbours.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from mastering.statistics.arrays import Floats, Ints

WIDEST = 10  # tracks of a window
ZONES = 5
DRAWS = 999
KNOWN = 100  # failed tracks in the history from which on it tells what to expect; below that every track is alike


@dataclass(frozen=True)
class Place:
    """The likeliest window, places `first` to `last` (from 0, within); `discs`: how many of the failing discs failed there.

    `p`: the chance of such a window somewhere, where nothing is wrong. `zone` and `zone_p`: the same for a fifth of the disc.
    """

    first: int
    last: int
    discs: int
    p: float
    zone: int
    zone_p: float


def scan(patterns: Sequence[Ints], tracks: int, usual: Ints, rng: np.random.Generator, draws: int = DRAWS) -> Place:
    """The place that stands out. `patterns`: a failing disc's failed tracks each, from 0; `usual`: earlier failures of each track."""
    expected = _expected(usual, tracks)
    counted = np.bincount(np.concatenate(patterns), minlength=tracks)
    moved = _moved(patterns, tracks, expected, rng, draws)
    ratio, first, last = max(
        (float(row[0].max()), int(row[0].argmax()), int(row[0].argmax()) + width)
        for width, row in enumerate(_ratios(counted[None, :], expected))
    )
    highest = np.max([each.max(axis=1) for each in _ratios(moved, expected)], axis=0)
    zones = _zones(expected)
    zone_scores = _chi_square(counted[None, :], expected, zones)[0]
    return Place(
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
    made: Floats = shares / shares.sum()
    return made


def _moved(patterns: Sequence[Ints], tracks: int, expected: Floats, rng: np.random.Generator, draws: int) -> Ints:
    """Failures of each track in each draw, shape (draws, tracks): every pattern begins somewhere else and runs on round the end."""
    made = np.zeros(draws * tracks, np.int64)
    rows = np.arange(draws) * tracks
    starts = rng.choice(tracks, size=(len(patterns), draws), p=expected)
    for pattern, start in zip(patterns, starts, strict=True):
        places = (start[:, None] + (pattern - pattern.min())[None, :]) % tracks
        made += np.bincount((places + rows[:, None]).ravel(), minlength=draws * tracks)
    return made.reshape(draws, tracks)


def _ratios(counted: Ints, expected: Floats) -> Iterator[Floats]:
    """Log-likelihood ratios of windows 1, 2, ... tracks wide, shape (rows, windows): more inside than expected, and fewer outside.

    The rows have the same sum, so that logarithms of counts come from one table.
    """
    total = int(counted[0].sum())
    times_log = _x_log_x(total)
    sums = np.concatenate((np.zeros((len(counted), 1), np.int64), np.cumsum(counted, axis=1)), axis=1)
    shares = np.concatenate(([0.0], np.cumsum(expected)))
    for width in range(1, min(WIDEST, len(expected) - 1) + 1):
        inside = sums[:, width:] - sums[:, :-width]
        wanted = total * (shares[width:] - shares[:-width])
        ratio = times_log[inside] - inside * np.log(wanted) + times_log[total - inside] - (total - inside) * np.log(total - wanted)
        yield np.where(inside > wanted, ratio, 0.0)


def _x_log_x(most: int) -> Floats:
    """The products of 0 to `most` with their logarithms."""
    numbers = np.arange(most + 1, dtype=float)
    made: Floats = numbers * np.log(np.maximum(numbers, 1.0))
    return made


def _zones(expected: Floats) -> Ints:
    """The fifth that each track is in."""
    made: Ints = np.arange(len(expected)) * ZONES // len(expected)
    return made


def _chi_square(counted: Ints, expected: Floats, zones: Ints) -> Floats:
    """Pearson's sum over the zones, one a row."""
    share = np.bincount(zones, expected)
    sums = np.add.reduceat(counted, np.searchsorted(zones, np.arange(len(share))), axis=1)
    wanted = counted.sum(axis=1)[:, None] * share
    made: Floats = ((sums - wanted) ** 2 / wanted).sum(axis=1)
    return made


def _share(drawn: Floats, seen: float) -> float:
    """(1 + draws that reach what was seen) / (1 + draws); rounding must not make equal ones differ."""
    return float((1 + np.count_nonzero(drawn >= seen - 1e-9)) / (1 + len(drawn)))
