"""A read-back as it can be held against any side: a dump with or without a report, or a capture."""

from collections.abc import Iterable, Iterator
from functools import cached_property

import numpy as np

from formats import registry
from formats.bounds import LARGEST_CAPTURE, LARGEST_REPORT, SIGNATURE
from formats.containers import capture, sector_report
from formats.containers.capture import Capture, Track, on_geometry, upright
from formats.containers.sector_report import Report
from formats.errors import ContainerError
from formats.model.geometry import Geometry
from formats.model.record import Record
from formats.tracks.intervals import Rules
from formats.tracks.known_fields import KnownFields
from formats.tracks.reading import Stretch, any_identifier
from mastering.judging.compare import Judged, Target, compare_cells, compare_dump
from mastering.judging.flux import Flux
from mastering.judging.quality import Quality, quality
from mastering.judging.readback import REPORT, ReadBackError, Source, read_bounded
from mastering.judging.rescue import rescued
from mastering.judging.sightings import Sighted, see
from mastering.judging.verdict import NUMBER, Evidence

_LARGE = 8 << 20  # bytes of cells: of a larger capture only few geometries' sightings are remembered at a time
_KEPT = 2  # geometries: those of a job's two sides


class DumpReadBack:
    """The bytes of a dump, and its reader's report where there is one."""

    simulated = False

    def __init__(self, name: str, dump: bytes, report: Report | None) -> None:
        self.name, self.dump, self.report = name, dump, report
        self.evidence: Evidence = "dump" if report is None else "report"
        self._judged: dict[Target, Judged | None] = {}

    def judged(self, target: Target) -> Judged | None:
        """How it stands against a side; None when its length says that it is no read-back of it, whole or short."""
        if target not in self._judged:
            self._judged[target] = compare_dump(target, self.dump, self.report) if self.could_be(target) else None
        return self._judged[target]

    def accepted(self, target: Target) -> Judged:
        """How it stands against the side that it is judged as. ContainerError when its length or its report can't be that side's."""
        judged = self.judged(target)
        if judged is None:
            raise ContainerError(f"{self.name}: {len(self.dump):,} bytes, where side {target.name} has {len(target.side.dump):,}")
        if self.report is not None:
            self.report.check_against(target.geometry)
        return judged

    def quality(self, target: Target, judged: Judged) -> None:
        """Bytes do not show how much room is left."""

    def could_be(self, target: Target) -> bool:
        """Whether its length is the side's, or whole sectors of it."""
        return 0 < len(self.dump) <= len(target.side.dump) and len(self.dump) % target.side.size == 0

    def is_short(self, target: Target, others: Iterable[Target]) -> bool:
        """Whether it ends early, at a sector's end, and has no other side's length."""
        early = self.could_be(target) and len(self.dump) < len(target.side.dump)
        return early and all(len(other.side.dump) != len(self.dump) for other in others)

    def is_blank(self, target: Target) -> bool:
        """Whether it is one byte value throughout, and the master is not."""
        return self.is_empty and not _is_constant(target.side.dump)

    def is_of_other_geometry(self, target: Target) -> bool:
        """A dump has no fields that could tell."""
        return False

    def recorded(self) -> None:
        """A dump has no fields that could tell its geometry."""

    @property
    def is_empty(self) -> bool:
        """Whether it is one byte value throughout."""
        return _is_constant(self.dump)

    def unsound_rows(self, target: Target) -> Iterator[bytes]:
        """What the dump holds for the slot's sector, whatever its report says of it."""
        if target.slot is not None and self.could_be(target):
            at = target.slot[0] * target.side.size
            yield self.dump[at : at + target.side.size]


def _is_constant(data: bytes) -> bool:
    return data[:1] * 16 == data[:16] and data.count(data[:1]) == len(data)


