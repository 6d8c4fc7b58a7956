"""How many blanks to load: against published distributions, and whether the promise is kept.

The campaign (1,500 histories each, seed 3; 100 good ones, 95 % sure; 80 discs a lot; a new lot next), kept and blanks beyond the good ones:
lots that differ alike (mean 4 %, sd 4 %): .985, 33.4 from 1 lot; .974, 26.4 from 2; .976, 24.7 from 3; .966, 19.3 from 10. Where 15 % of the
lots are poor (25 %): .939, 46.4; .917, 40.8; .919, 39.8; .914, 34.9 (two standard errors: .005 to .013).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import betanbinom, binom, nbinom

from mastering.deciding.costs import Prices, break_even
from mastering.deciding.planning import _chances, need
from mastering.errors import MasteringError
from mastering.words.planning import need_sentences


def kept(load, good, rate):
    """The chance that so many blanks of this rate hold so many good ones."""
    return binom.sf(good - 1, load, 1 - rate)


# Against others


@pytest.mark.parametrize(("bad", "discs"), [(0, 50), (2, 50), (3, 100), (5, 50), (10, 100), (0, 20), (1, 1)])
def test_blanks_for_100_good_copies(bad, discs):
    """As scipy's betanbinom has it, on Beta(1, 5)."""
    for assurance in (0.95, 0.99):
        assert need(100, [(bad, discs)], (bad, discs), assurance).load == 100 + betanbinom.ppf(assurance, 100, discs - bad + 5, bad + 1)


def test_one_bad_disc_of_one_is_no_reason_for_thousands_of_blanks():
    """12,801 once."""
    assert need(60, [(1, 1)], (1, 1)).load < 200
    assert need(60, [(1, 1)]).load < 400


@pytest.mark.parametrize(("bad", "good", "a", "b", "chance"), [(100, 50, 5, 20, 0.002855762954310226), (1000, 100, 5, 20, None)])
def test_the_distribution(bad, good, a, b, chance):
    """scipy's test data, mpmath with 500 digits; there the good ones are counted first, so a and b change places."""
    made = _chances(good, np.array([float(b)]), np.array([float(a)]), np.array([bad]))[0, 0]
    assert made == pytest.approx(chance or betanbinom.pmf(bad, good, a, b), rel=1e-9)


def test_a_rate_that_is_well_known_needs_what_the_negative_binomial_says():
    """5 %: 109 and 111."""
    known = (50_000, 1_000_000)
    assert (
        [need(100, [known], known, sure).load for sure in (0.95, 0.99)]
        == [100 + nbinom.ppf(sure, 100, 0.95) for sure in (0.95, 0.99)]
        == [109, 111]
    )


