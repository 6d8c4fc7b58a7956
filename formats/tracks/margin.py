"""How close good sectors are to failing: the chance that a fresh read loses one, from where its transitions came.

For each transition of a sector that was read soundly the mean displacement over its sightings and the noise from read to read are
estimated; the chance that a fresh read takes it for a neighbouring cell's is the tail of what then remains to half a cell. Noise has
heavier tails than Gauss's, on some discs far heavier: the tail is a Student distribution whose degrees of freedom are fitted to the
capture's own residuals. For this project's reader a transition errs only to cells that the code allows, and peak shift is taken out;
for a plain loop neither holds.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from formats.tracks.intervals import Rules

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_WINDOW = 33  # transitions over which the noise from read to read is pooled
_TRUST = 20.0  # degrees of freedom that the sector's own mean noise weighs beside the local one
_SHARE = 0.5  # of the variance that is taken to repeat, where there was one sighting only (from memory: 0.2 to 0.9)
_DISPLACED = 0.001  # share of transitions that stand anywhere, as a spot of dust leaves them
_ANYWHERE = 0.25  # deviation of those, in cells
_LOOP = 0.0204  # variance that a plain loop adds, as a share of its input's: gain / (2 - gain) with a phase gain of .04
_FINE, _FAR = 50, 15  # distances in deviations are counted in so many parts, up to so many
_COARSE = 5  # parts of a deviation in which residuals are counted
_FREEDOM = (3.0, 4.0, 5.0, 6.0, 8.0, 11.0, 16.0, 25.0, 50.0, 200.0)
_PITCHES = np.arange(0, 15, 0.05)
_OBSERVED = 2.0  # reads that the estimate weighs beside those that were seen to fail


@dataclass(frozen=True)
class Chance:
    """The chance that a fresh turn loses a sector, by its place in the dump: to this reader, and to a plain loop."""

    place: int
    reader: float
    plain: float


class Margin:
    """Gathers a side's sectors track by track; what it keeps of each is how often which distance to failure occurs."""

    def __init__(self) -> None:
        self.places: list[int] = []
        self.near: list[tuple[Floats, Floats]] = []
        self.spread: dict[int, Floats] = {}
        self.failed: list[tuple[int, int]] = []
        self.jitters: list[float] = []

    def add_track(self, rules: Rules, sectors: Sequence["Sector"]) -> None:
        """The sectors of one track."""
        if not sectors:
            return
        kind = [_kinds(each.runs, rules) for each in sectors]
        shift = _mean_by_kind(kind, [each.residual.mean(axis=0)[1:-1] for each in sectors])
        squares, count = 0.0, 0
        for each, about in zip(sectors, kind, strict=True):
            own = each.residual[:, 1:-1] - shift[about]
            squares, count = squares + float((own**2).sum()), count + own.size
            self._add(each, own, shift[about], rules)
        self.jitters.append(float(np.sqrt(squares / max(count, 1))))

    def _add(self, sector: "Sector", own: Floats, shift: Floats, rules: Rules) -> None:
        """One sector: `own` are its residuals without peak shift (sightings, transitions), `shift` is what was taken out."""
        turns = len(own)
        mean = own.mean(axis=0)
        fresh = own.var(axis=0, ddof=1) if turns > 1 else own[0] ** 2 * (1 - _SHARE)
        whole = max(float(fresh.mean()), 1e-6)
        local = np.convolve(fresh, np.ones(_WINDOW), "same") / np.convolve(np.ones(len(fresh)), np.ones(_WINDOW), "same")
        freedom = _WINDOW * max(turns - 1, 1)
        noise = (freedom * local + _TRUST * whole) / (freedom + _TRUST)
        lasting = max(float((mean**2).mean()) - whole / turns, 0.02 * whole) if turns > 1 else whole * _SHARE / (1 - _SHARE)
        without = (freedom * local - max(turns - 1, 1) * fresh + _TRUST * whole) / (freedom - max(turns - 1, 1) + _TRUST)
        scaled = (own - mean) * np.sqrt(turns / (turns - 1)) if turns > 1 else own * np.sqrt(1 - _SHARE)
        at = np.minimum(np.abs(scaled / np.sqrt(np.maximum(without, 1e-7))) * _COARSE, _COARSE * _FAR - 1).astype(np.int64)
        counts = np.bincount(at.reshape(-1), minlength=_COARSE * _FAR)
        self.spread[turns] = self.spread.get(turns, np.zeros(_COARSE * _FAR)) + counts
        later, earlier = _possible(sector, rules)
        reader, plain = np.zeros(_FINE * _FAR), np.zeros(_FINE * _FAR)
        error = noise / turns
        strange = _strange_share(mean, error, lasting)
        for share, prior in ((1 - strange, lasting), (strange, _ANYWHERE**2)):
            kept = prior / (prior + error)
            middle, deviation = kept * mean, np.sqrt(noise + kept * error)
            _count(reader, (0.5 - middle)[later] / deviation[later], share[later])
            _count(reader, (0.5 + middle)[earlier] / deviation[earlier], share[earlier])
            loop = np.sqrt(deviation**2 + _LOOP * (noise + lasting))
            for way in (-1, 1):
                _count(plain, (0.5 + way * (middle + shift)) / loop, share)
        if rules.paired and rules.longest == 2:  # FM: a wrong bit takes two transitions that stand side by side
            deviation = np.sqrt(2 * (noise + lasting * error / (lasting + error)))[:-1]
            for way in (-1, 1):
                _count(reader, (1 + way * (mean[1:] + mean[:-1])) / deviation, np.full(len(deviation), 0.5))
        self.places.append(sector.place)
        self.near.append((reader, plain))
        self.failed.append((sector.failed, turns + sector.failed))

    @property
    def jitter(self) -> float:
        """The deviation about the recovered clock in cells, peak shift taken out: the median of the tracks."""
        return float(np.median(self.jitters)) if self.jitters else 0.0

    def chances(self) -> list[Chance]:
        """The chance of each sector, with the tail that fits the side."""
        tail = _tail(self._freedom())
        expected: dict[int, list[float]] = {}
        for place, near in zip(self.places, self.near, strict=True):
            so_far = expected.setdefault(place, [0.0, 0.0])
            expected[place] = [each + float((counts * tail).sum()) for each, counts in zip(so_far, near, strict=True)]
        reads = dict(zip(self.places, self.failed, strict=True))
        made = []
        for place, errors in expected.items():
            both = [-float(np.expm1(-each)) for each in errors]
            failed, seen = reads[place]
            if failed:
                both = [max(each, (_OBSERVED * each + failed) / (_OBSERVED + seen)) for each in both]
            made.append(Chance(place, both[0], max(both)))
        return made

    def _freedom(self) -> float:
        """The degrees of freedom under which the residuals are likeliest, of some that are tried."""

        def likelihood(freedom: float) -> float:
            return sum(float((counts * _log_density(freedom, turns)).sum()) for turns, counts in self.spread.items())

        return max(reversed(_FREEDOM), key=likelihood)


