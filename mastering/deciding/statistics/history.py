"""The discs that the ledger knows, numbered in the order of their first writing: one by one (`Outcome`), and as columns (`History`)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeVar

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Ints

T = TypeVar("T")

NOT_ELSEWHERE, CONFIRMED, DENIED = -1, 0, 1  # what other drives made of a writing whose first read failed
NO_INNER_BOX = -1


class Surface(NamedTuple):
    """One recorded surface of a geometry: side `A` or `B`, head, its first track number and how many tracks it has."""

    side: str
    head: int = 0
    first_track: int = 0
    tracks: int = 40


class Written(NamedTuple):
    """The first writing of one surface: the drive that wrote it, the one that first read it, whether that read failed, on which tracks.

    `elsewhere`: whether the same writing failed in another drive too (CONFIRMED), was read well there twice (DENIED), or neither.
    """

    surface: Surface
    wrote: str
    read: str
    failed: bool = False
    tracks: tuple[int, ...] = ()
    elsewhere: int = NOT_ELSEWHERE


class Again(NamedTuple):
    """A later writing of a disc by another drive than the one that wrote it first, and whether its first read failed."""

    drive: str
    failed: bool


class Outcome(NamedTuple):
    """A disc. `bad`: it was rejected; `decided`: it passed or was rejected, else it is being worked on.

    `written` is empty for one rejected by eye. `inner`: its inner box, such as `L-07/3`; `title`: the master that it was made from.
    """

    serial: str
    batch: str
    lot: str
    bad: bool
    written: tuple[Written, ...] = ()
    decided: bool = True
    title: str = ""
    inner: str = ""
    again: tuple[Again, ...] = ()


@dataclass(frozen=True, eq=False)
class History:
    """The discs as columns of numbers into the tuples of names.

    One entry a disc: `lot`, `batch`, `inner` (NO_INNER_BOX where it has none), `bad`, `decided`, `working` (neither decided nor abandoned),
    `written` and `first_read` (numbers that ascend with time, such as ledger rows; `written` ascends along the column). One entry a batch:
    `title`. One entry a first writing of a surface: `disc` (ascending), `surface`, `wrote`, `read`, `failed`, `elsewhere`. One entry a
    failed track: `at` (the row of the surface's writing) and `track` (its number). One entry a later writing by another drive:
    `again_disc`, `again_drive`, `again_failed`. `serials` gives a disc's serial by its number.

    A drive is judged by first writings in their order, a lot by what became of its discs, in the order in which they were first read:
    so reading old discs again changes no order, and a disc that a bad drive spoiled and a good one saved speaks against the drive only.
    """

    lots: tuple[str, ...]
    batches: tuple[str, ...]
    drives: tuple[str, ...]
    titles: tuple[str, ...]
    inners: tuple[str, ...]
    surfaces: tuple[Surface, ...]
    serials: Sequence[str]
    lot: Ints
    batch: Ints
    inner: Ints
    bad: Flags
    decided: Flags
    working: Flags
    written: Ints
    first_read: Ints
    title: Ints
    disc: Ints
    surface: Ints
    wrote: Ints
    read: Ints
    failed: Flags
    elsewhere: Ints
    at: Ints
    track: Ints
    again_disc: Ints
    again_drive: Ints
    again_failed: Flags

    def __len__(self) -> int:
        return len(self.bad)

    @classmethod
    def of(cls, outcomes: Iterable[Outcome]) -> "History":
        """The columns of outcomes that are given in the order of their first writing, which is that of their first reads too."""
        given = list(outcomes)
        discs = [place for place, outcome in enumerate(given) for _ in outcome.written]
        rows = [each for outcome in given for each in outcome.written]
        failed_tracks = [(row, track) for row, each in enumerate(rows) if each.tracks for track in each.tracks]
        later = [(place, each) for place, outcome in enumerate(given) for each in outcome.again]
        lots, lot = _numbered([each.lot for each in given])
        batches, batch = _numbered([each.batch for each in given])
        inners, inner = _numbered([each.inner for each in given if each.inner])
        titles, title = _numbered([{each.batch: each.title for each in given}[name] for name in batches])
        surfaces, surface = _numbered([each.surface for each in rows])
        drives, drive = _numbered([each.wrote for each in rows] + [each.read for each in rows] + [each.drive for _, each in later])
        boxes = np.full(len(given), NO_INNER_BOX, np.int64)
        boxes[[place for place, each in enumerate(given) if each.inner]] = inner
        return cls(
            lots=lots,
            batches=batches,
            drives=drives,
            titles=titles,
            inners=inners,
            surfaces=surfaces,
            serials=[each.serial for each in given],
            lot=lot,
            batch=batch,
            inner=boxes,
            bad=np.array([each.bad for each in given], bool),
            decided=np.array([each.decided for each in given], bool),
            working=np.array([not each.decided for each in given], bool),
            written=np.arange(len(given)),
            first_read=np.arange(len(given)),
            title=title,
            disc=np.array(discs, np.int64),
            surface=surface,
            wrote=drive[: len(rows)],
            read=drive[len(rows) : 2 * len(rows)],
            failed=np.array([each.failed for each in rows], bool),
            elsewhere=np.array([each.elsewhere for each in rows], np.int64),
            at=np.array([row for row, _ in failed_tracks], np.int64),
            track=np.array([track for _, track in failed_tracks], np.int64),
            again_disc=np.array([place for place, _ in later], np.int64),
            again_drive=drive[2 * len(rows) :],
            again_failed=np.array([each.failed for _, each in later], bool),
        )

    def of_lot(self, name: str) -> Ints:
        """All discs of a lot, in the order of their first reads."""
        discs = self._discs_of_lots.get(name, _NOTHING)
        return discs[np.argsort(self.first_read[discs], kind="stable")]

    def of_batch(self, name: str) -> Ints:
        """All discs of a batch."""
        return self._discs_of_batches.get(name, _NOTHING)

    def of_title(self, name: str) -> Ints:
        """All discs that were made from a master."""
        batches = [batch for batch, title in zip(self.batches, self.title.tolist(), strict=True) if self.titles[title] == name]
        return np.sort(np.concatenate([_NOTHING, *map(self.of_batch, batches)]))

    def of_inner(self, name: str) -> Ints:
        """All discs of an inner box."""
        return np.flatnonzero(self.inner == self.inners.index(name)) if name in self.inners else _NOTHING

    def of_drive(self, name: str) -> tuple[Ints, Flags]:
        """The discs that a drive wrote first, and which of them failed on a surface that it wrote."""
        rows = self._rows_of_writers.get(name, _NOTHING)
        if not len(rows):
            return rows, np.zeros(0, bool)
        discs, starts = np.unique(self.disc[rows], return_index=True)
        return discs, np.logical_or.reduceat(self.failed[rows], starts)

    def of_reader(self, name: str) -> Ints:
        """The discs whose first writing a drive was the first to read."""
        return np.unique(self.disc[self._rows_of_readers.get(name, _NOTHING)])

    @cached_property
    def _discs_of_lots(self) -> dict[str, Ints]:
        return _grouped(self.lots, self.lot)

    @cached_property
    def _discs_of_batches(self) -> dict[str, Ints]:
        return _grouped(self.batches, self.batch)

    @cached_property
    def _rows_of_writers(self) -> dict[str, Ints]:
        return _grouped(self.drives, self.wrote)

    @cached_property
    def _rows_of_readers(self) -> dict[str, Ints]:
        return _grouped(self.drives, self.read)


_NOTHING = np.zeros(0, np.int64)


def _numbered(names: list[T]) -> tuple[tuple[T, ...], Ints]:
    """The names in the order in which they come first, and each one's number."""
    numbers = {name: number for number, name in enumerate(dict.fromkeys(names))}
    return tuple(numbers), np.fromiter(map(numbers.__getitem__, names), np.int64, len(names))


def _grouped(names: tuple[str, ...], column: Ints) -> dict[str, Ints]:
    """The rows of each name, ascending."""
    order = np.argsort(column, kind="stable")
    ends = np.cumsum(np.bincount(column, minlength=len(names)))
    return {name: order[start:end] for name, start, end in zip(names, [0, *ends], ends, strict=False)}
