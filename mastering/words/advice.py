"""Advice in the words of the trade: the action first, then the numbers that carry it; the figures behind it as an explanation."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from formats.words import counted
from mastering.deciding import reasons
from mastering.deciding.advice import Entry
from mastering.deciding.costs import Costs
from mastering.deciding.statistics.comparisons import Left
from mastering.deciding.statistics.naming import Culprit
from mastering.words.layout import Block, Line

_UNLIKELY = 0.01  # suspects below are not told one by one
_SIDEWAYS = "a disc that sheds or a fouled head, not a worn drive"


def line(entry: Entry, *, simulated: bool) -> dict[str, Any]:
    """A line of `advise --json`."""
    plain: dict[str, Any] = {"about": entry.about, "name": entry.name, "level": entry.level, "say": sentence(entry)}
    plain |= {"discs": entry.discs, "bad": entry.bad, "working": entry.working}
    if entry.culprits:
        plain["culprits"] = [each.plain() for each in entry.culprits]
    return plain | {"try": to_try(entry), "why": entry.why, "simulated": simulated}


def sentence(entry: Entry) -> str:
    """An entry of advice as one sentence: what it is about, the action, the numbers."""
    return f"{_subject(entry)}: {_REASONS[type(entry.reason)](entry, entry.reason)}."


def entry_text(entry: Entry, *, simulated: bool, why: bool) -> Iterator[Block]:
    """An entry for people: its level, its sentence, what to run to find out; `why`: the figures behind it, too."""
    level = entry.level.upper() if entry.level == "stop" else entry.level
    yield Line(f"{level}  ", sentence(entry) + (" (simulated)" if simulated else ""))
    if trial := to_try(entry):
        yield Line("      ", f"to find out: {trial}")
    if why:
        yield from (Line("      ", text) for text in explanation(entry))


def to_try(entry: Entry) -> str | None:
    """What to run to find out, as a sentence; None where nothing is to be found out."""
    return None if entry.trial is None else f"{_TRIALS[type(entry.trial)](entry.trial)}."


def _subject(entry: Entry) -> str:
    """The lot, drive, batch or place that an entry is about."""
    if isinstance(entry.reason, reasons.PlaceStandsOut):
        drive = f", drive {entry.reason.drive}" if entry.reason.drive else ""
        return f"{_tracks(entry.reason.first, entry.reason.last).capitalize()} of {entry.reason.what}{drive}"
    return f"{entry.about.capitalize()} {entry.name}"


# Reasons


def _nothing_yet(entry: Entry, reason: reasons.NothingYet) -> str:
    return "no disc judged yet" + (f"; {counted(reason.wanted, 'good one')} wanted" if entry.about == "batch" else "")


def _fine(entry: Entry, reason: reasons.Fine) -> str:
    limits = f"{_percent(reason.low)} to {_percent(reason.high)}" if reason.bad else f"it may still be up to {_percent(reason.high)}"
    return f"go on; {_failed(entry, reason.bad, reason.discs)} ({limits}), no sign of trouble"


def _too_many(entry: Entry, reason: reasons.TooMany) -> str:
    wanted = f"; {counted(reason.missing, 'more good one')} wanted" if reason.missing else ""
    return f"watch it; {_failed(entry, reason.bad, reason.discs)}, more than the {_percent(reason.tolerable)} that can be tolerated{wanted}"


def _early(entry: Entry, reason: reasons.Early) -> str:
    said = f"carry on, too early to tell: {_failed(entry, reason.bad, reason.discs)}"
    if not reason.more:
        return said
    within = "with the next disc" if reason.within == 1 else f"within the next {reason.within} discs"
    return f"{said}; {counted(reason.more, 'more failure')} {within} would stop it"


def _accused(entry: Entry, reason: reasons.Accused) -> str:
    named = reason.culprit
    if named.reads:
        return f"clean its heads; discs that it reads first fail, whatever drive wrote them ({_sure(named)})"
    part = "" if named.kind == entry.about else f" at {_called(named)}"
    return f"look{part or ' at it'}; {_failed(entry, entry.bad, entry.discs)}, and what else fails comes from it ({_sure(named)})"


def _lot_stopped(entry: Entry, reason: reasons.LotStopped) -> str:
    which = (
        f"the first {counted(reason.discs, 'disc')} since its release" if reason.released else f"its first {counted(reason.discs, 'disc')}"
    )
    said = f"set the rest aside; {reason.bad} of {which} failed{_working(entry)}"
    return said + _of_left(reason.left) + _unlike(reason.rival) + _costs(reason.costs)


def _lot_worth_using(entry: Entry, reason: reasons.LotWorthUsing) -> str:
    lay_out = f"go on, but lay out {counted(reason.load, 'blank')} for {counted(reason.good, 'good copy', 'good copies')}"
    return f"{lay_out}; {reason.bad} of its first {counted(reason.discs, 'disc')} failed{_working(entry)}{_costs(reason.costs)}"


def _costs(costs: Costs | None) -> str:
    if costs is None:
        return ""
    return f"; a good disc costs {costs.go_on:.2f} with the blanks that are left, {costs.stop:.2f} with new ones"


def _lot_paused(entry: Entry, reason: reasons.LotPaused) -> str:
    likelier = f"{_called(reason.culprit)} is the likelier cause"
    return f"find out before you go on; {reason.bad} of its first {counted(reason.discs, 'disc')} failed{_working(entry)}, but {likelier}"


def _inner_box(entry: Entry, reason: reasons.InnerBox) -> str:
    numbers = f"{_failed(entry, entry.bad, entry.discs)} ({_sure(reason.culprit)})"
    if entry.about == "inner":
        return f"set the rest of it aside; {numbers}"
    return f"set inner box {reason.culprit.name} aside and go on with the others; {numbers}"


def _title(entry: Entry, reason: reasons.TitleCulprit) -> str:
    everywhere = f"whatever the lot and the drive ({_sure(reason.culprit)})"
    return f"try its copies in different machines; {_failed(entry, entry.bad, entry.discs)}, {everywhere}"


def _set_aside(entry: Entry, reason: reasons.SetAside) -> str:
    state = "on hold" if entry.about == "drive" else "stopped"
    return f"{state}; {_failed(entry, entry.bad, entry.discs)}"


def _of_left(left: Left | None) -> str:
    return "" if left is None else f", and about {round(left.mean)} of the {left.discs} left will be bad ({left.low} to {left.high})"


def _run(entry: Entry, reason: reasons.FailureRunIn) -> str:
    what = "first writings" if entry.about == "drive" else "discs"
    numbers = f"{reason.bad} of {what} {reason.first} to {reason.last} failed, {reason.other_bad} of the other {reason.others}"
    if entry.about == "drive":
        return f"clean its heads; {numbers}: {_SIDEWAYS}"
    return f"set the rest of that inner box aside; {numbers}: an inner box or a fouled head, not the lot"


def _run_no_longer(entry: Entry, reason: reasons.RunNoLonger) -> str:
    return f"look at it; {_failed(entry, entry.bad, entry.discs)}, and no longer in one run"


def _other_culprit(entry: Entry, reason: reasons.OtherCulprit) -> str:
    blamed = f"that is {_called(reason.culprit)}, not the {entry.about} ({_sure(reason.culprit)})"
    return f"go on; {_failed(entry, entry.bad, entry.discs)}, but {blamed}"


def _side(entry: Entry, reason: reasons.SideCulprit) -> str:
    called = _called(reason.culprit)
    everywhere = f"nearly always on {called}, whatever the lot and the drive ({_sure(reason.culprit)})"
    return f"see how the discs sit with that side up; {_failed(entry, entry.bad, entry.discs)}, {everywhere}"


def _by_chance(entry: Entry, reason: reasons.ByChance) -> str:
    return f"watch it; {_failed(entry, entry.bad, entry.discs)}, which one of {reason.lots} lots in use does by chance"


def _drive_stopped(entry: Entry, reason: reasons.DriveStopped) -> str:
    if reason.culprit.kind == "both":
        return (
            f"stop using it and clean its heads; {_worse(reason.worse)}, and lot {reason.culprit.lot} is bad too ({_sure(reason.culprit)})"
        )
    blamed = f"it is {_called(reason.culprit)}, not the discs ({_sure(reason.culprit)})"
    return f"stop using it and clean its heads; {_worse(reason.worse)}, and {blamed}"


def _drive_drifts(entry: Entry, reason: reasons.DriveDrifts) -> str:
    return f"clean its heads, then write {counted(_TO_WRITE, 'disc')}; {_worse(reason.worse)}{_unlike(reason.rival)}"


_TO_WRITE = 20


def _batch_progress(entry: Entry, reason: reasons.BatchProgress) -> str:
    more = f"{counted(reason.missing, 'more good one')} wanted" if reason.missing else "no more wanted"
    return f"{more}; {_failed(entry, entry.bad, entry.discs)}"


def _batch_stands_out(entry: Entry, reason: reasons.BatchStandsOut) -> str:
    return f"look through it; {_failed(entry, entry.bad, entry.discs)}, though neither its lots nor its drives stand out"


def _place(entry: Entry, reason: reasons.PlaceStandsOut) -> str:
    if reason.fifth:
        return f"look there; the {reason.failing} failing discs fail there more than elsewhere"
    return f"look there for a worn or dirty place; {reason.discs} of {reason.failing} failing discs fail there, so it is not a lot"


_REASONS: Mapping[type, Callable[[Entry, Any], str]] = {
    reasons.NothingYet: _nothing_yet,
    reasons.Fine: _fine,
    reasons.TooMany: _too_many,
    reasons.Early: _early,
    reasons.Accused: _accused,
    reasons.LotStopped: _lot_stopped,
    reasons.LotWorthUsing: _lot_worth_using,
    reasons.LotPaused: _lot_paused,
    reasons.InnerBox: _inner_box,
    reasons.TitleCulprit: _title,
    reasons.SetAside: _set_aside,
    reasons.FailureRunIn: _run,
    reasons.RunNoLonger: _run_no_longer,
    reasons.OtherCulprit: _other_culprit,
    reasons.SideCulprit: _side,
    reasons.ByChance: _by_chance,
    reasons.DriveStopped: _drive_stopped,
    reasons.DriveDrifts: _drive_drifts,
    reasons.BatchProgress: _batch_progress,
    reasons.BatchStandsOut: _batch_stands_out,
    reasons.PlaceStandsOut: _place,
}


# What to run


def _crossover(trial: reasons.Crossover) -> str:
    first = f"Write {', '.join(trial.serials)} again on {trial.other_drive} and read them there"
    restore = "; take rejected ones back first" if trial.restore else ""
    return f"{first}: bad blanks fail again, what {trial.drive} did does not{restore}"


def _swap(trial: reasons.SwapTest) -> str:
    lot, drive = trial.lot or "this lot", trial.drive or "this drive"
    other_lot, other_drive = trial.other_lot or "another lot", trial.other_drive or "another drive"
    return f"Run {trial.discs} discs of {lot} on {other_drive} and {trial.discs} of {other_lot} on {drive}"


def _another_box(trial: reasons.AnotherInnerBox) -> str:
    dealt = ", dealt alternately to all drives" if trial.alternately else ""
    said = f"lean the heads, then run {trial.discs} discs of {trial.lot} from another inner box{dealt}"
    return f"Unless all of it is one inner box: c{said}" if trial.unless else f"C{said}"


def _clean(trial: reasons.CleanHeads) -> str:
    return f"Clean the heads of {trial.drive}, then run {trial.discs} discs"


def _look_at(trial: reasons.LookAtTracks) -> str:
    of = f" of {trial.drive}" if trial.drive else ""
    return f"Clean the heads{of} and see how a disc turns in its jacket at {_tracks(trial.first, trial.last)}"


_TRIALS: Mapping[type, Callable[[Any], str]] = {
    reasons.Crossover: _crossover,
    reasons.SwapTest: _swap,
    reasons.AnotherInnerBox: _another_box,
    reasons.CleanHeads: _clean,
    reasons.LookAtTracks: _look_at,
}


# The figures behind a sentence


def explanation(entry: Entry) -> Iterator[str]:
    """Why: the figures behind an entry's sentence, a sentence each, then the chance of each suspect."""
    for name, words in _FIGURES.items():
        if name in entry.why:
            yield words(entry.why)
    for suspect in (each for each in entry.culprits if each.chance >= _UNLIKELY):
        called = "nothing but chance" if suspect.kind == "none" else _called(suspect)
        yield f"{called}: {100 * suspect.chance:.0f} % likely"
    if entry.culprits:
        yield "anything else: under 1 % each"


