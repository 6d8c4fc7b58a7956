"""What an alarm of a lot's or drive's chart calls for: a level, its reason, and what to run to find out. Pure."""

from dataclasses import dataclass, replace
from math import ceil

from mastering.deciding import figures, finding_out, reasons
from mastering.deciding.costs import Costs, Prices, costs, lot_rate, usual_rate
from mastering.deciding.planning import need
from mastering.deciding.rates import wilson
from mastering.deciding.statistics import comparisons
from mastering.deciding.statistics.arrays import Ints
from mastering.deciding.statistics.blame import Blame
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.naming import Culprit, blamed, suspects
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import DriveState, InUse, LotState, State

Decision = tuple[str, reasons.Reason, reasons.Trial | None]  # level, reason, what to run to find out
Blames = dict[tuple[str, str], Blame]  # by kind and name of the lot or drive whose chart alarmed

FEWEST = 20  # discs before anything is called fine, or a run can be told from a bad lot
CERTAIN = 0.95  # that a lot and a drive are bad at once: from here on the lot is stopped though the drive is likelier still
INNOCENT = 0.05  # a lot or drive that is to blame with a higher chance is not excused by another culprit


@dataclass(frozen=True, eq=False)
class Case:
    """What decisions are made from, beside the state of the lot or drive itself.

    `certain`: lots whose stop is no chance among so many; `missing`: good discs that the open batches still want.
    """

    history: History
    in_use: InUse
    settings: Settings
    blames: Blames
    certain: set[str]
    missing: int = 0
    prices: Prices | None = None


def lot_decision(state: LotState, case: Case) -> Decision | None:
    """What a lot's chart calls for; None where it is silent.

    A lot that reached its stop line is stopped, but for a run, another culprit that explains all of it, another suspect that is likelier
    than the lot, or a lot that is cheaper to use up than to replace.
    """
    blame = case.blames.get(("lot", state.name))
    if blame is None:
        return None
    if state.run is not None:
        return "look", _run(state), finding_out.another_box(state, blame)
    if state.stopped is None:  # what held its score over the line is no longer the likelier explanation of a run
        return "look", reasons.RunNoLonger(), finding_out.lot_or_drive(state, blame, case.history)
    return _excused(state, blame, case.history) or _crossed(state, blame, case)


def drive_decision(state: DriveState, case: Case) -> Decision | None:
    """What a drive's chart calls for; None where it is silent. A drive is stopped when it is known to be to blame, and not for a run."""
    blame = case.blames.get(("drive", state.name))
    if blame is None:
        return None
    excused = _excused(state, blame, case.history)
    if excused is not None:
        return excused
    if state.run is not None:
        return "look", _run(state), reasons.CleanHeads(finding_out.SWAP, state.name)
    if blame.named is not None and blame.named.accuses("drive", state.name):
        trial = reasons.CleanHeads(finding_out.SWAP, state.name)
        return "stop", reasons.DriveStopped(figures.worse(state), blame.named), trial
    return "look", reasons.DriveDrifts(figures.worse(state), _rival(state, blame)), finding_out.lot_or_drive(state, blame, case.history)


def to_stop(state: LotState) -> tuple[int, int]:
    """The fewest failures that would stop a lot, and within how many discs."""
    short = state.chart.stop - figures.score_now(state)
    more = max(ceil(short / state.chart.fail), 1)
    return more, more * (state.chart.fail + 1) - short


def tolerated(bad: int, discs: int, settings: Settings) -> bool:
    """Whether so many failures can be tolerated: the tolerable share may be the true one, and it explains them better than the bad one."""
    low, _ = wilson(bad, discs)
    return low <= settings.tolerable and bad * (settings.fail_points + 1) <= discs


def _crossed(state: LotState, blame: Blame, case: Case) -> Decision:
    """What is to be done with a lot that reached its stop line, and that no other culprit excuses."""
    discs = state.alarm + 1
    bad = int(state.charted[:discs].sum())
    likelier = _likelier(state, blame)
    if likelier is not None:
        return "look", reasons.LotPaused(bad, discs, likelier), finding_out.lot_or_drive(state, blame, case.history)
    if state.name not in case.certain:
        return "wait", reasons.ByChance(len(case.in_use.lots)), None
    return _stop(state, blame, case, bad, discs)


