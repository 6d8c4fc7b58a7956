"""Lot, drive, head or side? The chance of each to be what made discs fail, or that nothing did.

Each suspect is a group of discs with a rate above that of the rest; what is unknown (both rates) is averaged over the shop's
ordinary and bad rates. A surface shows itself in the discs of which just one surface failed. A lot that ran on one drive only
can't be told from that drive, and the chances say so. A suspect may have turned bad at a disc: where its own or another's chart
began to climb, or from the first disc on, half and half.

Where all discs have one lot (or drive) in common it is a suspect like the others, but never named: there is nothing to compare it with.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Floats, Ints
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.runs import evidence
from mastering.deciding.statistics.settings import Settings

Suspect = tuple[str, str, str, bool]  # kind, name, the drive of a head, whether it is a drive before its restart

NONE = 0.5  # before the data
FAMILIES = {"lot": 0.48, "drive": 0.40, "side": 0.12}  # of the rest: old blanks differ most. Chosen by simulation, see DEVELOPERS.md
HEAD = 0.5  # of a drive's share: that it is one of its surfaces
HEAD_TOLD = 0.92  # of a drive's chance: from here on the surface is named, below it the drive
SIDE_PRIOR = (2.0, 1.0)  # how the discs that fail on one surface split, above one half


@dataclass(frozen=True)
class Culprit:
    """A suspect and its chance. `kind` is `none`, `lot`, `drive`, `head` (one surface of one drive) or `side`; all chances add up to 1.

    `drive`: the drive whose head it is. `earlier`: the drive as it was before its chart was restarted. `whole`: all discs are of this
    lot, or were written by this drive.
    """

    kind: str
    name: str
    chance: float
    drive: str = ""
    earlier: bool = False
    whole: bool = False

    @property
    def about(self) -> tuple[str, str]:
        """The kind and name of the lot, drive or side that the suspect is, or is part of."""
        return ("drive", self.drive) if self.kind == "head" else (self.kind, self.name)

    def accuses(self, kind: str, name: str) -> bool:
        """Whether the suspect is this lot or drive, or part of it, as it is now."""
        return not self.earlier and self.about == (kind, name)

    def plain(self) -> dict[str, object]:
        """The suspect as in `advise --json`; `earlier` stands only where it is true."""
        return {"kind": self.kind, "name": self.name, "chance": self.chance} | ({"earlier": True} if self.earlier else {})


@dataclass(frozen=True, eq=False)
class Trials:
    """A stretch of the history as what one drive pair did to one disc: `failed`, and `only`: the surface that alone failed, else -1.

    `other`: the surface that did not fail while the other one did, else -1. `disc` ascends.
    """

    disc: Ints
    lot: Ints
    wrote: Ints
    read: Ints
    failed: Flags
    only: Ints
    other: Ints

    @classmethod
    def of(cls, history: History, first: int, end: int) -> "Trials":
        """The discs `first` to `end` (not within) of a history."""
        rows = slice(*np.searchsorted(history.disc, (first, end)).tolist())
        disc, wrote, read = history.disc[rows], history.wrote[rows], history.read[rows]
        surface, failed = history.surface[rows], history.failed[rows]
        order = np.lexsort((surface, read, wrote, disc))
        keys = np.stack((disc, wrote, read))[:, order]
        surface, failed = surface[order], failed[order]
        starts = np.flatnonzero(np.append(True, (keys[:, 1:] != keys[:, :-1]).any(axis=0))) if len(order) else order
        any_failed = np.logical_or.reduceat(failed, starts) if len(starts) else failed
        pairs = np.diff(np.append(starts, len(order))) == 2
        one, two = starts, np.minimum(starts + 1, len(order) - 1)
        split = pairs & (failed[one] != failed[two]) if len(starts) else any_failed
        only = np.where(split, np.where(failed[one], surface[one], surface[two]), -1)
        other = np.where(split, np.where(failed[one], surface[two], surface[one]), -1)
        disc, wrote, read = keys[:, starts]
        return cls(disc, history.lot[disc], wrote, read, any_failed, only, other)


@dataclass(frozen=True)
class Names:
    """The names of the lots, drives and surfaces that trials have as numbers. `earlier`: drives as they were before a restart."""

    lots: Sequence[str]
    drives: Sequence[str]
    surfaces: Sequence[str]
    earlier: frozenset[int] = frozenset()


def surface_names(history: History) -> list[str]:
    """A surface's name for people: its side, or its head where a side has two."""
    heads = {(each.side, each.head) for each in history.surfaces}
    two = {side for side, head in heads if head > 0}
    return [f"head {each.head}" if each.side in two else f"side {each.side}" for each in history.surfaces]


