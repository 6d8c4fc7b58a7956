"""Advice in the words of the trade: one sentence each, with its numbers; the figures behind it by name."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any

from formats.words import counted
from mastering.deciding.rates import wilson
from mastering.deciding.statistics import comparisons
from mastering.deciding.statistics.blame import Blame
from mastering.deciding.statistics.culprits import Culprit, suspects
from mastering.deciding.statistics.places import Spot
from mastering.deciding.statistics.states import DriveState, LotState, State

SWAP = 20  # discs on each side of a swap test

# Figures, by name

MEANINGS = {
    "rate": "share that failed",
    "low": "true share at least",
    "high": "true share at most",
    "confidence": "how sure that is",
    "fail_adds": "what a failure adds to the score (a good disc takes 1)",
    "stop_line": "score at which it rings",
    "score": "score now",
    "false_stop": "chance that a tolerable lot is ever stopped",
    "stopped_at": "stopped at its disc",
    "log_evidence": "logarithm of the evidence that it is worse than tolerable",
    "since_disc": "its chart climbs since its disc",
    "since": "since then",
    "before": "before that",
    "run": "a run of failures",
    "p": "chance of such a place by chance alone",
    "compared": "things compared at once",
}


def told(figures: Mapping[str, Any]) -> Iterator[str]:
    """Figures for people, a line each."""
    for name, value in figures.items():
        yield f"{MEANINGS.get(name, name)}: {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_value(each)}" for name, each in value.items())
    return f"{value:.3g}" if isinstance(value, float) else str(value)


def figures(bad: int, discs: int) -> dict[str, Any]:
    """A rate with its interval; no rate without discs."""
    if not discs:
        return {}
    low, high = wilson(bad, discs)
    return {"rate": bad / discs, "low": low, "high": high, "confidence": 0.95}


def figures_of(state: LotState | DriveState) -> dict[str, Any]:
    """What a lot's or drive's sentence rests on; discs are counted from 1."""
    made = figures(state.bad, len(state.discs)) | {"fail_adds": state.chart.fail, "stop_line": state.chart.stop}
    if isinstance(state, LotState):
        made |= {"score": int(state.scores[-1]) if len(state.scores) else state.chart.start, "false_stop": state.settings.false_stop}
        made |= {} if state.stopped is None else {"stopped_at": state.begins + state.stopped + 1}
        made["log_evidence"] = comparisons.evidence_ratio(int(state.charted.sum()), len(state.charted), state.settings.tolerable)
    else:
        made |= {"score": state.reading.score} | (since_figures(state) if state.rings else {})
    run = state.run
    if run is not None:
        made["run"] = {"first": state.begins + run.first + 1, "last": state.begins + run.last + 1, "bad": run.bad, "chance": run.chance}
    return made


def since_figures(state: State) -> dict[str, Any]:
    """Discs since a chart began to climb, and before."""
    begins = state.begins + state.climbed
    before, after = state.failed[:begins], state.failed[begins:]
    made = {"since_disc": begins + 1, "since": {"bad": int(after.sum()), "discs": len(after)}}
    return made | {"before": {"bad": int(before.sum()), "discs": len(before)}}


# Lots and drives


def nothing_yet(state: State) -> str:
    """Before the first disc."""
    return f"{_title(state)}: no disc judged yet."


def fine(state: State) -> str:
    """Never `good` without numbers."""
    bad, discs = state.bad, len(state.discs)
    low, high = wilson(bad, discs)
    between = f"{_percent(bad / discs)}, between {_percent(low)} and {_percent(high)}" if bad else f"it may still be up to {_percent(high)}"
    return f"{_title(state)}: {_of(state)} ({between}); nothing speaks against it."


def early(state: State) -> str:
    """Too few discs for a rate."""
    return f"{_title(state)}: too early, {_of_charted(state)}; carry on."


def early_lot(state: LotState) -> str:
    """Too few discs, and what would stop the lot."""
    more, within = to_stop(state)
    next_ones = "with the next disc" if within == 1 else f"within the next {within} discs"
    return f"{_title(state)}: too early, {_of_charted(state)}; carry on, {counted(more, 'more failure')} {next_ones} would stop it."


def to_stop(state: LotState) -> tuple[int, int]:
    """The fewest failures that would stop a lot, and within how many discs."""
    short = state.chart.stop - (int(state.scores[-1]) if len(state.scores) else state.chart.start)
    more = max(ceil(short / state.chart.fail), 1)
    return more, more * (state.chart.fail + 1) - short


def accused(state: State, named: Culprit) -> str:
    """Its own chart is silent, another's failures are put down to it."""
    called = "" if named.kind == state.kind else f", {_called(named)}"
    return f"Look at {state.kind} {state.name}{called}: {_of(state)}, and what else fails comes from it ({_sure(named)})."


