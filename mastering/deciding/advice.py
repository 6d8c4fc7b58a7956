"""From rates to decisions: what to do with each lot, drive, batch and place on the disc, most urgent first. Opens no file.

`advise` reads the charts of all that is in use, weighs who is to blame where one has rung, and says each in one sentence.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from mastering.deciding import advice_words as words
from mastering.deciding.statistics import comparisons
from mastering.deciding.statistics.arrays import Ints
from mastering.deciding.statistics.blame import BEFORE, Blame, blame
from mastering.deciding.statistics.culprits import Culprit
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.places import Spot, find_places
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import DriveState, InUse, LotState, charted_blanks, read_drives, read_lots

Advice = tuple[str, str, str | None]  # level, sentence, what to run to find out
Found = dict[tuple[str, str], Blame]  # by kind and name of what rings

LEVELS = ("stop", "look", "wait", "fine")
KINDS = ("lot", "drive", "track", "batch")
FEWEST = 20  # discs before anything is called fine


@dataclass(frozen=True)
class Entry:
    """One thing and what to do with it. `to_try`: what to run to find out; `why`: the figures that it rests on, by name."""

    about: str
    name: str
    level: str
    say: str
    discs: int
    bad: int
    culprits: tuple[Culprit, ...] = ()
    to_try: str | None = None
    why: dict[str, Any] = field(default_factory=dict)

    def plain(self) -> dict[str, Any]:
        """A line of `advise --json`."""
        made: dict[str, Any] = {"about": self.about, "name": self.name, "level": self.level, "say": self.say}
        made |= {"discs": self.discs, "bad": self.bad}
        if self.culprits:
            made["culprits"] = [each.plain() for each in self.culprits]
        return made | {"try": self.to_try, "why": self.why}


def advise(history: History, in_use: InUse, settings: Settings, rng: np.random.Generator) -> list[Entry]:
    """An entry for every lot, drive and batch in use and every place that stands out, the most urgent first.

    The generator draws where harmless discs would have failed; the same seed gives the same answer.
    """
    lots, drives = read_lots(history, in_use, settings), read_drives(history, in_use, settings)
    found = blame(history, [*lots, *drives], in_use, settings)
    certain = _stand_out(lots, in_use, settings)
    made = [_entry(state, found, _rung_lot(state, found, history, in_use, state.name in certain)) for state in lots]
    made += [_entry(state, found, _rung_drive(state, found, history)) for state in drives]
    alarmed = {(entry.about, entry.name) for entry in made if entry.level in ("stop", "look")}
    made += _compared(history, in_use, settings, alarmed, find_places(history, rng))
    return sorted(made, key=lambda entry: (LEVELS.index(entry.level), KINDS.index(entry.about), -entry.bad / max(entry.discs, 1)))


def _stand_out(lots: Sequence[LotState], in_use: InUse, settings: Settings) -> set[str]:
    """The stopped lots that chance does not explain among so many.

    A lot's stop is a comparison like any other: of 50 good lots one is stopped.
    """
    compared = [state for state in lots if len(state.charted)]
    chances = [1.0 if state.stopped is None else _chance(state, in_use, settings) for state in compared]
    outstanding = comparisons.standing_out(chances, settings.wolf)
    return {state.name for state, out in zip(compared, outstanding, strict=True) if out}


def _chance(state: LotState, in_use: InUse, settings: Settings) -> float:
    """That a tolerable lot comes as far."""
    blanks = charted_blanks(in_use.lots[state.name])
    return comparisons.chance_of_score(state.chart, settings.tolerable, blanks, int(state.scores.max()))


def _entry(state: LotState | DriveState, found: Found, rung: Advice | None) -> Entry:
    """A lot or drive: what its chart calls for, else how it is getting on."""
    blamed = found.get((state.kind, state.name))
    accused = next((each for each in found.values() if each.now and each.named and each.named.about == (state.kind, state.name)), None)
    level, say, to_try = rung or _quiet(state, accused)
    culprits = blamed.culprits if blamed else accused.culprits if accused else ()
    return Entry(state.kind, state.name, level, say, len(state.discs), state.bad, culprits, to_try, words.figures_of(state))


def _quiet(state: LotState | DriveState, accused: Blame | None) -> Advice:
    """A lot or drive whose chart has not rung."""
    if accused is not None and accused.named is not None:
        return "look", words.accused(state, accused.named), None
    if not len(state.charted):
        return "wait", words.nothing_yet(state), None
    if len(state.charted) >= FEWEST:
        return "fine", words.fine(state), None
    return "wait", words.early_lot(state) if isinstance(state, LotState) else words.early(state), None


def _rung_lot(state: LotState, found: Found, history: History, in_use: InUse, certain: bool) -> Advice | None:
    """What a lot's chart calls for: nothing but a run, or another culprit that explains all of it, keeps it from being stopped."""
    blamed = found.get(("lot", state.name))
    if blamed is None:
        return None
    if state.run is not None:
        return "look", words.lot_run(state), words.try_after_run(state, blamed)
    if state.stopped is None:  # what held its score over the line is no longer the likelier story of a run
        return "look", words.lot_over(state), words.to_find_out(state, blamed)
    to_try = words.try_after_early_stop(state, blamed) if state.stopped < FEWEST else words.to_find_out(state, blamed)
    stop = "stop", words.stop_lot(state, in_use.lots[state.name], blamed), None if blamed.named else to_try
    chance = None if certain else ("wait", words.by_chance(state, len(in_use.lots)), None)
    return _excused(state, blamed.named, history) or chance or stop


