"""A batch as it is opened: which master, blanks and drives, and whether they go together."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from formats.words import counted
from mastering.deciding.fitness import Misfit, misfits
from mastering.ledger.geometries import geometry_zones
from mastering.ledger.log_writer import LogWriter
from mastering.master.master import Master


@dataclass(frozen=True)
class Run:
    """What a batch is to be: so many good discs, on blanks of these lots, by these drives."""

    good: int
    lots: tuple[str, ...]
    drives: tuple[str, ...]
    operator: str | None = None


def unfit(writer: LogWriter, master: Master, run: Run) -> Iterator[Misfit]:
    """What does not go together. UnknownError for a lot or drive that there is not."""
    sides = {name: side.geometry for name, side in master.sides.items()}
    yield from misfits(sides, [writer.lot(name) for name in run.lots], [writer.drive(name) for name in run.drives])
    yield from _too_few(writer, run)


def _too_few(writer: LogWriter, run: Run) -> Iterator[Misfit]:
    """More good discs are wanted than the lots have blanks left, as far as their counts are known."""
    counts = [writer.lot(name)["count"] for name in run.lots]
    if None in counts:
        return
    left = max(sum(counts) - sum(writer.used(name) for name in run.lots), 0)
    if left < run.good:
        named = f"lot{'' if len(run.lots) == 1 else 's'} {' and '.join(run.lots)}"
        yield Misfit(
            False,
            f"{named}: {counted(left, 'blank')} left of {sum(counts)}, where {run.good} good discs are wanted; "
            f"`obverse need --good {run.good}` says how many to load",
        )


def batch_line(writer: LogWriter, master: Master, run: Run, ledger: Path) -> dict[str, Any]:
    """The line that opens a batch of a master, but for its time."""
    return {
        "kind": "batch",
        "batch": writer.next_batch(),
        "master": master.label,
        "catalogue": master.catalogue,
        "digest": master.digest,
        "sides": {name: side.geometry_id for name, side in master.sides.items()},
        "good": run.good,
        "lots": list(run.lots),
        "drives": list(run.drives),
        "operator": run.operator,
        "revision": master.revision,
        "path": _beside(master.path, ledger),
        "first_sector": {name: side.geometry.first_sector for name, side in master.sides.items()},
        "zones": {name: [list(zone) for zone in geometry_zones(side.geometry)] for name, side in master.sides.items()},
    }


def _beside(path: Path, ledger: Path) -> str | None:
    """A path as seen from the ledger's folder where it lies in it, so that the shop can be moved; else whole.

    None where a name in it is no text: no export could print it again. Such a master is found with --masters.
    """
    whole, folder = path.resolve(), ledger.absolute().parent.resolve()
    text = str(whole.relative_to(folder)) if whole.is_relative_to(folder) else str(whole)
    return text if text.isprintable() or not any("\ud800" <= character <= "\udfff" for character in text) else None
