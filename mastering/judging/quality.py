"""How much room a capture of times leaves: the margin of each sector that read, and what it shows of the drive."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formats.model.geometry import Geometry
from formats.tracks.margin import Chance, Margin, Sector, side_chance
from formats.tracks.reading import Fields
from mastering.judging.flux import FluxTrack
from mastering.judging.sightings import Sighted

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_WORST = 10  # sectors that a verdict lists
_OFF = 0.1  # share by which a measured turn may be off the nominal one
_ENOUGH = 0.7  # turns that must have passed for the wow to be told
_LOCAL_OFF = 0.06  # of the cell's length: stretches that are farther off hold a dropout


@dataclass(frozen=True)
class Quality:
    """The chances of the sectors that read, by place in the dump, how many were tried and never read, and the drive.

    `speed`: percent above the nominal one; `wow`: its amplitude once a turn in percent; `jitter`: deviation of transitions about the
    recovered clock in percent of a cell, peak shift taken out.
    """

    geometry: Geometry
    chances: tuple[Chance, ...]
    lost: int
    speed: float
    wow: float
    jitter: float

    def margin(self) -> dict[str, object]:
        """The chance that one fresh turn loses any sector, and the worst ten; a sector that was tried and never read is lost."""
        reader, plain = ([getattr(each, way) for each in self.chances] + [1.0] * (self.lost > 0) for way in ("reader", "plain"))
        worst = sorted(self.chances, key=lambda each: (-each.reader, -each.plain, each.place))[:_WORST]
        return {
            "reader": _rounded(side_chance(reader)),
            "plain": _rounded(side_chance(plain)),
            "worst": [self._plain(each) for each in worst],
        }

    def margins(self) -> list[dict[str, object]]:
        """The chance of each sector that read, in the order of the dump."""
        return [self._plain(each) for each in sorted(self.chances, key=lambda each: each.place)]

    def drive(self) -> dict[str, float]:
        """What the reads show of the drive."""
        return {"speed": round(self.speed, 3), "wow": round(self.wow, 3), "jitter": round(self.jitter, 2)}

    def _plain(self, chance: Chance) -> dict[str, object]:
        track, head, sector = self.geometry.addresses[chance.place]
        return {"track": track, "head": head, "sector": sector, "chance": _rounded(chance.reader)}


def _rounded(chance: float) -> float:
    return float(f"{chance:.3g}")


def quality(sighted: Sighted, tracks: Sequence[FluxTrack], rpm: float, soft: Ints, lost: int) -> Quality:
    """The quality of the tracks whose sightings are given; `soft`: places where a sighting failed; `lost`: sectors that never read."""
    gathered, failing = Margin(), set(soft.tolist())
    by_track: dict[tuple[int, int], list[int]] = defaultdict(list)
    for number, each in enumerate(tracks):
        by_track[each.track.cylinder, each.track.head].append(number)
    stretch_of = sighted.reading.identifiers.stretch[sighted.identifier]
    order = np.argsort(stretch_of, kind="stable")
    edges = np.searchsorted(stretch_of[order], np.arange(len(tracks) + 1))
    speeds, wows = [], []
    for numbers in by_track.values():
        fields: dict[tuple[int, str], list[tuple[Ints, Floats]]] = defaultdict(list)
        for number in numbers:
            sightings = order[edges[number] : edges[number + 1]]
            for place, name, found in _fields(sighted, tracks[number], sightings):
                fields[place, name].append(found)
            turn, wow = _motion(tracks[number], _turn(sighted, tracks[number], number, rpm))
            speeds += [turn] if turn else []
            wows += [wow] if wow is not None else []
        sectors = [_sector(place, found, place in failing) for (place, _), found in fields.items()]
        gathered.add_track(tracks[numbers[0]].rules, [each for each in sectors if each.residual.shape[1] > 4])
    speed = 100 * (60e9 / rpm / float(np.median(speeds)) - 1) if speeds else 0.0
    jitter = 100 * gathered.jitter
    return Quality(sighted.geometry, tuple(gathered.chances()), lost, speed, 100 * float(np.median(wows)) if wows else 0.0, jitter)


def _fields(sighted: Sighted, track: FluxTrack, sightings: Ints) -> Iterator[tuple[int, str, tuple[Ints, Floats]]]:
    """For each sound sighting on a read its two fields: place, which field, and the cells and residuals of its transitions."""
    bits = np.frombuffer(track.track.bits, np.uint8)
    before = np.concatenate(([0], np.cumsum(np.bitwise_count(bits), dtype=np.int64)))  # transitions before each byte
    for sighting in sightings.tolist():
        pairs: tuple[tuple[str, Fields, int], ...] = (
            ("identifier", sighted.reading.identifiers, int(sighted.identifier[sighting])),
            ("block", sighted.reading.blocks, int(sighted.block[sighting])),
        )
        for name, fields, at in pairs:
            first, last = int(fields.start[at]), int(fields.end[at])
            byte = first // 8
            there = np.flatnonzero(np.unpackbits(bits[byte : (last + 7) // 8])) + 8 * byte
            inside = (there >= first) & (there < last)
            index = int(before[byte]) + int(np.count_nonzero(there < first))
            count = int(np.count_nonzero(inside))
            residual = track.residual[index : index + count].astype(np.float64) / 100
            yield int(sighted.place[sighting]), name, (there[inside] - first + (first & 1), residual)


def _sector(place: int, found: Sequence[tuple[Ints, Floats]], failed: bool) -> Sector:
    """A field of a sector from its sightings; those with other transitions than the first are left out."""
    cell = found[0][0]
    runs = np.diff(cell)
    same = [residual for other, residual in found if len(other) == len(cell) and (np.diff(other) == runs).all()]
    return Sector(place, np.stack(same), runs, cell, int(failed))


def _turn(sighted: Sighted, read: FluxTrack, number: int, rpm: float) -> float:
    """The time of a turn in ns: by index marks, else by sightings of the same sector, else by the length of the cells."""
    nominal = 60e9 / rpm
    apart = np.diff(read.marks_ns)
    if len(near := apart[np.abs(apart / nominal - 1) < _OFF]):
        return float(np.median(near))
    identifiers = sighted.reading.identifiers
    own = sighted.identifier[identifiers.stretch[sighted.identifier] == number]
    sector, start = identifiers.number("sector")[own], identifiers.start[own]
    order = np.lexsort((start, sector))
    if len(read.clock_cell):
        at = np.interp(start[order], read.clock_cell, read.clock_ns)
        apart = np.diff(at)[np.diff(sector[order]) == 0]
        if len(near := apart[np.abs(apart / nominal - 1) < _OFF]):
            return float(np.median(near))
        if read.clock_cell[-1] > read.clock_cell[0]:
            length = (read.clock_ns[-1] - read.clock_ns[0]) / (read.clock_cell[-1] - read.clock_cell[0])
            return float(nominal * length / read.rules.cell_ns)
    return 0.0


def _motion(read: FluxTrack, turn: float) -> tuple[float, float | None]:
    """The time of a turn, and the amplitude of the speed's swing once a turn, as a share; None where too little passed."""
    if len(read.clock_ns) < 12 or not turn or read.clock_ns[-1] - read.clock_ns[0] < _ENOUGH * turn:
        return turn, None
    cells, ns = np.diff(read.clock_cell), np.diff(read.clock_ns)
    usable = cells > 0
    cells, ns, middle = cells[usable], ns[usable], ((read.clock_ns[1:] + read.clock_ns[:-1]) / 2)[usable]
    length = ns / cells
    off = length / np.median(length) - 1
    near = np.abs(off) < _LOCAL_OFF
    phase = 2 * np.pi * middle[near] / turn
    waves = np.stack((np.cos(phase), np.sin(phase), np.ones(len(phase))), axis=1)
    if len(phase) < 12:
        return turn, None
    swing = np.linalg.lstsq(waves, off[near], rcond=None)[0]
    return turn, float(np.hypot(swing[0], swing[1]))
