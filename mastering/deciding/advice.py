"""From the statistics' findings to decisions: a level for each lot, drive, batch and place on the disc, with its reason. Pure.

`advise` goes one way: history -> where each chart stands and who is to blame -> entries (level, reason, facts). Sentences are made of
entries in `words.advice`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from mastering.deciding import figures, reasons
from mastering.deciding.charted import FEWEST, Case, Decision, drive_decision, lot_decision, to_stop, tolerated
from mastering.deciding.costs import Prices
from mastering.deciding.rates import wilson
from mastering.deciding.statistics import comparisons
from mastering.deciding.statistics.arrays import Ints
from mastering.deciding.statistics.blame import Blame, blame
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.naming import Culprit
from mastering.deciding.statistics.places import Place, find_places
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import DriveState, InUse, LotState, charted_blanks, read_drives, read_lots

LEVELS = ("stop", "look", "wait", "fine")
KINDS = ("lot", "inner", "drive", "title", "track", "batch")


@dataclass(frozen=True)
class Entry:
    """The advice about one lot, inner box, drive, title, batch or place: its level and reason.

    `discs`, `bad`: decided discs and how many were rejected (a drive's: first writings, and failed ones); `working`: discs that are
    neither. `trial`: what to run to find out; `why`: the figures.
    """

    about: str
    name: str
    level: str
    reason: reasons.Reason
    discs: int
    bad: int
    working: int = 0
    culprits: tuple[Culprit, ...] = ()
    trial: reasons.Trial | None = None
    why: figures.Figures = field(default_factory=dict)


def advise(history: History, in_use: InUse, settings: Settings, rng: np.random.Generator, prices: Prices | None = None) -> list[Entry]:
    """An entry for every lot, drive and batch in use and for every inner box, title and place that stands out, the most urgent first.

    The generator draws where harmless discs would have failed; the same seed gives the same answer. With `prices` a lot that is bad, but
    cheaper to use up than to replace, is not stopped.
    """
    lots, drives = read_lots(history, in_use, settings), read_drives(history, in_use, settings)
    blames = blame(history, [*lots, *drives], in_use, settings)
    missing = sum(_progress(history, name, wanted).missing for name, wanted in in_use.batches.items())
    case = Case(history, in_use, settings, blames, _stand_out(lots, in_use, settings), missing, prices)
    entries = [_of_charted(state, case, figures.of_lot(state) | figures.of_pairs(history, state)) for state in lots]
    entries += [_of_charted(state, case, figures.of_drive(state) | figures.of_pairs(history, state)) for state in drives]
    entries += _parts_and_titles(case)
    alarmed = {(entry.about, entry.name) for entry in entries if entry.level in ("stop", "look")}
    entries += _compared(case, alarmed, find_places(history, rng))
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


def _of_charted(state: LotState | DriveState, case: Case, why: figures.Figures) -> Entry:
    """The entry of a lot or drive: what its chart calls for, else how it is getting on.

    It has the chances of all culprits where its own chart alarmed or another's names it.
    """
    level, reason, trial = _decision(state, case)
    judged = case.blames.get((state.kind, state.name)) or _accuser(state, case)
    culprits = judged.culprits if judged else ()
    return Entry(state.kind, state.name, level, reason, len(state.discs), state.bad, state.working, culprits, trial, why)


def _decision(state: LotState | DriveState, case: Case) -> Decision:
    """What is to be done with a lot or drive."""
    if (state.kind, state.name) in case.in_use.set_aside:
        return "wait", reasons.SetAside(), None
    called_for = lot_decision(state, case) if isinstance(state, LotState) else drive_decision(state, case)
    if called_for is not None:
        return called_for
    accuser = _accuser(state, case)
    if accuser is not None and accuser.named is not None:
        return "look", reasons.Accused(accuser.named), None
    return _quiet(state, case.settings)


def _accuser(state: LotState | DriveState, case: Case) -> Blame | None:
    """The judgement of another alarm that names this lot or drive."""
    return next((each for each in case.blames.values() if each.now and each.named and each.named.accuses(state.kind, state.name)), None)


def _quiet(state: LotState | DriveState, settings: Settings) -> Decision:
    """What is to be said of a lot or drive that neither its own chart nor another's speaks against."""
    bad, discs = int(state.charted.sum()), len(state.charted)
    if not discs:
        return "wait", reasons.NothingYet(), None
    if discs < FEWEST:
        return "wait", reasons.Early(bad, discs, *(to_stop(state) if isinstance(state, LotState) else ())), None
    if not tolerated(bad, discs, settings):
        return "wait", reasons.TooMany(bad, discs, settings.tolerable), None
    return "fine", reasons.Fine(bad, discs, *wilson(bad, discs)), None


def _parts_and_titles(case: Case) -> list[Entry]:
    """Entries of the inner boxes and titles that an alarm names: they have no chart of their own."""
    entries = []
    history = case.history
    judgements = sorted(
        (each for each in case.blames.values() if each.now and each.named), key=lambda each: each.named.chance if each.named else 0.0
    )
    for judged in {each.named.about: each for each in judgements if each.named}.values():  # of several alarms the surest one speaks
        named = judged.named
        if named is None or named.kind not in ("inner", "title"):
            continue
        discs = history.of_inner(named.name) if named.kind == "inner" else history.of_title(named.name)
        decided = discs[history.decided[discs]]
        bad = int(history.bad[decided].sum())
        level, reason = ("stop", reasons.InnerBox(named)) if named.kind == "inner" else ("look", reasons.TitleCulprit(named))
        why = figures.of_share(bad, len(decided))
        working = int(history.working[discs].sum())
        entries.append(Entry(named.kind, named.name, level, reason, len(decided), bad, working, judged.culprits, why=why))
    return entries


def _compared(case: Case, alarmed: set[tuple[str, str]], places: Sequence[Place]) -> list[Entry]:
    """Batches and places: many comparisons, so that only what stands out after allowing for their number is an alarm."""
    history, settings = case.history, case.settings
    batches = [(name, _progress(history, name, wanted)) for name, wanted in case.in_use.batches.items()]
    chances = [comparisons.chance_at_any_time(batch.bad, batch.discs, settings.tolerable) for _, batch in batches]
    chances += [place.scan.p for place in places] + [place.scan.zone_p for place in places]
    outstanding = comparisons.standing_out(chances, settings.wolf)
    entries = []
    for (name, batch), out in zip(batches, outstanding, strict=False):
        alone = out and batch.discs >= FEWEST and not _lots_and_drives(history, history.of_batch(name)) & alarmed
        level, reason = ("look", reasons.BatchStandsOut()) if alone else _batch_decision(batch, settings)
        why = figures.of_share(batch.bad, batch.discs) | {"compared": len(chances)}
        entries.append(Entry("batch", name, level, reason, batch.discs, batch.bad, batch.working, why=why))
    scans, zones = np.reshape(outstanding[len(batches) :], (2, -1))
    return entries + _of_places(places, scans.tolist(), zones.tolist(), len(chances))


@dataclass(frozen=True)
class _Batch:
    """How far a batch is: its decided discs and how many of them were rejected; discs that are being worked on; good ones still missing."""

    discs: int
    bad: int
    working: int
    wanted: int
    missing: int


def _progress(history: History, name: str, wanted: int) -> _Batch:
    """How far a batch is. Only what passed counts as good, not what is still being worked on."""
    discs = history.of_batch(name)
    decided = int(history.decided[discs].sum())
    bad = int(history.bad[discs].sum())
    return _Batch(decided, bad, int(history.working[discs].sum()), wanted, max(wanted - (decided - bad), 0))


def _batch_decision(batch: _Batch, settings: Settings) -> tuple[str, reasons.Reason]:
    """The level of a batch that doesn't stand out, and how far it is."""
    if not batch.discs and not batch.working:
        return "wait", reasons.NothingYet(batch.wanted)
    if batch.discs and not tolerated(batch.bad, batch.discs, settings):
        return "wait", reasons.TooMany(batch.bad, batch.discs, settings.tolerable, batch.missing)
    return "wait" if batch.discs < FEWEST else "fine", reasons.BatchProgress(batch.wanted, batch.missing)


def _lots_and_drives(history: History, discs: Ints) -> set[tuple[str, str]]:
    """The lots, drives and title of a batch: its trouble is theirs, and the batch alarms only where none of them does."""
    lots = {("lot", history.lots[lot]) for lot in np.unique(history.lot[discs])}
    lots |= {("title", history.titles[title]) for title in np.unique(history.title[history.batch[discs]])}
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
        entry = Entry("track", name, "look", reason, place.failing, discs, 0, (), trial, {"p": chance, "compared": compared})
        if place.surface not in best or chance < best[place.surface][0]:
            best[place.surface] = (chance, entry)
    return [entry for _, entry in best.values()]
