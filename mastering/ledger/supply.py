"""What the ledger's drives and lots can be counted on for, as plans need them."""

from formats import registry
from formats.model.geometry import Geometry
from mastering.deciding.costs import JudgedLot
from mastering.deciding.supply import DriveSupply, LotSupply, lot_fits
from mastering.ledger.geometries import served_sides
from mastering.ledger.in_use import retired_drives, stopped_lots
from mastering.ledger.questions import Questions
from mastering.ledger.tables import DRIVES, LOTS


def drive_supplies(known: Questions) -> list[DriveSupply]:
    """Every drive, for the newest open batch."""
    running = [batch for batch in known.batches() if batch.open]
    held, retired = known.held(), retired_drives(known)
    supplies = []
    for name in known.ids(DRIVES):
        drive = known.drive(name)
        serves = not running or any(served_sides(running[-1], drive, role) for role in ("writes", "reads"))
        supplies.append(DriveSupply(name, bool(drive["simulated"]), name in held, name in retired, serves))
    return supplies


def lot_supplies(known: Questions) -> list[LotSupply]:
    """Every lot, for the newest open batch."""
    sides = _sides(known)
    rates = {rate.group: (rate.bad, rate.discs) for rate in known.rates("lot")}
    stopped = stopped_lots(known)
    supplies = []
    for name in known.ids(LOTS):
        line = known.lot(name)
        left = None if line["count"] is None else max(line["count"] - known.used(name), 0)
        supplies.append(LotSupply(name, *rates.get(name, (0, 0)), left, name in stopped, lot_fits(line, sides)))
    return supplies


def judged_lots(known: Questions) -> list[JudgedLot]:
    """Every lot that was judged, with its price and supplier."""
    judged = []
    for rate in known.rates("lot"):
        line = known.lot(rate.group)
        judged.append(JudgedLot(rate.group, rate.bad, rate.discs, line.get("price"), line.get("supplier")))
    return judged


def _sides(known: Questions) -> dict[str, Geometry]:
    """The geometries of the newest open batch's sides, as far as this program knows them."""
    running = [batch for batch in known.batches() if batch.open]
    if not running:
        return {}
    declared = set(registry.names("geometries"))
    return {name: registry.geometry(of) for name, of in running[-1].sides.items() if of in declared}
