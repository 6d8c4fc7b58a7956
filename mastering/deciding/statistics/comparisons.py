"""Many comparisons, one lot's figures, and what checking only some discs would let through."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, exp, log

import numpy as np

from mastering.deciding.statistics.charts import Chart, stop_chances

ODD_PRIOR = (1.0, 4.0)  # the beta distribution of rates above the tolerable one, for the evidence ratio


def standing_out(chances: Sequence[float], wolf: float) -> list[bool]:
    """Which comparisons stand out, so that no more than the share `wolf` of them is false.

    The k smallest chances, for the largest k whose k-th smallest is at most wolf k / m: Y. Benjamini and Y. Hochberg, "Controlling the
    False Discovery Rate", Journal of the Royal Statistical Society B 57 (1995). By hand, as scipy.stats takes longer to import than
    all advice takes.
    """
    ordered = sorted(chances)
    limit = max((p for k, p in enumerate(ordered, 1) if p <= wolf * k / len(ordered)), default=-1.0)
    return [p <= limit for p in chances]


def chance_of_score(chart: Chart, rate: float, discs: int, score: int) -> float:
    """The chance that a lot of so many discs at this rate climbs to a score somewhere."""
    return float(stop_chances(Chart(chart.fail, chart.start, max(score, chart.start + 1)), rate, discs)[-1])


def chance_of_count(bad: int, discs: int, rate: float) -> float:
    """The chance of so many bad or more at this rate (exact binomial, one-sided)."""
    from scipy.special import betainc

    return float(betainc(bad, discs - bad + 1, rate)) if bad else 1.0


def mcnemar(better: int, worse: int) -> float:
    """The chance that so many or more of the matched pairs that differ go one way, if either way is as likely (exact, two-sided).

    Q. McNemar, "Note on the sampling error of the difference between correlated proportions", Psychometrika 12 (1947); the exact form
    is a sign test of the pairs that differ. 1 where no pair differs.
    """
    pairs, fewer = better + worse, min(better, worse)
    return min(1.0, float(2 * sum(comb(pairs, count) for count in range(fewer + 1)) / 2**pairs))


def evidence_ratio(bad: int, discs: int, tolerable: float) -> float:
    """The logarithm of how much better rates above the tolerable one explain a lot than the tolerable one does.

    A lot at or below the tolerable rate ever reaches log(1 / a) with a chance of no more than a (Ville's inequality).
    """
    from scipy.special import betaincc, betaln, xlog1py, xlogy

    a, b = ODD_PRIOR
    above = betaln(a + bad, b + discs - bad) - betaln(a, b)
    cut = log(betaincc(a + bad, b + discs - bad, tolerable)) - log(betaincc(a, b, tolerable))
    return float(above + cut - xlogy(bad, tolerable) - xlog1py(discs - bad, -tolerable))


def chance_at_any_time(bad: int, discs: int, tolerable: float) -> float:
    """A chance that stays honest however often it is looked at while discs come in: that the tolerable rate ever gives such evidence."""
    return min(1.0, exp(-evidence_ratio(bad, discs, tolerable))) if bad else 1.0


@dataclass(frozen=True)
class Left:
    """The bad ones to expect among `discs` blanks that are left: on average, and an interval of 95 %."""

    discs: int
    mean: float
    low: int
    high: int


def bad_left(left: int, rates: Sequence[tuple[float, tuple[float, float]]]) -> Left:
    """What the blanks left in a lot hold, its rate being a mixture of beta distributions, given by their weights.

    Beta-binomial: k of n with the chance C(n, k) B(k + a, n - k + b) / B(a, b), on average n a / (a + b).
    """
    from scipy.special import betaln

    bad = np.arange(left + 1)
    ways = -np.log1p(left) - betaln(bad + 1, left - bad + 1)
    chances = sum(weight * np.exp(ways + betaln(bad + a, left - bad + b) - betaln(a, b)) for weight, (a, b) in rates)
    low, high = np.minimum(np.searchsorted(np.cumsum(chances), (0.025, 0.975)), left).tolist()
    return Left(left, sum(weight * left * a / (a + b) for weight, (a, b) in rates), low, high)