@settings(max_examples=30)
@given(st.integers(1, 300), st.integers(0, 40), st.integers(1, 200), st.sampled_from([0.5, 0.8, 0.95, 0.99]))
def test_one_blank_less_would_not_do(good, bad, discs, assurance):
    bad = min(bad, discs // 2)  # of lots that are worse no number of blanks is enough
    load = need(good, [(bad, discs)], (bad, discs), assurance).load
    enough = betanbinom.cdf([load - good - 1, load - good], good, discs - bad + 5, bad + 1)
    assert enough[0] < assurance + 1e-9  # where a chance is the assurance itself rounding decides
    assert enough[1] > assurance - 1e-9


# What it rests on


def said(needed, which=0):
    """One of its sentences."""
    return list(need_sentences(needed))[which]


def test_what_it_rests_on():
    assert need(60, []).plain() == {"good": 60, "assurance": 0.95, "load": 69, "discs": 0, "bad": 0, "working": 0, "basis": "default"}
    assert need(60, [(1, 40), (3, 50)]).plain() == {
        "good": 60,
        "assurance": 0.95,
        "load": 76,
        "discs": 90,
        "bad": 4,
        "working": 0,
        "basis": "lots",
    }
    assert need(60, [(1, 40), (3, 50)], (3, 50)).plain()["basis"] == "lot"
    assert need(60, [(1, 40), (0, 0)], (0, 0)).plain()["basis"] == "lots"


def test_it_says_why():
    assert (
        said(need(100, [(2, 50)], (2, 50))) == "Lay out 114 blanks for 100 good copies (95 % sure): 2 of the 50 discs of this lot failed."
    )
    assert said(need(100, [(2, 50)])).endswith("2 of 50 failed in 1 lot, too few lots to know how they differ.")
    assert said(need(100, [(2, 50), (0, 50), (9, 50)])).endswith("11 of 150 failed in 3 lots, and lots differ.")
    assert said(need(1, [])) == "Lay out 1 blank for 1 good copy (95 % sure): no disc has been judged yet: as for ordinary old blanks."


def test_lots_that_differ_need_more_than_lots_that_are_alike():
    assert (
        need(100, [(0, 80), (0, 80), (12, 80)]).load
        > need(100, [(4, 80), (4, 80), (4, 80)]).load
        > need(100, [(12, 240)], (12, 240)).load - 1
    )


def test_what_can_not_be_is_refused():
    with pytest.raises(MasteringError, match="good: 0"):
        need(0, [])
    with pytest.raises(MasteringError, match="assurance: 1"):
        need(10, [], assurance=1.0)
    with pytest.raises(MasteringError, match="judge more discs"):
        need(1000, [(500, 500)], (500, 500))
    with pytest.raises(MasteringError, match="prices"):
        Prices(-1, 2)


# Promises


def promise(rng, rate, judged, good, histories=300):
    """How often a load is enough, averaged over what may have been seen of a lot."""
    seen = rng.binomial(judged, rate, histories)
    return np.mean([kept(need(good, [(int(bad), judged)], (int(bad), judged)).load, good, rate) for bad in seen])


@pytest.mark.parametrize(
    ("rate", "judged", "good"), [(0.02, 30, 100), (0.05, 100, 100), (0.10, 100, 100), (0.05, 300, 100), (0.10, 100, 250)]
)
def test_95_percent_sure_is_kept(rate, judged, good):
    assert promise(np.random.default_rng(1), rate, judged, good) >= 0.93


def alike(rng, count, spread=0.04, mean=0.04):
    """Rates of lots that differ, mean 4 %, standard deviation 4 %."""
    strength = mean * (1 - mean) / spread**2 - 1
    return rng.beta(mean * strength, (1 - mean) * strength, count)


def mixed(rng, count):
    """Rates of lots of which 15 % are poor: 3 % and 25 % on average."""
    return np.where(rng.random(count) < 0.85, rng.beta(3.2, 96.8, count), rng.beta(5, 15, count))


def differing(rng, shop, lots, histories):
    """How often a load is enough for a new lot after so many; two standard errors of that; the blanks beyond the good ones."""
    enough, extra = [], []
    for _ in range(histories):
        rates = shop(rng, lots + 1)
        load = need(100, [(int(rng.binomial(80, rate)), 80) for rate in rates[:-1]]).load
        enough.append(kept(load, 100, rates[-1]))
        extra.append(load - 100)
    return np.mean(enough), 2 * np.std(enough) / np.sqrt(histories), np.mean(extra)


DIFFERING = [(alike, 1, 0.93, 36), (alike, 2, 0.93, 29), (alike, 3, 0.93, 26), (alike, 10, 0.93, 21)]
MIXED = [(mixed, 1, 0.93, 50), (mixed, 2, 0.93, 50), (mixed, 3, 0.90, 45), (mixed, 10, 0.90, 42)]


@pytest.mark.parametrize(("shop", "lots", "promised", "blanks"), [*DIFFERING, *MIXED[:3]])
def test_95_percent_sure_is_kept_for_a_new_lot_where_lots_differ(shop, lots, promised, blanks):
    """From one lot on: lots that were good so far don't promise that the next one is, and that costs blanks to lay out."""
    enough, sampling, extra = differing(np.random.default_rng(3), shop, lots, 120)
    assert enough >= promised - sampling
    assert extra <= blanks


@pytest.mark.campaign
def test_the_figures_above():
    for shop, lots, promised, _ in DIFFERING + MIXED:
        enough, sampling, extra = differing(np.random.default_rng(3), shop, lots, 1500)
        print(f"    {shop.__name__}, {lots} lots: {enough:.3f} (+- {sampling:.3f}), {extra:.1f} blanks beyond the good ones")
        assert enough >= promised - sampling


# Prices


def test_break_even_is_where_both_cost_the_same():
    prices = Prices(blank=1.5, disc=2.0)
    share = break_even(prices, 0.03)
    assert prices.disc / (1 - share) == pytest.approx((prices.blank + prices.disc) / (1 - 0.03))
    assert share == pytest.approx(1 - 2.0 * 0.97 / 3.5)


def test_blanks_that_cost_nothing_are_not_used_beyond_the_new_ones_rate():
    assert break_even(Prices(blank=0.0, disc=2.0), 0.03) == pytest.approx(0.03)


def test_prices_are_said():
    made = need(100, [(3, 100)], (3, 100), prices=Prices(1.5, 2.0))
    assert made.plain()["cost"] == pytest.approx(109 * 3.5)
    assert (
        said(made, 1)
        == "That costs 381.50; about 3 % of this lot are bad, and others are cheaper from 45 % on: by cost alone go on with it."
    )
    bad = need(100, [(3, 100), (60, 100)], (60, 100), prices=Prices(1.5, 2.0), lot="L-31")
    assert said(bad, 1).endswith("about 59 % of lot L-31 are bad, and others are cheaper from 45 % on: by cost alone buy others.")
    new = need(100, [(3, 100)], prices=Prices(1.5, 2.0))
    assert said(new, 1).endswith("go on with blanks that you have until 45 % of them are bad, then buy others.")
    assert len(list(need_sentences(need(100, [(3, 100)], (3, 100))))) == 1


def test_more_blanks_than_the_lot_has_are_told():
    made = need(60, [(4, 20)], (4, 20), lot="L-23", left=80)
    assert (made.load, said(made, 1)) == (92, "Lot L-23 has 80 left: take 12 more of another one.")
    assert len(list(need_sentences(need(60, [(4, 20)], (4, 20), lot="L-23", left=92)))) == 1
    assert said(need(60, [(4, 20)], (0, 0), lot="L-31")).endswith(
        "no disc of lot L-31 has been judged yet; 4 of 20 failed in 1 lot, too few lots to know how they differ."
    )


@pytest.mark.parametrize("price", [float("nan"), float("inf"), -1.0, 1e308])
def test_a_price_that_can_not_be_is_refused(price):
    for prices in ((price, 1.0), (1.0, price)):
        with pytest.raises(MasteringError, match="expected prices from 0 to 1,000,000"):
            Prices(*prices)
