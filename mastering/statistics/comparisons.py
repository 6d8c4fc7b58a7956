"""Many comparisons, one lot's figures, and what checking only some discs would let through."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from mastering.statistics.charts import Chart, stop_chances
from mastering.statistics.settings import Settings

ODD_PRIOR = (1.0, 4.0)  # the beta distribution of rates above the tolerable one, for the evidence ratio


def standing_out(chances: Sequence[float], wolf: float) -> list[bool]:
    """Which comparisons stand out, so that no more than the share `wolf` of them is false (Benjamini and Hochberg 1995)."""
    from scipy.stats import false_discovery_control

    return (false_discovery_control(chances, method="bh") <= wolf).tolist() if len(chances) else []


def chance_of_score(chart: Chart, rate: float, discs: int, score: int) -> float:
    """The chance that a lot of so many discs at this rate climbs to a score somewhere."""
    return float(stop_chances(Chart(chart.fail, chart.start, max(score, chart.start + 1)), rate, discs)[-1])


def chance_of_count(bad: int, discs: int, rate: float) -> float:
    """The chance of so many bad or more at this rate (exact binomial, one-sided)."""
    from scipy.special import betainc

    return float(betainc(bad, discs - bad + 1, rate)) if bad else 1.0


def evidence_ratio(bad: int, discs: int, tolerable: float) -> float:
    """The logarithm of how much better rates above the tolerable one explain a lot than the tolerable one does.

    A lot at or below the tolerable rate ever reaches log(1 / a) with a chance of no more than a (Ville's inequality).
    """
    from scipy.special import betaincc, betaln, xlog1py, xlogy

    a, b = ODD_PRIOR
    above = betaln(a + bad, b + discs - bad) - betaln(a, b)
    cut = log(betaincc(a + bad, b + discs - bad, tolerable)) - log(betaincc(a, b, tolerable))
    return float(above + cut - xlogy(bad, tolerable) - xlog1py(discs - bad, -tolerable))


@dataclass(frozen=True)
class Left:
    """The bad ones to expect among blanks that are left: on average, and an interval of 95 %."""

    mean: float
    low: int
    high: int


def bad_left(bad: int, discs: int, left: int, settings: Settings) -> Left:
    """What the blanks left in a lot hold, from those judged and from ordinary lots (beta-binomial)."""
    from scipy.stats import betabinom

    a, b = settings.normal_prior
    of = betabinom(left, a + bad, b + discs - bad)
    return Left(float(of.mean()), int(of.ppf(0.025)), int(of.ppf(0.975)))


def let_through(checked: int, allowed: int, batch: int, rate: float) -> float:
    """Bad discs that go out of a batch of which only some are checked.

    A batch with more than `allowed` bad ones among those checked is checked in full; bad ones that are found are replaced.
    """
    from scipy.special import betainc

    passed = betainc(checked - allowed, allowed + 1, 1 - rate)
    return float((batch - checked) * rate * passed)
