"""A read-back as it can be held against any side: a dump with or without a report, or a capture."""

from collections.abc import Iterable, Iterator

import numpy as np

from formats import registry
from formats.containers import capture, sector_report
from formats.containers.capture import Capture, on_geometry, upright
from formats.containers.sector_report import Report
from formats.errors import ContainerError
from formats.model.geometry import Geometry
from formats.model.record import Record
from formats.tracks.known_fields import KnownFields
from formats.tracks.reading import Stretch, any_identifier
from mastering.judging.compare import Judged, Target, compare_cells, compare_dump
from mastering.judging.readback import LARGEST_CAPTURE, LARGEST_REPORT, REPORT, SIGNATURE, ReadBackError, Source, read_bounded
from mastering.judging.sightings import Sighted, see
from mastering.judging.verdict import Evidence

_LARGE = 8 << 20  # bytes of cells: of a larger capture only few geometries' sightings are remembered at a time
_KEPT = 2  # geometries: those of a job's two sides


class DumpView:
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


class CaptureView:
    """The tracks of a capture, as each geometry asked for shows them. `known`: the fields that the caller remembers from earlier ones."""

    evidence: Evidence = "cells"

    def __init__(self, name: str, read: Capture, known: KnownFields | None = None) -> None:
        self.name, self.capture = name, upright(read)
        self._known = known or KnownFields()
        self.simulated = read.simulated
        self._sighted: dict[Geometry, Sighted] = {}
        self._judged: dict[Target, Judged | None] = {}
        self._identified: dict[Record, bool] = {}
        self._sound: dict[Geometry, int] = {}

    def sighted(self, geometry: Geometry) -> Sighted:
        """Its sightings of a geometry's sectors. ContainerError when its steps can't be that geometry's tracks."""
        if geometry not in self._sighted:
            sighted = self._see(geometry)
            while len(self._sighted) >= _KEPT and sum(len(track.bits) for track in self.capture.tracks) > _LARGE:
                del self._sighted[next(iter(self._sighted))]
            self._sighted[geometry] = sighted
        return self._sighted[geometry]

    def _see(self, geometry: Geometry) -> Sighted:
        fitted = on_geometry(self.capture, geometry, self.name)
        try:
            return see(geometry, fitted.tracks, fitted.rpm, self._known)
        except ContainerError as error:
            raise ContainerError(f"{self.name}: {error}") from error

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
        return self.judged(target) or compare_cells(target, sighted)

    def is_short(self, target: Target, others: Iterable[Target]) -> bool:
        """Whether it lacks the last cylinders."""
        fitted = on_geometry(self.capture, target.geometry, self.name)
        return max((track.cylinder for track in fitted.tracks), default=0) < target.geometry.cylinders - 1

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

    @property
    def is_empty(self) -> bool:
        """Whether no sound identifier of any declared geometry is on it."""
        return next(self._declared(), None) is None

    def _declared(self) -> Iterator[Geometry]:
        """The declared geometries of whose kind a sound identifier is on it."""
        for name in registry.names("geometries"):
            geometry = registry.geometry(name)
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
                whole = all(track.cylinder < geometry.cylinders and track.head < geometry.heads for track in self.capture.tracks)
                if whole and not sighted.reading.blocks.sound.any():
                    without.add(kinds)
            yield geometry, self._sound.get(geometry, 0)

    def _has_identifiers(self, geometry: Geometry) -> bool:
        """Whether a sound identifier of this geometry's kind is anywhere on it: many geometries have the same kind."""
        if geometry.identifier not in self._identified:
            stretches = [Stretch(track.bits, track.cells, track.turn) for track in self.capture.tracks]
            self._identified[geometry.identifier] = any_identifier(geometry, stretches, self._known)
        return self._identified[geometry.identifier]


View = DumpView | CaptureView


def load(source: Source, longest_dump: int, data: bytes | None = None, known: KnownFields | None = None) -> View:
    """A read-back to be judged: a capture when it begins with the capture's signature, else a dump with its report.

    `data`: all of the file's bytes, where they have been read already. `known`: the fields that the caller remembers from earlier captures.
    ReadBackError or formats.errors.ContainerError when it is broken, alone, or longer than any dump could be.
    """
    path = source.path
    if path.endswith(REPORT):
        raise ReadBackError(f"{path}: a sector report without its dump; put the dump beside it, with the same name and its own suffix")
    if data is None:
        data = read_bounded(path, LARGEST_CAPTURE)
    if data.startswith(SIGNATURE):
        return CaptureView(path, capture.read(data, path), known)
    if len(data) > longest_dump:
        raise ReadBackError(
            f"{path}: {len(data):,} bytes is neither a capture nor a dump of this master, which has at most {longest_dump:,}"
        )
    report = sector_report.read(read_bounded(source.report, LARGEST_REPORT), source.report) if source.report else None
    return DumpView(path, data, report)
