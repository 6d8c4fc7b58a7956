"""What the ledger's drives and lots can be counted on for, as plans need them."""

from formats import registry
from formats.model.geometry import Geometry
from mastering.deciding.supply import DriveSupply, LotSupply, drive_serves, lot_fits
from mastering.ledger.questions import Questions
from mastering.ledger.tables import DRIVES, LOTS


def drive_supplies(known: Questions) -> list[DriveSupply]:
    """Every drive, for the newest open batch."""
    sides = _sides(known)
    lines = {name: known.line(line) for name, line in known.ids(DRIVES).items()}
    return [DriveSupply(name, bool(line["simulated"]), serves=drive_serves(line, sides)) for name, line in lines.items()]


def lot_supplies(known: Questions) -> list[LotSupply]:
    """Every lot, for the newest open batch."""
    sides = _sides(known)
    rates = {rate.group: (rate.bad, rate.discs) for rate in known.rates("lot")}
    supplies = []
    for name in known.ids(LOTS):
        line = known.lot(name)
        left = None if line["count"] is None else max(line["count"] - known.used(name), 0)
        supplies.append(LotSupply(name, *rates.get(name, (0, 0)), left, fits=lot_fits(line, sides)))
    return supplies


def _sides(known: Questions) -> dict[str, Geometry]:
    """The geometries of the newest open batch's sides, as far as this program knows them."""
    running = [batch for batch in known.batches() if batch.open]
    if not running:
        return {}
    declared = set(registry.names("geometries"))
    return {name: registry.geometry(of) for name, of in running[-1].sides.items() if of in declared}