class CaptureReadBack:
    """The tracks of a capture, as each geometry asked for shows them. `known`: the fields that the caller remembers from earlier ones."""

    def __init__(self, name: str, read: Capture, known: KnownFields | None = None) -> None:
        self.name, self.capture = name, upright(read)
        self._known = known or KnownFields()
        self.evidence: Evidence = "cells" if read.tracks else "flux"
        self.flux = Flux(read, read.reversed)
        self.simulated = read.simulated
        self._sighted: dict[Geometry, Sighted] = {}
        self._judged: dict[Target, Judged | None] = {}
        self._identified: dict[Record, bool] = {}
        self._sound: dict[Geometry, int] = {}
        self._heard: dict[tuple[Record, tuple[Rules | None, ...]], bool] = {}

    def sighted(self, geometry: Geometry) -> Sighted:
        """Its sightings of a geometry's sectors. ContainerError when its steps can't be that geometry's tracks."""
        if geometry not in self._sighted:
            sighted = self._see(geometry)
            while len(self._sighted) >= _KEPT and sum(len(track.bits) for track in self.capture.tracks) > _LARGE:
                del self._sighted[next(iter(self._sighted))]
            self._sighted[geometry] = sighted
        return self._sighted[geometry]

    def _see(self, geometry: Geometry) -> Sighted:
        """Its sightings of a geometry's sectors, which are not remembered."""
        try:
            return see(geometry, self._tracks(geometry), self.capture.rpm, self._known)
        except ContainerError as error:
            raise ContainerError(f"{self.name}: {error}") from error

    def _tracks(self, geometry: Geometry) -> tuple[Track, ...]:
        """Its tracks as a geometry's cells. ContainerError when its steps can't be that geometry's tracks."""
        fitted = on_geometry(self.capture, geometry, self.name)
        if not fitted.times:
            return fitted.tracks
        return (*fitted.tracks, *(each.track for each in self.flux.tracks(geometry, fitted.times)))

    def judged(self, target: Target) -> Judged | None:
        """How it stands against a side; None when its steps can't be that side's tracks."""
        if target not in self._judged:
            try:
                self._judged[target] = compare_cells(target, self.sighted(target.geometry))
            except ContainerError:
                self._judged[target] = None
        return self._judged[target]

    def could_be(self, target: Target) -> bool:
        """Whether a sound identifier of the side's kind is on it."""
        try:
            return self._has_identifiers(target.geometry)
        except ContainerError:
            return False

    def accepted(self, target: Target) -> Judged:
        """How it stands against the side that it is judged as. ContainerError when its steps can't be that side's tracks."""
        sighted = self.sighted(target.geometry)
        judged = self.judged(target) or compare_cells(target, sighted)
        if self.evidence != "flux":
            return judged
        return rescued(judged, sighted, self.flux, on_geometry(self.capture, target.geometry, self.name).times)

    def quality(self, target: Target, judged: Judged) -> Quality | None:
        """How much room its times leave; None where it holds cells, which do not show it."""
        if self.evidence != "flux":
            return None
        geometry = target.geometry
        tracks = self.flux.tracks(geometry, on_geometry(self.capture, geometry, self.name).times)
        soft = np.flatnonzero(judged.kinds == NUMBER["soft"])
        lost = int(np.count_nonzero(~judged.known & (judged.kinds != NUMBER["not-tried"])))
        return quality(self.sighted(geometry), tracks, self.capture.rpm, soft, lost)

    def is_short(self, target: Target, others: Iterable[Target]) -> bool:
        """Whether it lacks the last cylinders."""
        fitted = on_geometry(self.capture, target.geometry, self.name)
        cylinders = [track.cylinder for track in fitted.tracks] + [read.cylinder for read in fitted.times]
        return max(cylinders, default=0) < target.geometry.cylinders - 1

    def is_blank(self, target: Target) -> bool:
        """Whether no sound identifier of any declared geometry is on it."""
        return not self.sighted(target.geometry).any_sound_identifier and self.is_empty

    def unsound_rows(self, target: Target) -> Iterator[bytes]:
        """The bytes of every block that fails its check: one of them may be the slot's sector."""
        blocks = self.sighted(target.geometry).reading.blocks
        yield from map(bytes, blocks.bodies(np.flatnonzero(~blocks.sound & ~blocks.cut & (blocks.row >= 0))))

    def is_of_other_geometry(self, target: Target) -> bool:
        """Whether nothing of this geometry was read, and a tenth or more of another one's sectors was."""
        if self.sighted(target.geometry).any_sound_field:
            return False
        return any(count * 10 >= len(geometry.addresses) for geometry, count in self._sound_sectors())

    def recorded(self) -> tuple[str, int, int] | None:
        """The declared geometry of which most sectors were read soundly, how many, and of how many; None where none was."""
        sound = [(count / len(geometry.addresses), count, geometry) for geometry, count in self._sound_sectors() if count]
        if not sound:
            return None
        _, count, geometry = max(sound, key=lambda each: each[:2])
        return geometry.id, count, len(geometry.addresses)

    def met(self, name: str) -> dict[tuple[int, int], tuple[int, int]]:
        """For each cylinder and head of a declared geometry, as its steps count: sectors that were read soundly, and how many it has."""
        geometry = registry.geometry(name)
        sound = set(self.sighted(geometry).place.tolist())
        step = 1 if self.capture.tpi in (None, geometry.tpi) else 2
        places = geometry.places_of_tracks.items()
        return {(cylinder * step, head): (len(sound.intersection(own)), len(own)) for (cylinder, head), own in places}

    @property
    def is_empty(self) -> bool:
        """Whether no sound identifier of any declared geometry is on it."""
        return next(self._declared(), None) is None

    def _declared(self) -> Iterator[Geometry]:
        """The declared geometries of whose kind a sound identifier is on it."""
        for geometry in registry.usable_geometries():
            try:
                if self._has_identifiers(geometry):
                    yield geometry
            except ContainerError:
                continue

    def _sound_sectors(self) -> Iterator[tuple[Geometry, int]]:
        """The declared geometries whose identifiers are on it and whose tracks its steps can be, and how many of their sectors were sound.

        Where no block of some kind is sound on all of it, no other geometry with that kind of blocks is looked for.
        """
        without: set[tuple[Record, Record]] = set()
        for geometry in self._declared():
            kinds = (geometry.identifier, geometry.block)
            if geometry not in self._sound and kinds not in without:
                try:
                    sighted = self._sighted.get(geometry) or self._see(geometry)
                except ContainerError:
                    continue
                self._sound[geometry] = len(np.unique(sighted.place))
                whole = all(cylinder < geometry.cylinders and head < geometry.heads for cylinder, head in self._places)
                if whole and not sighted.reading.blocks.sound.any():
                    without.add(kinds)
            yield geometry, self._sound.get(geometry, 0)

    @cached_property
    def _places(self) -> set[tuple[int, int]]:
        """Cylinders and heads of its reads, as its drive stepped."""
        cells = {(track.cylinder, track.head) for track in self.capture.tracks}
        return cells | {(read.cylinder, read.head) for read in self.capture.times}

    def _has_identifiers(self, geometry: Geometry) -> bool:
        """Whether a sound identifier of this geometry's kind is anywhere on it: many geometries have the same kind."""
        if self.capture.times:
            return self._times_have_identifiers(geometry)
        if geometry.identifier not in self._identified:
            stretches = [Stretch(track.bits, track.cells, track.turn) for track in self.capture.tracks]
            self._identified[geometry.identifier] = any_identifier(geometry, stretches, self._known)
        return self._identified[geometry.identifier]

    def _times_have_identifiers(self, geometry: Geometry) -> bool:
        """The same where the cells depend on the geometry: decoded only where its clock can be heard."""
        fitted = on_geometry(self.capture, geometry, self.name)
        key = geometry.identifier, self.flux.key(geometry, fitted.times)
        if key not in self._heard:
            self._heard[key] = False
            if fitted.tracks or self.flux.could_be(geometry, fitted.times):
                stretches = [Stretch(track.bits, track.cells, track.turn) for track in self._tracks(geometry)]
                self._heard[key] = any_identifier(geometry, stretches, self._known)
        return self._heard[key]


