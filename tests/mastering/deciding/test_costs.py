"""Prices: what a good disc costs, and that `need` and `advise` never contradict each other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mastering.deciding.advice import advise
from mastering.deciding.costs import JudgedLot, Prices, break_even, costs, good_disc, good_discs, lot_rate, usual_rate
from mastering.deciding.planning import need
from mastering.deciding.reasons import LotStopped, LotWorthUsing
from mastering.deciding.statistics.history import History, Outcome, Surface, Written
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import InUse
from mastering.words.advice import sentence
from mastering.words.planning import need_sentences

SHOP = Settings()


@given(st.floats(0.01, 20), st.floats(0.01, 20), st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_going_on_is_cheaper_up_to_the_break_even_share(blank, disc, rate, new):
    prices = Prices(blank, disc)
    share = break_even(prices, new)
    if abs(rate - share) > 1e-9:
        assert costs(prices, rate, new).go_on_is_cheaper == (rate < share)


def test_the_price_of_a_good_disc():
    """1.50 for a blank and 2.00 for the time, 9 of 120 bad: 3.50 / 0.925; the limits are Wilson's (0.0400 and 0.1364)."""
    found = good_disc(Prices(1.5, 2.0), 9, 120)
    assert (found.price, found.low, found.high) == pytest.approx((3.5 / 0.925, 3.5 / 0.96, 3.5 / 0.8636), abs=1e-3)
    hopeless = good_disc(Prices(1.5, 2.0), 10, 10)
    assert (hopeless.price, hopeless.high) == (None, None)


def test_a_good_disc_costs_more_of_the_cheap_blanks_that_fail():
    lots = [
        JudgedLot("L1", 2, 100, 1.0, "Sal"),
        JudgedLot("L2", 40, 100, 0.5, "Kit"),
        JudgedLot("L3", 0, 50),
        JudgedLot("L4", 3, 50, 0.8, "Kit"),
    ]
    costs_of = dict(good_discs(lots, 2.0))
    assert list(costs_of) == ["L1", "L2", "L4", "all from Sal", "all from Kit"]
    assert costs_of["L1"].price == pytest.approx(3.0 / 0.98)
    assert costs_of["L2"].price == pytest.approx(2.5 / 0.60)
    assert costs_of["all from Kit"].price == pytest.approx((2.0 + (50 + 40) / 150) / (107 / 150))
    assert all(each.low < each.price < each.high for each in costs_of.values())


def test_lots_are_ordinary_bad_or_hopeless():
    assert lot_rate(0, 0, SHOP) == pytest.approx(0.80 / 25 + 0.15 * 0.2 + 0.05 * 0.5)
    assert lot_rate(60, 100, SHOP) == pytest.approx(0.6, abs=0.015)
    assert lot_rate(0, 100, SHOP) < 0.01
    assert usual_rate([], SHOP) == pytest.approx(0.04)
    assert usual_rate([(3, 100), (9, 100)], SHOP) == pytest.approx(13 / 225)


def lots(text_by_lot):
    """A history of lots dealt alternately to two drives; x failed."""
    made = []
    for lot, text in text_by_lot.items():
        for number, each in enumerate(text):
            drive = f"D{number % 2 + 1}"
            written = (Written(Surface("A"), drive, drive, each == "x"),)
            made.append(Outcome(f"{lot}-{number}", "B-0001", lot, each == "x", written))
    return History.of(made)


GOOD, POOR = "." * 60, "..x..x..xx..x..x..x." * 2


def advised(prices):
    history = lots({"L1": GOOD, "L2": POOR})
    in_use = InUse({"L1": 100, "L2": 100}, ("D1", "D2"), {"B-0001": 120})
    return next(each for each in advise(history, in_use, SHOP, np.random.default_rng(1), prices) if each.name == "L2")


def priced(prices):
    """What `need` says of the same lots."""
    return list(need_sentences(need(20, [(0, 60), (14, 40)], (14, 40), prices=prices)))[1]


def test_a_bad_lot_that_is_cheaper_to_use_up_is_not_stopped():
    """Dear blanks, cheap time: `need` says by cost alone go on with it, where `advise` said stop."""
    entry = advised(Prices(5.0, 1.0))
    assert (entry.level, type(entry.reason)) == ("look", LotWorthUsing)
    assert sentence(entry).startswith(f"Lot L2: go on, but lay out {entry.reason.load} blanks for {entry.reason.good} good copies; ")
    assert "; a good disc costs 1.48 with the blanks that are left, 6.07 with new ones." in sentence(entry)
    assert priced(Prices(5.0, 1.0)).endswith("by cost alone go on with it.")


def test_a_bad_lot_that_is_dearer_to_use_up_is_stopped_with_both_costs():
    entry = advised(Prices(0.3, 5.0))
    assert (entry.level, type(entry.reason)) == ("stop", LotStopped)
    assert sentence(entry).endswith("with new ones.")
    assert priced(Prices(0.3, 5.0)).endswith("by cost alone buy others.")


@pytest.mark.parametrize("blank", [0.1, 0.5, 1.0, 1.5, 1.6, 1.7, 2.0, 5.0])
def test_need_and_advise_never_contradict_each_other(blank):
    prices = Prices(blank, 2.0)
    assert (advised(prices).level == "stop") == priced(prices).endswith("by cost alone buy others.")
