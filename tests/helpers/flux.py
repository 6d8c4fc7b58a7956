"""A disc and a drive as physics has them: what is magnetised on a turn, and when its transitions pass the head.

Independent of `formats.tracks.intervals` and of the product's simulator: it knows cells, nanoseconds and noise, no decoder. All numbers
from memory of textbooks on magnetic recording; jitter and peak shift are named as in the study of the method.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

Times = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """What moves transitions. Shares are of a cell (jitter, repeatable part) or of the nominal speed (speed, wow).

    `jitter`: deviation of a transition; `repeatable`: share of its variance that comes the same on each turn; `tail`: degrees of
    freedom of a Student distribution (0: Gaussian); `peak_shift_ns`: how far two transitions at the shortest distance move apart (the
    field of two pulses superposed falls with the cube of the distance); `speed`, `wow`: the reading drive's; `extra`: transitions
    a turn that were never written; `skew`: a fixed delay between the two polarities, in cells; `drift`: correlation of one
    transition's jitter with the next one's.
    """

    jitter: float = 0.0
    repeatable: float = 0.5
    tail: float = 0.0
    peak_shift_ns: float = 0.0
    speed: float = 0.0
    wow: float = 0.0
    extra: int = 0
    skew: float = 0.0
    drift: float = 0.0


@dataclass(frozen=True)
class Medium:
    """A turn as it is magnetised: `times` of transitions, `turn` its length (both ns at nominal speed), and the noise of its reads."""

    times: Times
    turn: float
    cell_ns: float
    noise: Noise


def _displaced(count: int, share: float, noise: Noise, rng: np.random.Generator) -> Times:
    """Displacements in cells: `share` is the part of the variance."""
    drawn = rng.standard_t(noise.tail, count) / np.sqrt(noise.tail / (noise.tail - 2)) if noise.tail else rng.standard_normal(count)
    if noise.drift:
        drawn = lfilter([np.sqrt(1 - noise.drift**2)], [1, -noise.drift], drawn)
    made: Times = noise.jitter * np.sqrt(share) * drawn
    return made


def magnetise(cells: npt.NDArray[np.uint8], cell_ns: float, noise: Noise, rng: np.random.Generator) -> Medium:
    """A turn of cells (one a byte) on a disc."""
    at = np.flatnonzero(cells).astype(np.float64) * cell_ns
    turn = len(cells) * cell_ns
    before, after = np.diff(at, prepend=at[-1] - turn), np.diff(at, append=at[0] + turn)
    shortest = min(before.min(), after.min())
    at = at + noise.peak_shift_ns * ((shortest / before) ** 3 - (shortest / after) ** 3)
    at = at + cell_ns * _displaced(len(at), noise.repeatable, noise, rng)
    return Medium(np.sort(at), turn, cell_ns, noise)


def erased(medium: Medium, first: float, last: float) -> Medium:
    """A medium whose transitions are gone between two shares of its turn."""
    kept = (medium.times < first * medium.turn) | (medium.times > last * medium.turn)
    return Medium(medium.times[kept], medium.turn, medium.cell_ns, medium.noise)


def spliced(medium: Medium, at: float, shift: float) -> Medium:
    """A medium that was written in two goes: from a share of the turn on all transitions stand `shift` cells later."""
    times = np.where(medium.times < at * medium.turn, medium.times, medium.times + shift * medium.cell_ns)
    return Medium(times, medium.turn, medium.cell_ns, medium.noise)


def play(medium: Medium, rng: np.random.Generator, turns: float = 1.2, start: float = 0.0) -> tuple[Times, Times]:
    """When transitions and index marks pass the head (ns from the start of the read), from a share of the turn on."""
    noise, turn = medium.noise, medium.turn
    passes = int(np.ceil(turns + start)) + 1
    fresh = [
        medium.times + number * turn + medium.cell_ns * _displaced(len(medium.times), 1 - noise.repeatable, noise, rng)
        for number in range(passes)
    ]
    angle = np.concatenate(fresh)
    if noise.skew:
        angle[::2] += noise.skew * medium.cell_ns
    angle = np.sort(np.concatenate([angle, rng.random(noise.extra * passes) * turn * passes]))
    index = np.arange(passes + 1) * turn

    def passing(place: Times) -> Times:
        """The time of an angle: slower and faster once a turn."""
        phase = 2 * np.pi * place / turn
        made: Times = (place + noise.wow * turn / (2 * np.pi) * (1 - np.cos(phase))) / (1 + noise.speed)
        return made

    first, last = passing(np.array([start * turn, (start + turns) * turn]))
    angle, index = passing(angle), passing(index)
    return (angle[(angle > first) & (angle < last)] - first, index[(index >= first) & (index <= last)] - first)


def ticks(times: Times, tick_ns: float = 25.0) -> npt.NDArray[np.int64]:
    """Intervals in a reader's ticks, the first since the start of the read; transitions within one tick are one."""
    counted = np.unique(np.rint(times / tick_ns).astype(np.int64))
    counted = counted[counted > 0]
    made: npt.NDArray[np.int64] = np.diff(counted, prepend=0)
    return made
