"""Advice in the words of the trade: one sentence each, with its numbers; the figures behind it by name."""

from dataclasses import dataclass
from math import ceil
from typing import Any

from mastering.rates import wilson
from mastering.statistics import comparisons
from mastering.statistics.blame import Blame
from mastering.statistics.culprits import Culprit, suspects
from mastering.statistics.places import Spot
from mastering.statistics.states import DriveState, LotState, State

SWAP = 20  # discs on each side of a swap test

WHY_EVERY_DISC = """Every disc is verified. Checking only some is for suppliers whom you can trust, not for blanks that are decades old: if
5 in 100 are bad and you check 32 of a batch of 200, letting the batch go when at most 2 of them fail, about 7 bad copies go out
with it; any rule that really protects your customers has you check nearly all of them anyway."""

# Figures, by name


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
        made |= {"score": int(state.scores[-1]) if len(state.scores) else state.chart.start}
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
    return f"{_title(state)}: {_of(state)} failed ({between}); nothing speaks against it."


def early(state: State) -> str:
    """Too few discs for a rate."""
    return f"{_title(state)}: too early, {_of_charted(state)} failed; carry on."


def early_lot(state: LotState) -> str:
    """Too few discs, and what would stop the lot."""
    more, within = to_stop(state)
    would = f"{_plural(more, 'more failure')} within the next {_plural(within, 'disc')} would stop it"
    return f"{_title(state)}: too early, {_of_charted(state)} failed; carry on, {would}."


def to_stop(state: LotState) -> tuple[int, int]:
    """The fewest failures that would stop a lot, and within how many discs."""
    short = state.chart.stop - (int(state.scores[-1]) if len(state.scores) else state.chart.start)
    more = max(ceil(short / state.chart.fail), 1)
    return more, more * (state.chart.fail + 1) - short


def accused(state: State, named: Culprit) -> str:
    """Its own chart is silent, another's failures are put down to it."""
    called = "" if named.kind == state.kind else f", {_called(named)}"
    return f"Look at {state.kind} {state.name}{called}: {_of(state)} failed, and what else fails comes from it ({_sure(named)})."


def stop_lot(state: LotState, blanks: int | None) -> str:
    """The stop line, and what the rest of the lot would bring."""
    at = (state.stopped or 0) + 1
    which = f"the first {_plural(at, 'disc')} since its release" if state.begins else f"its first {_plural(at, 'disc')}"
    said = f"Stop using lot {state.name}: {int(state.charted[:at].sum())} of {which} failed"
    left = (blanks or 0) - len(state.discs)
    if left <= 0:
        return f"{said}."
    rest = comparisons.bad_left(int(state.charted.sum()), len(state.charted), left, state.settings)
    return f"{said}, and of the {left} left about {round(rest.mean)} will be bad ({rest.low} to {rest.high})."


def lot_run(state: LotState) -> str:
    """An inner box rather than the lot."""
    return f"Look at lot {state.name}: {_run(state)}: an inner box or a fouled head, not the lot; set the rest of that inner box aside."


def lot_over(state: LotState) -> str:
    """A run that is one no longer."""
    return f"Look at lot {state.name}: {_of(state)} failed, and no longer in one run."


def other_culprit(state: State, named: Culprit) -> str:
    """Its chart rang for something else."""
    return f"{_title(state)}: {_of(state)} failed, but that is {_called(named)}, not the {state.kind} ({_sure(named)})."


def side(state: State, named: Culprit) -> str:
    """One side fails on every drive and lot."""
    found = f"{_of(state)} failed, nearly always on {_called(named)}, whatever the lot and the drive ({_sure(named)})"
    return f"Look at {state.kind} {state.name}: {found}; see how the discs sit with that side up, and try another master."


def by_chance(state: LotState, lots: int) -> str:
    """One of many."""
    return f"{_title(state)}: {_of(state)} failed, which with {lots} lots in use happens to one of them by chance; watch it."


def stop_drive(state: DriveState, named: Culprit) -> str:
    """The drive is known to be to blame."""
    known = f"it is {_called(named)}, not the discs ({_sure(named)})"
    return f"Stop using drive {state.name}: {_since(state)}, and {known}; clean its heads, and have it adjusted if that doesn't help."


def drive_drifts(state: DriveState) -> str:
    """The drive may be to blame."""
    return f"Look at drive {state.name}: {_since(state)}; clean its heads, then run {SWAP} discs."


def drive_run(state: DriveState) -> str:
    """A fouled head rather than a worn drive."""
    return f"Look at drive {state.name}: {_run(state)}: a disc that sheds or a fouled head, not a worn drive; clean its heads."


def batch(name: str, bad: int, discs: int, wanted: int, out: bool) -> str:
    """How a batch is getting on."""
    if out:
        return f"Look at batch {name}: {bad} of {discs} failed, though neither its lots nor its drives stand out."
    return f"Batch {name}: {bad} of {discs} failed; {wanted} good ones are wanted."


# What to run


def to_find_out(found: Blame) -> str:
    """The test that tells the likeliest suspects apart."""
    likely = [each for each in suspects(found.culprits) if each.kind != "none"]
    lot = next((each.name for each in likely if each.kind == "lot"), None)
    drive = next((each.drive or each.name for each in likely if each.kind in ("drive", "head")), None)
    if lot is None and drive is None:
        return f"Run {SWAP} discs of each lot, dealt alternately to all drives."
    lot, drive = lot or _other(found.lots, None), drive or _other(found.drives, None)
    other_lot, other_drive = _other(found.lots, lot) or "another lot", _other(found.drives, drive) or "another drive"
    return f"Run {SWAP} discs of {lot or 'this lot'} on {other_drive} and {SWAP} of {other_lot} on {drive or 'this drive'}."


def try_after_run(state: LotState) -> str:
    """Whether it was the inner box."""
    return f"Clean the heads, then run {SWAP} discs of {state.name} from another inner box, dealt alternately to all drives."


def try_drive(state: DriveState) -> str:
    """Whether cleaning helped."""
    return f"Clean the heads of {state.name}, log it, and run {SWAP} discs."


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
    return f"{state.bad} of {len(state.discs)}"


def _of_charted(state: State) -> str:
    return f"{int(state.charted.sum())} of {len(state.charted)}"


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _sure(named: Culprit) -> str:
    return f"{min(100 * named.chance, 99):.0f} % sure"  # nobody is ever 100 % sure


def _plural(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _other(names: tuple[str, ...], but: str | None) -> str | None:
    return next((name for name in names if name != but), None)


def _run(state: State) -> str:
    """Where the run is, and what the others did."""
    run = state.run
    if run is None:
        return ""
    where = f"{run.bad} of its discs {state.begins + run.first + 1} to {state.begins + run.last + 1} failed"
    return f"{where}, of all others {int(state.charted.sum()) - run.bad} of {len(state.charted) - run.discs}"


def _since(state: DriveState) -> str:
    made = since_figures(state)
    since, before = made["since"], made["before"]
    earlier = f" (before that {before['bad']} of {before['discs']})" if before["discs"] else ""
    return f"{since['bad']} of {since['discs']} failed since its disc {made['since_disc']}{earlier}"


def _called(named: Culprit) -> str:
    if named.kind == "head":
        return f"drive {named.drive}, {named.name.removeprefix(f'{named.drive} ')}"
    return named.name if named.kind == "side" and named.name.startswith("head") else f"{named.kind} {named.name}"
