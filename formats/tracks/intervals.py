"""Times between transitions to cells: the clock of a stretch is recovered from all of it, before and behind each transition.

Nothing here is causal, as a machine's circuit must be: each transition is judged with its neighbours on both sides. All of a piece of a
stretch is done at once; the slow parts of the clock on sums of eight transitions. The steps, one function each: the length of a cell;
its slow changes; the clock's phase, from a sum of unit vectors that needs no decision; rounding to cells; the mean displacement by
the neighbouring runs (peak shift), taken out; a search among the few doubtful transitions for the cells that fit best.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt

from formats.errors import ContainerError
from formats.model.geometry import Geometry
from formats.tracks.encode import encode_side

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]
Small = npt.NDArray[np.int8]

_BLOCK = 8  # transitions that are summed for everything slow
_PIECE = 1 << 17  # transitions decoded at a time: bounds the memory that a stretch of many turns takes
_OVERLAP = 1 << 11  # transitions of the neighbouring pieces that a piece is decoded with
_REACH = 0.12  # how far the cell's length may be from the nominal one: two drives' speeds, and another density (3 to 8 %) to be seen
_FINE = 100  # parts of a cell in which intervals are counted
_LENGTH_WINDOW = 61  # blocks, twice, over which the cell's length is averaged: wow passes, jitter doesn't
_QUICK_WINDOW = 5  # blocks over which the phase is first followed
_PHASE_WINDOW = 13  # blocks, twice, over which it is averaged once its slow part is gone
_DOUBTFUL = 0.2  # of a cell: a residual from which on other cells are tried
_ILLEGAL = 12.0  # what a run that the code lacks costs, in units of squared residual over twice its variance
_WRONG_PHASE = 10.0  # what a longest run on the wrong cells costs (marks have some)
_ROUNDS = 5  # of the search
_HOPELESS = 0.6  # share of doubtful transitions beyond which nothing was recorded (at a fifth of a cell's jitter it is 0.4)
_ROOM = 1 << 23  # cells packed at a time
_CLOCK = 256  # transitions from one reading of the clock that is kept to the next
MOST_CELLS = 1 << 25  # of one read of a track: as many as 4 MiB hold


@dataclass(frozen=True)
class Rules:
    """What is expected of a track's transitions: the nominal cell in ns, the runs of cells from one to the next.

    `paired`: the longest run stands on every second cell only, since every second cell is a clock's (FM, MFM); but between the pairs of
    runs in `marked`, which make a mark.
    """

    cell_ns: float
    shortest: int
    longest: int
    paired: bool = False
    marked: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, eq=False)
class Recovered:
    """A stretch as cells: `bits` holds `count` of them, packed, the last one with the last transition.

    `residual`: how much later than the clock each transition came, in hundredths of a cell, in the order of the 1s of `bits`;
    `clock_cell`, `clock_ns`: the cell and the time of every few hundredth transition, and of the last.
    """

    bits: bytes
    count: int
    residual: Small
    clock_cell: Ints
    clock_ns: Floats


def rules_of(geometry: Geometry, cylinder: int, rpm: float) -> Rules:
    """What a geometry leads one to expect on a cylinder, read at a drive's nominal speed."""
    return replace(_rules_of(geometry), cell_ns=float(geometry.zone(cylinder).cell_ns) * geometry.rpm / rpm)


@cache
def _rules_of(geometry: Geometry) -> Rules:
    """The runs that a geometry writes, learned from a side of it: all but one in a thousand; and where the longest stand."""
    noise = np.random.default_rng(1).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()
    first = encode_side(geometry, noise, geometry.identity_values(b"OB", 254))[0]
    places = np.flatnonzero(np.unpackbits(np.frombuffer(first, np.uint8)))
    runs = np.diff(places)
    usual = np.flatnonzero(np.bincount(runs) > len(runs) / 1000)
    shortest, longest = int(usual[0]), int(usual[-1])
    odd = places[1:] & 1
    share = float(odd[runs == longest].mean())
    if abs(share - 0.5) < 0.4:
        return Rules(0.0, shortest, longest)
    strange = np.flatnonzero((runs[1:-1] == longest) & (odd[1:-1] != round(share))) + 1
    pairs = sorted(set(zip(runs[strange - 1].tolist(), runs[strange + 1].tolist(), strict=True)))
    return Rules(0.0, shortest, longest, True, tuple(pairs))


