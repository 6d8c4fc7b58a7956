"""Runs: real trouble comes in clumps (an inner box, a shedding disc, a fouled head), which speak against neither lot nor drive.

Three explanations of the same discs are weighed against each other: a run of neighbours that fail far more often than the others; a bad
rate throughout; a rate that turned bad at some disc and stayed so. What is unknown (where, how long, how often) is averaged out.
"""

from dataclasses import dataclass
from typing import cast

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Floats
from mastering.deciding.statistics.charts import Chart, scores
from mastering.deciding.statistics.settings import Settings

LONGEST = 10  # discs in a run: an inner box of ten (common practice)
FEWEST = 20  # discs before a run can be told: fewer don't show what is ordinary
LOOK_BACK = 200  # discs that are weighed: what raised the score is not older
RUN_RATE = (3.0, 2.0)  # the beta distribution of the rate within a run
STORIES = (0.5, 0.35, 0.15)  # before the data: a run, bad throughout, turned bad
TOLD = 0.5  # the chance from which on it is called a run


@dataclass(frozen=True)
class FailureRun:
    """A run of failures: `bad` of discs `first` to `last` (from 0, both within) failed; `chance`: that it is one, not the lot or drive."""

    first: int
    last: int
    bad: int
    chance: float

    @property
    def discs(self) -> int:
        """How many discs it is long."""
        return self.last - self.first + 1


def find_run(failed: Flags, settings: Settings) -> FailureRun | None:
    """The run that explains best what these discs did, or None where a run is the less likely explanation."""
    skipped = max(len(failed) - LOOK_BACK, 0)
    recent = failed[skipped:]
    if len(recent) < FEWEST or not recent.any():
        return None
    chance, first, length = _weigh(recent, settings)
    if chance < TOLD:
        return None
    inside = np.flatnonzero(recent[first : first + length]) + first + skipped
    return FailureRun(int(inside[0]), int(inside[-1]), len(inside), chance)


def stopped_at(chart: Chart, failed: Flags, settings: Settings) -> int | None:
    """The disc (from 0) at which a lot is stopped: its score is at the stop line, and what brought it there is no run.

    A stop among the first discs, where no run can be told, is taken back when the discs since then show that it was one.
    """
    for disc in np.flatnonzero(failed & (scores(chart, failed) >= chart.stop)).tolist():
        seen = failed[: disc + 1] if disc + 1 >= FEWEST else failed
        if find_run(seen, settings) is None:
            return int(disc)
    return None


def _weigh(failed: Flags, settings: Settings) -> tuple[float, int, int]:
    """The chance of a run, and the likeliest one's first disc and length."""
    discs = len(failed)
    counted = np.concatenate(([0], np.cumsum(failed)))
    total = counted[-1]
    normal, bad = settings.normal_prior, settings.bad_prior
    lengths = np.arange(2, min(LONGEST, discs) + 1)
    firsts = np.arange(discs - 1)
    ends = firsts[None, :] + lengths[:, None]
    fits = ends <= discs
    inside = counted[np.minimum(ends, discs)] - counted[firsts]
    runs = evidence(inside, np.broadcast_to(lengths[:, None], inside.shape), RUN_RATE)
    runs = np.where(fits, runs + evidence(total - inside, discs - lengths[:, None], normal), -np.inf)
    turned = evidence(counted[1:-1], np.arange(1, discs), normal) + evidence(total - counted[1:-1], discs - np.arange(1, discs), bad)
    stories = np.array([_mean(runs[fits]), evidence(total, discs, bad), _mean(turned)]) + np.log(STORIES)
    length, first = np.unravel_index(int(runs.argmax()), runs.shape)
    chance = float(np.exp(stories[0] - np.logaddexp.reduce(stories)))
    return chance, int(first), int(lengths[length])


def evidence(bad: object, discs: object, prior: tuple[float, float]) -> Floats:
    """The log-likelihood of so many bad in so many discs, the rate averaged over a beta distribution: B(a+x, b+n-x) / B(a, b)."""
    from scipy.special import betaln

    a, b = prior
    return cast(Floats, betaln(a + np.asarray(bad), b + np.asarray(discs) - np.asarray(bad)) - betaln(a, b))


def _mean(logs: Floats) -> float:
    """The logarithm of the mean of numbers given by their logarithms."""
    return float(np.logaddexp.reduce(logs) - np.log(len(logs)))
