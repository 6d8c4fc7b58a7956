"""Score charts: a failed disc adds points, a good one takes one away, a stop line says when it is enough. There is no accept line.

The score is the sequential likelihood ratio of the bad against the tolerable rate in whole points, never below 0 (Bernoulli
CUSUM: Reynolds and Stoumbos, Journal of Quality Technology 31, 1999; from memory). A lot starts half-way up, so that one which
is bad from the beginning is stopped early; a drive starts at 0. All risks are exact: a chain over the whole-numbered scores.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Floats, Ints
from mastering.deciding.statistics.settings import points


@dataclass(frozen=True)
class Chart:
    """A score chart. `fail`: points that a failed disc adds (a good one takes 1 away); `start`: the first score; `stop`: the stop line."""

    fail: int
    start: int
    stop: int


@dataclass(frozen=True)
class ChartPosition:
    """Where a drive's chart stands. `alarm`: the disc at which it reached the stop line, or None; `since`: the first after its last 0."""

    score: int
    alarm: int | None
    since: int


@cache
def lot_chart(tolerable: float, bad: float, discs: int, false_stop: float) -> Chart:
    """The lowest stop line, started half-way up, that stops a lot at the tolerable rate in no more than `false_stop` of all cases."""
    fail = points(tolerable, bad)
    low = fail + 1
    while True:
        lines = np.arange(low, 2 * low)
        risks = _stopped(fail, lines // 2, lines, tolerable, discs)[-1]
        fitting = np.flatnonzero(risks <= false_stop)
        if len(fitting):
            stop = int(lines[fitting[0]])
            return Chart(fail, stop // 2, stop)
        low *= 2


@cache
def drive_chart(tolerable: float, bad: float, false_alarm_discs: int) -> Chart:
    """The lowest stop line, started at 0, that a drive at the tolerable rate reaches no more often than once in so many discs."""
    fail = points(tolerable, bad)
    low, high = 1, fail + 1
    while mean_discs(Chart(fail, 0, high), tolerable) < false_alarm_discs:
        low, high = high, 2 * high
    while low < high:
        middle = (low + high) // 2
        if mean_discs(Chart(fail, 0, middle), tolerable) < false_alarm_discs:
            low = middle + 1
        else:
            high = middle
    return Chart(fail, 0, low)


def stop_chances(chart: Chart, rate: float, discs: int) -> Floats:
    """The chance that the score has reached the stop line by disc 1, 2, ... `discs`."""
    return _stopped(chart.fail, np.array([chart.start]), np.array([chart.stop]), rate, discs)[:, 0]


def _stopped(fail: int, starts: Ints, stops: Ints, rate: float, discs: int) -> Floats:
    """The chance that each chart has reached its stop line after each disc, shape (discs, charts): the chain over the scores."""
    width = int(stops.max())
    beyond = np.arange(width) >= stops[:, None]
    at = np.zeros((len(stops), width))
    at[np.arange(len(stops)), starts] = 1.0
    chances = np.empty((discs, len(stops)))
    stopped = np.zeros(len(stops))
    for disc in range(discs):
        moved = np.zeros_like(at)
        moved[:, :-1] = (1 - rate) * at[:, 1:]
        moved[:, 0] += (1 - rate) * at[:, 0]
        moved[:, fail:] += rate * at[:, : max(width - fail, 0)]
        stopped += rate * at[:, max(width - fail, 0) :].sum(axis=1) + (moved * beyond).sum(axis=1)
        moved[beyond] = 0.0
        chances[disc] = stopped
        at = moved
    return chances


def mean_discs(chart: Chart, rate: float) -> float:
    """How many discs it takes on average to reach the stop line: (I - Q) a = 1 over the scores below it."""
    states = np.arange(chart.stop)
    stays = np.eye(chart.stop)
    stays[states, np.maximum(states - 1, 0)] -= 1 - rate
    stays[states[: -chart.fail], states[chart.fail :]] -= rate
    return float(np.linalg.solve(stays, np.ones(chart.stop))[chart.start])


def scores(chart: Chart, failed: Flags) -> Ints:
    """The score after each disc; it goes on beyond the stop line."""
    path = chart.start + np.cumsum(np.where(failed, chart.fail, -1))
    lowest: Ints = np.minimum(np.minimum.accumulate(path), 0)
    return path - lowest


def read_drive(chart: Chart, failed: Flags) -> ChartPosition:
    """Where a drive's chart stands after these discs.

    It climbs no higher than its stop line; an alarm lasts until the score is back at 0: so many good discs have spoken for it.
    """
    score, since, alarm, last = chart.start, 0, None, -1
    for disc in np.flatnonzero(failed).tolist():
        score -= disc - last - 1
        if score <= 0:
            score, since, alarm = 0, disc, None
        score = min(score + chart.fail, chart.stop)
        if score == chart.stop and alarm is None:
            alarm = disc
        last = disc
    score -= len(failed) - last - 1
    return ChartPosition(score, alarm, since) if score > 0 else ChartPosition(0, None, len(failed))