@cache
def _exempt(rules: Rules) -> Flags:
    """By the runs before and behind a longest one: whether they make it a mark's."""
    made = np.zeros((rules.longest + 2, rules.longest + 2), np.bool_)
    for before, behind in rules.marked:
        made[min(before, rules.longest + 1), min(behind, rules.longest + 1)] = True
    return made


def recover(gaps: Iterable[Floats], rules: Rules) -> Recovered:
    """The cells of a stretch's intervals, given in ns some at a time, the first one since the start of the read.

    ContainerError when they would be more cells than any capture may hold.
    """
    made = _Written()
    for window, begin, end in _windows(gaps):
        times = np.cumsum(window)
        period, phase = _clock(window[1:], rules)
        cell, residual = _decide(phase, rules)
        lead = 0 if made.transitions else max(round(float(window[0] / period[0])), 0)
        made.add(times - times[begin] + window[begin], cell + lead, residual, begin, end)
    return made.whole()


def _windows(gaps: Iterable[Floats]) -> Iterator[tuple[Floats, int, int]]:
    """Pieces of a stretch, each with some of its neighbours' intervals: first and behind-last of its own are given."""
    held, begin = np.zeros(0), 0
    for some in gaps:
        held = np.concatenate((held, some))
        while len(held) >= begin + _PIECE + _OVERLAP:
            end = begin + _PIECE
            yield held[: end + _OVERLAP], begin, end
            held, begin = held[end - _OVERLAP :], _OVERLAP
    if len(held) > begin:
        yield held, begin, len(held)


