"""When to stop a lot, when to look at a drive: exact risks, against published values and against discs that were dealt."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from promises import at_least, at_most

from mastering.deciding.statistics.charts import Chart, drive_chart, lot_chart, mean_discs, points, read_drive, scores, stop_chances
from mastering.deciding.statistics.settings import Settings, SettingsError

LOT = lot_chart(0.03, 0.15, 100, 0.02)
DRIVE = drive_chart(0.03, 0.15, 2000)


def flags(text):
    """Discs as a text: x failed, . good."""
    return np.array([each == "x" for each in text], bool)


# The settings


@pytest.mark.parametrize(
    ("tolerable", "bad", "discs", "chart"),
    [  # computed once by another program, an exact chain whose results were held against 40,000 simulated lots
        (0.03, 0.15, 50, Chart(12, 23, 47)),
        (0.03, 0.15, 100, Chart(12, 25, 51)),
        (0.03, 0.15, 200, Chart(12, 26, 53)),
        (0.02, 0.10, 100, Chart(19, 39, 79)),
        (0.05, 0.20, 100, Chart(8, 20, 41)),
        (0.08, 0.25, 100, Chart(6, 20, 41)),
    ],
)
def test_stop_lines_of_lots(tolerable, bad, discs, chart):
    assert lot_chart(tolerable, bad, discs, 0.02) == chart


def test_a_lower_stop_line_would_stop_too_many_good_lots():
    lower = Chart(LOT.fail, (LOT.stop - 1) // 2, LOT.stop - 1)
    assert stop_chances(LOT, 0.03, 100)[-1] <= 0.02 < stop_chances(lower, 0.03, 100)[-1]


@pytest.mark.parametrize(("target", "stop"), [(1000, 29), (2000, 34), (5000, 41)])
def test_stop_lines_of_drives(target, stop):
    assert drive_chart(0.03, 0.15, target) == Chart(12, 0, stop)
    assert mean_discs(Chart(12, 0, stop - 1), 0.03) < target <= mean_discs(Chart(12, 0, stop), 0.03)


@settings(max_examples=25)
@given(st.floats(0.01, 0.2), st.floats(1.5, 6), st.integers(100, 5000))
def test_any_shops_drive_chart_keeps_its_promise(tolerable, times, target):
    bad = min(tolerable * times, 0.9)
    made = drive_chart(tolerable, bad, target)
    assert mean_discs(made, tolerable) >= target
    assert made.stop == 1 or mean_discs(Chart(made.fail, 0, made.stop - 1), tolerable) < target


def test_rates_that_no_chart_can_hold_are_refused():
    with pytest.raises(SettingsError, match="set higher rates"):
        points(0.0005, 0.001)
    with pytest.raises(SettingsError, match="0 < tolerable < bad < 1"):
        Settings(tolerable=0.2, bad=0.1)
    with pytest.raises(SettingsError, match="false_stop"):
        Settings(false_stop=1.5)


# The risks


@pytest.mark.parametrize(("rate", "chance"), [(0.03, 0.0185), (0.10, 0.7113), (0.20, 0.9990)])
def test_chance_that_a_lot_is_stopped(rate, chance):
    """Exact chain of another program; 40,000 simulated lots gave .0181, .7053 and .9990."""
    assert stop_chances(LOT, rate, 100)[-1] == pytest.approx(chance, abs=5e-5)


def test_a_20_percent_lot_is_stopped_at_its_15th_disc_in_half_of_all_cases():
    reached = stop_chances(LOT, 0.20, 100)
    assert reached[13] < 0.5 <= reached[14]
    assert reached[36] >= 0.9


def test_mean_discs_to_two_failures_running():
    """Feller, An Introduction to Probability Theory I, XIII.7: (1 + p) / p^2, 110 at 10 %; from memory. A point is all that a failure adds."""
    assert mean_discs(Chart(1, 0, 1), 0.1) == pytest.approx(10)
    states = np.array([[0.9, 0.1], [0.9, 0.0]])  # nothing yet; one failure just now
    assert np.linalg.solve(np.eye(2) - states, np.ones(2))[0] == pytest.approx(110)
    assert mean_discs(Chart(1, 0, 2), 0.1) == pytest.approx(110)


def test_a_drives_delay_and_false_alarms():
    """Exact by another program: 4705.15 discs at a stop line of 40; 21.2 at 20 %, where a simulation gave 21.38 +- 0.10."""
    assert mean_discs(Chart(12, 0, 40), 0.03) == pytest.approx(4705.15, abs=0.005)
    assert mean_discs(DRIVE, 0.20) == pytest.approx(21.2, abs=0.05)
    assert mean_discs(DRIVE, 0.03) == pytest.approx(2037, abs=0.5)


def test_dealt_discs_agree_with_the_chain():
    rng = np.random.default_rng(1)
    for rate, promise in ((0.03, 0.0185), (0.10, 0.7113)):
        stopped = sum(bool((scores(LOT, rng.random(100) < rate) >= LOT.stop).any()) for _ in range(4000))
        at_least(stopped, 4000, promise)
        at_most(stopped, 4000, promise)


def test_dealt_drives_agree_with_the_linear_system():
    rng = np.random.default_rng(2)
    delays = [np.argmax(scores(DRIVE, rng.random(400) < 0.20) >= DRIVE.stop) + 1 for _ in range(3000)]
    assert np.mean(delays) == pytest.approx(21.2, abs=3 * np.std(delays) / np.sqrt(3000))


# The reading


def test_three_failures_at_the_start_stop_a_lot_two_do_not():
    assert list(scores(LOT, flags("xx")) >= LOT.stop) == [False, False]
    assert list(scores(LOT, flags("xxx")) >= LOT.stop) == [False, False, True]


def test_a_score_never_falls_below_0():
    assert list(scores(Chart(12, 2, 51), flags("....x..."))) == [1, 0, 0, 0, 12, 11, 10, 9]


@given(st.lists(st.booleans(), max_size=300))
def test_a_score_is_what_adding_up_gives(failed):
    score, path = LOT.start, []
    for each in failed:
        score = max(0, score + (LOT.fail if each else -1))
        path.append(score)
    assert scores(LOT, np.array(failed, bool)).tolist() == path


@given(st.lists(st.booleans(), max_size=300))
def test_a_drive_rings_where_its_score_first_reaches_the_line_and_until_it_is_back_at_0(failed):
    score, alarm, since = 0, None, 0
    for disc, each in enumerate(failed):
        score = min(max(0, score + (DRIVE.fail if each else -1)), DRIVE.stop)
        if score == 0:
            alarm, since = None, disc + 1
        elif score == DRIVE.stop and alarm is None:
            alarm = disc
    reading = read_drive(DRIVE, np.array(failed, bool))
    assert (reading.score, reading.alarm, reading.since) == (score, alarm, since)
