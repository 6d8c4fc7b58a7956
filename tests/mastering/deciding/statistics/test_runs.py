"""Real trouble comes in clumps: a run is told from a bad lot, and what that costs is measured.

The campaign (5,000 lots of 100 each, seed 1). Stopped by the chart alone; by who asks after every disc, runs told; by who goes on with the
lot to its end and asks then:

    lot                                 chart alone   as they come   at the end
    1 %, one run of 6 at 50 %           .245          .112           .030
    1 %, one run of 10 at 50 %          .706          .326           .204
    2 %, one inner box of 10 at 80 %    .996          .314           .121
    3 % throughout                      .017          .016           .013
    20 % throughout                     .9996         .9988          .9974
        median disc                     15            15
    turns from 3 % to 25 % at disc 40   .994          .990           .990
        median, discs later             19            20

So it costs one bad lot in a thousand, and a disc where a lot turns bad. Most of the runs that still stop a lot are in its first 20 discs, where
no run can be told; such a stop is taken back when the discs after it are good.
"""

import numpy as np
import pytest
from promises import at_least, at_most
from scipy.integrate import quad
from scipy.stats import beta

from mastering.deciding.statistics.charts import lot_chart, scores
from mastering.deciding.statistics.runs import RUN_RATE, evidence, find_run, stopped_at
from mastering.deciding.statistics.settings import Settings

SHOP = Settings()
LOT = lot_chart(0.03, 0.15, 100, 0.02)


def flags(text):
    """Discs as a text: x failed, . good."""
    return np.array([each == "x" for each in text], bool)


def deal(rng, usual, rate, first, discs):
    """A lot of 100 in which some neighbours fail at another rate."""
    rates = np.full(100, usual)
    rates[first : first + discs] = rate
    return rng.random(100) < rates


def alone(failed):
    """Where the chart alone stops a lot."""
    over = np.flatnonzero(scores(LOT, failed) >= LOT.stop)
    return int(over[0]) if len(over) else None


def as_they_come(failed):
    """Where a lot is first said to be stopped, by somebody who asks after every disc."""
    over = np.flatnonzero(failed & (scores(LOT, failed) >= LOT.stop))
    return next((int(disc) for disc in over if stopped_at(LOT, failed[: disc + 1], SHOP) is not None), None)


def both_ways(lots):
    """Where lots are stopped, by the chart alone and with runs told."""
    return [alone(each) for each in lots], [stopped_at(LOT, each, SHOP) for each in lots]


def stopped(found):
    return sum(each is not None for each in found)


# Told


def test_an_inner_box_is_a_run():
    failed = flags("." * 40 + "xx.xxx.x" + "." * 20)
    run = find_run(failed, SHOP)
    assert (run.first, run.last, run.bad) == (40, 47, 6)
    assert run.chance > 0.9
    assert alone(failed) == 45
    assert stopped_at(LOT, failed, SHOP) is None


def test_failures_all_over_a_lot_are_no_run():
    assert find_run(flags(".x...x....x..x....x.x...x....x"), SHOP) is None


def test_failures_that_go_on_are_no_run():
    assert find_run(flags("." * 40 + "x..x.x..xx...x..x.x...xx..x."), SHOP) is None


def test_in_the_first_discs_no_run_can_be_told():
    assert stopped_at(LOT, flags("xxx"), SHOP) == 2


def test_a_stop_among_the_first_discs_is_taken_back_when_all_others_are_good():
    """The first inner box was bad: somebody went on with another one, to see."""
    assert stopped_at(LOT, flags("xxx.xx.x"), SHOP) == 2
    assert stopped_at(LOT, flags("xxx.xx.x" + "." * 40), SHOP) is None


def test_a_second_run_stops_the_lot():
    assert stopped_at(LOT, flags("." * 25 + "xxxx.x" + "." * 15 + "x.xxxx.x"), SHOP) is not None


def test_a_run_that_does_not_end_stops_the_lot():
    assert stopped_at(LOT, flags("." * 30 + "x" * 30), SHOP) is not None


def test_the_likelihood_of_a_count_is_averaged_over_all_rates():
    by_hand, _ = quad(lambda rate: beta.pdf(rate, *RUN_RATE) * rate**4 * (1 - rate) ** 2, 0, 1)
    assert float(evidence(4, 6, RUN_RATE)) == pytest.approx(np.log(by_hand))


# Measured both ways


def test_fewer_lots_are_condemned_for_a_run():
    rng = np.random.default_rng(3)
    for usual, rate, discs, chart_alone, told in ((0.01, 0.5, 6, 0.24, 0.04), (0.01, 0.5, 10, 0.70, 0.21), (0.02, 0.8, 10, 0.99, 0.15)):
        before, after = both_ways([deal(rng, usual, rate, rng.integers(0, 101 - discs), discs) for _ in range(400)])
        at_least(stopped(before), 400, chart_alone)
        at_most(stopped(after), 400, told)


def test_bad_lots_are_stopped_as_early_as_before():
    """At 20 %: half of them by disc 15, more than 99 % before they are used up."""
    rng = np.random.default_rng(4)
    lots = [rng.random(100) < 0.20 for _ in range(1000)]
    first, then = both_ways([each[:19] for each in lots])
    assert first == then
    at_least(sum(each is not None and each < 15 for each in then), 1000, 0.5)
    _, after = both_ways(lots)
    at_least(stopped(after), 1000, 0.99)


def test_good_lots_are_not_stopped_more_often():
    rng = np.random.default_rng(5)
    before, after = both_ways([rng.random(100) < 0.03 for _ in range(2000)])
    assert stopped(after) <= stopped(before)
    at_most(stopped(after), 2000, 0.02)


def test_lots_that_turn_bad_are_still_caught():
    """From 3 % to 25 % at disc 40: 98 %, 19 discs later with the chart alone, 20 with runs told."""
    rng = np.random.default_rng(6)
    _, after = both_ways([deal(rng, 0.03, 0.25, 40, 60) for _ in range(600)])
    at_least(stopped(after), 600, 0.98)
    assert np.median([each - 39 for each in after if each is not None and each >= 40]) <= 22


@pytest.mark.campaign
def test_the_table_above():
    rng = np.random.default_rng(1)
    kinds = {
        "3 %": lambda: rng.random(100) < 0.03,
        "20 %": lambda: rng.random(100) < 0.20,
        "turns": lambda: deal(rng, 0.03, 0.25, 40, 60),
        "6 at 50 %": lambda: deal(rng, 0.01, 0.5, rng.integers(0, 95), 6),
        "10 at 50 %": lambda: deal(rng, 0.01, 0.5, rng.integers(0, 91), 10),
        "10 at 80 %": lambda: deal(rng, 0.02, 0.8, 10 * rng.integers(0, 10), 10),
    }
    bounds = {
        "3 %": (0, 0.02),
        "20 %": (0.99, 1),
        "turns": (0.975, 1),
        "6 at 50 %": (0, 0.13),
        "10 at 50 %": (0, 0.36),
        "10 at 80 %": (0, 0.38),
    }
    for kind, draw in kinds.items():
        lots = [draw() for _ in range(5_000)]
        before, after = both_ways(lots)
        found = {"alone": before, "as they come": [as_they_come(each) for each in lots], "at the end": after}
        for name, where in found.items():
            median = np.median([999 if each is None else each + 1 for each in where])
            print(f"{kind:12} {name:14} {stopped(where) / 5_000:.4f} median {median:.0f}")
        low, high = bounds[kind]
        assert low <= stopped(after) / 5_000 <= high
