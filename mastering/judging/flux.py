"""A capture's times as cells, for one geometry at a time: tracks are decoded one by one, each as that geometry leads to expect."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from formats.containers.capture import Capture, Track, turned
from formats.containers.shared.times import Times
from formats.errors import ContainerError
from formats.model.geometry import Geometry
from formats.tracks.intervals import Rules, cell_length, recover, rules_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_SPEEDS = 1, 100_000  # turns a minute
_KEPT = 2  # geometries whose cells are remembered: those of a job's two sides
_MOST_CELLS = 1 << 29  # of all tracks: as many as a file of 64 MiB of cells holds
_TRIED = 6  # tracks that are looked at before a capture is decoded for a geometry
_LIKELY = 0.15  # mean cosine of the intervals about whole cells: below it there is no such clock (at a fifth of a cell's jitter: 0.2)


@dataclass(frozen=True, eq=False)
class FluxTrack:
    """A read of a track: its cells, and for each 1 of them how much later than the clock it came, in hundredths of a cell.

    `clock_cell`, `clock_ns`: cells and times of some transitions, ascending; `marks_ns`: when the index hole passed.
    """

    track: Track
    rules: Rules
    residual: npt.NDArray[np.int8]
    clock_cell: Ints
    clock_ns: Floats
    marks_ns: Floats


class Flux:
    """The times of a capture, and their cells as each geometry asked for shows them."""

    def __init__(self, capture: Capture, turned_round: bool) -> None:
        self.rpm = min(max(capture.rpm, _SPEEDS[0]), _SPEEDS[1])  # at no other speed are its cells a disc's, and numbers stay numbers
        self.turned_round = turned_round
        self._made: dict[tuple[Rules | None, ...], tuple[FluxTrack, ...]] = {}

    def tracks(self, geometry: Geometry, reads: Sequence[Times]) -> tuple[FluxTrack, ...]:
        """The reads (cylinders as the geometry counts them) as its cells; those of tracks that it lacks are left out."""
        key = self.key(geometry, reads)
        if key not in self._made:
            made, left = [], _MOST_CELLS
            for read, rules in zip(reads, key, strict=True):
                if rules is not None:
                    made.append(decoded(read, rules, self.turned_round))
                    left -= made[-1].track.cells
                    if left < 0:
                        raise ContainerError(f"more than {_MOST_CELLS:,} cells, which no disc holds")
            while len(self._made) >= _KEPT:
                del self._made[next(iter(self._made))]
            self._made[key] = tuple(made)
        return self._made[key]

    def key(self, geometry: Geometry, reads: Sequence[Times]) -> tuple[Rules | None, ...]:
        """What the cells depend on: geometries with the same key have the same cells."""
        return tuple(self._rules(geometry, read) for read in reads)

    def could_be(self, geometry: Geometry, reads: Sequence[Times]) -> bool:
        """Whether some of the intervals are whole numbers of a geometry's cells: else nothing of it is on the disc."""
        chosen = [(read, rules) for read in reads if read.count and (rules := self._rules(geometry, read)) is not None]
        return any(self._is_likely(read, rules) for read, rules in chosen[:: max(1, len(chosen) // _TRIED)])

    def _rules(self, geometry: Geometry, read: Times) -> Rules | None:
        inside = read.cylinder < geometry.cylinders and read.head < geometry.heads
        return rules_of(geometry, read.cylinder, self.rpm) if inside else None

    @staticmethod
    def _is_likely(read: Times, rules: Rules) -> bool:
        gaps = next(read.nanoseconds())
        length = cell_length(gaps, rules)
        runs = np.rint(gaps / length)
        legal = (runs >= rules.shortest) & (runs <= rules.longest)
        return bool(legal.mean() > 0.5 and np.cos(2 * np.pi * gaps[legal] / length).mean() > _LIKELY)


def decoded(read: Times, rules: Rules, turned_round: bool = False) -> FluxTrack:
    """A read's cells by some rules, the right way round. ContainerError where they are more than a track can have."""
    try:
        made = recover(read.nanoseconds(), rules)
    except ContainerError as error:
        raise ContainerError(f"cylinder {read.cylinder}, head {read.head}: {error}") from error
    cell_ps = round(rules.cell_ns * 1000)
    marks_ns = np.array(read.marks, np.float64) * (1e9 / read.ticks)
    marks = _cells_at(marks_ns, made.clock_cell, made.clock_ns, rules)
    count = max(made.count, *marks) if made.count and marks else made.count
    if count > 2 * made.count + _MOST_CELLS // 16:
        raise ContainerError(f"cylinder {read.cylinder}, head {read.head}: an index mark far behind the last transition")
    bits = made.bits.ljust((count + 7) // 8, b"\0")
    track = Track(read.cylinder, read.head, False, cell_ps, count, bits, marks if count else ())
    if not turned_round:
        return FluxTrack(track, rules, made.residual, made.clock_cell, made.clock_ns, marks_ns)
    end = max(float(made.clock_ns[-1]) if made.count else 0.0, *marks_ns.tolist(), 0.0)
    cells, ns = count - 1 - made.clock_cell[::-1], end - made.clock_ns[::-1]
    return FluxTrack(turned(track), rules, -made.residual[::-1], cells, ns, end - marks_ns[::-1])


def _cells_at(ns: Floats, cells: Ints, times: Floats, rules: Rules) -> tuple[int, ...]:
    """The cells before which some times lie."""
    if not len(cells):
        return ()
    known_ns, known = np.concatenate(([0.0], times)), np.concatenate(([0], cells))
    inside = np.interp(ns, known_ns, known)
    behind = cells[-1] + 1 + (ns - times[-1]) / rules.cell_ns
    return tuple(np.ceil(np.where(ns > times[-1], behind, inside)).astype(np.int64).tolist())


def without_noise(read: Times, rules: Rules) -> Times | None:
    """A read without the transitions that are suspected of being noise: None where there is none, or where there are too many.

    An interval more than half a cell too short has a transition too many at one of its ends: the one without which its
    neighbours are nearer to whole cells apart.
    """
    from formats.containers.shared.times import pack

    ticks = np.concatenate([*read.intervals(), np.zeros(0, np.uint32)]).astype(np.int64)
    if len(ticks) < 100 or len(ticks) > 1 << 22:
        return None
    length = cell_length(ticks.astype(np.float64) * (1e9 / read.ticks), rules) * read.ticks / 1e9
    cells = ticks / length
    short = np.flatnonzero(cells[1:-1] < rules.shortest - 0.5) + 1  # from transition i - 1 to i
    if not len(short) or len(short) > len(ticks) // 50:
        return None
    earlier, later = cells[short - 1] + cells[short], cells[short] + cells[short + 1]  # the run without i - 1, or without i
    off = [np.abs(run - np.clip(np.rint(run), rules.shortest, rules.longest)) for run in (earlier, later)]
    dropped = np.unique(np.where(off[0] < off[1], short - 1, short))
    at = np.delete(np.cumsum(ticks), dropped)
    return pack(read.cylinder, read.head, read.ticks, np.diff(at, prepend=0), read.marks)


def of_track(reads: Sequence[Times], cylinder: int, head: int) -> Iterator[Times]:
    """The reads of one track."""
    return (read for read in reads if (read.cylinder, read.head) == (cylinder, head))