def _stop(state: LotState, blame: Blame, case: Case, bad: int, discs: int) -> Decision:
    """The stop of a lot, or its use to the end where prices say that this is cheaper."""
    left = max((case.in_use.lots[state.name] or 0) - len(state.discs) - state.working, 0)
    price = None if case.prices is None else _costs(state, case, case.prices)
    if price is not None and price.go_on_is_cheaper and (left or case.in_use.lots[state.name] is None):
        good = _good_to_make(case.missing, left, price.rate)
        load = need(good, [], (state.bad, len(state.discs)), settings=case.settings).load
        return "look", reasons.LotWorthUsing(bad, discs, price, load, good), None
    rest = comparisons.bad_left(left, case.settings.lot_rates(int(state.charted.sum()), len(state.charted))) if left else None
    reason = reasons.LotStopped(bad, discs, state.begins > 0, rest, _rival(state, blame), price)
    if blame.named:
        return "stop", reason, None
    trial = finding_out.lot_or_drive(state, blame, case.history)
    if state.alarm < FEWEST and not isinstance(trial, reasons.Crossover):
        return "stop", reason, finding_out.another_box(state, blame, unless=True)
    return "stop", reason, trial


def _good_to_make(missing: int, left: int, rate: float) -> int:
    """The good discs for which a lot is to be laid out: those that the open batches want, else all that its blanks will give."""
    given = ceil(left * (1 - rate))
    return min(missing or given, given) if left else missing or finding_out.SWAP


def _costs(state: LotState, case: Case, prices: Prices) -> Costs:
    """What a good disc costs with this lot and with a new one that is as all others are."""
    history = case.history
    lots = [history.of_lot(name) for name in history.lots if name != state.name]
    counts = [(int(history.bad[discs].sum()), int(history.decided[discs].sum())) for discs in lots]
    return costs(prices, lot_rate(state.bad, len(state.discs), case.settings), usual_rate(counts, case.settings))


def _excused(state: LotState | DriveState, blame: Blame, history: History) -> Decision | None:
    """A side that fails everywhere, or another culprit: without its discs the chart of this lot or drive is silent."""
    named = blame.named
    if named is None or named.accuses(state.kind, state.name):
        return None
    if named.kind == "side":
        return "look", reasons.SideCulprit(named), None
    if named.kind == "inner" and named.lot == state.name and state.kind == "lot":
        return "look", reasons.InnerBox(named), None
    others = [each for each in blame.culprits if (each.kind, each.name) != (named.kind, named.name)]
    if blamed(others, state.kind, state.name) > INNOCENT:
        return None
    return None if state.without(_discs_of(named, history)).rings else ("wait", reasons.OtherCulprit(named), None)


def _discs_of(named: Culprit, history: History) -> Ints:
    """The discs for which a culprit is to blame."""
    if named.kind == "title":
        return history.of_title(named.name)
    if named.kind == "inner":
        return history.of_inner(named.name)
    if named.kind == "lot":
        return history.of_lot(named.name)
    return history.of_reader(named.drive) if named.reads else history.of_drive(named.drive)[0]


def _likelier(state: LotState, blame: Blame) -> Culprit | None:
    """The suspect that is likelier to blame than the lot, if any, where the two are not known to be bad at once."""
    own = blamed(blame.culprits, "lot", state.name)
    rivals = [each for each in blame.culprits if each.kind not in ("none", "both") and each.lot != state.name]
    rivals = [replace(each, chance=blamed(blame.culprits, "drive", each.drive)) if _whole_drive(each) else each for each in rivals]
    likeliest = max(rivals, key=lambda each: each.chance, default=None)
    together = sum(each.chance for each in blame.culprits if each.kind == "both" and each.lot == state.name)
    return likeliest if likeliest is not None and likeliest.chance > own and together < CERTAIN else None


def _whole_drive(suspect: Culprit) -> bool:
    return suspect.kind == "drive" and not suspect.earlier


def _run(state: State) -> reasons.FailureRunIn:
    """The run that set off the chart, and what the discs outside of it did."""
    run = state.run
    if run is None:
        raise ValueError(f"{state.kind} {state.name}: no run set off its chart")
    first, last = state.begins + run.first + 1, state.begins + run.last + 1
    return reasons.FailureRunIn(run.bad, first, last, int(state.charted.sum()) - run.bad, len(state.charted) - run.discs)


def _rival(state: State, blame: Blame) -> Culprit | None:
    """The likeliest of the suspects that the data can't tell from this lot or drive, where nobody is named."""
    if blame.named is not None:
        return None
    own = {"lot": "lot", "drive": "drive"}[state.kind]
    return next((each for each in suspects(blame.culprits) if each.kind != "none" and getattr(each, own) != state.name), None)
