"""Who is to blame where a chart has rung: one judgement of the latest discs for all that rings there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from mastering.deciding.statistics.culprits import Culprit, Names, Trials, fold, judge, named, surface_names
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import InUse, State

STRETCH = 500  # discs that are looked at
WINDOW = 30  # discs at least since something turned bad
BEFORE = " before its last cleaning"
EARLY = 10  # what turned bad within so many discs was bad from the first one


@dataclass(frozen=True)
class Blame:
    """The chances of all suspects, the likeliest first, and the one that is named, if any.

    `drives`, `lots`: what ran in the stretch and is still in use; `now`: it ends with the latest disc.
    """

    culprits: tuple[Culprit, ...]
    named: Culprit | None
    lots: tuple[str, ...]
    drives: tuple[str, ...]
    now: bool


def blame(history: History, states: Sequence[State], in_use: InUse, settings: Settings) -> dict[tuple[str, str], Blame]:
    """For each lot and drive that rings, by kind and name. What rang long ago is judged where its own discs end."""
    ringing = [state for state in states if state.rings]
    latest = len(history) - STRETCH
    made = {}
    now = [state for state in ringing if state.discs[-1] >= latest]
    if now:
        made.update(dict.fromkeys(((each.kind, each.name) for each in now), _judge(history, len(history), now, in_use, settings)))
    for state in ringing:
        if state.discs[-1] < latest:
            made[state.kind, state.name] = _judge(history, int(state.discs[-1]) + 1, [state], in_use, settings)
    return made


def _judge(history: History, end: int, ringing: Sequence[State], in_use: InUse, settings: Settings) -> Blame:
    """The last discs before `end`."""
    first = max(end - STRETCH, 0)
    trials, drives = _as_cleaned(Trials.of(history, first, end), history.drives, in_use)
    onsets = [min(state.onset, end - WINDOW) for state in ringing]
    names = Names(history.lots, drives, surface_names(history))
    found = fold(judge(trials, names, settings, [onset for onset in onsets if onset > first + EARLY]))
    ran = [history.lots[number] for number in sorted(set(trials.lot.tolist()))]
    wrote = [drives[number].removesuffix(BEFORE) for number in sorted(set(trials.wrote.tolist()))]
    at_hand = tuple(name for name in ran if name in in_use.lots), tuple(name for name in dict.fromkeys(wrote) if name in in_use.drives)
    return Blame(tuple(found), named(found, settings), *at_hand, end == len(history))


def _as_cleaned(trials: Trials, names: Sequence[str], in_use: InUse) -> tuple[Trials, list[str]]:
    """A drive before it was cleaned, adjusted or repaired is another suspect than the same drive after."""
    drives, wrote, read = list(names), trials.wrote.copy(), trials.read.copy()
    for (kind, name), begins in in_use.since.items():
        if kind == "drive" and name in names:
            earlier, number = trials.disc < begins, names.index(name)
            for column in (wrote, read):
                column[earlier & (column == number)] = len(drives)
            drives.append(name + BEFORE)
    return replace(trials, wrote=wrote, read=read), drives
