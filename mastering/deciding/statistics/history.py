"""The discs judged so far in the order in which they were judged: one by one (`Outcome`), and as columns (`History`)."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeVar

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Ints

T = TypeVar("T")


class Surface(NamedTuple):
    """One recorded surface of a geometry: side `A` or `B`, head, its first track number and how many tracks it has."""

    side: str
    head: int = 0
    first_track: int = 0
    tracks: int = 40


class Written(NamedTuple):
    """The first writing of one surface: the drive that wrote, the one that read it, whether that read failed, and on which tracks."""

    surface: Surface
    wrote: str
    read: str
    failed: bool = False
    tracks: tuple[int, ...] = ()


class Outcome(NamedTuple):
    """A disc that has been judged. `bad`: it failed in the end. `written` is empty for one rejected by eye."""

    serial: str
    batch: str
    lot: str
    bad: bool
    written: tuple[Written, ...] = ()


@dataclass(frozen=True, eq=False)
class History:
    """Outcomes as columns: `lot`, `batch`, `bad` have one entry a disc; `disc`, `surface`, `wrote`, `read`, `failed` one a written surface.

    `disc` ascends. `at` and `track` have one entry a failed track: the row of the written surface, and the track's number. The
    others are numbers into the tuples of names.

    A drive is judged by first writings, a lot by what became of the disc: a disc that a bad drive spoiled and a good one saved
    speaks against the drive, not against the lot.
    """

    lots: tuple[str, ...]
    batches: tuple[str, ...]
    drives: tuple[str, ...]
    surfaces: tuple[Surface, ...]
    lot: Ints
    batch: Ints
    bad: Flags
    disc: Ints
    surface: Ints
    wrote: Ints
    read: Ints
    failed: Flags
    at: Ints
    track: Ints

    def __len__(self) -> int:
        return len(self.bad)

    @classmethod
    def of(cls, outcomes: Iterable[Outcome]) -> "History":
        """The columns of outcomes that are given one by one."""
        given = list(outcomes)
        discs = [place for place, outcome in enumerate(given) for _ in outcome.written]
        rows = [each for outcome in given for each in outcome.written]
        found = [(row, track) for row, each in enumerate(rows) if each.tracks for track in each.tracks]
        lots, lot = _numbered([each.lot for each in given])
        batches, batch = _numbered([each.batch for each in given])
        surfaces, surface = _numbered([each.surface for each in rows])
        drives, wrote_read = _numbered([each.wrote for each in rows] + [each.read for each in rows])
        return cls(
            lots,
            batches,
            drives,
            surfaces,
            lot,
            batch,
            np.array([each.bad for each in given], bool),
            np.array(discs, np.int64),
            surface,
            wrote_read[: len(rows)],
            wrote_read[len(rows) :],
            np.array([each.failed for each in rows], bool),
            np.array([row for row, _ in found], np.int64),
            np.array([track for _, track in found], np.int64),
        )

    def of_lot(self, name: str) -> Ints:
        """The discs of a lot."""
        return self._discs_of_lots.get(name, _NOTHING)

    def of_batch(self, name: str) -> Ints:
        """The discs of a batch."""
        return self._discs_of_batches.get(name, _NOTHING)

    def of_drive(self, name: str) -> tuple[Ints, Flags]:
        """The discs that a drive wrote first, and which of them failed on a surface that it wrote."""
        rows = self._rows_of_drives.get(name, _NOTHING)
        if not len(rows):
            return rows, np.zeros(0, bool)
        discs, starts = np.unique(self.disc[rows], return_index=True)
        return discs, np.logical_or.reduceat(self.failed[rows], starts)

    @cached_property
    def _discs_of_lots(self) -> dict[str, Ints]:
        return _grouped(self.lots, self.lot)

    @cached_property
    def _discs_of_batches(self) -> dict[str, Ints]:
        return _grouped(self.batches, self.batch)

    @cached_property
    def _rows_of_drives(self) -> dict[str, Ints]:
        return _grouped(self.drives, self.wrote)


_NOTHING = np.zeros(0, np.int64)


def _numbered(names: list[T]) -> tuple[tuple[T, ...], Ints]:
    """The names in the order in which they come first, and each one's number."""
    known = {name: number for number, name in enumerate(dict.fromkeys(names))}
    return tuple(known), np.fromiter(map(known.__getitem__, names), np.int64, len(names))


def _grouped(names: tuple[str, ...], column: Ints) -> dict[str, Ints]:
    """The rows of each name, ascending."""
    order = np.argsort(column, kind="stable")
    ends = np.cumsum(np.bincount(column, minlength=len(names)))
    return {name: order[start:end] for name, start, end in zip(names, [0, *ends], ends, strict=False)}
