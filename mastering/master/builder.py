"""A job to the bytes of its sides. Pure: reads no file, no clock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from formats import registry
from formats.bounds import SIGNATURE
from formats.containers import capture
from formats.errors import Problem, VolumeError
from formats.model.geometry import Geometry
from formats.tracks.encode import encode_side
from formats.volumes.interface import FileOut
from formats.volumes.shared.image import Image
from mastering.errors import ProblemsError
from mastering.files import canonical_json, digest
from mastering.job.plan import Job, SidePlan
from mastering.master.filler import free_text
from mastering.master.names import text_of
from mastering.master.slot import Slot
from mastering.master.slot_builder import find_marker, lay_slot

VERSION = 2  # of master.json


@dataclass(frozen=True)
class BuiltSide:
    """A side as it will be on the disc. `used`: sectors that hold something; `free`, `unit`: what its volume has left.

    `slot`: where it carries the serial, None: it carries none.
    """

    plan: SidePlan
    dump: bytes
    files: tuple[FileOut, ...]
    used: int
    free: int
    unit: int
    slot: Slot | None

    @property
    def identity(self) -> dict[str, int]:
        """The numbers in the identity fields of this side's identifiers, by field."""
        content = self.plan.content
        return self.plan.geometry.identity_values(content.disc_id, content.volume_number)


@dataclass(frozen=True)
class Built:
    """A job and its sides."""

    job: Job
    sides: Mapping[str, BuiltSide]


def build(job: Job) -> Built:
    """Builds every side. ProblemsError with all that can't be built."""
    sides: dict[str, BuiltSide] = {}
    problems: list[Problem] = []
    for name, plan in job.sides.items():
        try:
            sides[name] = _side(job, plan)
        except VolumeError as error:
            problems += error.problems
    if problems:
        raise ProblemsError(problems)
    return Built(job, sides)


def _side(job: Job, plan: SidePlan) -> BuiltSide:
    image = plan.volume.build(plan.geometry, plan.content)
    used = len(image.used)
    if plan.free == "numbered":
        _number_free_sectors(job, plan, image)
    slot = lay_slot(plan, image)
    dump = bytes(image.dump)
    if dump.startswith(SIGNATURE):
        raise VolumeError(
            Problem(plan.where, "its first eight bytes are the signature of a capture, so no dump of it could be told from one")
        )
    held = plan.volume.read(image)
    for wrong in plan.volume.check(image):
        raise VolumeError(Problem(plan.where, f"the volume that was built contradicts itself: {wrong} (a defect of this program)"))
    if plan.slot.kind == "marker":
        slot = find_marker(plan, dump, held.files)
    return BuiltSide(plan, dump, held.files, used, held.free, held.unit, slot)


def _number_free_sectors(job: Job, plan: SidePlan, image: Image) -> None:
    """Fills each free sector with a text that names its place, so that no reader's filler equals it."""
    used = set(image.used)
    for address in plan.geometry.addresses:
        if address not in used:
            image.write(address, free_text(job.title.catalogue, plan.name, plan.geometry, address))


def unproven(dump: bytes, size: int) -> list[int]:
    """Places of the sectors that a reader's filler could equal: one byte value throughout, or equal to the sector before."""
    rows = [dump[at : at + size] for at in range(0, len(dump), size)]
    return [at for at, row in enumerate(rows) if row == row[:1] * size or (at and row == rows[at - 1])]


# What goes into the master


def payload(built: Built) -> dict[str, bytes]:
    """The files below `data/` but the record: each side's dump, capture, and copy under another suffix."""
    files = {}
    for name, side in built.sides.items():
        geometry = side.plan.geometry
        files[f"side-{name}.dump"] = side.dump
        files[f"side-{name}.capture"] = capture.write_master(geometry, encode_side(geometry, side.dump, side.identity))
        if side.plan.suffix:
            files[f"side-{name}.{side.plan.suffix}"] = side.dump
    return files


def record(built: Built) -> dict[str, Any]:
    """`master.json`: all that later steps need to know of this master."""
    title = built.job.title
    return {
        "version": VERSION,
        "title": dict(vars(title)),
        "serials": {name: side.slot.plain() for name, side in built.sides.items() if side.slot},
        "sides": {name: _side_record(side) for name, side in built.sides.items()},
        "blanks": blanks([side.plan.geometry for side in built.sides.values()]),
    }


def _side_record(side: BuiltSide) -> dict[str, Any]:
    geometry, plan = side.plan.geometry, side.plan
    plain = geometry.plain()
    places = unproven(side.dump, geometry.size)
    files = [file_record(file, volatile) for file, volatile in zip(side.files, plan.volatile, strict=True)]
    return {
        "geometry": geometry.id,
        "geometry_plain": plain,
        "geometry_digest": digest(canonical_json(plain)),
        **_source(geometry),
        "volume": plan.volume.id,
        "platform": plan.platform,
        "label": text_of(plan.content.label),
        "sha256": digest(side.dump),
        "dump_bytes": len(side.dump),
        "identity": side.identity,
        "unproven": len(places),
        "unproven_sectors": places,
        "fill": plan.free,
        "files": files,
    }


def _source(geometry: Geometry) -> dict[str, str]:
    """Where a geometry comes from that the job or another package declares: nobody else may know it when the master is opened again."""
    foreign = geometry.id not in registry.names("geometries", foreign=False)
    return {"geometry_source": geometry.sources[0].title} if foreign and geometry.sources else {}


def file_record(file: FileOut, volatile: bool) -> dict[str, Any]:
    """The record of a file in `master.json`: also its sectors in the order of its bytes, and how many bytes stand before them in each."""
    return {
        "name": text_of(file.name),
        "type": file.type,
        "load_address": file.load_address,
        "bytes": len(file.data),
        "sha256": digest(file.data),
        "sectors": [list(address) for address in file.sectors],
        "before": list(file.before),
        "locked": file.locked,
        "volatile": volatile,
    }


def blanks(geometries: Sequence[Geometry]) -> dict[str, Any]:
    """What blank discs must be like to take these sides.

    A disc that is turned over needs a second write-enable notch at the mirrored place, and, where a drive uses the index hole on
    that face, a second index window in both faces of the jacket (drive handbooks; sections 4 and 5 of the group-coded drives'
    listings use no index).
    """
    turned = len(geometries) == 2
    return {
        "coercivity": sorted({geometry.coercivity for geometry in geometries}),
        "tpi": sorted({geometry.tpi for geometry in geometries}),
        "faces": 2 if turned or any(geometry.heads == 2 for geometry in geometries) else 1,
        "second_notch": turned,
        "second_index_window": turned and geometries[1].index,
    }
