"""How each kind of disc is divided, written down a second time from the published tables; it shares nothing with the program's declarations.

Where the texts leave something open a comment that begins with "READING" quotes the sentence and says which way was taken.
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import floor

FM, MFM, DENSE = Fraction(4), Fraction(2), Fraction(1)  # microseconds a cell at 125, 250 and 500 kbit/s
SIXTEENTHS = [Fraction(n, 4) for n in (13, 14, 15, 16)]  # 16 MHz / (13, 14, 15, 16) / 4
TWENTY_FOURTHS = [Fraction(n, 6) for n in (13, 14, 15, 16)]  # 24 MHz / (13, 14, 15, 16) / 4


@dataclass(frozen=True)
class Zone:
    """Neighbouring cylinders that are alike: up to and without `end`; `cells` of a sector from its sync to the end of its last gap."""

    end: int
    sectors: int
    cell: Fraction
    cells: int


@dataclass(frozen=True)
class Geo:
    """One geometry: `code` is "fm", "mfm", "4to5", "6and2" or "5and3"; `size` is the bytes of a sector; `base` the lowest sector number."""

    id: str
    code: str
    heads: int
    size: int
    zones: tuple
    first_track: int = 0
    base: int = 1
    rpm: int = 300
    tpi: int = 48
    complemented: bool = False  # the body stands inverted on the track
    odd_first: bool = False  # round the track 1 3 5 ... 2 4 6 ...

    @property
    def cylinders(self):
        """How many cylinders."""
        return self.zones[-1].end

    @property
    def length(self):
        """The length code N of FM and MFM identifiers: 0=128, 1=256, 2=512, 3=1024."""
        return {128: 0, 256: 1, 512: 2, 1024: 3}[self.size]

    @property
    def marked(self):
        """FM or MFM: identifiers with head and length code, blocks that can be marked as deleted."""
        return self.code in ("fm", "mfm")

    def zone(self, cylinder):
        """The zone in which a cylinder lies."""
        return next(zone for zone in self.zones if cylinder < zone.end)

    def sectors(self, cylinder):
        """The identifiers' numbers of one track, in the order in which a dump holds them."""
        if self.code == "6and2":
            return [0, 13, 11, 9, 7, 5, 3, 1, 14, 12, 10, 8, 6, 4, 2, 15]
        return list(range(self.base, self.base + self.zone(cylinder).sectors))

    def round(self, cylinder):
        """The identifiers' numbers as they pass the head."""
        numbers = sorted(self.sectors(cylinder))
        if self.code == "5and3":
            return [10 * k % 13 for k in range(13)]
        return numbers[::2] + numbers[1::2] if self.odd_first else numbers

    def track(self, cylinder, head):
        """The number in a track's identifiers: "the geometry's track `first_track + c` (on head 1 of `gcr4to5-77z-2s` 77 more)"."""
        return self.first_track + cylinder + (self.cylinders if head and self.code == "4to5" else 0)

    def cell_ps(self, cylinder):
        """The length of a cell in picoseconds. "A cell length that is no whole number of picoseconds is rounded." """
        return round(self.zone(cylinder).cell * 1_000_000)

    def track_cells(self, cylinder):
        """Whole cells of a nominal turn, at the unrounded cell length."""
        return int(60_000_000 / (self.rpm * self.zone(cylinder).cell))

    def places(self):
        """(cylinder, head, track, sector) of every sector in dump order."""
        return list(places_of(self))

    def on_track(self, cylinder, head):
        """(index in the dump, place) of a track's sectors."""
        return [(index, place) for index, place in enumerate(places_of(self)) if place[:2] == (cylinder, head)]

    def bytes(self):
        """The length of a dump."""
        return len(self.places()) * self.size


@cache
def places_of(geo):
    """What `Geo.places` gives."""
    tracks = [(c, h) for c in range(geo.cylinders) for h in range(geo.heads)]
    if geo.code == "4to5":  # "two heads: all of head 0 (tracks 1-77), then all of head 1"
        tracks.sort(key=lambda place: place[1])
    return [(c, h, geo.track(c, h), s) for c, h in tracks for s in geo.sectors(c)]


def plain(name, code, cell, cylinders, heads, sectors, size, sector_bytes, **more):
    """FM and MFM: all tracks alike; `sector_bytes` from sync to gap3 as in the tables of the formats, a byte being 16 cells."""
    return Geo(name, code, heads, size, (Zone(cylinders, sectors, cell, 16 * sector_bytes),), **more)


