"""Places on the disc that stand out: the latest failing discs of each surface, of all drives and of each one."""

from dataclasses import dataclass

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Ints
from mastering.deciding.statistics.history import History, Surface
from mastering.deciding.statistics.tracks import TrackScan, scan
from mastering.deciding.statistics.trials import surface_names

FEWEST = 8  # failing discs before a place can stand out
LATEST = 100  # failing discs that are looked at; older ones say what is usual
RECENT = 1000  # discs that are looked at


@dataclass(frozen=True)
class Place:
    """A place on a surface, called `what` by people. `drive` is empty for all drives together; `failing`: the failing discs looked at."""

    surface: Surface
    what: str
    drive: str
    scan: TrackScan
    failing: int

    @property
    def first(self) -> int:
        """The first track's number."""
        return self.surface.first_track + self.scan.first

    @property
    def last(self) -> int:
        """The last track's number."""
        return self.surface.first_track + self.scan.last

    @property
    def zone(self) -> tuple[int, int]:
        """The first and last track of the fifth that stands out."""
        tracks = self.surface.tracks
        first, end = (-(-self.scan.zone * tracks // 5), -(-(self.scan.zone + 1) * tracks // 5))
        return self.surface.first_track + first, self.surface.first_track + end - 1


def find_places(history: History, rng: np.random.Generator) -> list[Place]:
    """One place for each surface and drive that has enough failing discs, whether it stands out or not."""
    if not len(history.at):
        return []
    names = surface_names(history)
    recent = history.disc[history.at] >= len(history) - RECENT
    places = []
    for number, surface in enumerate(history.surfaces):
        here = history.surface[history.at] == number
        drives = np.unique(history.wrote[history.at[here & recent]]).tolist()
        groups = [("", here)]
        if len(drives) > 1:
            groups += [(history.drives[drive], here & (history.wrote[history.at] == drive)) for drive in drives]
        for drive, members in groups:
            scanned = _scan(history, surface, members, rng)
            if scanned is not None:
                places.append(Place(surface, names[number], drive, *scanned))
    return places


def _scan(history: History, surface: Surface, members: Flags, rng: np.random.Generator) -> tuple[TrackScan, int] | None:
    """The scan of the latest failing discs, compared with the older ones, and how many they are; None for too few."""
    rows, tracks = history.at[members], history.track[members] - surface.first_track
    inside = (tracks >= 0) & (tracks < surface.tracks)
    rows, tracks = rows[inside], tracks[inside]
    each, counts = np.unique(rows, return_counts=True)
    local = each[counts <= surface.tracks // 2]  # a surface that fails as a whole tells no place
    latest = local[history.disc[local] >= len(history) - RECENT][-LATEST:]
    if len(latest) < FEWEST:
        return None
    patterns: list[Ints] = [np.unique(tracks[rows == row]) for row in latest]
    older = np.isin(rows, local) & (rows < latest[0])
    return scan(patterns, surface.tracks, np.bincount(tracks[older], minlength=surface.tracks), rng), len(latest)
