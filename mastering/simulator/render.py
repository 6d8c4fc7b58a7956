"""What simulated reads leave: captures, dumps, and dumps with a sector report, of discs that carry a master's sides."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from formats.bounds import SIGNATURE
from formats.model.geometry import Geometry
from mastering.master.master import Master, Side
from mastering.simulator import reads
from mastering.simulator.bench import Read, Writing
from mastering.simulator.chance import generator
from mastering.simulator.damage import Layout, Spot
from mastering.simulator.disc import NOISE, Cells, Disc, Place, at_speed, laid
from mastering.simulator.physics import Physics

Form = Literal["capture", "flux", "dump", "report"]


@dataclass(frozen=True)
class ReadBack:
    """What a simulated read left: `data` is a capture or a dump, `report` the sector report beside a dump.

    Only a capture can say in itself that it is `simulated`; who hands on a dump must say so.
    """

    data: bytes
    report: bytes | None
    story: str
    simulated: bool = True

    def files(self, stem: str) -> dict[str, bytes]:
        """The files by name, for a stem such as SERIAL-SIDE."""
        if self.data.startswith(SIGNATURE):
            return {f"{stem}.capture": self.data}
        return {f"{stem}.dump": self.data} | ({f"{stem}.report.csv": self.report} if self.report is not None else {})


class Renderer:
    """Makes the cells and files of reads of one master's sides; a side is coded once, for a serial only the cylinder that holds it."""

    def __init__(self, master: Master) -> None:
        self.master = master
        self._plain: dict[str, Mapping[Place, Cells]] = {}
        self.layouts = {name: Layout(name, side.geometry) for name, side in master.sides.items()}

    def disc(self, writing: Writing) -> Disc:
        """A side as it lies on the disc. ValueError when the drive turned too fast for its geometry."""
        side, geometry = self.master.sides[writing.layout.side], writing.layout.geometry
        if side.name not in self._plain:
            self._plain[side.name] = laid(geometry, side.dump, side.identity)
        tracks = {**self._plain[side.name], **_with_serial(side, geometry, writing.serial)}
        turned = {place: at_speed(geometry, place[0], cells, writing.speed) for place, cells in tracks.items()}
        made = Disc(geometry, turned, {})
        for spot in writing.spots:
            made = _spoilt(made, writing.layout, spot, writing.speed)
        return made

    def read_back(self, read: Read, form: Form = "capture", turns: float = 1.2) -> ReadBack:
        """The files of a read: a capture of so many turns, as cells or as times, a dump, or a dump with its report."""
        if form in ("capture", "flux"):
            return ReadBack(self._capture(read, turns) if form == "capture" else self._flux(read, turns), None, read.story)
        writing, geometry = read.writing, read.writing.layout.geometry
        unread = writing.layout.touched((spot for spot in read.spots if not spot.weak), writing.speed)
        soft = writing.layout.touched((spot for spot in read.spots if spot.weak), writing.speed)
        dump = reads.read_dump(geometry, _dump(self.master.sides[writing.layout.side], writing.serial), unread)
        return ReadBack(dump, reads.report(geometry, unread, soft) if form == "report" else None, read.story)

    def _capture(self, read: Read, turns: float) -> bytes:
        return reads.read_capture(self._found(read), generator(read.seed, "passing", read.drive, read.use), turns)

    def _flux(self, read: Read, turns: float) -> bytes:
        writing = read.writing
        written = (read.seed, "magnetised", writing.drive, writing.use)
        physics = Physics(jitter=read.jitter, wow=read.wow, speed=read.speed)
        return reads.read_times(self._found(read), generator(read.seed, "passing", read.drive, read.use), turns, physics, written)

    def _found(self, read: Read) -> Disc:
        """The disc as a read finds it."""
        disc = self.disc(read.writing)
        for spot in read.own:
            disc = _spoilt(disc, read.writing.layout, spot, read.writing.speed)
        return disc


def _dump(side: Side, serial: str | None) -> bytes:
    return side.dump if serial is None else side.stamped(serial)


def _with_serial(side: Side, geometry: Geometry, serial: str | None) -> dict[Place, Cells]:
    """The tracks of the cylinder that holds a serial, with it; none where the side has no slot or gets no serial."""
    if serial is None or side.slot is None:
        return {}
    cylinder = geometry.cylinder(side.slot.track, side.slot.head)
    zone = geometry.zone(cylinder)
    track = geometry.first_track + cylinder
    alone = replace(geometry, zones=(replace(zone, first=track, last=track),))
    dump, size = side.stamped(serial), geometry.size
    places = [geometry.places[address] * size for address in alone.addresses]
    cells = laid(alone, b"".join(dump[at : at + size] for at in places), side.identity)
    return {(cylinder, head): run for (_, head), run in cells.items()}


def _spoilt(disc: Disc, layout: Layout, spot: Spot, speed: float) -> Disc:
    """A disc with a spot: its cells are what a never written disc has there, or come differently at every other turn."""
    rng = np.random.default_rng(spot.noise)
    tracks, weak = dict(disc.tracks), dict(disc.weak)
    for place in layout.places(spot):
        run = layout.run(spot, place[0], speed)
        if spot.weak:
            weak[place] = (*weak.get(place, ()), run)
        else:
            tracks[place] = tracks[place].copy()
            tracks[place][run] = rng.random(run.stop - run.start) < NOISE
    return replace(disc, tracks=tracks, weak=weak)