def stop_lot(state: LotState, blanks: int | None, blamed: Blame) -> str:
    """The stop line, what the rest of the lot would bring, and whether something else may be to blame."""
    at = (state.stopped or 0) + 1
    which = f"the first {counted(at, 'disc')} since its release" if state.begins else f"its first {counted(at, 'disc')}"
    said = f"Stop using lot {state.name}: {int(state.charted[:at].sum())} of {which} failed"
    left = (blanks or 0) - len(state.discs)
    if left <= 0:
        return f"{said}{_or_else(state, blamed)}."
    rest = comparisons.bad_left(int(state.charted.sum()), len(state.charted), left, state.settings)
    return f"{said}, and of the {left} left about {round(rest.mean)} will be bad ({rest.low} to {rest.high}){_or_else(state, blamed)}."


def lot_run(state: LotState) -> str:
    """An inner box rather than the lot."""
    return f"Look at lot {state.name}: {_run(state)}: an inner box or a fouled head, not the lot; set the rest of that inner box aside."


def lot_over(state: LotState) -> str:
    """A run that is one no longer."""
    return f"Look at lot {state.name}: {_of(state)}, and no longer in one run."


def other_culprit(state: State, named: Culprit) -> str:
    """Its chart rang for something else."""
    return f"{_title(state)}: {_of(state)}, but that is {_called(named)}, not the {state.kind} ({_sure(named)})."


def side(state: State, named: Culprit) -> str:
    """One side fails on every drive and lot."""
    found = f"{_of(state)}, nearly always on {_called(named)}, whatever the lot and the drive ({_sure(named)})"
    return f"Look at {state.kind} {state.name}: {found}; see how the discs sit with that side up."


def by_chance(state: LotState, lots: int) -> str:
    """One of many."""
    return f"{_title(state)}: {_of(state)}, which with {lots} lots in use happens to one of them by chance; watch it."


def stop_drive(state: DriveState, named: Culprit) -> str:
    """The drive is known to be to blame."""
    known = f"it is {_called(named)}, not the discs ({_sure(named)})"
    return f"Stop using drive {state.name}: {_since(state)}, and {known}; clean its heads, and have it adjusted if that doesn't help."


def drive_drifts(state: DriveState, blamed: Blame) -> str:
    """The drive may be to blame."""
    return f"Look at drive {state.name}: {_since(state)}{_or_else(state, blamed)}; clean its heads, then run {SWAP} discs."


def drive_run(state: DriveState) -> str:
    """A fouled head rather than a worn drive."""
    return f"Look at drive {state.name}: {_run(state)}: a disc that sheds or a fouled head, not a worn drive; clean its heads."


def batch(name: str, bad: int, discs: int, wanted: int, out: bool) -> str:
    """How a batch is getting on."""
    if out:
        return f"Look at batch {name}: {bad} of {discs} failed, though neither its lots nor its drives stand out."
    if not discs:
        return f"Batch {name}: no disc judged yet; {counted(wanted, 'good one')} wanted."
    more = max(wanted - (discs - bad), 0)
    return f"Batch {name}: {bad} of {discs} failed; {counted(more, 'more good one') if more else 'no more'} wanted."


# What to run


def to_find_out(state: State, found: Blame) -> str:
    """The test that tells a lot or drive from the likeliest of the others."""
    likely = [each for each in suspects(found.culprits) if each.kind != "none"]
    lot = next((each.name for each in likely if each.kind == "lot"), None) or _other(found.lots, None)
    drive = next((each.drive or each.name for each in likely if each.kind in ("drive", "head")), None) or _other(found.drives, None)
    lot, drive = (state.name, drive) if state.kind == "lot" else (lot, state.name)
    other_lot, other_drive = _other(found.lots, lot) or "another lot", _other(found.drives, drive) or "another drive"
    return f"Run {SWAP} discs of {lot or 'this lot'} on {other_drive} and {SWAP} of {other_lot} on {drive or 'this drive'}."


