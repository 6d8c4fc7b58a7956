"""From the statistics' findings to decisions: a level for each lot, drive, batch and place on the disc, with its reason. Pure.

`advise` goes one way: history -> where each chart stands and who is to blame -> entries (level, reason, facts). Sentences are made of
entries in `words.advice`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from mastering.deciding import figures, reasons
from mastering.deciding.charted import FEWEST, Blames, drive_decision, lot_decision, to_stop
from mastering.deciding.rates import wilson
from mastering.deciding.statistics import comparisons
from mastering.deciding.statistics.arrays import Ints
from mastering.deciding.statistics.blame import Blame, blame
from mastering.deciding.statistics.culprits import Culprit
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.places import Place, find_places
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import DriveState, InUse, LotState, charted_blanks, read_drives, read_lots

LEVELS = ("stop", "look", "wait", "fine")
KINDS = ("lot", "drive", "track", "batch")


@dataclass(frozen=True)
class Entry:
    """The advice about one lot, drive, batch or place: its level and reason; `trial`: what to run to find out; `why`: its figures."""

    about: str
    name: str
    level: str
    reason: reasons.Reason
    discs: int
    bad: int
    culprits: tuple[Culprit, ...] = ()
    trial: reasons.Trial | None = None
    why: figures.Figures = field(default_factory=dict)


def advise(history: History, in_use: InUse, settings: Settings, rng: np.random.Generator) -> list[Entry]:
    """An entry for every lot, drive and batch in use and every place that stands out, the most urgent first.

    The generator draws where harmless discs would have failed; the same seed gives the same answer.
    """
    lots, drives = read_lots(history, in_use, settings), read_drives(history, in_use, settings)
    blames = blame(history, [*lots, *drives], in_use, settings)
    certain = _stand_out(lots, in_use, settings)
    entries = [_of_lot(state, blames, history, in_use, state.name in certain) for state in lots]
    entries += [_of_drive(state, blames, history) for state in drives]
    alarmed = {(entry.about, entry.name) for entry in entries if entry.level in ("stop", "look")}
    entries += _compared(history, in_use, settings, alarmed, find_places(history, rng))
    return sorted(entries, key=lambda entry: (LEVELS.index(entry.level), KINDS.index(entry.about), -entry.bad / max(entry.discs, 1)))


def _stand_out(lots: Sequence[LotState], in_use: InUse, settings: Settings) -> set[str]:
    """The names of the stopped lots that chance does not explain among so many.

    A lot's stop is a comparison like any other: of 50 good lots one is stopped.
    """
    compared = [state for state in lots if len(state.charted)]
    chances = [1.0 if state.stopped is None else _chance(state, in_use, settings) for state in compared]
    outstanding = comparisons.standing_out(chances, settings.wolf)
    return {state.name for state, out in zip(compared, outstanding, strict=True) if out}


def _chance(state: LotState, in_use: InUse, settings: Settings) -> float:
    """The chance that a tolerable lot comes as far as this one."""
    blanks = charted_blanks(in_use.lots[state.name])
    return comparisons.chance_of_score(state.chart, settings.tolerable, blanks, int(state.scores.max()))


def _of_lot(state: LotState, blames: Blames, history: History, in_use: InUse, certain: bool) -> Entry:
    """The entry of a lot: what its chart calls for, else how it is getting on."""
    decision = lot_decision(state, blames, history, in_use, certain) or _quiet(state, blames)
    return _charted(state, blames, *decision, figures.of_lot(state))


def _of_drive(state: DriveState, blames: Blames, history: History) -> Entry:
    """The entry of a drive: what its chart calls for, else how it is getting on."""
    decision = drive_decision(state, blames, history) or _quiet(state, blames)
    return _charted(state, blames, *decision, figures.of_drive(state))


def _charted(
    state: LotState | DriveState,
    blames: Blames,
    level: str,
    reason: reasons.Reason,
    trial: reasons.Trial | None,
    why: figures.Figures,
) -> Entry:
    """The entry of a lot or drive, with the chances of all culprits where its own chart alarmed or another's names it."""
    blamed = blames.get((state.kind, state.name))
    accuser = _accuser(state, blames)
    culprits = blamed.culprits if blamed else accuser.culprits if accuser else ()
    return Entry(state.kind, state.name, level, reason, len(state.discs), state.bad, culprits, trial, why)


