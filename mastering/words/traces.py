"""A capture's tracks as lines of text: what passed the head, and how far apart its transitions were."""

import numpy as np
import numpy.typing as npt

from formats.containers.capture import Capture, Track
from formats.containers.shared.times import Times
from mastering.words.layout import TIE, Table

_LEVELS = f"{TIE}.:-=+*#%@"
_BIN_US, _BINS = 0.5, 24


def reads_table(capture: Capture, sectors: "dict[tuple[int, int], tuple[int, int]]") -> Table:
    """For each read of a track a row: cylinder, head, transitions, turns, speed, sectors met, and how long its intervals were.

    `sectors`: for some cylinders and heads how many sectors were read soundly, and of how many.
    """
    scale = "".join(f"{f'{at} us':{TIE}<{int(4 / _BIN_US)}}" for at in range(0, int(_BINS * _BIN_US), 4)).replace(" ", TIE)
    rows = [("cyl", "head", "transitions", "turns", "speed", "sectors", scale)]
    every: list[Track | Times] = [*capture.tracks, *capture.times]
    for each in every:
        gaps, marks, whole = _heard(each)
        nominal = 60e9 / capture.rpm
        apart = np.diff(marks)
        near = apart[np.abs(apart / nominal - 1) < 0.1]
        turn = float(np.median(near)) if len(near) else nominal
        speed = f"{100 * (nominal / turn - 1):+.2f} %" if len(near) else "?"
        met = sectors.get((each.cylinder, each.head))
        told = f"{met[0]} of {met[1]}" if met else "?"
        rows.append((str(each.cylinder), str(each.head), f"{len(gaps):,}", f"{whole / turn:.2f}", speed, told, _histogram(gaps)))
    return Table(rows)


def _heard(each: "Track | Times") -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], float]:
    """Intervals, index marks and the length of a read, all in ns."""
    if isinstance(each, Times):
        gaps = np.concatenate([*each.nanoseconds(), np.zeros(0)])
        marks = np.array(each.marks, np.float64) * (1e9 / each.ticks)
        return gaps, marks, max(float(gaps.sum()), float(marks.max(initial=0)))
    cell_ns = each.cell_ps / 1000
    there = np.flatnonzero(np.unpackbits(np.frombuffer(each.bits, np.uint8)))
    return np.diff(there) * cell_ns, np.array(each.marks, np.float64) * cell_ns, each.cells * cell_ns


def _histogram(gaps: npt.NDArray[np.float64]) -> str:
    """How often each length occurs, a character a half microsecond, darker for more; the last one is that and longer."""
    bins = np.clip(np.rint(gaps / (1000 * _BIN_US)), 0, _BINS - 1).astype(np.int64)
    counts = np.bincount(bins, minlength=_BINS)
    level = np.ceil(np.sqrt(counts / max(int(counts.max()), 1)) * (len(_LEVELS) - 1)).astype(int)
    return "".join(_LEVELS[each] for each in level)
