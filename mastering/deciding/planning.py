"""How many blanks to load for so many good discs, what they cost, and when a bad lot is dearer than a new one. Pure.

The rate of bad discs is never taken for known: it is averaged over what the discs judged so far leave open. The number of bad
ones before the last good one is then beta-negative-binomial.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, cast

import numpy as np

from mastering.deciding.costs import Prices, break_even, lot_rate, usual_rate
from mastering.deciding.statistics.arrays import Floats, Ints
from mastering.deciding.statistics.settings import Settings
from mastering.errors import MasteringError

Basis = Literal["lot", "lots", "default"]

DEFAULTS = Settings()
OWN_PRIOR = (
    1.0,
    5.0,
)  # the beta distribution of the rate of a lot before it is judged: 95 % sure holds up to 20 % bad
ENOUGH_LOTS = 3  # from here on it shows how much lots differ
POOR_LOT = (6, 30)  # bad ones and all discs of a lot as every shop meets one day
POOR_SHARE = 0.25  # it counts as so much of a lot that was seen
MOST = 100_000  # blanks; what needs more can't be made
BLOCK = 1_000_000  # chances that are computed at a time
STRENGTHS = np.geomspace(2.0, 300.0, 20)  # how alike lots are: 2 not at all, 300 nearly; beyond that three lots can't tell
MEANS = np.geomspace(0.001, 0.8, 60)


@dataclass(frozen=True)
class Need:
    """`load` blanks for `good` good discs, `assurance` sure; from `discs` judged, `bad` of them bad: the lot's own, all lots', or none.

    `rate`: the share of bad ones to expect; `working`: discs that are neither passed nor rejected, and count in none of it. `lot`: the one
    asked about; `left`: its blanks that are left, None where nobody knows.
    """

    good: int
    assurance: float
    load: int
    discs: int
    bad: int
    basis: Basis
    lots: int
    rate: float
    cost: float | None = None
    break_even: float | None = None
    lot: str | None = None
    left: int | None = None
    working: int = 0

    def plain(self) -> dict[str, Any]:
        """A line of `need --json`."""
        line: dict[str, Any] = {"good": self.good, "assurance": self.assurance, "load": self.load}
        line |= {"discs": self.discs, "bad": self.bad, "working": self.working, "basis": self.basis}
        line |= {} if self.lot is None else {"lot": self.lot, "left": self.left}
        return line if self.cost is None else line | {"cost": self.cost, "break_even": self.break_even}


def need(
    good: int,
    lots: Sequence[tuple[int, int]],
    own: tuple[int, int] | None = None,
    assurance: float = 0.95,
    prices: Prices | None = None,
    settings: Settings = DEFAULTS,
    lot: str | None = None,
    left: int | None = None,
    working: int = 0,
) -> Need:
    """Blanks to load. `lots`: (bad, discs) of every lot judged; `own`: those of the lot that the blanks are from, None for a new lot.

    `lot`, `left`: what that lot is called, and how many of its blanks are left, where that is known; `working`: discs that are unfinished,
    of that lot or of all.
    MasteringError for a number or an assurance that can't be.
    """
    if good < 1:
        raise MasteringError(f"good: {good}: expected a number of discs of 1 or more")
    if not 0.5 <= assurance < 1:
        raise MasteringError(f"assurance: {assurance}: expected a chance of 0.5 or more and below 1, such as 0.95")
    judged = [(bad, discs) for bad, discs in lots if discs]
    bad, discs = own if own and own[1] else (sum(bad for bad, _ in judged), sum(discs for _, discs in judged))
    basis: Basis = "lot" if own and own[1] else "lots" if judged else "default"
    if basis == "lots":
        a, b, weights = mixture(judged)
        rate = float((a / (a + b) * weights).sum())
    else:
        one = settings.normal_prior if basis == "default" else (bad + OWN_PRIOR[0], discs - bad + OWN_PRIOR[1])
        a, b, weights = np.array([one[0]]), np.array([one[1]]), np.ones(1)
        rate = lot_rate(bad, discs, settings) if basis == "lot" else one[0] / sum(one)
    needed = Need(
        good, assurance, _load(good, assurance, a, b, weights), discs, bad, basis, len(judged), rate, lot=lot, left=left, working=working
    )
    if prices is None:
        return needed
    others = list(judged)
    if basis == "lot" and (bad, discs) in others:
        others.remove((bad, discs))
    return _priced(needed, prices, others, settings)


def mixture(lots: Sequence[tuple[int, int]]) -> tuple[Floats, Floats, Floats]:
    """Beta distributions of a new lot's rate and their weights: a grid over mean and strength, weighted by what the lots did.

    Each lot's bad discs are beta-binomial. Flat over log mean and log strength; strength is a + b of the beta distribution. A poor lot
    that nobody saw yet counts too: lots that were good so far don't promise that the next one is.
    """
    from scipy.special import betaln

    means, strengths = (each.ravel() for each in np.meshgrid(MEANS, STRENGTHS))
    a, b = means * strengths, (1 - means) * strengths
    kinds, counts = np.unique(np.array(lots, np.int64), axis=0, return_counts=True)
    logs = np.zeros(len(a))
    for part in np.array_split(np.arange(len(kinds)), len(kinds) // 100 + 1):
        bad, discs = kinds[part, 0][:, None], kinds[part, 1][:, None]
        logs += (counts[part][:, None] * (betaln(a + bad, b + discs - bad) - betaln(a, b))).sum(axis=0)
    poor, of = POOR_LOT
    logs += POOR_SHARE * (betaln(a + poor, b + of - poor) - betaln(a, b))
    weights = np.exp(logs - logs.max())
    return a, b, weights / weights.sum()


def _load(good: int, assurance: float, a: Floats, b: Floats, weights: Floats) -> int:
    """The fewest blanks of which `good` are good with this chance, the rate of bad ones being a mixture of beta distributions.

    MasteringError when no number of blanks that can be loaded is enough.
    """
    kept = weights > 1e-9
    a, b, weights = a[kept], b[kept], weights[kept] / weights[kept].sum()
    first, size, reached = 0, 64, 0.0
    while good + first <= MOST:
        chances = reached + np.cumsum(_chances(good, a, b, np.arange(first, first + size)) @ weights)
        if chances[-1] >= assurance:
            return good + first + int(np.searchsorted(chances, assurance))
        first, size, reached = first + size, min(2 * size, BLOCK // len(a)), float(chances[-1])
    raise MasteringError(f"good: {good}: more than {MOST:,} blanks would be needed to be so sure; judge more discs, or take others")


def _chances(good: int, a: Floats, b: Floats, bad: Ints) -> Floats:
    """Chances of so many bad discs before the last good one, shape (bad, distributions): beta-negative-binomial."""
    from scipy.special import betaln, gammaln

    bad = bad[:, None]
    ways = gammaln(bad + good) - gammaln(bad + 1) - gammaln(good)
    return cast(Floats, np.exp(ways + betaln(a + bad, b + good) - betaln(a, b)))


def _priced(need: Need, prices: Prices, others: Sequence[tuple[int, int]], settings: Settings) -> Need:
    """The same with its cost (all blanks bought, all loaded), and the break-even against blanks as all (other) lots are."""
    usual = usual_rate(others, settings)
    return replace(need, cost=need.load * (prices.blank + prices.disc), break_even=break_even(prices, usual))