def try_after_run(state: LotState, found: Blame) -> str:
    """Whether it was the inner box."""
    dealt = ", dealt alternately to all drives" if len(found.drives) > 1 else ""
    return f"Clean the heads, then run {SWAP} discs of {state.name} from another inner box{dealt}."


def try_after_early_stop(state: LotState, found: Blame) -> str:
    """A lot that was stopped within its first discs, which may all be from one inner box."""
    return f"Unless all of it is one inner box: {try_after_run(state, found)[0].lower()}{try_after_run(state, found)[1:]}"


def try_drive(state: DriveState) -> str:
    """Whether cleaning helped."""
    return f"Clean the heads of {state.name}, then run {SWAP} discs."


# Places


@dataclass(frozen=True)
class PlaceWords:
    """A place's name, its sentence, what to do, and how many of the failing discs failed there."""

    name: str
    say: str
    to_try: str
    discs: int


def place(found: Spot, scanned: bool) -> PlaceWords:
    """Where to look for a worn or dirty place."""
    first, last = (found.first, found.last) if scanned else found.zone
    where = f"track {first}" if first == last else f"tracks {first} to {last}"
    of = f"{found.what}, drive {found.drive}" if found.drive else found.what
    name = f"{found.surface.side}/{found.surface.head}/{first}" + ("" if first == last else f"-{last}")
    to_try = f"Clean the heads{f' of {found.drive}' if found.drive else ''} and see how a disc turns in its jacket at {where}."
    if scanned:
        say = f"Look at {where} ({of}): {found.place.discs} of {found.failing} failing discs fail there: a worn or dirty place, not a lot."
        return PlaceWords(name, say, to_try, found.place.discs)
    return PlaceWords(
        name, f"Look at {where} ({of}): the {found.failing} failing discs fail there more than elsewhere.", to_try, found.failing
    )


# Pieces of sentences


def _title(state: State) -> str:
    return f"{state.kind.capitalize()} {state.name}"


def _of(state: State) -> str:
    return _counted(state.bad, len(state.discs), state)


def _of_charted(state: State) -> str:
    return _counted(int(state.charted.sum()), len(state.charted), state)


def _counted(bad: int, discs: int, state: State) -> str:
    """A lot's discs count as what became of them in the end, a drive's by their first writing."""
    return f"{bad} of {discs}{' first writings' if state.kind == 'drive' else ''} failed"


def _or_else(state: State, found: Blame) -> str:
    """What it can't be told from, where nothing is named."""
    if found.named is not None:
        return ""
    others = [each for each in suspects(found.culprits) if each.kind != "none" and each.about != (state.kind, state.name)]
    return f"; the data can't tell it from {_called(others[0])} yet" if others else ""


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _sure(named: Culprit) -> str:
    return f"{min(100 * named.chance, 99):.0f} % sure"  # nobody is ever 100 % sure


def _other(names: tuple[str, ...], but: str | None) -> str | None:
    return next((name for name in names if name != but), None)


def _run(state: State) -> str:
    """Where the run is, and what the others did."""
    run = state.run
    if run is None:
        return ""
    what = "first writings" if state.kind == "drive" else "discs"
    where = f"{run.bad} of its {what} {state.begins + run.first + 1} to {state.begins + run.last + 1} failed"
    return f"{where}, of all others {int(state.charted.sum()) - run.bad} of {len(state.charted) - run.discs}"


def _since(state: DriveState) -> str:
    made = since_figures(state)
    since, before = made["since"], made["before"]
    earlier = f" (before that {before['bad']} of {before['discs']})" if before["discs"] else ""
    begun = f" since its disc {made['since_disc']}" if before["discs"] else ""
    return f"{_counted(since['bad'], since['discs'], state)}{begun}{earlier}"


def _called(named: Culprit) -> str:
    if named.kind == "head":
        return f"drive {named.drive}, {named.name.removeprefix(f'{named.drive} ')}"
    return named.name if named.kind == "side" and named.name.startswith("head") else f"{named.kind} {named.name}"