ReadBack = DumpReadBack | CaptureReadBack


def load(
    source: Source, longest_dump: int, data: bytes | None = None, known: KnownFields | None = None, report: bytes | None = None
) -> ReadBack:
    """A read-back to be judged: a capture when it begins with the capture's signature, else a dump with its report.

    `data`, `report`: all bytes of the file and of its report, where they have been read already; what a digest was taken of is what must
    be judged, whatever became of the file since. `known`: the fields that the caller remembers from earlier captures.
    ReadBackError or formats.errors.ContainerError when it is broken, alone, or longer than any dump could be.
    """
    path = source.path
    if path.endswith(REPORT):
        raise ReadBackError(f"{path}: a sector report without its dump; put the dump beside it, with the same name and its own suffix")
    if data is None:
        data = read_bounded(path, LARGEST_CAPTURE)
    if data.startswith(SIGNATURE):
        return CaptureReadBack(path, capture.read(data, path), known)
    if len(data) > longest_dump:
        raise ReadBackError(
            f"{path}: {len(data):,} bytes is neither a capture nor a dump of this master, which has at most {longest_dump:,}"
        )
    if source.report is None:
        return DumpReadBack(path, data, None)
    if report is None:
        report = read_bounded(source.report, LARGEST_REPORT)
    return DumpReadBack(path, data, sector_report.read(report, source.report))