@dataclass(frozen=True, eq=False)
class Sector:
    """A field of a sector that read: the sector's place in the dump, and where the field's transitions came.

    `residual`: in cells (sightings, transitions); `runs` between the transitions; their cells, of which it matters whether they are
    even or odd; how many other sightings of the sector failed.
    """

    place: int
    residual: Floats
    runs: Ints
    cell: Ints
    failed: int = 0


def side_chance(chances: Sequence[float]) -> float:
    """The chance that any of some sectors is lost."""
    return -float(np.expm1(np.log1p(-np.minimum(np.array(chances, np.float64), 1 - 1e-12)).sum()))


def _kinds(runs: Ints, rules: Rules) -> Ints:
    """A number for the two runs about each transition but the outer ones."""
    level = np.clip(runs - rules.shortest, 0, 2)
    made: Ints = level[:-1] * 3 + level[1:]
    return made


def _mean_by_kind(kinds: Sequence[Ints], means: Sequence[Floats]) -> Floats:
    kind, mean = np.concatenate(kinds), np.concatenate(means)
    counts = np.bincount(kind, minlength=9)
    made: Floats = np.bincount(kind, mean, minlength=9) / np.maximum(counts, 1)
    made[counts <= 30] = 0.0
    return made


def _possible(sector: Sector, rules: Rules) -> tuple[Flags, Flags]:
    """Which transitions but the outer ones could be taken for the next cell's, and which for the one's before, within the code."""
    before, behind = sector.runs[:-1], sector.runs[1:]
    later = (before < rules.longest) & (behind > rules.shortest)
    earlier = (before > rules.shortest) & (behind < rules.longest)
    if rules.paired:
        inner = sector.cell[1:-1] & 1
        long = sector.cell[1:][sector.runs == rules.longest] & 1
        home = int(2 * long.sum() > len(long))
        later &= ~((before + 1 == rules.longest) & (inner == home))
        earlier &= ~((behind + 1 == rules.longest) & (inner == home))
    return later, earlier