def judge(
    trials: Trials,
    names: Names,
    settings: Settings,
    onsets: Sequence[int] = (),
    *,
    none: float = NONE,
    families: Mapping[str, float] = FAMILIES,
) -> list[Culprit]:
    """The chances of all suspects, the likeliest first. `onsets`: discs from which on something may have turned bad, beside the first."""
    judged = _Judged(trials, settings, np.unique([trials.disc[0], *onsets]) if len(trials.disc) else np.zeros(1, np.int64))
    logs: dict[Suspect, float] = {("none", "", "", False): judged.nothing + np.log(none)}
    whole = {("lot", names.lots[lot], False) for lot in trials.lot[:1] if (trials.lot == lot).all()}
    rest = 1.0 - none

    def add(kind: str, name: str, log: float, prior: float, drive: str = "", *, earlier: bool = False) -> None:
        if prior == 0:
            return
        key = (kind, name, drive, earlier)
        logs[key] = float(np.logaddexp(logs.get(key, -np.inf), log + np.log(prior)))

    lots = np.unique(trials.lot).tolist()
    for lot in lots:
        add("lot", names.lots[lot], judged.average(judged.group(trials.lot == lot)), rest * families["lot"] / len(lots))
    roles = _roles(trials)
    for drive, members in roles:
        log, prior = judged.group(members), rest * families["drive"] / len(roles)
        name, earlier = names.drives[drive], drive in names.earlier
        whole |= {("drive", name, earlier)} if members.all() else set()
        surfaces = _paired(trials, members)
        add("drive", name, judged.average(log), prior if not surfaces else prior * (1 - HEAD), earlier=earlier)
        for surface in surfaces:
            one = judged.average(log + judged.surface(surface, members))
            add("head", f"{name} {names.surfaces[surface]}", one, prior * HEAD / len(surfaces), name, earlier=earlier)
    everything = np.ones(len(trials.disc), bool)
    surfaces = _paired(trials, everything)
    for surface in surfaces:
        one = judged.average(judged.nothing + judged.surface(surface, everything))
        add("side", names.surfaces[surface].removeprefix("side "), one, rest * families["side"] / len(surfaces))
    total = np.logaddexp.reduce(list(logs.values()))
    culprits = [Culprit(kind, name, float(np.exp(log - total)), drive, earlier) for (kind, name, drive, earlier), log in logs.items()]
    return sorted((replace(each, whole=(*each.about, each.earlier) in whole) for each in culprits), key=lambda each: -each.chance)


def fold(culprits: Sequence[Culprit]) -> list[Culprit]:
    """A drive's surfaces counted to the drive, but where one of them holds nearly all of the drive's chance."""
    kept = [each for each in culprits if each.kind not in ("drive", "head")]
    for drive in (each for each in culprits if each.kind == "drive"):
        heads = [each for each in culprits if each.kind == "head" and (each.drive, each.earlier) == (drive.name, drive.earlier)]
        total = drive.chance + sum(each.chance for each in heads)
        likeliest = max(heads, key=lambda each: each.chance, default=drive)
        if heads and likeliest.chance >= HEAD_TOLD * total:
            kept.append(likeliest)
            total -= likeliest.chance
        kept.append(replace(drive, chance=total))
    return sorted(kept, key=lambda each: -each.chance)


def named(culprits: Sequence[Culprit], settings: Settings) -> Culprit | None:
    """The culprit, or None when there is none or it can't be told."""
    first = max(culprits, key=lambda each: each.chance, default=None)
    if first is None or first.kind == "none" or first.whole:
        return None
    return first if first.chance >= settings.sure else None