def _rung_drive(state: DriveState, found: Found, history: History) -> Advice | None:
    """What a drive's chart calls for: it is condemned when it is known to be to blame, and not for a run."""
    blamed = found.get(("drive", state.name))
    if blamed is None:
        return None
    named = blamed.named
    excused = _excused(state, named, history)
    if excused is not None:
        return excused
    if state.run is not None:
        return "look", words.drive_run(state), words.try_drive(state)
    if named is not None and named.about == ("drive", state.name):
        return "stop", words.stop_drive(state, named), words.try_drive(state)
    return "look", words.drive_drifts(state, blamed), words.to_find_out(state, blamed)


def _excused(state: LotState | DriveState, named: Culprit | None, history: History) -> Advice | None:
    """A side that fails everywhere; or a drive (a lot) is to blame, and without its discs the lot's (the drive's) chart is silent."""
    if named is None:
        return None
    if named.kind == "side":
        return "look", words.side(state, named), None
    kind, name = named.about
    if kind == state.kind:
        return None
    others = history.of_lot(name) if kind == "lot" else history.of_drive(name.removesuffix(BEFORE))[0]
    return None if state.without(others).rings else ("wait", words.other_culprit(state, named), None)


def _compared(history: History, in_use: InUse, settings: Settings, alarmed: set[tuple[str, str]], places: Sequence[Spot]) -> list[Entry]:
    """Batches and places: many comparisons, so only what stands out after allowing for their number is said."""
    batches = [(name, history.of_batch(name)) for name in in_use.batches]
    counts = [(int(history.bad[discs].sum()), len(discs)) for _, discs in batches]
    chances = [comparisons.chance_at_any_time(bad, discs, settings.tolerable) for bad, discs in counts]
    chances += [each.place.p for each in places] + [each.place.zone_p for each in places]
    outstanding = comparisons.standing_out(chances, settings.wolf)
    made = []
    for (name, discs), (bad, count), out in zip(batches, counts, outstanding, strict=False):
        alone = out and count >= FEWEST and not _used(history, discs) & alarmed
        level = "look" if alone else "wait" if count < FEWEST else "fine"
        say = words.batch(name, bad, count, in_use.batches[name], alone)
        made.append(Entry("batch", name, level, say, count, bad, (), None, words.figures(bad, count) | {"compared": len(chances)}))
    scans, zones = np.reshape(outstanding[len(batches) :], (2, -1))
    return made + _places(places, scans.tolist(), zones.tolist(), len(chances))


def _used(history: History, discs: Ints) -> set[tuple[str, str]]:
    """The lots and drives of a batch: its trouble is theirs, and it speaks up only where neither does."""
    lots = {("lot", history.lots[lot]) for lot in np.unique(history.lot[discs])}
    return lots | {("drive", history.drives[drive]) for drive in np.unique(history.wrote[np.isin(history.disc, discs)])}


def _places(places: Sequence[Spot], scans: Sequence[bool], zones: Sequence[bool], compared: int) -> list[Entry]:
    """For each surface the place that stands out most, of all drives or of one."""
    best: dict[Any, tuple[float, Entry]] = {}
    for found, scanned, zoned in zip(places, scans, zones, strict=True):
        if not (scanned or zoned):
            continue
        chance = found.place.p if scanned else found.place.zone_p
        made = words.place(found, scanned)
        entry = Entry("track", made.name, "look", made.say, found.failing, made.discs, (), made.to_try, {"p": chance, "compared": compared})
        if found.surface not in best or chance < best[found.surface][0]:
            best[found.surface] = (chance, entry)
    return [entry for _, entry in best.values()]
