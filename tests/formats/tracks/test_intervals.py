"""Times become cells: first by intervals that handbooks give, then through noise of every kind that has a name."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats import registry
from formats.tracks import intervals, plain_loop
from formats.tracks.encode import encode_side
from formats.tracks.intervals import Rules, recover, rules_of
from formats.tracks.reading import Stretch, read_fields
from tests.helpers.flux import Noise, erased, magnetise, play, spliced, ticks

IDS = registry.names("geometries", foreign=False)
CODES = ("fm-40x10x256", "mfm-40x9x512", "gcr4to5-35z", "gcr6and2-35x16x256", "gcr5and3-35x13x256")


def ones(made: intervals.Recovered) -> np.ndarray:
    """The cells with a transition."""
    return np.flatnonzero(np.unpackbits(np.frombuffer(made.bits, np.uint8))[: made.count])


def runs(micro: list[float], rules: Rules) -> list[int]:
    """The runs of cells of some intervals in microseconds."""
    return np.diff(ones(recover([np.array(micro) * 1000.0], rules)), prepend=0).tolist()


def track(name: str) -> tuple:
    """A geometry, the cells of its first track (one a byte), the length of a cell in ns."""
    geometry = registry.geometry(name)
    dump = np.random.default_rng(5).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()
    packed = encode_side(geometry, dump, geometry.identity_values(b"SM", 254))[0]
    return geometry, np.unpackbits(np.frombuffer(packed, np.uint8))[: geometry.track_cells(0)], float(geometry.zones[0].cell_ns)


def heard(medium, seed: int = 1, turns: float = 1.015, start: float = 0.99) -> np.ndarray:
    """Intervals in ns of a read."""
    return ticks(play(medium, np.random.default_rng(seed), turns, start)[0]) * 25.0


def sound(geometry, made: intervals.Recovered) -> int:
    """Sound blocks of sound identifiers."""
    reading = read_fields(geometry, [Stretch(made.bits, made.count, False)])
    own = reading.block_of[reading.identifiers.sound]
    return int(reading.blocks.sound[own[own >= 0]].sum())


# Published values: FM at 125 kbit/s has intervals of 4 and 8 microseconds, MFM at 250 kbit/s of 4, 6 and 8 (ECMA-66, ECMA-70)


def test_fm_ones_come_every_4_microseconds_and_zeros_every_8():
    rules = rules_of(registry.geometry("fm-40x10x256"), 0, 300)
    assert runs([4.0] * 64 + [8.0] * 64, rules) == [1] * 64 + [2] * 64  # cells 11 for each 1, 10 for each 0


def test_mfm_intervals_are_4_6_and_8_microseconds():
    """A1 with its missing clock is 01 00 01 00 10 00 10 01: after 00s (4 us each) it reads 8, 6, 8, 6 from its first transition on."""
    rules = rules_of(registry.geometry("mfm-40x9x512"), 0, 300)
    mark = [4.0] * 60 + [6.0, 8.0, 6.0, 8.0, 6.0]
    assert runs(mark, rules) == [2] * 60 + [3, 4, 3, 4, 3]


def test_group_cells_are_4_microseconds():
    rules = rules_of(registry.geometry("gcr6and2-35x16x256"), 0, 300)
    assert runs([4.0, 8.0, 12.0, 4.0] * 20, rules) == [1, 2, 3, 1] * 20


@pytest.mark.parametrize("speed", [0.97, 1.0, 1.03])
def test_the_clock_follows_a_drive_that_is_slow_or_fast(speed):
    rules = rules_of(registry.geometry("mfm-40x9x512"), 0, 300)
    bits = np.random.default_rng(2).choice([2, 3, 4], 4000, p=[0.5, 0.3, 0.2])
    assert runs((bits * 2.0 / speed).tolist(), rules) == bits.tolist()


def test_rules_are_learned_from_what_a_geometry_writes():
    """FM: one or two cells, twos from clock to clock; MFM: two to four, fours from data to data; group codes: at most two 0s, or one."""
    seen = {name: rules_of(registry.geometry(name), 0, 300) for name in CODES}
    assert {name: (rules.shortest, rules.longest, rules.paired) for name, rules in seen.items()} == {
        "fm-40x10x256": (1, 2, True),
        "mfm-40x9x512": (2, 4, True),
        "gcr4to5-35z": (1, 3, False),
        "gcr6and2-35x16x256": (1, 3, False),
        "gcr5and3-35x13x256": (1, 2, False),
    }
    assert seen["mfm-40x9x512"].marked == ((3, 3),)


# Round trips


@pytest.mark.parametrize("name", IDS)
def test_a_quiet_turn_comes_back_cell_for_cell(name):
    geometry, cells, cell_ns = track(name)
    made = recover([heard(magnetise(cells, cell_ns, Noise(0.01), np.random.default_rng(1)))], rules_of(geometry, 0, geometry.rpm))
    written = np.diff(np.flatnonzero(np.tile(cells, 4))).astype(np.uint8).tobytes()
    assert np.diff(ones(made))[2:-2].astype(np.uint8).tobytes() in written
    assert sound(geometry, made) == geometry.zones[0].sectors


NAMED = {
    "Gaussian": Noise(0.06),
    "half repeats": Noise(0.06, repeatable=0.5),
    "heavy tails": Noise(0.025, tail=9),
    "skewed": Noise(0.03, skew=0.04),
    "correlated": Noise(0.06, drift=0.6),
    "peak shift": Noise(0.03, peak_shift_ns=160),
    "slow": Noise(0.03, speed=-0.0295),
    "fast": Noise(0.03, speed=0.0295),
    "wow": Noise(0.03, wow=0.02, speed=0.008),
}


@pytest.mark.parametrize("noise", NAMED.values(), ids=NAMED)
@pytest.mark.parametrize("name", CODES)
def test_a_sound_track_reads_whole_through_noise_that_drives_have(name, noise):
    geometry, cells, cell_ns = track(name)
    medium = magnetise(cells, cell_ns, noise, np.random.default_rng(6))
    made = recover([heard(medium, 6)], rules_of(geometry, 0, geometry.rpm))
    assert sound(geometry, made) == geometry.zones[0].sectors


@pytest.mark.parametrize("name", CODES)
def test_a_write_splice_costs_no_sector_that_it_does_not_touch(name):
    """The place: in the tail behind the last block, where every drive begins and ends a track."""
    geometry, cells, cell_ns = track(name)
    medium = spliced(magnetise(cells, cell_ns, Noise(0.03), np.random.default_rng(3)), 0.999, 0.45)
    made = recover([heard(medium, turns=3.015)], rules_of(geometry, 0, geometry.rpm))
    assert sound(geometry, made) == 3 * geometry.zones[0].sectors


@pytest.mark.parametrize("name", CODES)
def test_a_dropout_costs_the_sectors_that_it_touches_and_no_other(name):
    geometry, cells, cell_ns = track(name)
    medium = erased(magnetise(cells, cell_ns, Noise(0.05), np.random.default_rng(4)), 0.47, 0.49)
    made = recover([heard(medium)], rules_of(geometry, 0, geometry.rpm))
    assert geometry.zones[0].sectors - 2 <= sound(geometry, made) < geometry.zones[0].sectors


@pytest.mark.parametrize("name", CODES)
def test_worn_tracks_read_where_a_plain_loop_loses_more(name):
    """At a jitter near the bound of any decoder the plain loop fails at least twice as many sectors (flux study: several times)."""
    geometry, cells, cell_ns = track(name)
    rules, ours, plain = rules_of(geometry, 0, geometry.rpm), 0, 0
    for seed in range(12):
        gaps = heard(magnetise(cells, cell_ns, Noise(0.115), np.random.default_rng(seed)), seed)
        ours += geometry.zones[0].sectors - sound(geometry, recover([gaps], rules))
        bits = np.zeros(int(gaps.sum() / cell_ns * 1.1), np.bool_)
        bits[np.cumsum(plain_loop.runs(gaps.tolist(), cell_ns))] = True
        read = read_fields(geometry, [Stretch(np.packbits(bits).tobytes(), len(bits), False)])
        own = read.block_of[read.identifiers.sound]
        plain += geometry.zones[0].sectors - int(read.blocks.sound[own[own >= 0]].sum())
    assert plain >= 2 * ours
    assert ours <= 0.05 * 12 * geometry.zones[0].sectors


# Pieces and ends


def test_a_long_stretch_is_the_same_in_pieces(monkeypatch):
    geometry, cells, cell_ns = track("gcr4to5-35z")
    gaps = heard(magnetise(cells, cell_ns, Noise(0.05), np.random.default_rng(3)), turns=2.3, start=0.4)
    rules = rules_of(geometry, 0, 300)
    whole = recover([gaps], rules)
    monkeypatch.setattr(intervals, "_PIECE", 5000)
    parts = recover(np.array_split(gaps, 7), rules)
    assert parts.bits == whole.bits
    assert len(parts.residual) == len(whole.residual) == len(ones(whole))
    assert np.abs(parts.residual - whole.residual.astype(int)).max() < 12
    assert parts.clock_ns[-1] == pytest.approx(whole.clock_ns[-1])


@given(st.lists(st.integers(1, 2**32 - 1), max_size=200), st.sampled_from(CODES))
@settings(max_examples=60)
def test_any_times_become_some_cells_or_one_refusal(ticks_given, name):
    rules = replace(rules_of(registry.geometry(name), 0, 300), cell_ns=2000.0)
    gaps = np.array(ticks_given, np.float64)
    if gaps.sum() < 0.9 * intervals.MOST_CELLS * rules.cell_ns * 0.88:
        made = recover([gaps], rules)
        assert len(made.bits) == (made.count + 7) // 8
        assert len(made.residual) == len(ones(made))


def test_nothing_is_no_cell():
    assert recover([], Rules(2000.0, 2, 4)).count == 0


def test_days_between_two_transitions_are_refused():
    with pytest.raises(intervals.ContainerError, match="more than 33,554,432 cells"):
        recover([np.array([4000.0, 1e13])], Rules(2000.0, 2, 4))
