"""The free sectors of a linked volume by track, and the order in which its system takes them.

A reader needs none of this, it follows the links; a customer's machine reads a file faster that lies as its own system lays it.
"""

from collections.abc import Container, Iterable
from copy import copy
from typing import Self

from formats.model.geometry import Address, Geometry
from formats.volumes.shared.linked import Link, numbered


class FreeSpace:
    """`free`: the free sectors of each track; `sectors`: how many each track has."""

    def __init__(self, geometry: Geometry) -> None:
        self.addresses = numbered(geometry)
        self.free: dict[int, set[int]] = {}
        for track, sector in self.addresses:
            self.free.setdefault(track, set()).add(sector)
        self.sectors = {track: len(free) for track, free in self.free.items()}

    def remove(self, taken: Container[Address]) -> None:
        """Takes sectors out of the free ones: those in use before the first file is laid."""
        for (track, sector), address in self.addresses.items():
            if address in taken:
                self.free[track].discard(sector)

    def take(self, link: Link) -> Link:
        """Use a sector."""
        self.free[link[0]].remove(link[1])
        return link

    def available(self, tracks: Iterable[int]) -> int:
        """How many sectors are free on these tracks."""
        return sum(len(self.free[track]) for track in tracks)

    def copy(self) -> Self:
        """Another space with the same free sectors, to take from without a trace."""
        other = copy(self)
        other.free = {track: set(free) for track, free in self.free.items()}
        return other


class OutwardSpace(FreeSpace):
    """Sectors taken from both sides of a middle track outward, `step` sectors on from block to block.

    Source: firmware listings of the zoned drives; that the step starts again from sector 0 on the other side is from memory.
    """

    def __init__(self, geometry: Geometry, middle: int) -> None:
        super().__init__(geometry)
        self.middle = middle
        self.below = range(middle - 1, min(self.free) - 1, -1)
        self.above = range(middle + 1, max(self.free) + 1)

    def on_track(self, track: int, sector: int, step: int) -> Link | None:
        """The free sector of a track `step` on from a sector; None when the track is full."""
        count, free = self.sectors[track], self.free[track]
        sector += step
        if sector > count:
            sector -= count
            sector -= sector > 0
        return (track, min((each for each in free if each >= sector), default=min(free))) if free else None

    def first(self) -> Link:
        """A file's first block: the nearest track to the middle, below first, its first free sector. There must be one."""
        tracks = sorted((*self.below, *self.above), key=lambda each: (abs(each - self.middle), each))
        track = next(each for each in tracks if self.free[each])
        return self.take((track, min(self.free[track])))

    def after(self, link: Link, step: int) -> Link:
        """The block after one: on its track, outward from it, from the middle on the other side, then on this one. There must be one."""
        track, sector = link
        this, other = (self.below, self.above) if track < self.middle else (self.above, self.below)
        outward = [(each, sector) for each in this[this.index(track) :]]
        found = (self.on_track(each, kept, step) for each, kept in (*outward, *((each, 0) for each in (*other, *this))))
        return self.take(next(each for each in found if each))

    def last(self, step: int) -> Link | None:
        """The block that a file which fills the disc would take last; None when the disc is full."""
        rest, count = self.copy(), self.available((*self.below, *self.above))
        link = rest.first() if count else None
        for _ in range(count - 1):
            link = rest.after(link, step) if link else None
        return link

    def last_on_track(self, link: Link, step: int) -> Link | None:
        """The sector of a track that steps from one of its sectors would take last; None when the track is full."""
        rest, count = self.copy(), len(self.free[link[0]])
        for _ in range(count):
            link = rest.take(rest.on_track(*link, step) or link)
        return link if count else None


class DownwardSpace(FreeSpace):
    """Sectors taken track by track in a given order, on each from the highest down, `step` sectors from block to block."""

    def __init__(self, geometry: Geometry, tracks: Iterable[int]) -> None:
        super().__init__(geometry)
        self.tracks = tuple(tracks)
        self.latest: Link | None = None

    def next(self, step: int) -> Link:
        """The sector `step` below the last one, else the track's highest, else the next track's. There must be one."""
        track = next(each for each in self.tracks if self.free[each])
        start = self.latest[1] - step if self.latest and track == self.latest[0] else self.sectors[track]
        free = self.free[track]
        self.latest = self.take((track, max((each for each in free if each <= start), default=max(free))))
        return self.latest

    def last(self, step: int) -> Link | None:
        """The sector that a file which fills the disc would take last; None when the disc is full."""
        rest, link = self.copy(), None
        for _ in range(self.available(self.tracks)):
            link = rest.next(step)
        return link
