"""Who is to blame where charts have alarmed: one judgement of the latest discs for everything that alarms there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from mastering.deciding.statistics.culprits import judge
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.naming import Culprit, doubted, fold, named
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import InUse, State
from mastering.deciding.statistics.trials import Names, Trials

STRETCH = 500  # the latest discs, which are judged
WINDOW = 30  # discs at least since something turned bad
SEEN = 20  # discs after an alarm before a culprit is named: at the alarm itself chance has had its best moment
UNSEEN = 120  # discs without a fault that are lent to each drive, as nobody knows a new one
CHANCE_ALARM = 70  # discs between a drive's faults for which an alarm is believed as it is; by simulation, see DEVELOPERS.md
EARLY = 10  # what turned bad within so many discs was bad from the first one


@dataclass(frozen=True)
class Blame:
    """The chances of all suspects, the likeliest first, and the one that is named, if any.

    `drives`, `lots`: the names of those that ran in the stretch and are still in use; `now`: the stretch ends with the latest disc.
    """

    culprits: tuple[Culprit, ...]
    named: Culprit | None
    lots: tuple[str, ...]
    drives: tuple[str, ...]
    now: bool


def blame(history: History, states: Sequence[State], in_use: InUse, settings: Settings) -> dict[tuple[str, str], Blame]:
    """The judgement for each lot and drive whose chart alarms, by kind and name.

    Alarms among the latest discs share one judgement; a chart that alarmed long ago is judged where its own discs end. Nobody is named
    for an alarm until so many more discs (of any lot or drive) are there.
    """
    alarming = [state for state in states if state.rings]
    latest = len(history) - STRETCH
    blames = {}
    now = [state for state in alarming if state.discs.max() >= latest]
    shared = _judge(history, len(history), now, in_use, settings) if now else None
    for state in alarming:
        own = shared if shared and state.discs.max() >= latest else _judge(history, int(state.discs.max()) + 1, [state], in_use, settings)
        blames[state.kind, state.name] = _believed(own, state, len(history), in_use, settings)
    return blames


def _believed(judged: Blame, state: State, discs: int, in_use: InUse, settings: Settings) -> Blame:
    """The judgement as far as one alarm can be believed.

    Drives that seldom need a repair alarm by chance more often than for a reason: then that nothing is wrong is likelier than the discs
    alone say, since the alarm chose the moment.
    """
    culprits = judged.culprits
    if state.kind == "drive":
        between = (UNSEEN + state.begins + state.alarm) / (1 + in_use.repairs.get(state.name, 0))
        culprits = doubted(culprits, max(between / CHANCE_ALARM, 1.0))
    seen = discs - 1 - state.alarmed_at
    return replace(judged, culprits=culprits, named=named(culprits, settings) if seen >= SEEN else None)


def _judge(history: History, end: int, alarming: Sequence[State], in_use: InUse, settings: Settings) -> Blame:
    """The judgement of the last discs before `end`."""
    first = max(end - STRETCH, 0)
    trials, names = _apart(history, Trials.of(history, first, end), in_use)
    onsets = [min(state.onset, end - WINDOW) for state in alarming]
    culprits = fold(judge(trials, names, settings, [onset for onset in onsets if onset > first + EARLY]))
    lots = [history.lots[number] for number in sorted(set(trials.lot.tolist()))]
    wrote = [names.drives[number] for number in sorted(set(trials.wrote.tolist()))]
    running = tuple(name for name in lots if name in in_use.lots), tuple(name for name in dict.fromkeys(wrote) if name in in_use.drives)
    return Blame(tuple(culprits), named(culprits, settings), *running, end == len(history))


def _apart(history: History, trials: Trials, in_use: InUse) -> tuple[Trials, Names]:
    """A drive before its chart was restarted (cleaned, adjusted, repaired) as another suspect than the same drive after."""
    names = Names.of(history)
    drives, wrote, read = list(names.drives), trials.wrote.copy(), trials.read.copy()
    earlier = set()
    for (kind, name), begins in in_use.since.items():
        if kind == "drive" and name in names.drives:
            before, number = history.written[trials.disc] < begins, names.drives.index(name)
            for column in (wrote, read):
                column[before & (column == number)] = len(drives)
            earlier.add(len(drives))
            drives.append(name)
    return replace(trials, wrote=wrote, read=read), replace(names, drives=drives, earlier=frozenset(earlier))
