"""Lot, inner box, drive, head, side, title, or a lot and a drive at once? The chance of each to have made discs fail, or that none did.

Each suspect is a group of trials with a rate above that of the rest; what is unknown (both rates) is averaged over the shop's
ordinary and bad rates. A surface shows itself in the discs of which just one surface failed. What ran on one drive only
can't be told from that drive, and the chances say so. A suspect may have turned bad at a disc: where its own or another's chart
began to climb, or from the first disc on, half and half. Two more observations tell suspects apart: a disc that failed and is then
written by another drive fails again where the blank is bad, and passes where the drive was; a writing that another drive reads well
speaks against the drive that read it first.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import cast

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Floats, Ints
from mastering.deciding.statistics.history import DENIED, NOT_ELSEWHERE
from mastering.deciding.statistics.naming import Culprit
from mastering.deciding.statistics.runs import evidence
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.trials import FAILED_AGAIN, NOT_WRITTEN_AGAIN, Names, Trials, inner_boxes

Beta = tuple[float, float]  # the two parameters of a beta distribution
Suspect = tuple[str, str, str, bool, bool]  # kind, name, what it is part of, whether it is a drive before its restart, or as a reader

NONE = 0.5  # before the data
FAMILIES = {"lot": 0.43, "drive": 0.36, "side": 0.08, "title": 0.08, "both": 0.06}  # of the rest; by simulation, see DEVELOPERS.md
HEAD = 0.5  # of a drive's share: that it is one of its surfaces
INNER = 0.3  # of a lot's share, where inner boxes are known: that it is one of them
SIDE_PRIOR: Beta = (2.0, 1.0)  # how the discs that fail on one surface split, above one half
WORSE: Beta = (3.0, 6.0)  # the rate of discs that are of the bad lot and on the bad drive

# How often a disc that failed fails again when another drive writes it
AGAIN_BLANK: Beta = (4.0, 2.0)
AGAIN_DRIVE: Beta = (1.0, 6.0)
AGAIN_ANY: Beta = (1.0, 1.0)
# How often a writing whose first read failed is read well elsewhere
DENIED_READER: Beta = (4.0, 1.0)
DENIED_ANY: Beta = (1.0, 3.0)


def judge(
    trials: Trials,
    names: Names,
    settings: Settings,
    onsets: Sequence[int] = (),
    *,
    none: float = NONE,
    families: Mapping[str, float] = FAMILIES,
) -> list[Culprit]:
    """The chances of all suspects, the likeliest first. `onsets`: discs from which on something may have turned bad, beside the first.

    `none`: the chance, before the data, that nothing is wrong; `families`: how the rest is shared among the kinds of suspects.
    """
    likelihoods = _Likelihoods(trials, settings, np.unique([trials.disc[0], *onsets]) if len(trials.disc) else np.zeros(1, np.int64))
    tally = _Tally(_shares(trials, families, 1.0 - none))
    tally.add(("none", "", "", False, False), likelihoods.nothing, none)
    _lots(tally, likelihoods, trials, names)
    _drives(tally, likelihoods, trials, names)
    _sides(tally, likelihoods, trials, names)
    _titles(tally, likelihoods, trials, names)
    _both(tally, likelihoods, trials, names)
    return tally.culprits()


def _shares(trials: Trials, families: Mapping[str, float], rest: float) -> Mapping[str, float]:
    """The prior chance of each kind of suspect. A title, or a lot and a drive at once, is none where all discs are of them."""
    single = {
        kind for kind, column in (("title", trials.title), ("lot", trials.lot), ("drive", trials.wrote)) if (column == column[:1]).all()
    }
    none = {"title"} & single | ({"both"} if {"lot", "drive"} <= single else set())
    total = sum(share for kind, share in families.items() if kind not in none)
    return {kind: 0.0 if kind in none else rest * share / total for kind, share in families.items()}


@dataclass
class _Tally:
    """Logarithms of likelihood times prior for each suspect, and of the likelihood alone; `shares`: the prior of each kind."""

    shares: Mapping[str, float]
    joint: dict[Suspect, float] = field(default_factory=dict)
    alone: dict[Suspect, float] = field(default_factory=dict)
    whole: set[Suspect] = field(default_factory=set)

    def add(self, suspect: Suspect, log: float, prior: float, *, whole: bool = False) -> None:
        """Adds a way in which a suspect can be to blame. `whole`: all discs are its own, so that there is nothing to compare it with."""
        if prior <= 0:
            return
        self.joint[suspect] = float(np.logaddexp(self.joint.get(suspect, -np.inf), log + np.log(prior)))
        self.alone[suspect] = max(self.alone.get(suspect, -np.inf), log)
        if whole:
            self.whole.add(suspect)

    def culprits(self) -> list[Culprit]:
        """The suspects with their chances, the likeliest first."""
        total = np.logaddexp.reduce(list(self.joint.values()))
        suspects = [
            Culprit(kind, name, float(np.exp(log - total)), part_of, earlier, reads, whole=key in self.whole, log=self.alone[key])
            for key, log in self.joint.items()
            for kind, name, part_of, earlier, reads in (key,)
        ]
        return sorted(suspects, key=lambda each: -each.chance)


def _lots(tally: _Tally, likelihoods: "_Likelihoods", trials: Trials, names: Names) -> None:
    """Each lot, and each inner box that is known."""
    lots = np.unique(trials.lot).tolist()
    boxes: dict[int, list[int]] = {lot: [] for lot in lots}
    for box in inner_boxes(trials):
        boxes[int(trials.lot[trials.inner == box][0])].append(box)
    for lot in lots:
        members, share = trials.lot == lot, tally.shares["lot"] / len(lots)
        inner = INNER if boxes[lot] else 0.0
        log = likelihoods.average(likelihoods.group(members)) + likelihoods.again(members, AGAIN_BLANK)
        tally.add(("lot", names.lots[lot], "", False, False), log, share * (1 - inner), whole=bool(members.all()))
        for box in boxes[lot]:
            members = trials.inner == box
            log = likelihoods.average(likelihoods.group(members)) + likelihoods.again(members, AGAIN_BLANK)
            tally.add(("inner", names.inners[box], names.lots[lot], False, False), log, share * inner / len(boxes[lot]))


def _drives(tally: _Tally, likelihoods: "_Likelihoods", trials: Trials, names: Names) -> None:
    """Each drive as what wrote and as what read, and each of its surfaces."""
    roles = _roles(trials)
    for drive, members, reads in roles:
        share, name, earlier = tally.shares["drive"] / len(roles), names.drives[drive], drive in names.earlier
        extra = likelihoods.denied(members) if reads else likelihoods.again(members, AGAIN_DRIVE)
        whole = bool(members.all()) and not (reads and extra)  # other drives read some of what a reader denied, and can be compared
        log = likelihoods.group(members) + extra
        surfaces = _paired(trials, members)
        own = share * (1 - HEAD) if surfaces else share
        tally.add(("drive", name, "", earlier, reads), likelihoods.average(log), own, whole=whole)
        for surface in surfaces:
            one = likelihoods.average(log + likelihoods.surface(surface, members))
            head = ("head", f"{name} {names.surfaces[surface]}", name, earlier, reads)
            tally.add(head, one, share * HEAD / len(surfaces), whole=whole)


def _sides(tally: _Tally, likelihoods: "_Likelihoods", trials: Trials, names: Names) -> None:
    """Each surface on all lots and drives."""
    everything = np.ones(len(trials.disc), bool)
    surfaces = _paired(trials, everything)
    for surface in surfaces:
        log = likelihoods.average(likelihoods.nothing + likelihoods.surface(surface, everything))
        tally.add(("side", names.surfaces[surface].removeprefix("side "), "", False, False), log, tally.shares["side"] / len(surfaces))


def _titles(tally: _Tally, likelihoods: "_Likelihoods", trials: Trials, names: Names) -> None:
    """Each title: a master that some machine or drive reads badly. A title of its own is no suspect where all discs are of it."""
    titles = np.unique(trials.title).tolist()
    for title in titles:
        log = likelihoods.average(likelihoods.group(trials.title == title))
        tally.add(("title", names.titles[title], "", False, False), log, tally.shares.get("title", 0.0) / len(titles))


def _both(tally: _Tally, likelihoods: "_Likelihoods", trials: Trials, names: Names) -> None:
    """Each lot together with each drive that wrote."""
    lots, drives = np.unique(trials.lot), np.unique(trials.wrote)
    share = tally.shares.get("both", 0.0) / max(len(lots) * len(drives), 1)
    if share == 0:
        return
    logs = likelihoods.pairs(trials.lot == lots[:, None], trials.wrote == drives[:, None])
    for at, lot in enumerate(lots.tolist()):
        for which, drive in enumerate(drives.tolist()):
            name = f"{names.lots[lot]}+{names.drives[drive]}"
            tally.add(("both", name, names.drives[drive], drive in names.earlier, False), float(logs[at, which]), share)


class _Likelihoods:
    """Logarithms of how likely the trials are under each suspect; those with one entry an onset are averaged in the end."""

    def __init__(self, trials: Trials, settings: Settings, onsets: Ints) -> None:
        self._trials, self._normal, self._bad = trials, settings.normal_prior, settings.bad_prior
        self._starts = np.searchsorted(trials.disc, onsets)
        self._discs, self._failed = len(trials.disc), int(trials.failed.sum())
        later = len(onsets) - 1
        self._prior = np.log([0.5] + [0.5 / later] * later) if later else np.zeros(1)
        self._nobody = np.zeros(self._discs, bool)
        self.nothing = float(evidence(self._failed, self._discs, self._normal))

    def average(self, logs: Floats) -> float:
        """The likelihood averaged over when it began."""
        return float(np.logaddexp.reduce(logs + self._prior))

    def group(self, members: Flags) -> Floats:
        """Members of a group have a bad rate from the onset on, above the ordinary one of all other discs."""
        discs = self._since(members).astype(np.float64)
        bad = self._since(members & self._trials.failed).astype(np.float64)
        logs = np.full(len(discs), -np.inf)
        some = discs > 0
        x, n = bad[some], discs[some]
        rest_x, rest_n = self._failed - x, self._discs - n
        (a1, b1), (a0, b0) = self._bad, self._normal
        above = _above(a1 + x, b1 + n - x, a0 + rest_x, b0 + rest_n - rest_x)
        logs[some] = evidence(x, n, self._bad) + evidence(rest_x, rest_n, self._normal) + above - _above_before(a1, b1, a0, b0)
        return logs

    def pairs(self, lots: Flags, drives: Flags) -> Floats:
        """Lots and drives two by two, shape (lots, drives): the members of each have a bad rate, those of both a worse one.

        Both may have turned bad at their own onsets. `lots`, `drives`: members, one row a lot or drive.
        """
        since = np.arange(self._discs) >= self._starts[:, None]
        failed = self._trials.failed
        lot, drive = ((each[:, None] & since).astype(np.float64) for each in (lots, drives))  # (lots, onsets, trials)
        n_both, x_both = _together(lot, drive), _together(lot * failed, drive)
        x1, n1 = ((lot * which).sum(axis=2)[:, :, None, None] - both for which, both in ((failed, x_both), (1, n_both)))
        x2, n2 = ((drive * which).sum(axis=2) - both for which, both in ((failed, x_both), (1, n_both)))
        rest_x, rest_n = self._failed - x1 - x2 - x_both, self._discs - n1 - n2 - n_both
        logs = evidence(x1, n1, self._bad) + evidence(x2, n2, self._bad) + evidence(x_both, n_both, WORSE)
        logs = logs + evidence(rest_x, rest_n, self._normal) + self._prior[:, None, None] + self._prior
        return cast(Floats, np.logaddexp.reduce(logs, axis=(1, 3)))

    def surface(self, surface: int, members: Flags) -> Floats:
        """Of the members of which one surface failed it is this one in more than half, from the onset on."""
        from scipy.special import betaincc, betaln

        u = self._since(members & (self._trials.only == surface))
        v = self._since(members & (self._trials.other == surface))
        a, b = SIDE_PRIOR
        above = np.log(np.maximum(betaincc(a + u, b + v, 0.5), 1e-300) / betaincc(a, b, 0.5))
        logs: Floats = betaln(a + u, b + v) - betaln(a, b) + above + (u + v) * np.log(2)
        return logs

    def again(self, members: Flags, prior: Beta) -> float:
        """Members that failed fail again with this prior when another drive writes them; compared with knowing nothing of it."""
        written = members & (self._trials.again != NOT_WRITTEN_AGAIN)
        return _compared(self._trials.again[written] == FAILED_AGAIN, prior, AGAIN_ANY)

    def denied(self, members: Flags) -> float:
        """Members whose first read failed were denied by other drives as those of a bad reader are; compared with those of any other."""
        read = self._trials.elsewhere != NOT_ELSEWHERE
        return _compared(self._trials.elsewhere[members & read] == DENIED, DENIED_READER, DENIED_ANY)

    def _since(self, flags: Flags) -> Ints:
        counts = np.concatenate(([0], np.cumsum(flags)))
        since: Ints = counts[-1] - counts[self._starts]
        return since


def _together(lots: Floats, drives: Floats) -> Floats:
    """The trials that are of each lot and each drive, shape (lots, onsets, drives, onsets)."""
    trials = lots.shape[2]
    counts: Floats = lots.reshape(-1, trials) @ drives.reshape(-1, trials).T
    return counts.reshape(*lots.shape[:2], *drives.shape[:2])


def _compared(happened: Flags, prior: Beta, usual: Beta) -> float:
    """The logarithm of how much likelier it is under one prior than under another that it happened so often."""
    count, of = int(happened.sum()), len(happened)
    return float(evidence(count, of, prior) - evidence(count, of, usual)) if of else 0.0


def _above(a1: Floats, b1: Floats, a0: Floats, b0: Floats) -> Floats:
    """The logarithm of P(p1 > p0) for two beta distributions: 64-point Gauss-Legendre over the quantiles of p0."""
    from scipy.special import betaincc, betaincinv

    nodes, weights = _gauss()
    at = betaincinv(a0[:, None], b0[:, None], nodes)
    chance = (weights * betaincc(a1[:, None], b1[:, None], at)).sum(axis=1)
    logs: Floats = np.log(np.maximum(chance, 1e-300))
    return logs


@cache
def _above_before(a1: float, b1: float, a0: float, b0: float) -> float:
    """The logarithm of P(p1 > p0) under the priors Beta(a1, b1) and Beta(a0, b0), before any data."""
    return float(_above(*(np.array([each], np.float64) for each in (a1, b1, a0, b0)))[0])


@cache
def _gauss() -> tuple[Floats, Floats]:
    """Nodes and weights of the quadrature on 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(64)
    return (nodes + 1) / 2, weights / 2


def _roles(trials: Trials) -> list[tuple[int, Flags, bool]]:
    """The drives as what wrote and, where that is not the same discs, as what read first: number, trials, whether as a reader."""
    written = {drive: trials.wrote == drive for drive in np.unique(trials.wrote).tolist()}
    roles = [(drive, members, False) for drive, members in written.items()]
    for drive in np.unique(trials.read).tolist():
        members = trials.read == drive
        if drive not in written or (written[drive] != members).any():
            roles.append((drive, members, True))
    return roles


def _paired(trials: Trials, members: Flags) -> list[int]:
    """The surfaces of which one failed while its other did not, with those others."""
    seen = np.concatenate((trials.only[members], trials.other[members]))
    surfaces: list[int] = np.unique(seen[seen >= 0]).tolist()
    return surfaces
