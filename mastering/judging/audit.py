"""A master held against itself: what its captures carry, its volumes, what its record says of its sides."""

from collections.abc import Iterator
from typing import Any

from formats import registry
from formats.containers import capture
from formats.errors import ContainerError, Problem, VolumeError
from formats.volumes.shared.image import Image
from mastering.files import digest
from mastering.judging.compare import Target, compare_cells
from mastering.judging.sightings import see
from mastering.judging.verdict import KINDS
from mastering.master.bag import MasterError
from mastering.master.builder import file_record, unproven
from mastering.master.master import Master, Side
from mastering.master.serial import is_serial
from mastering.master.slot import marker_text


def audit(master: Master) -> Iterator[dict[str, Any]]:
    """For each side a line for its fields, its volume and itself: `{"check", "side", "ok", "problems": [{"where", "what"}]}`."""
    for name, side in master.sides.items():
        for check, find in (("fields", _fields), ("volume", _volume), ("side", _side)):
            try:
                problems = [{"where": problem.where, "what": problem.what} for problem in find(master, side)]
            except MasterError as error:  # its geometry contradicts itself, so nothing of the side can be proved
                problems = [{"where": "data/master.json", "what": str(error)}]
            yield {"check": check, "side": name, "ok": not problems, "problems": problems}


def _fields(master: Master, side: Side) -> Iterator[Problem]:
    """Whether the capture carries the dump, every field of it sound."""
    name = f"data/side-{side.name}.capture"
    try:
        read = capture.read((master.path / name).read_bytes(), name)
    except (ContainerError, OSError) as error:
        yield Problem(name, str(error))
        return
    judged = compare_cells(Target(side, master.catalogue), see(side.geometry, read.tracks, read.rpm))
    for place in judged.kinds.nonzero()[0].tolist():
        track, head, sector = side.geometry.addresses[place]
        yield Problem(f"track {track} head {head} sector {sector}", KINDS[judged.kinds[place]])


def _volume(master: Master, side: Side) -> Iterator[Problem]:
    """Whether the volume contradicts itself, or the identifiers of its sectors."""
    try:
        volume = registry.volume(side.volume)
    except KeyError:
        yield Problem(side.volume, "no volume of that id is declared here")
        return
    image = Image(side.geometry, side.dump)
    yield from volume.check(image)
    try:
        said = volume.read(image).identity
    except VolumeError:
        return  # `check` has said so
    for name, value in said.items():
        if (recorded := side.identity.get(name, value)) != value:
            yield Problem("volume", f"says that {name} is {value:02X}, the identifiers of its sectors have {recorded:02X}")


def _files(side: Side) -> Iterator[Problem]:
    """Whether the record's files are those on the disc."""
    try:
        held = registry.volume(side.volume).read(Image(side.geometry, side.dump)).files
    except (KeyError, VolumeError):
        return  # `_volume` has said so
    made = [file_record(file, volatile=False) for file in held]
    told = [{**file, "volatile": False} for file in side.files]
    for file, old in zip(made, told, strict=False):
        if "before" not in old:  # masters of earlier versions do not say it
            del file["before"]
    if made != told:
        yield Problem("files", "not the files that are on the disc, in their order")


def _side(master: Master, side: Side) -> Iterator[Problem]:
    """Whether what the record says of the side is so."""
    if digest(side.dump) != side.sha256:
        yield Problem(f"data/side-{side.name}.dump", "its digest is not the one in master.json")
    places = unproven(side.dump, side.size)
    if places != list(side.unproven) or master.record["sides"][side.name]["unproven"] != len(places):
        yield Problem("unproven_sectors", "not the sectors that a filler could equal")
    yield from _files(side)
    slot, start = side.slot, side.slot_start
    if slot is None or start is None:
        return
    if side.geometry.addresses[slot.place] != (slot.track, slot.head, slot.sector):
        yield Problem("serial", "its place in the dump is not the sector that it names")
    marker = side.dump[start : start + slot.bytes]
    if marker != marker_text(slot.bytes) and side.dump.count(marker) != 1:
        yield Problem("serial", "its slot does not hold a marker that occurs once")
    if is_serial(marker.decode("latin-1").rstrip(" "), master.catalogue):
        yield Problem("serial", "its slot holds a serial, where a master has a marker")
