"""Many comparisons, the rest of a lot, and what checking only some discs would let through: against published values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from promises import at_least, at_most
from scipy.integrate import quad
from scipy.stats import beta, betabinom, binomtest, chi2, false_discovery_control

from mastering.deciding.statistics.charts import lot_chart, stop_chances
from mastering.deciding.statistics.comparisons import (
    bad_left,
    chance_at_any_time,
    chance_of_count,
    chance_of_score,
    evidence_ratio,
    mcnemar,
    standing_out,
)
from mastering.deciding.statistics.settings import Settings


def test_what_stands_out_of_15_comparisons():
    """Benjamini and Hochberg, Journal of the Royal Statistical Society B 57 (1995): 4 of 15 at 5 %."""
    chances = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324, 0.4262, 0.5719, 0.6528, 0.759, 1.0]
    assert sum(standing_out(chances, 0.05)) == 4
    assert standing_out(chances, 0.05)[:5] == [True] * 4 + [False]


def test_what_stands_out_of_7_comparisons():
    """The example of the R package HDLSSkST, BenHoch."""
    assert standing_out([0.5, 0.01, 0.001, 0.69, 0.02, 0.05, 0.0025], 0.05) == [False, True, True, False, True, False, True]
    assert standing_out([], 0.05) == []


@given(st.lists(st.floats(0, 1) | st.floats(0, 0.05), min_size=1, max_size=60), st.sampled_from([0.01, 0.05, 0.1]))
def test_what_stands_out_is_what_scipy_lets_stand_out(chances, wolf):
    adjusted = false_discovery_control(chances, method="bh")
    for out, chance in zip(standing_out(chances, wolf), adjusted, strict=True):
        assert out == (chance <= wolf) or chance == pytest.approx(wolf, rel=1e-9)


def test_a_report_with_nothing_wrong_hardly_ever_cries_wolf():
    rng = np.random.default_rng(8)
    cried = 0
    for _ in range(400):
        bad = rng.binomial(60, 0.03, 50)
        cried += any(standing_out([chance_of_count(int(each), 60, 0.03) for each in bad], 0.10))
    at_most(cried, 400, 0.10)


@pytest.mark.parametrize(("bad", "discs"), [(0, 20), (1, 20), (4, 20), (20, 20), (26, 200)])
def test_chance_of_a_count(bad, discs):
    assert chance_of_count(bad, discs, 0.1) == pytest.approx(binomtest(bad, discs, 0.1, alternative="greater").pvalue)


def test_chance_of_a_score_is_the_stop_line_s():
    chart = lot_chart(0.03, 0.15, 100, 0.02)
    assert chance_of_score(chart, 0.03, 100, chart.stop) == pytest.approx(float(stop_chances(chart, 0.03, 100)[-1]))
    assert chance_of_score(chart, 0.03, 100, chart.stop + 20) < chance_of_score(chart, 0.03, 100, chart.stop)


@pytest.mark.parametrize(("bad", "discs", "log"), [(3, 13, 3.169837), (4, 24, 3.037192), (0, 20, -1.791759), (10, 100, 3.878446)])
def test_evidence_against_a_lot(bad, discs, log):
    """Closed form of another program; and by quadrature here."""
    assert evidence_ratio(bad, discs, 0.03) == pytest.approx(log, abs=1e-6)
    above, _ = quad(lambda rate: beta.pdf(rate, 1, 4) * rate**bad * (1 - rate) ** (discs - bad), 0.03, 1, points=(0.1, 0.3))
    assert evidence_ratio(bad, discs, 0.03) == pytest.approx(
        np.log(above / beta.sf(0.03, 1, 4) / 0.03**bad / 0.97 ** (discs - bad)), abs=1e-5
    )


def test_what_is_left_in_a_lot():
    """6 bad of 40, 60 left: beta-binomial of another program."""
    left = bad_left(60, [(1.0, (1 + 6, 24 + 34))])
    assert (round(left.mean, 2), left.low, left.high) == (6.46, 1, 14)


def test_a_chance_at_any_time_is_honest_however_often_it_is_looked_at():
    """Ville's inequality: of good lots of 200, looked at after every disc, no more than 1 in 20 ever comes below 0.05. The exact count's
    chance is there in far more of them.
    """
    rng, rare, often = np.random.default_rng(12), 0, 0
    for _ in range(200):
        bad = np.cumsum(rng.random(200) < 0.03)
        looks = [(int(found), discs) for discs, found in enumerate(bad, 1) if discs == 1 or found > bad[discs - 2]]
        rare += any(chance_at_any_time(*each, 0.03) <= 0.05 for each in looks)
        often += any(chance_of_count(*each, 0.03) <= 0.05 for each in looks)
    at_most(rare, 200, 0.05)
    assert often > 20
    assert chance_at_any_time(0, 50, 0.03) == 1


@given(st.integers(0, 300), st.integers(0, 300), st.integers(1, 3000))
def test_what_is_left_is_beta_binomial_as_scipy_has_it(bad, good, blanks):
    """For each of the three kinds of lots, mixed by how well it explains what was seen."""
    rates = Settings().lot_rates(bad, bad + good)
    priors = [(1, 24), (2, 8), (1, 1)]
    seen = [share * betabinom.pmf(bad, bad + good, *prior) for share, prior in zip((0.80, 0.15, 0.05), priors, strict=True)]
    assert [weight for weight, _ in rates] == pytest.approx(np.array(seen) / sum(seen))
    assert [each for _, each in rates] == [(a + bad, b + good) for a, b in priors]

    def below(count):
        return sum(weight * betabinom(blanks, *each).cdf(count) for weight, each in rates)

    left = bad_left(blanks, rates)
    assert left.mean == pytest.approx(sum(weight * betabinom(blanks, *each).mean() for weight, each in rates))
    for ours, share in ((left.low, 0.025), (left.high, 0.975)):  # the least number that this share does not exceed, but for rounding
        assert below(ours) >= share - 1e-7
        assert ours == 0 or below(ours - 1) < share + 1e-7


def coverage(rate, judged, blanks, lots, seed):
    """How often the interval holds the bad ones among the blanks that are left, of lots of one rate; and the mean told and true."""
    rng = np.random.default_rng(seed)
    held, told, true = 0, 0.0, 0
    cache = {}
    for bad in rng.binomial(judged, rate, lots).tolist():
        left = cache.setdefault(bad, bad_left(blanks, Settings().lot_rates(bad, judged)))
        rest = int(rng.binomial(blanks, rate))
        held += left.low <= rest <= left.high
        told, true = told + left.mean / lots, true + rest / lots
    return held, told, true


@pytest.mark.parametrize("rate", [0.03, 0.10, 0.20, 0.40])
def test_the_interval_of_what_is_left_holds(rate):
    held, _, _ = coverage(rate, 40, 60, 2000, 21)
    at_least(held, 2000, 0.93)


def test_matched_pairs():
    """9 pairs against 1: 22/1024 (from memory, as a sign test). Agresti, Categorical Data Analysis 10.1: 150 against 86, z squared 17.36."""
    assert mcnemar(9, 1) == pytest.approx(0.021484375, abs=1e-12)
    assert (150 - 86) ** 2 / (150 + 86) == pytest.approx(17.36, abs=5e-3)
    assert mcnemar(150, 86) == pytest.approx(chi2.sf(17.36, 1), rel=0.25)  # the exact chance is a little larger
    assert mcnemar(0, 0) == mcnemar(3, 3) == 1


@given(st.integers(0, 60), st.integers(0, 60))
def test_matched_pairs_are_a_sign_test_as_scipy_has_it(better, worse):
    if better + worse:
        assert mcnemar(better, worse) == pytest.approx(binomtest(better, better + worse, 0.5).pvalue)
    assert mcnemar(better, worse) == mcnemar(worse, better)
