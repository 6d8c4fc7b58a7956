"""What to run to find out who is to blame, the cheapest first. Pure."""

import numpy as np

from mastering.deciding import reasons
from mastering.deciding.statistics.blame import STRETCH, Blame
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.naming import suspects
from mastering.deciding.statistics.states import LotState, State

SWAP = 20  # discs on each side of a swap test
PAIRS, MOST_PAIRS = 3, 10  # discs that are written again on another drive


def lot_or_drive(state: State, blame: Blame, history: History) -> reasons.Crossover | reasons.SwapTest:
    """The test that tells a lot or drive from the likeliest of the others.

    A second writing of the discs that failed, on another drive, costs the least; where there are too few of them, or no other drive, discs
    of each lot are run on the drive that it did not run on.
    """
    likely = [each for each in suspects(blame.culprits) if each.kind != "none"]
    lot = next((each.lot for each in likely if each.lot), None) or _different(blame.lots, None)
    drive = next((each.drive for each in likely if each.drive), None) or _different(blame.drives, None)
    lot, drive = (state.name, drive) if state.kind == "lot" else (lot, state.name)
    other_drive = _different(blame.drives, drive)
    crossover = _crossover(history, lot, drive, other_drive) if lot and drive and other_drive else None
    return crossover or reasons.SwapTest(SWAP, lot, drive, _different(blame.lots, lot), other_drive)


def another_box(state: LotState, blame: Blame, *, unless: bool = False) -> reasons.AnotherInnerBox:
    """The test that tells an inner box from its lot."""
    return reasons.AnotherInnerBox(SWAP, state.name, len(blame.drives) > 1, unless)


def _crossover(history: History, lot: str, drive: str, other_drive: str) -> reasons.Crossover | None:
    """A second writing of the latest discs of this lot that failed on this drive and were not written by another one yet.

    Discs that are still being worked on come first: rejected ones have to be taken back before.
    """
    latest = history.disc >= len(history) - STRETCH
    rows = history.failed & latest & (history.wrote == history.drives.index(drive))
    discs = np.unique(history.disc[rows])
    discs = discs[(history.lot[discs] == history.lots.index(lot)) & ~np.isin(discs, history.again_disc)]
    discs = discs[~(history.decided[discs] & ~history.bad[discs])]  # those that passed in the end are finished
    if len(discs) < PAIRS:
        return None
    order = np.lexsort((-discs, history.bad[discs]))
    chosen = np.sort(discs[order][:MOST_PAIRS])
    serials = tuple(history.serials[disc] for disc in chosen.tolist())
    return reasons.Crossover(serials, drive, other_drive, bool(history.bad[chosen].any()))


def _different(names: tuple[str, ...], name: str | None) -> str | None:
    """The first of the names that is not this one."""
    return next((each for each in names if each != name), None)