def _chart(why: Mapping[str, Any]) -> str:
    adds, score, stop = why["fail_adds"], why["score"], why["stop_line"]
    return f"Its alarm level is {score} of {stop}: a failure weighs {adds}, a good disc takes 1 away."


_FIGURES: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    "rate": lambda why: (
        f"{_percent(why['rate'])} failed; the true share lies between {_percent(why['low'])} and {_percent(why['high'])} (95 % sure)."
    ),
    "stop_line": _chart,
    "false_stop": lambda why: f"A lot that can be tolerated is ever stopped with a chance of {_percent(why['false_stop'])}.",
    "stopped_at": lambda why: f"It was stopped at its disc {why['stopped_at']}.",
    "since_disc": lambda why: f"It is worse since its disc {why['since_disc']}.",
    "run": lambda why: f"A run of failures explains it with a chance of {_percent(why['run']['chance'])}.",
    "again": lambda why: (
        f"Of {why['again']['written']} discs that failed and were written again on another drive {why['again']['failed']} failed again."
    ),
    "p": lambda why: f"Harmless discs show such a place with a chance of {why['p']:.3g}.",
    "compared": lambda why: f"{counted(why['compared'], 'thing')} compared at once, which its alarm allows for.",
}


# Pieces of sentences


def _failed(entry: Entry, bad: int, discs: int) -> str:
    """The failures: a lot's discs count as what became of them in the end, a drive's by their first writing."""
    return f"{bad} of {discs}{' first writings' if entry.about == 'drive' else ''} failed{_working(entry)}"


