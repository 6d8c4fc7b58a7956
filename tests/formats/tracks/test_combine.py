"""Turns put together read what no turn reads alone, as far as its faults come anew at each turn."""

import numpy as np
import pytest

from formats import registry
from formats.tracks.combine import combine, turns_of
from formats.tracks.encode import encode_side
from formats.tracks.intervals import Recovered, recover, rules_of
from formats.tracks.reading import Stretch, read_fields
from tests.helpers.flux import Noise, magnetise, play, ticks


def sectors(geometry, made: Recovered) -> set[int]:
    """The numbers of the sectors that are sound in some cells."""
    reading = read_fields(geometry, [Stretch(made.bits, made.count, False)])
    identifiers, block = reading.identifiers, reading.block_of
    sound = identifiers.sound & (block >= 0) & (reading.blocks.sound[block] if len(reading.blocks) else False)
    return set(identifiers.number("sector")[sound].tolist())


def put_together(name: str, jitter: float, share: float, turns: int, tracks: int = 3, apart: bool = False) -> tuple[float, float]:
    """Shares of sectors that any of some turns reads alone, and that are read when all are put together."""
    geometry = registry.geometry(name)
    dump = np.random.default_rng(5).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()
    packed = encode_side(geometry, dump, geometry.identity_values(b"SM", 254))[0]
    cells = np.unpackbits(np.frombuffer(packed, np.uint8))[: geometry.track_cells(0)]
    cell_ns, rules, alone, both = float(geometry.zones[0].cell_ns), rules_of(geometry, 0, geometry.rpm), 0, 0
    for track in range(tracks):
        rng = np.random.default_rng((2, track))
        medium = magnetise(cells, cell_ns, Noise(jitter, share, peak_shift_ns=100, speed=0.01, wow=0.006), rng)
        reads = [(1.2, rng.random()) for _ in range(turns)] if apart else [(turns + 0.2, 0.3)]
        pieces, seen, length = [], set(), len(cells) / 1.0
        for wanted, start in reads:
            made = recover([ticks(play(medium, rng, wanted, start)[0]) * 25.0], rules)
            seen |= sectors(geometry, made)
            at = np.flatnonzero(np.unpackbits(np.frombuffer(made.bits, np.uint8))) + made.residual / 100
            pieces += turns_of(at, length)
        combined = combine(pieces, length, rules)
        alone += len(seen)
        both += len(seen | sectors(geometry, combined)) if combined else len(seen)
    total = tracks * geometry.zones[0].sectors
    return alone / total, both / total


@pytest.mark.parametrize("apart", [False, True], ids=["one-read", "reads-begun-anywhere"])
@pytest.mark.parametrize(("name", "jitter"), [("mfm-40x9x512", 0.15), ("gcr6and2-35x16x256", 0.155)])
def test_three_turns_read_what_none_of_them_reads(name, jitter, apart):
    """A quarter of the noise repeats (study, at 15 %: all, where single turns read a third)."""
    alone, both = put_together(name, jitter, 0.25, 3, apart=apart)
    assert alone < 0.85
    assert both > 0.9


def test_what_repeats_on_each_turn_is_not_averaged_out():
    alone, both = put_together("mfm-40x9x512", 0.18, 1.0, 3)
    assert both == alone


def test_one_turn_is_not_several():
    assert combine([np.arange(100.0)], 100.0, rules_of(registry.geometry("mfm-40x9x512"), 0, 300)) is None