def _accuser(state: LotState | DriveState, blames: Blames) -> Blame | None:
    """The judgement of another alarm that names this lot or drive."""
    return next((each for each in blames.values() if each.now and each.named and each.named.accuses(state.kind, state.name)), None)


def _quiet(state: LotState | DriveState, blames: Blames) -> tuple[str, reasons.Reason, None]:
    """What is to be said of a lot or drive whose chart has not alarmed."""
    accuser = _accuser(state, blames)
    if accuser is not None and accuser.named is not None:
        return "look", reasons.Accused(accuser.named), None
    if not len(state.charted):
        return "wait", reasons.NothingYet(), None
    bad, discs = int(state.charted.sum()), len(state.charted)
    if discs >= FEWEST:
        return "fine", reasons.Fine(state.bad, len(state.discs), *wilson(state.bad, len(state.discs))), None
    return "wait", reasons.Early(bad, discs, *(to_stop(state) if isinstance(state, LotState) else ())), None


def _compared(history: History, in_use: InUse, settings: Settings, alarmed: set[tuple[str, str]], places: Sequence[Place]) -> list[Entry]:
    """Batches and places: many comparisons, so that only what stands out after allowing for their number is an alarm."""
    batches = [(name, history.of_batch(name)) for name in in_use.batches]
    counts = [(int(history.bad[discs].sum()), len(discs)) for _, discs in batches]
    chances = [comparisons.chance_at_any_time(bad, discs, settings.tolerable) for bad, discs in counts]
    chances += [place.scan.p for place in places] + [place.scan.zone_p for place in places]
    outstanding = comparisons.standing_out(chances, settings.wolf)
    entries = []
    for (name, discs), (bad, count), out in zip(batches, counts, outstanding, strict=False):
        alone = out and count >= FEWEST and not _lots_and_drives(history, discs) & alarmed
        level = "look" if alone else "wait" if count < FEWEST else "fine"
        reason = reasons.BatchStandsOut() if alone else _progress(bad, count, in_use.batches[name])
        entries.append(Entry("batch", name, level, reason, count, bad, why=figures.of_share(bad, count) | {"compared": len(chances)}))
    scans, zones = np.reshape(outstanding[len(batches) :], (2, -1))
    return entries + _of_places(places, scans.tolist(), zones.tolist(), len(chances))


def _progress(bad: int, discs: int, wanted: int) -> reasons.Reason:
    """How far a batch is."""
    return reasons.BatchProgress(wanted, max(wanted - (discs - bad), 0)) if discs else reasons.NothingYet(wanted)


def _lots_and_drives(history: History, discs: Ints) -> set[tuple[str, str]]:
    """The lots and drives of a batch: its trouble is theirs, and the batch alarms only where neither does."""
    lots = {("lot", history.lots[lot]) for lot in np.unique(history.lot[discs])}
    return lots | {("drive", history.drives[drive]) for drive in np.unique(history.wrote[np.isin(history.disc, discs)])}


def _of_places(places: Sequence[Place], scans: Sequence[bool], zones: Sequence[bool], compared: int) -> list[Entry]:
    """For each surface the place that stands out most, of all drives or of one."""
    best: dict[object, tuple[float, Entry]] = {}
    for place, scanned, zoned in zip(places, scans, zones, strict=True):
        if not (scanned or zoned):
            continue
        chance = place.scan.p if scanned else place.scan.zone_p
        first, last = (place.first, place.last) if scanned else place.zone
        discs = place.scan.discs if scanned else place.failing
        name = f"{place.surface.side}/{place.surface.head}/{first}" + ("" if first == last else f"-{last}")
        reason = reasons.PlaceStandsOut(first, last, place.what, place.drive, discs, place.failing, not scanned)
        trial = reasons.LookAtTracks(place.drive, first, last)
        entry = Entry("track", name, "look", reason, place.failing, discs, (), trial, {"p": chance, "compared": compared})
        if place.surface not in best or chance < best[place.surface][0]:
            best[place.surface] = (chance, entry)
    return [entry for _, entry in best.values()]
