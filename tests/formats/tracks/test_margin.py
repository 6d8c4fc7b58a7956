"""The margin's parts against scipy, and its whole against what fresh reads do."""

import numpy as np
import pytest
from scipy import stats

from formats.tracks import margin
from formats.tracks.intervals import Rules
from formats.tracks.margin import Margin, Sector, side_chance

RULES = Rules(4000.0, 1, 3)


@pytest.mark.parametrize("freedom", [3.0, 5.0, 40.0])
def test_the_tail_is_students(freedom):
    """Of variance 1, as scipy has it."""
    at = (np.arange(len(margin._tail(freedom))) + 0.5) / margin._FINE
    wanted = stats.t.sf(at * np.sqrt(freedom / (freedom - 2)), freedom)
    assert margin._tail(freedom) == pytest.approx(wanted, rel=0.02)


def sectors(rng, jitter: float, count: int = 60, turns: int = 3, tail: float = 0, share: float = 0.5) -> list[tuple[Sector, np.ndarray]]:
    """Sectors whose runs are all two cells of at most three; and where the transitions stand for good."""
    made = []
    for place in range(count):
        lasting = rng.normal(0, jitter * np.sqrt(share), 2000)
        drawn = rng.standard_t(tail, (turns, 2000)) / np.sqrt(tail / (tail - 2)) if tail else rng.standard_normal((turns, 2000))
        fresh = drawn * jitter * np.sqrt(1 - share)
        made.append((Sector(place, lasting + fresh, np.full(1999, 2), np.arange(2000) * 2), lasting))
    return made


@pytest.mark.parametrize(("jitter", "tail"), [(0.115, 0), (0.125, 0), (0.07, 5)])
def test_predicted_chances_are_those_that_come_true(jitter, tail):
    """Within 2.5 on average (the goal), where a fresh read fails when a transition is half a cell away."""
    rng = np.random.default_rng(4)
    made = sectors(rng, jitter, tail=tail)
    gathered = Margin()
    gathered.add_track(RULES, [sector for sector, _ in made])
    predicted = np.mean([chance.reader for chance in gathered.chances()])
    fails = 0
    for _, lasting in made:
        drawn = rng.standard_t(tail, (200, 2000)) / np.sqrt(tail / (tail - 2)) if tail else rng.standard_normal((200, 2000))
        fails += int((np.abs(lasting + drawn * jitter * np.sqrt(0.5)) > 0.5).any(axis=1).sum())
    observed = fails / (200 * len(made))
    assert observed > 0.001
    assert 1 / 2.5 < predicted / observed < 2.5


def test_the_tail_is_taken_from_the_reads():
    rng = np.random.default_rng(5)
    for tail, low, high in ((5, 4, 7), (0, 40, 200)):
        gathered = Margin()
        gathered.add_track(RULES, [sector for sector, _ in sectors(rng, 0.08, tail=tail, turns=5)])
        assert low <= gathered._freedom() <= high


def test_a_displaced_transition_is_seen():
    """One transition that stands 0.35 cells late on every turn makes its sector the worst by far."""
    rng = np.random.default_rng(6)
    made = [sector for sector, _ in sectors(rng, 0.05, 20)]
    made[7].residual[:, 1000] += 0.35
    gathered = Margin()
    gathered.add_track(RULES, made)
    chances = {chance.place: chance.reader for chance in gathered.chances()}
    assert max(chances, key=chances.__getitem__) == 7
    assert chances[7] > 100 * sorted(chances.values())[-2]


def test_a_sector_that_failed_once_is_no_safe_one():
    rng = np.random.default_rng(7)
    sector, _ = sectors(rng, 0.05, 1)[0]
    gathered = Margin()
    gathered.add_track(RULES, [Sector(0, sector.residual, sector.runs, sector.cell, failed=1)])
    assert 0.1 < gathered.chances()[0].reader < 0.5


def test_a_side_is_lost_when_any_of_its_sectors_is():
    assert side_chance([0.1, 0.2]) == pytest.approx(1 - 0.9 * 0.8)
    assert side_chance([1e-9] * 10) == pytest.approx(1e-8)
    assert side_chance([]) == 0


def test_quiet_transitions_are_safe():
    gathered = Margin()
    gathered.add_track(RULES, [sector for sector, _ in sectors(np.random.default_rng(8), 0.03, 5)])
    assert all(chance.reader < 1e-6 and chance.plain < 1e-6 for chance in gathered.chances())
