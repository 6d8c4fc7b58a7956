"""A stretch of the history as the trials that suspects are judged by: what one pair of drives did to one disc."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Ints
from mastering.deciding.statistics.history import NO_INNER_BOX, History

NOT_WRITTEN_AGAIN, PASSED_AGAIN, FAILED_AGAIN = -1, 0, 1


@dataclass(frozen=True, eq=False)
class Trials:
    """First writings, one entry for each disc and pair of drives that wrote and first read it; `disc` ascends.

    `failed`: whether a surface failed; `only`: the surface that alone failed, `other`: the one that did not while the other one did, both
    -1 where it is not so. `elsewhere`: what other drives made of a writing whose first read failed (as in `History`); `again`: what a
    later writing by another drive gave, for a trial that failed. `lot`, `title`, `inner`, `wrote`, `read`: numbers as in `Names`.
    """

    disc: Ints
    lot: Ints
    title: Ints
    inner: Ints
    wrote: Ints
    read: Ints
    failed: Flags
    only: Ints
    other: Ints
    elsewhere: Ints
    again: Ints

    @classmethod
    def of(cls, history: History, first: int, end: int) -> "Trials":
        """The trials of the discs `first` to `end` (not within) of a history."""
        rows = slice(*np.searchsorted(history.disc, (first, end)).tolist())
        surface, failed, elsewhere = history.surface[rows], history.failed[rows], history.elsewhere[rows]
        keys = np.stack((history.disc[rows], history.wrote[rows], history.read[rows]))
        order = np.lexsort((surface, keys[2], keys[1], keys[0]))
        keys, surface, failed, elsewhere = keys[:, order], surface[order], failed[order], elsewhere[order]
        starts = np.flatnonzero(np.append(True, (keys[:, 1:] != keys[:, :-1]).any(axis=0))) if len(order) else order
        any_failed = np.logical_or.reduceat(failed, starts) if len(starts) else failed
        pairs = np.diff(np.append(starts, len(order))) == 2
        one, two = starts, np.minimum(starts + 1, len(order) - 1)
        split = pairs & (failed[one] != failed[two]) if len(starts) else any_failed
        only = np.where(split, np.where(failed[one], surface[one], surface[two]), -1)
        other = np.where(split, np.where(failed[one], surface[two], surface[one]), -1)
        disc, wrote, read = keys[:, starts]
        most = np.maximum.reduceat(elsewhere, starts) if len(starts) else elsewhere
        again = _again(history, disc, wrote, any_failed)
        lot, title, inner = history.lot[disc], history.title[history.batch[disc]], history.inner[disc]
        return cls(disc, lot, title, inner, wrote, read, any_failed, only, other, np.where(any_failed, most, -1), again)

    @property
    def crosswise(self) -> bool:
        """Whether another drive than the one that wrote a disc was the first to read one."""
        return bool((self.wrote != self.read).any())


def _again(history: History, disc: Ints, wrote: Ints, failed: Flags) -> Ints:
    """For each trial that failed, what the first later writing of its disc by another drive gave."""
    again = np.full(len(disc), NOT_WRITTEN_AGAIN, np.int64)
    for row in np.flatnonzero(np.isin(history.again_disc, disc))[::-1].tolist():  # the first one last, so that it stays
        trials = failed & (disc == history.again_disc[row]) & (wrote != history.again_drive[row])
        again[trials] = FAILED_AGAIN if history.again_failed[row] else PASSED_AGAIN
    return again


@dataclass(frozen=True)
class Names:
    """The names of what trials have as numbers. `earlier`: the numbers of drives as they were before a restart of their chart."""

    lots: Sequence[str]
    drives: Sequence[str]
    titles: Sequence[str]
    inners: Sequence[str]
    surfaces: Sequence[str]
    earlier: frozenset[int] = frozenset()

    @classmethod
    def of(cls, history: History) -> "Names":
        """The names of a history."""
        return cls(history.lots, history.drives, history.titles, history.inners, surface_names(history))


def surface_names(history: History) -> list[str]:
    """Each surface's name for people: its side, or its head where a side has two."""
    heads = {(each.side, each.head) for each in history.surfaces}
    two = {side for side, head in heads if head > 0}
    return [f"head {each.head}" if each.side in two else f"side {each.side}" for each in history.surfaces]


def inner_boxes(trials: Trials) -> list[int]:
    """The inner boxes that the trials' discs are from, where they are not a whole lot."""
    boxes = []
    for box in np.unique(trials.inner).tolist():
        members = trials.inner == box
        if box != NO_INNER_BOX and members.sum() < (trials.lot == trials.lot[members][0]).sum():
            boxes.append(box)
    return boxes
