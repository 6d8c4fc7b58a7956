"""A side's slot for the serial: laid into a free sector or a place, or where the job's marker stands."""

from formats.errors import Problem, VolumeError
from formats.volumes.interface import FileOut
from formats.volumes.shared.image import Image
from formats.volumes.shared.problems import sector_text
from mastering.job.plan import SidePlan
from mastering.master.names import text_of
from mastering.master.slot import Slot, around, marker_text


def lay_slot(plan: SidePlan, image: Image) -> Slot | None:
    """The slot in a free sector or at the job's place, its text laid into the image; None where the side has none, or a marker.

    VolumeError when a free sector is demanded and there is none.
    """
    asked = plan.slot
    address = image.spare if asked.kind == "free" else asked.address if asked.kind == "place" else None
    if asked.kind == "free" and address is None and asked.demanded:
        why = "the volume has no free sector, and none in reserve" if plan.volume.is_file_system else "a ready image has no free sectors"
        instead = "a marker in a file" if plan.volume.is_file_system else "a place of the image, { track = ..., sector = ... }"
        raise VolumeError(Problem(f"{plan.where}.serial", f'{why}; give {instead}, or write "none"'))
    if address is None:
        return None
    slot = Slot(*address, asked.offset, asked.bytes, image.geometry.places[address])
    before, behind = around(slot, image.read(address))
    image.write(address, before + marker_text(slot.bytes) + behind)
    return slot


def find_marker(plan: SidePlan, dump: bytes, files: tuple[FileOut, ...]) -> Slot:
    """The slot where the side's marker stands. VolumeError unless it stands there once, inside one sector."""
    marker, geometry = plan.slot.marker, plan.geometry
    count = _count(dump, marker)
    cut = [text_of(file.name) for file in files if marker in file.data]
    place, offset = divmod(dump.find(marker), geometry.size)
    if not count and cut:
        wrong = f"in {cut[0]} it lies across a sector's end; move it, so that it lies within one sector"
    elif count != 1:
        stands = "is not on" if not count else f"occurs {count} times on"
        wrong = f"{marker.decode()!r} {stands} side {plan.name}; it must occur there once"
    elif offset + len(marker) > geometry.size:
        wrong = f"it lies across the end of {sector_text(geometry.addresses[place])}; move it, so that it lies within one sector"
    else:
        return Slot(*geometry.addresses[place], offset, len(marker), place)
    raise VolumeError(Problem(f"{plan.where}.serial.marker", wrong))


def _count(data: bytes, part: bytes) -> int:
    """How often a part occurs, overlaps counted."""
    count, at = 0, data.find(part)
    while at >= 0:
        count, at = count + 1, data.find(part, at + 1)
    return count
