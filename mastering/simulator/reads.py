"""Read-backs of simulated discs: captures of one or many turns, dumps, dumps with a reader's report. Captures say `simulated`."""

from collections.abc import Collection, Mapping

import numpy as np

from formats.containers import capture, sector_report
from formats.containers.capture import Capture, Track
from formats.model.geometry import Address, Geometry
from mastering.simulator.chance import Word, generator
from mastering.simulator.disc import Disc, passing
from mastering.simulator.physics import Physics, heard

WRITER = "obverse simulator"
FILLER = 0xF6  # what this reader leaves where it could read nothing


def read_capture(disc: Disc, rng: np.random.Generator, turns: float = 1.2, cylinders: int | None = None) -> bytes:
    """A capture of so many turns of every track, each begun anywhere; of the first `cylinders` only when the reader stopped early.

    A read of 1 turn says that it is exactly one (flag 1); any other number is a stretch with ends.
    """
    geometry = disc.geometry
    tracks = []
    for (cylinder, head), _ in sorted(disc.tracks.items()):
        if cylinders is None or cylinder < cylinders:
            cells, marks = passing(disc, (cylinder, head), turns, rng)
            cell_ps = round(geometry.zone(cylinder).cell_ns * 1000)
            tracks.append(Track(cylinder, head, turns == 1, cell_ps, len(cells), np.packbits(cells).tobytes(), marks))
    return capture.write(Capture(geometry.rpm, WRITER, tuple(tracks), simulated=True))


def read_times(disc: Disc, rng: np.random.Generator, turns: float, physics: Physics, written: tuple[Word, ...]) -> bytes:
    """A capture of times of so many turns of every track; `written`: seed and words of what lies on the disc, for all its reads."""
    seed, *words = written
    times = [heard(disc, place, turns, physics, generator(int(seed), *words, *place), rng) for place in sorted(disc.tracks)]
    return capture.write(Capture(disc.geometry.rpm, WRITER, (), simulated=True, times=tuple(times)))


def read_dump(geometry: Geometry, dump: bytes, unread: Collection[Address]) -> bytes:
    """A dump in which some sectors could not be read and hold the reader's filler."""
    made = bytearray(dump)
    for address in unread:
        at = geometry.places[address] * geometry.size
        made[at : at + geometry.size] = bytes([FILLER]) * geometry.size
    return bytes(made)


def report(geometry: Geometry, unread: Mapping[Address, str], soft: Collection[Address] = (), tries: int = 10) -> bytes:
    """What the reader of such a dump says of its sectors: what it met where it gave up, and which came right at a second try only."""

    def row(address: Address) -> tuple[Address, str, int]:
        if address in unread:
            return address, unread[address], tries
        return address, "good", 2 if address in soft else 1

    return sector_report.write(map(row, geometry.addresses))


def dropped_sector(geometry: Geometry, dump: bytes, place: int) -> bytes:
    """A dump whose reader lost one sector, so that all that follows moved up; a filler stands at its end."""
    size = geometry.size
    return dump[: place * size] + dump[(place + 1) * size :] + bytes([FILLER]) * size
