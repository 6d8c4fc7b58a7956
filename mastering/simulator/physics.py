"""What a head hears of a disc: times between transitions, moved by named physical effects. No disc or drive is involved.

The values are from memory of textbooks on magnetic recording and of drives' data sheets (wow 1 to 2 % at most, jitter of a sound disc
2 to 6 % of a cell); none was measured here.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formats.containers.shared.times import Times, pack
from mastering.simulator.disc import Disc, Place, passing

TICKS = 40_000_000  # a second: a reader's clock of 25 ns
_LIMIT = 0.03  # amplitude of the wow and error of the speed that no drive here exceeds


@dataclass(frozen=True)
class Physics:
    """What moves transitions. Lengths are shares of a cell, speeds of the nominal speed.

    `jitter`: deviation of a transition, of whose variance the share `repeatable` lies on the disc and comes the same each turn; `tail`:
    degrees of freedom of its Student distribution; `peak_shift`: how far two transitions at the shortest distance drive each other
    apart, less with the third power of the distance (the far field of superposed pulses); `speed`: how much faster than nominal
    the reading drive turns; `wow`: the amplitude of its swing once a turn; `extra`: transitions a turn that nobody wrote; `splice`: how
    far the end of what was written may miss its beginning.
    """

    jitter: float = 0.03
    repeatable: float = 0.4
    tail: float = 12.0
    peak_shift: float = 0.04
    speed: float = 0.0
    wow: float = 0.003
    extra: float = 0.0
    splice: float = 0.5

    def __post_init__(self) -> None:
        shares = (self.jitter, self.repeatable, self.peak_shift, self.splice)
        if not all(0 <= share <= 1 for share in shares) or self.tail <= 2 or self.extra < 0:
            raise ValueError(f"{self}: shares from 0 to 1, more than 2 degrees of freedom and no fewer than 0 extra transitions are meant")
        if abs(self.speed) > _LIMIT or not 0 <= self.wow <= _LIMIT:
            raise ValueError(f"{self}: speed and wow are within {_LIMIT}")


def heard(disc: Disc, side: Place, turns: float, physics: Physics, written: np.random.Generator, rng: np.random.Generator) -> Times:
    """A read of a track: `written` draws what lies on the disc, the same for every read of it, `rng` what is this read's own."""
    cells, marks = passing(disc, side, turns, rng)
    count = len(disc.tracks[side])
    cell_ns = 60e9 / disc.geometry.rpm / count
    lasting = np.sqrt(physics.repeatable) * _student(written, physics.tail, count)
    seam = physics.splice * written.uniform(-1, 1)
    there = np.flatnonzero(cells)
    angle = (there - marks[0]) % count if marks else there % count
    fresh = np.sqrt(1 - physics.repeatable) * _student(rng, physics.tail, len(there))
    place = there + physics.jitter * (lasting[angle] + fresh) + _driven_apart(there, physics.peak_shift)
    place += seam * ((there - (marks[0] if marks else 0)) // count)  # each turn ends a little later or earlier than its cells would
    strangers = rng.random(rng.poisson(physics.extra * turns)) * len(cells)
    place = np.sort(np.concatenate((place, strangers)))
    index = np.array(marks, np.float64)
    index += seam * np.arange(len(index))
    at, passed = (_passing(each / count, physics) * count * cell_ns for each in (place, index))
    ticks = np.unique(np.rint(at * TICKS / 1e9).astype(np.int64))
    ticks = ticks[ticks > 0]
    holes = np.unique(np.rint(np.maximum(passed, 0) * TICKS / 1e9).astype(np.int64))
    return pack(side[0], side[1], TICKS, np.diff(ticks, prepend=0), tuple(holes.tolist()))


def _student(rng: np.random.Generator, freedom: float, count: int) -> npt.NDArray[np.float64]:
    """Deviations of variance 1 with heavy tails."""
    made: npt.NDArray[np.float64] = rng.standard_t(freedom, count) / np.sqrt(freedom / (freedom - 2))
    return made


def _driven_apart(there: npt.NDArray[np.int64], shift: float) -> npt.NDArray[np.float64]:
    """How far peak shift moves each transition, in cells."""
    if len(there) < 3:
        return np.zeros(len(there))
    gaps = np.diff(there).astype(np.float64)
    push = (np.percentile(gaps, 1) / gaps) ** 3  # the shortest distance, but for noise where nothing was written
    push = np.minimum(push, 1)
    made = np.zeros(len(there))
    made[1:] += push
    made[:-1] -= push
    return shift * made


def _passing(turns: npt.NDArray[np.float64], physics: Physics) -> npt.NDArray[np.float64]:
    """When an angle passes, in nominal turns: faster and slower once a turn."""
    swing = physics.wow / (2 * np.pi) * (1 - np.cos(2 * np.pi * turns))
    made: npt.NDArray[np.float64] = (turns + swing) / (1 + physics.speed)
    return made