def suspects(culprits: Sequence[Culprit], share: float = 0.9) -> list[Culprit]:
    """The likeliest ones that together hold this share of the chances."""
    made: list[Culprit] = []
    for each in culprits:
        if sum(one.chance for one in made) >= share:
            break
        made.append(each)
    return made


class _Judged:
    """The sums over a stretch, from each onset on; logs of likelihoods have one entry an onset."""

    def __init__(self, trials: Trials, settings: Settings, onsets: Ints) -> None:
        self._trials, self._normal, self._bad = trials, settings.normal_prior, settings.bad_prior
        self._starts = np.searchsorted(trials.disc, onsets)
        self._discs, self._failed = len(trials.disc), int(trials.failed.sum())
        later = len(onsets) - 1
        self._prior = np.log([0.5] + [0.5 / later] * later) if later else np.zeros(1)
        self.nothing = float(evidence(self._failed, self._discs, self._normal))

    def average(self, logs: Floats) -> float:
        """Over when it began."""
        return float(np.logaddexp.reduce(logs + self._prior))

    def group(self, members: Flags) -> Floats:
        """Members of a group have a bad rate from the onset on, above the ordinary one of all other discs."""
        discs = self._since(members).astype(np.float64)
        bad = self._since(members & self._trials.failed).astype(np.float64)
        made = np.full(len(discs), -np.inf)
        some = discs > 0
        x, n = bad[some], discs[some]
        rest_x, rest_n = self._failed - x, self._discs - n
        (a1, b1), (a0, b0) = self._bad, self._normal
        above = _above(a1 + x, b1 + n - x, a0 + rest_x, b0 + rest_n - rest_x)
        made[some] = evidence(x, n, self._bad) + evidence(rest_x, rest_n, self._normal) + above - _above_before(a1, b1, a0, b0)
        return made

    def surface(self, surface: int, members: Flags) -> Floats:
        """Of the members of which one surface failed it is this one in more than half, from the onset on."""
        from scipy.special import betaincc, betaln

        u = self._since(members & (self._trials.only == surface))
        v = self._since(members & (self._trials.other == surface))
        a, b = SIDE_PRIOR
        above = np.log(np.maximum(betaincc(a + u, b + v, 0.5), 1e-300) / betaincc(a, b, 0.5))
        made: Floats = betaln(a + u, b + v) - betaln(a, b) + above + (u + v) * np.log(2)
        return made

    def _since(self, flags: Flags) -> Ints:
        counted = np.concatenate(([0], np.cumsum(flags)))
        made: Ints = counted[-1] - counted[self._starts]
        return made


def _above(a1: Floats, b1: Floats, a0: Floats, b0: Floats) -> Floats:
    """The logarithm of P(p1 > p0) for two beta distributions: 64-point Gauss-Legendre over the quantiles of p0."""
    from scipy.special import betaincc, betaincinv

    nodes, weights = _gauss()
    at = betaincinv(a0[:, None], b0[:, None], nodes)
    chance = (weights * betaincc(a1[:, None], b1[:, None], at)).sum(axis=1)
    made: Floats = np.log(np.maximum(chance, 1e-300))
    return made


@cache
def _above_before(a1: float, b1: float, a0: float, b0: float) -> float:
    """The same before any data."""
    return float(_above(*(np.array([each], np.float64) for each in (a1, b1, a0, b0)))[0])


@cache
def _gauss() -> tuple[Floats, Floats]:
    """Nodes and weights on 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(64)
    return (nodes + 1) / 2, weights / 2


def _roles(trials: Trials) -> list[tuple[int, Flags]]:
    """The drives as what wrote, and as what read where that is not the same discs."""
    made = [(drive, trials.wrote == drive) for drive in np.unique(trials.wrote).tolist()]
    for drive in np.unique(trials.read).tolist():
        read = trials.read == drive
        if not any((read == members).all() for _, members in made):
            made.append((drive, read))
    return made


def _paired(trials: Trials, members: Flags) -> list[int]:
    """The surfaces of which one failed while its other did not, with those others."""
    seen = np.concatenate((trials.only[members], trials.other[members]))
    made: list[int] = np.unique(seen[seen >= 0]).tolist()
    return made
