"""What an alarm of a lot's or drive's chart calls for: a level, its reason, and what to run to find out. Pure."""

from math import ceil

from mastering.deciding import figures, reasons
from mastering.deciding.statistics import comparisons
from mastering.deciding.statistics.blame import Blame
from mastering.deciding.statistics.culprits import Culprit, suspects
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.states import DriveState, InUse, LotState, State

Decision = tuple[str, reasons.Reason, reasons.Trial | None]  # level, reason, what to run to find out
Blames = dict[tuple[str, str], Blame]  # by kind and name of the lot or drive whose chart alarmed

SWAP = 20  # discs on each side of a swap test
FEWEST = 20  # discs before anything is called fine, or a run can be told from a bad lot


def lot_decision(state: LotState, blames: Blames, history: History, in_use: InUse, certain: bool) -> Decision | None:
    """What a lot's chart calls for; None where it is silent.

    Nothing but a run, or another culprit that explains all of it, keeps a lot from being stopped. `certain`: chance does not explain it
    among so many lots.
    """
    blamed = blames.get(("lot", state.name))
    if blamed is None:
        return None
    if state.run is not None:
        return "look", _run(state), _another_box(state, blamed)
    if state.stopped is None:  # what held its score over the line is no longer the likelier explanation of a run
        return "look", reasons.RunNoLonger(), _swap(state, blamed)
    excused = _excused(state, blamed.named, history)
    if excused is not None:
        return excused
    if not certain:
        return "wait", reasons.ByChance(len(in_use.lots)), None
    early = state.stopped < FEWEST
    trial = _another_box(state, blamed, unless=True) if early else _swap(state, blamed)
    return "stop", _lot_stopped(state, in_use.lots[state.name], blamed), None if blamed.named else trial


def drive_decision(state: DriveState, blames: Blames, history: History) -> Decision | None:
    """What a drive's chart calls for; None where it is silent. A drive is stopped when it is known to be to blame, and not for a run."""
    blamed = blames.get(("drive", state.name))
    if blamed is None:
        return None
    named = blamed.named
    excused = _excused(state, named, history)
    if excused is not None:
        return excused
    if state.run is not None:
        return "look", _run(state), reasons.CleanHeads(SWAP, state.name)
    if named is not None and named.accuses("drive", state.name):
        return "stop", reasons.DriveStopped(figures.worse(state), named), reasons.CleanHeads(SWAP, state.name)
    return "look", reasons.DriveDrifts(figures.worse(state), _rival(state, blamed)), _swap(state, blamed)


def to_stop(state: LotState) -> tuple[int, int]:
    """The fewest failures that would stop a lot, and within how many discs."""
    short = state.chart.stop - figures.score_now(state)
    more = max(ceil(short / state.chart.fail), 1)
    return more, more * (state.chart.fail + 1) - short


def _excused(state: LotState | DriveState, named: Culprit | None, history: History) -> Decision | None:
    """A side that fails everywhere; or a drive (a lot) that is to blame, without whose discs the lot's (the drive's) chart is silent."""
    if named is None:
        return None
    if named.kind == "side":
        return "look", reasons.SideCulprit(named), None
    kind, name = named.about
    if kind == state.kind:
        return None
    theirs = history.of_lot(name) if kind == "lot" else history.of_drive(name)[0]
    return None if state.without(theirs).rings else ("wait", reasons.OtherCulprit(named), None)


def _lot_stopped(state: LotState, blanks: int | None, blamed: Blame) -> reasons.LotStopped:
    """The disc at which the lot reached its stop line, what the rest of it would bring, and who else may be to blame."""
    discs = (state.stopped or 0) + 1
    left = (blanks or 0) - len(state.discs)
    rest = comparisons.bad_left(int(state.charted.sum()), len(state.charted), left, state.settings) if left > 0 else None
    return reasons.LotStopped(int(state.charted[:discs].sum()), discs, state.begins > 0, rest, _rival(state, blamed))


def _run(state: State) -> reasons.FailureRunIn:
    """The run that set off the chart, and what the discs outside of it did."""
    run = state.run
    if run is None:
        raise ValueError(f"{state.kind} {state.name}: no run set off its chart")
    first, last = state.begins + run.first + 1, state.begins + run.last + 1
    return reasons.FailureRunIn(run.bad, first, last, int(state.charted.sum()) - run.bad, len(state.charted) - run.discs)


def _rival(state: State, blamed: Blame) -> Culprit | None:
    """The likeliest of the suspects that the data can't tell from this lot or drive, where nobody is named."""
    if blamed.named is not None:
        return None
    others = (each for each in suspects(blamed.culprits) if each.kind != "none" and each.about != (state.kind, state.name))
    return next(others, None)


def _swap(state: State, blamed: Blame) -> reasons.SwapTest:
    """The test that tells a lot or drive from the likeliest of the others."""
    likely = [each for each in suspects(blamed.culprits) if each.kind != "none"]
    lot = next((each.name for each in likely if each.kind == "lot"), None) or _different(blamed.lots, None)
    drive = next((each.drive or each.name for each in likely if each.kind in ("drive", "head")), None) or _different(blamed.drives, None)
    lot, drive = (state.name, drive) if state.kind == "lot" else (lot, state.name)
    return reasons.SwapTest(SWAP, lot, drive, _different(blamed.lots, lot), _different(blamed.drives, drive))


def _another_box(state: LotState, blamed: Blame, *, unless: bool = False) -> reasons.AnotherInnerBox:
    """The test that tells an inner box from its lot."""
    return reasons.AnotherInnerBox(SWAP, state.name, len(blamed.drives) > 1, unless)


def _different(names: tuple[str, ...], name: str | None) -> str | None:
    return next((each for each in names if each != name), None)
