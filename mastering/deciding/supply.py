"""What can be counted on for a day's work: the drives that can do it, and the lots whose blanks can be laid out. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from formats.model.geometry import Geometry
from mastering.deciding.fitness import misfits


@dataclass(frozen=True)
class DriveSupply:
    """A drive: whether it is simulated, on hold or retired, and whether it serves any side of what is to be made."""

    name: str
    simulated: bool = False
    held: bool = False
    retired: bool = False
    serves: bool = True

    @property
    def works(self) -> bool:
        """Whether anything can be made on it."""
        return self.serves and not self.held and not self.retired


@dataclass(frozen=True)
class LotSupply:
    """A lot: its decided discs and bad ones; its blanks left, None where nobody knows; whether it was stopped, and whether it fits."""

    name: str
    bad: int = 0
    discs: int = 0
    left: int | None = None
    stopped: bool = False
    fits: bool = True

    @property
    def usable(self) -> bool:
        """Whether its blanks can be laid out: it wasn't stopped, fits what is to be made, and isn't used up."""
        return self.fits and not self.stopped and self.left != 0


def working_drives(drives: Sequence[DriveSupply]) -> int:
    """How many drives can work. Simulated ones do no work where there are real ones."""
    real = [drive for drive in drives if not drive.simulated] or drives
    return sum(drive.works for drive in real)


def blanks_left(lots: Sequence[LotSupply]) -> int | None:
    """How many blanks the usable lots have left together; None where nobody knows of one of them, or there is no lot."""
    counts = [lot.left for lot in lots if lot.usable]
    if not lots or None in counts:
        return None
    return sum(count for count in counts if count is not None)


def lot_fits(lot: Mapping[str, Any], sides: Mapping[str, Geometry]) -> bool:
    """Whether a lot's blanks, as its ledger line describes them, go with all of these sides: of their density, above all."""
    return not any(misfit.refused for misfit in misfits(sides, [lot], []))