class _Written:
    """Cells of a stretch, packed piece by piece."""

    def __init__(self) -> None:
        self.transitions, self.last, self.ns = 0, 0, 0.0  # so many; the last one's cell and time
        self.open = np.zeros(0, np.uint8)  # the last byte, which the next piece may add to
        self.bits: list[bytes] = []
        self.residuals: list[Small] = []
        self.clock: list[tuple[Ints, Floats]] = []

    def add(self, times: Floats, cell: Ints, residual: Floats, begin: int, end: int) -> None:
        """The transitions from `begin` to `end` of a window; `times` since the last one before them."""
        if self.transitions:
            cell = cell - cell[begin - 1] + self.last
        cell, residual, times = np.maximum.accumulate(cell[begin:end]), residual[begin:end], times[begin:end] + self.ns
        if cell[-1] >= MOST_CELLS:
            raise ContainerError(f"more than {MOST_CELLS:,} cells in one read of a track, which no disc holds")
        own = np.diff(cell, prepend=self.last if self.transitions else -1) > 0  # two transitions in one cell are one
        self.residuals.append(np.clip(np.rint(residual[own] * 100), -127, 127).astype(np.int8))
        self._pack(cell)
        marks = np.append(np.arange(0, len(cell) - 1, _CLOCK), len(cell) - 1)
        self.clock.append((cell[marks], times[marks]))
        self.transitions, self.last, self.ns = self.transitions + len(cell), int(cell[-1]), float(times[-1])

    def _pack(self, cell: Ints) -> None:
        first = self.last // 8 * 8 if self.transitions else 0
        for start in range(first, int(cell[-1]) + 1, _ROOM):
            bits = np.zeros((min(start + _ROOM, int(cell[-1]) // 8 * 8 + 8) - start), np.bool_)
            here = slice(*np.searchsorted(cell, (start, start + len(bits))))
            bits[cell[here] - start] = True
            made = np.packbits(bits)
            if start == first and len(self.open):
                made[0] |= self.open[0]
            self.bits.append(made.tobytes())
        last = self.bits.pop()
        self.open = np.frombuffer(last[-1:], np.uint8)
        self.bits.append(last[:-1])

    def whole(self) -> Recovered:
        """All that was added."""
        if not self.transitions:
            return Recovered(b"", 0, np.zeros(0, np.int8), np.zeros(0, np.int64), np.zeros(0))
        cell, ns = (np.concatenate(column) for column in zip(*self.clock, strict=True))
        bits = b"".join([*self.bits, self.open.tobytes()])
        return Recovered(bits, self.last + 1, np.concatenate(self.residuals), cell, ns)


# The clock


def _clock(gaps: Floats, rules: Rules) -> tuple[Floats, Floats]:
    """For each transition the length of a cell about it, and its phase: the cells since the first one, so that whole ones are likely."""
    count = len(gaps) + 1
    if count < 4 * _BLOCK:
        return np.full(count, rules.cell_ns), np.concatenate(([0.0], np.cumsum(gaps / rules.cell_ns)))
    period = _period(gaps, cell_length(gaps, rules), rules)
    phase = np.concatenate(([0.0], np.cumsum(gaps / period[1:])))
    phase -= _spread(_averaged(_angle(phase, _QUICK_WINDOW), _QUICK_WINDOW), count)
    phase -= _spread(_angle(phase, _PHASE_WINDOW, twice=True), count)
    return period, phase


@cache
def _waves(longest: int) -> tuple[Floats, Floats]:
    """Scales of a cell that are tried, and for each the cosine of every interval, in parts of a nominal cell."""
    scales = np.linspace(1 - _REACH, 1 + _REACH, 121)
    parts = np.arange((2 * longest + 3) * _FINE // 2) / _FINE
    return scales, np.cos(2 * np.pi * parts[:, None] / scales)


def cell_length(gaps: Floats, rules: Rules) -> float:
    """The length of a cell of which most intervals are a whole number: a sum of cosines, which a common phase cannot lead astray."""
    scales, waves = _waves(rules.longest)
    parts = np.minimum(np.rint(gaps * (_FINE / rules.cell_ns)), len(waves)).astype(np.int64)
    counts = np.bincount(parts, minlength=len(waves) + 1)[: len(waves)]
    score = counts @ waves
    best = int(np.argmax(score))
    if 0 < best < len(scales) - 1:  # the top of the parabola through three points
        low, top, high = score[best - 1 : best + 2]
        return float(rules.cell_ns * (scales[best] + (low - high) / (2 * (low - 2 * top + high)) * (scales[1] - scales[0])))
    return float(rules.cell_ns * scales[best])


def _period(gaps: Floats, length: float, rules: Rules) -> Floats:
    """The length of a cell about each transition: time over cells, averaged over many."""
    period = np.full(len(gaps) + 1, length)
    for _ in range(2):
        cells = np.rint(gaps / period[1:])
        usable = (cells >= rules.shortest) & (cells <= rules.longest)
        took, ran = (_averaged(_sums(np.where(usable, each, 0.0)), _LENGTH_WINDOW, twice=True) for each in (gaps, cells))
        local = np.where(ran > 0, took / np.maximum(ran, 1e-9), length)
        period = _spread(np.clip(local, 0.94 * length, 1.06 * length), len(gaps) + 1)
    return period


def _angle(phase: Floats, window: int, twice: bool = False) -> Floats:
    """The clock's phase in cells, by blocks: the angle of the mean unit vector, made steady over its turns."""
    turned = (phase - np.floor(phase)).astype(np.float32) * np.float32(2 * np.pi)
    east, north = (_averaged(_sums(each), window, twice) for each in (np.cos(turned), np.sin(turned)))
    made: Floats = np.unwrap(np.arctan2(north, east)) / (2 * np.pi)
    return made


def _sums(values: npt.NDArray[np.floating]) -> Floats:
    """Sums of eight; of what is left at the end the last block takes its share."""
    blocks = len(values) // _BLOCK
    made: Floats = values[: blocks * _BLOCK].reshape(blocks, _BLOCK).sum(axis=1, dtype=np.float64)
    if len(values) > blocks * _BLOCK and blocks:
        made[-1] += values[blocks * _BLOCK :].sum(dtype=np.float64)
    return made


def _averaged(values: Floats, window: int, twice: bool = False) -> Floats:
    """A running mean over an odd number of blocks, over fewer at the ends."""
    half = window // 2
    sums = np.concatenate((np.zeros(half + 1), np.cumsum(values), np.full(half, values.sum())))
    there = np.arange(len(values))
    counts = np.minimum(there + half, len(values) - 1) - np.maximum(there - half, 0) + 1
    made: Floats = (sums[window:] - sums[:-window]) / counts
    return _averaged(made, window) if twice else made


def _spread(blocks: Floats, count: int) -> Floats:
    """Values of blocks for each transition, on straight lines from middle to middle."""
    steps = np.diff(blocks, append=blocks[-1:])[:, None] * (np.arange(_BLOCK) / _BLOCK)
    inner = (blocks[:, None] + steps).reshape(-1)
    lead = _BLOCK // 2
    made = np.empty(count)
    made[:lead] = blocks[0]
    room = min(count - lead, len(inner))
    made[lead : lead + room] = inner[:room]
    made[lead + room :] = blocks[-1]
    return made


# The cells


def _decide(phase: Floats, rules: Rules) -> tuple[Ints, Floats]:
    """The cell of each transition, and how much later than the clock it came."""
    cell = np.rint(phase).astype(np.int64)
    if len(cell) < 4 * _BLOCK:
        return cell, phase - cell
    table = np.zeros(16)
    for _ in range(2):
        kind = _kinds(np.diff(cell), rules)
        table = _displacements(kind, phase - cell)
        phase = phase - _spread(_averaged(_sums(phase - cell - table[kind]) / _BLOCK, _PHASE_WINDOW, twice=True), len(phase))
        cell = np.rint(phase - table[kind]).astype(np.int64)
    kind = _kinds(np.diff(cell), rules)
    table = _displacements(kind, phase - cell)
    cell = _search(phase, cell, table, rules)
    return cell, phase - cell


def _kinds(runs: Ints, rules: Rules) -> Ints:
    """For each transition a number of its two runs: too short or too long, shortest, next, longer."""
    level = np.where((runs < rules.shortest) | (runs > rules.longest), 0, np.clip(runs - rules.shortest, 0, 2) + 1)
    made = np.zeros(len(runs) + 1, np.int64)
    made[1:] = level * 4
    made[:-1] += level
    return made


def _displacements(kind: Ints, residual: Floats) -> Floats:
    """The mean residual of each kind, about their common mean: peak shift, as this stretch has it."""
    near = np.abs(residual) < 0.5
    counts = np.bincount(kind[near], minlength=16)
    sums = np.bincount(kind[near], residual[near], minlength=16)
    table = np.where(counts > 50, sums / np.maximum(counts, 1), 0.0)
    table[[0, 1, 2, 3, 4, 8, 12]] = 0.0  # beside a run that the code lacks
    made: Floats = table - (table * counts).sum() / max(counts.sum(), 1)
    return made


def _search(phase: Floats, cell: Ints, table: Floats, rules: Rules) -> Ints:
    """The cells after each doubtful transition was tried one cell earlier and later, the best of neighbours first, while any gains."""
    cell = cell.copy()
    kind = _kinds(np.diff(cell), rules)
    off = phase - cell - table[kind]
    scale = 1 / (2 * max(float(np.mean(np.minimum(np.abs(off), 0.5) ** 2)), 1e-4))
    doubtful = (np.abs(off) > _DOUBTFUL) | (kind < 5) | (kind % 4 == 0)
    if rules.paired:
        doubtful[1:-1] |= _unpaired(cell, rules)
    doubtful[:2] = doubtful[-2:] = False
    chosen = np.flatnonzero(doubtful)
    if len(chosen) > _HOPELESS * len(cell):
        return cell
    parity = _parity(cell, rules)
    best = np.zeros(len(cell))
    for _ in range(_ROUNDS):
        if not len(chosen):
            break
        around = cell[chosen + np.arange(-2, 3)[:, None]]
        seen = phase[chosen + np.arange(-1, 2)[:, None]]
        home = parity[chosen]
        now = _cost(around, seen, table, scale, home, rules)
        gains = []
        for step in (-1, 1):
            moved = around.copy()
            moved[2] += step
            gains.append(now - _cost(moved, seen, table, scale, home, rules))
        gain, way = np.maximum(*gains), np.where(gains[0] > gains[1], -1, 1)
        best[chosen] = gain
        alone = gain > np.maximum.reduce([best[chosen + away] for away in (-2, -1)] + [np.zeros(len(chosen))])
        alone &= gain >= np.maximum(best[chosen + 1], best[chosen + 2])
        best[chosen] = 0
        moving = chosen[alone]
        if not len(moving):
            break
        cell[moving] += way[alone]
        nearby = (moving[:, None] + np.arange(-2, 3)).reshape(-1)
        chosen = np.unique(np.concatenate((chosen[gain > 0], nearby[(nearby > 1) & (nearby < len(cell) - 2)])))
    return cell


def _unpaired(cell: Ints, rules: Rules) -> Flags:
    """For each transition but the outer ones: whether a longest run on the wrong cells ends or begins there."""
    wrong = _strange(np.diff(cell), (cell[1:] & 1) != _parity(cell, rules)[1:], rules)
    made: Flags = wrong[:-1] | wrong[1:]
    return made


def _strange(runs: Ints, wrong: Flags, rules: Rules) -> Flags:
    """Which of some runs in a row (along the first axis) are longest ones on the wrong cells, as no mark has them."""
    near = np.clip(runs, 0, rules.longest + 1)
    made: Flags = (runs == rules.longest) & wrong
    made[1:-1] &= ~_exempt(rules)[near[:-2], near[2:]]
    return made


def _parity(cell: Ints, rules: Rules) -> Ints:
    """Which cells, even or odd, the longest runs about each transition stand on."""
    if not rules.paired:
        return np.zeros(len(cell), np.int64)
    votes = np.where(np.diff(cell, prepend=cell[0]) == rules.longest, 1 - 2 * (cell & 1), 0).astype(np.float64)
    blocks = _averaged(_sums(votes), 17)
    return (np.repeat(np.append(blocks, blocks[-1]), _BLOCK)[: len(cell)] < 0).astype(np.int64)


def _cost(around: Ints, seen: Floats, table: Floats, scale: float, home: Ints, rules: Rules) -> Floats:
    """What the cells of five neighbours cost (5, m), of which the middle three came at `seen` (3, m)."""
    runs = np.diff(around, axis=0)
    illegal = (runs < rules.shortest) | (runs > rules.longest)
    level = np.where(illegal, 0, np.clip(runs - rules.shortest, 0, 2) + 1)
    off = seen - around[1:4] - table[level[:-1] * 4 + level[1:]]
    cost: Floats = scale * (off * off).sum(axis=0)
    cost += _ILLEGAL * illegal[1:3].sum(axis=0)
    if rules.paired:
        cost += _WRONG_PHASE * _strange(runs, (around[1:] & 1) != home, rules)[1:3].sum(axis=0)
    return cost