def zoned(name, ends, sectors, cells, gap1=9, **more):
    """4-to-5: tracks from 1, sectors from 0, a sector as its formatter lays it.

    READING: "gap2 `55` x floor((track bytes - 358 n)/n), at least 4": with gap1 19 instead of 9 a sector without gap2 is ten bytes longer,
    and so is the 358. Where not even 4 fit ("only 3 bytes per gap fit") nothing is said; 1 is taken.
    """
    zones = []
    for end, n, cell in zip(ends, sectors, cells, strict=True):
        track_bytes, fixed = 200_000 / cell / 8, 345 + gap1
        zones.append(Zone(end, n, cell, 8 * (fixed + max(1, floor((track_bytes - (fixed + 4) * n) / n)))))
    return Geo(name, "4to5", more.pop("heads", 1), 256, tuple(zones), first_track=1, base=0, **more)


ALL = (
    plain("fm-40x16x128", "fm", FM, 40, 1, 16, 128, 188),
    plain("fm-40x18x128", "fm", FM, 40, 1, 18, 128, 170),
    plain("fm-40x18x128-288rpm", "fm", FM, 40, 1, 18, 128, 175, rpm=288, complemented=True, odd_first=True),
    plain("fm-40x10x256", "fm", FM, 40, 1, 10, 256, 310, base=0),
    plain("mfm-40x8x512", "mfm", MFM, 40, 1, 8, 512, 654),
    plain("mfm-40x8x512-2s", "mfm", MFM, 40, 2, 8, 512, 654),
    plain("mfm-40x9x512", "mfm", MFM, 40, 1, 9, 512, 654),
    plain("mfm-40x9x512-2s", "mfm", MFM, 40, 2, 9, 512, 654),
    plain("mfm-40x10x512-2s", "mfm", MFM, 40, 2, 10, 512, 604),
    plain("mfm-40x16x256-2s", "mfm", MFM, 40, 2, 16, 256, 372),
    # READING: 18x256 "with an interleave chosen by its formatter": no order is said, so the numbers stand as they count.
    plain("mfm-40x18x256", "mfm", MFM, 40, 1, 18, 256, 342),
    plain("mfm-40x26x128-288rpm", "mfm", MFM, 40, 1, 26, 128, 212, rpm=288, odd_first=True),
    plain("mfm-80x9x512-2s", "mfm", MFM, 80, 2, 9, 512, 654, tpi=96),
    plain("mfm-80x16x256-2s", "mfm", MFM, 80, 2, 16, 256, 372, tpi=96),
    plain("mfm-80x5x1024-2s", "mfm", MFM, 80, 2, 5, 1024, 1202, tpi=96),
    plain("mfm-80x15x512-2s", "mfm", DENSE, 80, 2, 15, 512, 658, rpm=360, tpi=96),
    plain("mfm-77x8x1024-2s", "mfm", DENSE, 77, 2, 8, 1024, 1202, rpm=360, tpi=96),
    zoned("gcr4to5-35z", (17, 24, 30, 35), (21, 19, 18, 17), SIXTEENTHS),
    zoned("gcr4to5-40z", (17, 24, 30, 40), (21, 19, 18, 17), SIXTEENTHS),
    zoned("gcr4to5-35z20", (17, 24, 30, 35), (21, 20, 18, 17), SIXTEENTHS),
    zoned("gcr4to5-77z", (39, 53, 64, 77), (29, 27, 25, 23), TWENTY_FOURTHS, gap1=19, tpi=100),
    zoned("gcr4to5-77z-2s", (39, 53, 64, 77), (29, 27, 25, 23), TWENTY_FOURTHS, gap1=19, tpi=100, heads=2),
    # READING: gap2 of "5-10 self-syncs (writer puts 5 before data)" and gap3 of "14-24": the least of each, of ten cells; 13 sectors have
    # more room and of nine cells the greatest of each. The texts leave it open; it only matters where a sector is just not missed.
    Geo("gcr6and2-35x16x256", "6and2", 1, 256, (Zone(35, 16, FM, 363 * 8 + 19 * 10),), base=0),
    Geo("gcr5and3-35x13x256", "5and3", 1, 256, (Zone(35, 13, FM, 431 * 8 + 34 * 9),), base=0),
)

GEOMETRIES = {geo.id: geo for geo in ALL}