def _working(entry: Entry) -> str:
    """The discs that are neither passed nor rejected, where there are any."""
    return f", {entry.working} unfinished" if entry.working else ""


def _worse(worse: reasons.Worse) -> str:
    """Since when a drive is worse."""
    if not worse.discs_before:
        return f"{worse.bad} of {worse.discs} first writings failed"
    before = f"before that {worse.bad_before} of {worse.discs_before}"
    return f"worse since disc {worse.since}: {worse.bad} of {worse.discs} first writings failed, {before}"


def _unlike(rival: Culprit | None) -> str:
    return f"; the data can't tell it from {_called(rival)} yet" if rival else ""


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _sure(named: Culprit) -> str:
    return f"{min(100 * named.chance, 99):.0f} % sure"  # nobody is ever 100 % sure


def _tracks(first: int, last: int) -> str:
    return f"track {first}" if first == last else f"tracks {first} to {last}"


def _called(suspect: Culprit) -> str:
    """A suspect's name for people."""
    earlier = " before its last cleaning" if suspect.earlier else ""
    if suspect.kind == "both":
        return f"lot {suspect.lot} together with drive {suspect.part_of}{earlier}"
    if suspect.kind == "inner":
        return f"inner box {suspect.name}"
    if suspect.kind == "drive" and suspect.reads:
        return f"drive {suspect.name} as it reads{earlier}"
    if suspect.kind == "head":
        return f"drive {suspect.part_of}, {suspect.name.removeprefix(f'{suspect.part_of} ')}{earlier}"
    return suspect.name if suspect.kind == "side" and suspect.name.startswith("head") else f"{suspect.kind} {suspect.name}{earlier}"
