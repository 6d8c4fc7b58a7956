"""Which tracks and sectors the sides of a batch's discs have: as they were when it was opened, else as its geometry is declared."""

from collections.abc import Mapping
from typing import Any

from mastering.errors import MasteringError
from mastering.ledger.entities import Batch


class UnknownTracksError(MasteringError):
    """A batch of a geometry that neither its own row nor this program knows."""


Zones = tuple[tuple[int, int, int, int], ...]  # head, first and last track, sectors of each


def zones_of(batch: Batch, side: str) -> Zones:
    """The tracks of a batch's side: as they were when it was opened, else as its geometry is declared. UnknownTracksError else."""
    held = batch.line.get("zones")
    if isinstance(held, dict) and side in held:
        return tuple((head, first, last, sectors) for head, first, last, sectors in held[side])
    from formats import registry

    try:
        return geometry_zones(registry.geometry(batch.sides[side]))
    except KeyError as error:
        raise UnknownTracksError(
            f"batch {batch.name}: nobody knows the tracks of its side {side} ({batch.sides[side]}); update the program, "
            "or ask for rates by lot or drive"
        ) from error


def geometry_zones(geometry: Any) -> Zones:
    """Head, first and last track and sectors a track of a geometry's zones, head by head."""
    added = geometry.head_tracks
    return tuple(
        (head, zone.first + head * added, zone.last + head * added, zone.sectors)
        for head in range(geometry.heads)
        for zone in geometry.zones
    )


def first_sector_of(batch: Batch, side: str) -> int | None:
    """The lowest sector number of a batch's side, None where nobody knows it."""
    held = batch.line.get("first_sector")
    if isinstance(held, dict) and side in held:
        return int(held[side])
    from formats import registry

    try:
        return int(registry.geometry(batch.sides[side]).first_sector)
    except KeyError:
        return None


def served_sides(batch: Batch, drive: Mapping[str, Any], role: str) -> frozenset[str]:
    """The sides of a batch that a drive `writes` or `reads`: those that its list names, else all that its tracks and heads allow."""
    listed = drive.get(role)
    if listed is not None:
        return frozenset(side for side, geometry in batch.sides.items() if geometry in listed)
    return frozenset(side for side in batch.sides if _allows(_needs(batch, side), drive))


def _needs(batch: Batch, side: str) -> tuple[int, int] | None:
    """The tracks per inch and heads that a batch's side needs, None where nobody knows them."""
    held = (batch.line.get("needs") or {}).get(side)
    if isinstance(held, dict):
        return held["tpi"], held["heads"]
    from formats import registry

    try:
        geometry = registry.geometry(batch.sides[side])
    except KeyError:
        return None
    return geometry.tpi, geometry.heads


def _allows(needs: tuple[int, int] | None, drive: Mapping[str, Any]) -> bool:
    """Whether a drive's tracks and heads allow a side: the same pitch, or twice its tracks to the inch."""
    if needs is None:
        return True
    tpi, heads = needs
    return heads <= drive["heads"] and drive["tpi"] in (tpi, 2 * tpi)
