"""What goes together: a master's sides, the drives that write them, the blanks that take them. Pure.

Common practice of the trade: about 300 Oe for double density at 48 and 96 tracks per inch, 600 Oe for high density; a 96 tpi head covers
half of a 48 tpi track; double-density blanks usually have a hub ring, high-density ones none; one-headed drives that need the index
hole see it on a turned-over disc only through a second window.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from formats.model.geometry import Geometry

_TOLERANCE = 0.25  # of the coercivity that a geometry asks for
_COARSE, _FINE = 48, 96


@dataclass(frozen=True)
class Misfit:
    """What does not go together; `refused`: nothing good can come of it."""

    refused: bool
    what: str


def misfits(sides: Mapping[str, Geometry], lots: Sequence[Mapping[str, Any]], drives: Sequence[Mapping[str, Any]]) -> Iterator[Misfit]:
    """Everything about these sides, lots and drives (as their ledger lines describe them) that does not go together."""
    for name, geometry in sides.items():
        for drive in drives:
            yield from _side_and_drive(name, geometry, drive, lots)
        for lot in lots:
            yield from _side_and_lot(name, geometry, lot)
    if len(sides) > 1:
        yield from _turned_over(lots, drives)


def _side_and_drive(name: str, geometry: Geometry, drive: Mapping[str, Any], lots: Sequence[Mapping[str, Any]]) -> Iterator[Misfit]:
    where = f"side {name} ({geometry.id}) in drive {drive['name']}"
    if geometry.heads > drive["heads"]:
        yield Misfit(True, f"{where}: it needs {geometry.heads} heads, the drive has {drive['heads']}")
    if geometry.tpi == drive["tpi"]:
        return
    if (geometry.tpi, drive["tpi"]) != (_COARSE, _FINE):
        yield Misfit(True, f"{where}: its tracks are {geometry.tpi} to the inch, the drive's {drive['tpi']}")
        return
    narrow = f"{where}: the drive's head is half as wide as the {_COARSE} tpi tracks"
    for lot in lots:
        if lot.get("condition") == "used":
            yield Misfit(True, f"{narrow}, so what was on the used blanks of lot {lot['name']} stays beside them: take erased or new ones")
    if not any(lot.get("condition") == "used" for lot in lots):
        yield Misfit(False, f"{narrow}: write only blanks that were never recorded, or were erased in bulk")


def _side_and_lot(name: str, geometry: Geometry, lot: Mapping[str, Any]) -> Iterator[Misfit]:
    where = f"side {name} ({geometry.id}) on lot {lot['name']}"
    wanted, found = _oersted(geometry.coercivity), lot.get("coercivity")
    if found is not None and abs(found - wanted) > _TOLERANCE * wanted:
        yield Misfit(True, f"{where}: it needs blanks of about {wanted} Oe, these have {found} Oe")
    if found is None and lot.get("hub_ring") is not None and lot["hub_ring"] != (wanted < 450):
        kind = "double-density blanks usually have one" if wanted >= 450 else "high-density blanks usually have none"
        having = "a hub ring" if lot["hub_ring"] else "no hub ring"
        yield Misfit(False, f"{where}: these have {having}, and {kind}: make sure of their coercivity (about {wanted} Oe is needed)")
    if geometry.heads > 1 and lot.get("faces") == 1:
        yield Misfit(False, f"{where}: it records both faces, and these blanks are certified for one")


def _turned_over(lots: Sequence[Mapping[str, Any]], drives: Sequence[Mapping[str, Any]]) -> Iterator[Misfit]:
    """What a disc needs that is turned over to be recorded on its other face."""
    for lot in lots:
        if lot.get("faces") == 1:
            yield Misfit(False, f"lot {lot['name']}: its blanks are certified for one face, and side B is recorded on the other one")
    needing = [drive["name"] for drive in drives if drive.get("index") == "needed"]
    if needing:
        yield Misfit(
            False,
            f"drive {', '.join(needing)}: it needs the index hole, so a turned-over disc needs a second index window and a second notch",
        )


def _oersted(text: str) -> int:
    """The number in a geometry's coercivity."""
    match = re.match(r"\d+", text)
    if match is None:
        raise ValueError(f"{text!r} is no coercivity")
    return int(match[0])
