"""`serial` of a side: where it carries the serial of its disc, as the job says it, or as it is where the job says nothing."""

from typing import Any

from formats.model.geometry import Address, Geometry
from formats.volumes.interface import Volume
from formats.volumes.shared.problems import Problems
from mastering.job.plan import SlotPlan, Title
from mastering.job.schema import MarkerKeys, SerialPlaceKeys, brief, parse

_FORMS = (
    'must be "free", "none", { marker = "<<SERIAL-GOES-HERE>>" } or, without a volume, { track = 34, sector = 15, offset = 0, bytes = 40 }'
)


def slot_plan(raw: Any, free: str, title: Title | None, volume: Volume, geometry: Geometry, where: str, problems: Problems) -> SlotPlan:
    """How a side carries the serial. `raw`: the key as it stands in the job, None: it does not; `free`: what free sectors hold."""
    if raw is None:
        plan = SlotPlan("free" if free == "numbered" else "none")
    elif raw in ("free", "none"):
        plan = SlotPlan(raw, demanded=True)
    elif isinstance(raw, dict) and "marker" in raw:
        keys = parse(MarkerKeys, raw, where, problems)
        marker = keys.marker.encode("ascii") if keys else b""
        plan = SlotPlan("marker", True, marker, bytes=len(marker)) if keys else SlotPlan("none")
    elif isinstance(raw, dict):
        plan = _place(raw, volume, geometry, where, problems)
    else:
        problems.add(where, f"{_FORMS}, not {brief(raw)}")
        plan = SlotPlan("none")
    if title and plan.kind != "none" and plan.bytes < title.serial_bytes:
        problems.add(*_too_short(plan, title, where))
    return plan


def _place(raw: dict[str, Any], volume: Volume, geometry: Geometry, where: str, problems: Problems) -> SlotPlan:
    """A place that the job names on a side without a volume."""
    keys = parse(SerialPlaceKeys, raw, where, problems)
    if keys is None:
        return SlotPlan("none")
    address = Address(keys.track, keys.head, keys.sector)
    if volume.is_file_system:
        problems.add(
            where, f'{volume.id} knows its free sectors: write serial = "free", or a marker in a file; a place is for volume "none"'
        )
    elif address not in geometry.places:
        problems.add(where, f"{geometry.id} has no track {keys.track} head {keys.head} sector {keys.sector}")
    elif keys.offset + keys.bytes > geometry.size:
        problems.add(where, f"{keys.bytes} bytes from {keys.offset} on run past the end of a sector of {geometry.size}")
    else:
        return SlotPlan("place", True, b"", address, keys.offset, keys.bytes)
    return SlotPlan("none")


def _too_short(plan: SlotPlan, title: Title, where: str) -> tuple[str, str]:
    """The place and the text of the problem that a slot has no room for the title's serials."""
    such = f"serials such as {title.catalogue}-000001-X take its place"
    if plan.kind == "free":
        return (
            "title.catalogue",
            f'is too long for the slot of {plan.bytes} bytes in a free sector: {such}; shorten it, or write serial = "none"',
        )
    if plan.kind == "marker":
        return f"{where}.marker", f"must have at least {title.serial_bytes} characters: {such}"
    return f"{where}.bytes", f"must be at least {title.serial_bytes}: {such}"


def old_table(raw: Any) -> str:
    """What is wrong with the tables [serial] and [[serial]] of before, and what to write instead."""
    tables = [each for each in (raw if isinstance(raw, list) else [raw]) if isinstance(each, dict)]
    markers = {
        str(each.get("side")): each["marker"] for each in tables if isinstance(each.get("marker"), str) and len(each["marker"]) < 100
    }
    lines = [f"serial = {{ marker = {_quoted(marker)} }} in [side.{side}]" for side, marker in markers.items() if side in ("A", "B")]
    instead = " and ".join(lines) or 'serial = "free" in [side.A]'
    return f"is a key of each side now: write {instead}"


def _quoted(text: str) -> str:
    """A text as TOML writes it."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