def _strange_share(mean: Floats, error: Floats, lasting: float) -> Floats:
    """For each transition the chance that it is one of those that stand anywhere."""
    usual, wide = lasting + error, _ANYWHERE**2 + error
    odds = _DISPLACED / (1 - _DISPLACED) * np.sqrt(usual / wide) * np.exp(np.minimum(mean**2 * (1 / usual - 1 / wide) / 2, 50))
    made: Floats = odds / (1 + odds)
    return made


def _count(into: Floats, distance: Floats, weight: Floats) -> None:
    at = np.clip(distance * _FINE, 0, _FINE * _FAR - 1).astype(np.int64)
    into += np.bincount(at, weight, minlength=len(into))


def _density(freedom: float, places: Floats) -> Floats:
    """A Student density of variance 1, not scaled."""
    made: Floats = (1 + places**2 / (freedom - 2)) ** (-(freedom + 1) / 2)
    return made


@cache
def _wave(freedom: float) -> Floats:
    """The characteristic function of a Student distribution of variance 1, at `_PITCHES`."""
    places = np.arange(0, 40, 0.05)
    density = _density(freedom, places)
    made: Floats = np.cos(np.outer(_PITCHES, places)) @ density / density.sum()
    return made


@cache
def _log_density(freedom: float, turns: int) -> Floats:
    """The logarithm of the share of residuals at each distance, about the mean of so many sightings, which each pulls towards itself."""
    own, other = (1.0, 0.0) if turns == 1 else (np.sqrt((turns - 1) / turns), np.sqrt(1 / (turns * (turns - 1))))
    wave = _wave(freedom)
    whole = np.interp(own * _PITCHES, _PITCHES, wave) * np.interp(other * _PITCHES, _PITCHES, wave) ** (turns - 1)
    places = (np.arange(_COARSE * _FAR) + 0.5) / _COARSE
    density = np.maximum(np.cos(np.outer(places, _PITCHES)) @ whole, 1e-7)
    made: Floats = np.log(density / density.sum())
    return made


@cache
def _tail(freedom: float) -> Floats:
    """The chance of a deviation beyond each distance, one way, for a Student distribution of variance 1."""
    far = np.concatenate((np.arange(0, 40, 1 / (4 * _FINE)), 40 * 1.01 ** np.arange(0, 700)))
    steps = np.diff(far)
    density = _density(freedom, (far[1:] + far[:-1]) / 2) * steps
    above = density[::-1].cumsum()[::-1]
    made: Floats = np.interp((np.arange(_FINE * _FAR) + 0.5) / _FINE, far[:-1], above) / (2 * above[0])
    return made
