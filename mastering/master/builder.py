"""A job to the bytes of its sides. Pure: reads no file, no clock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from formats import registry
from formats.bounds import SIGNATURE
from formats.containers import capture
from formats.errors import Problem, VolumeError
from formats.model.geometry import Address, Geometry
from formats.tracks.encode import encode_side
from formats.volumes.interface import FileOut
from formats.volumes.shared.image import Image
from mastering.errors import ProblemsError
from mastering.files import canonical_json, digest
from mastering.job.job import Job, SerialPlan, SidePlan
from mastering.master.filler import free_text


@dataclass(frozen=True)
class BuiltSide:
    """A side as it will be on the disc. `used`: sectors that hold something; `free`, `unit`: what its volume has left."""

    plan: SidePlan
    dump: bytes
    files: tuple[FileOut, ...]
    used: int
    free: int
    unit: int

    @property
    def identity(self) -> dict[str, int]:
        """What the identity fields of its identifiers hold."""
        content = self.plan.content
        return self.plan.geometry.identity_values(content.disc_id, content.volume_number)


@dataclass(frozen=True)
class Built:
    """A job's sides, and where the serial lies on those that carry it."""

    job: Job
    sides: Mapping[str, BuiltSide]
    slots: tuple[Mapping[str, Any], ...]


def build(job: Job) -> Built:
    """Builds every side. ProblemsError with all that can't be built."""
    sides: dict[str, BuiltSide] = {}
    problems: list[str] = []
    for name, plan in job.sides.items():
        try:
            sides[name] = _side(job, plan)
        except VolumeError as error:
            problems += map(str, error.problems)
    slots = []
    for serial in job.serials:
        if serial.side in sides:
            slot = _slot(serial, sides[serial.side])
            if isinstance(slot, str):
                problems.append(f"{serial.where}.marker: {slot}")
            else:
                slots.append(slot)
    if problems:
        raise ProblemsError(problems)
    return Built(job, sides, tuple(slots))


def _side(job: Job, plan: SidePlan) -> BuiltSide:
    image = plan.volume.build(plan.geometry, plan.content)
    used = len(image.used)
    if plan.free == "numbered":
        _number_free_sectors(job, plan, image)
    dump = bytes(image.dump)
    if dump.startswith(SIGNATURE):
        raise VolumeError(
            Problem(f"side.{plan.name}", "its first eight bytes are the signature of a capture, so no dump of it could be told from one")
        )
    held = plan.volume.read(image)
    for wrong in plan.volume.check(image):
        raise VolumeError(Problem(f"side.{plan.name}", f"the volume that was built contradicts itself: {wrong} (a defect of this program)"))
    return BuiltSide(plan, dump, held.files, used, held.free, held.unit)


def _number_free_sectors(job: Job, plan: SidePlan, image: Image) -> None:
    """Fills each free sector with a text that names its place, so that no reader's filler equals it."""
    used = set(image.used)
    for address in plan.geometry.addresses:
        if address not in used:
            image.write(address, free_text(f"{job.title.name} {job.title.revision}", plan.name, plan.geometry, address))


def unproven(dump: bytes, size: int) -> list[int]:
    """Places of the sectors that a reader's filler could equal: one byte value throughout, or equal to the sector before."""
    rows = [dump[at : at + size] for at in range(0, len(dump), size)]
    return [at for at, row in enumerate(rows) if row == row[:1] * size or (at and row == rows[at - 1])]


def _slot(serial: SerialPlan, side: BuiltSide) -> Mapping[str, Any] | str:
    """Where a serial's marker lies, or what is wrong with it."""
    marker, geometry = serial.marker, side.plan.geometry
    count = _count(side.dump, marker)
    cut = [text_of(file.name) for file in side.files if marker in file.data]
    if not count and cut:
        return f"in {cut[0]} it lies across a sector's end; move it, so that it lies within one sector"
    if count != 1:
        found = "is not on" if not count else f"occurs {count} times on"
        return f"{marker.decode()!r} {found} side {serial.side}; it must occur there once"
    place, offset = divmod(side.dump.index(marker), geometry.size)
    if offset + len(marker) > geometry.size:
        where = _said(geometry.addresses[place])
        return f"it lies across the end of {where}; move it, so that it lies within one sector"
    track, head, sector = geometry.addresses[place]
    return {
        "side": serial.side, "track": track, "head": head, "sector": sector, "offset": offset, "bytes": len(marker), "place": place,
    }  # fmt: skip


def _count(data: bytes, part: bytes) -> int:
    """How often a part occurs, overlaps counted."""
    count, at = 0, data.find(part)
    while at >= 0:
        count, at = count + 1, data.find(part, at + 1)
    return count


def _said(address: Address) -> str:
    return f"track {address.track}" + (f" head {address.head}" if address.head else "") + f" sector {address.sector}"


# What goes into the master


def payload(built: Built) -> dict[str, bytes]:
    """The files below `data/` but the record: each side's dump, capture, and copy under another suffix."""
    made = {}
    for name, side in built.sides.items():
        geometry = side.plan.geometry
        made[f"side-{name}.dump"] = side.dump
        made[f"side-{name}.capture"] = capture.write_master(geometry, encode_side(geometry, side.dump, side.identity))
        if side.plan.suffix:
            made[f"side-{name}.{side.plan.suffix}"] = side.dump
    return made


def record(built: Built) -> dict[str, Any]:
    """`master.json`: all that later steps need to know of this master."""
    title = built.job.title
    return {
        "version": 1,
        "title": {"name": title.name, "publisher": title.publisher, "catalogue": title.catalogue, "revision": title.revision},
        "serial": built.slots[0] if built.slots else None,
        **({"serials": list(built.slots)} if len(built.slots) > 1 else {}),
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
    """What a master says of a file, its sectors in the order of its bytes among it, and what stands before its bytes in them."""
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


def text_of(name: bytes) -> str:
    """A name in JSON: ASCII as it is, any other in the form of an extracted file's name."""
    return name.decode("ascii") if name.isascii() else safe_name(name)


def safe_name(name: bytes) -> str:
    """A name for a file of this machine: bytes outside `A-Z a-z 0-9 . _ -` as %XX."""
    return "".join(chr(byte) if chr(byte).isascii() and (chr(byte).isalnum() or byte in b"._-") else f"%{byte:02X}" for byte in name)


def blanks(geometries: Sequence[Geometry]) -> dict[str, Any]:
    """What the blank discs must be.

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
