"""What a good disc costs, and when a bad lot is dearer than a new one. Pure; no scipy."""

from collections.abc import Sequence
from dataclasses import dataclass

from mastering.deciding.rates import wilson
from mastering.deciding.statistics.settings import Settings
from mastering.errors import MasteringError

DEAREST = 1_000_000  # a price beyond which somebody mistyped it


@dataclass(frozen=True)
class Prices:
    """`blank`: of a new blank; `disc`: what the time for one disc costs, both in the same money."""

    blank: float
    disc: float

    def __post_init__(self) -> None:
        if not (0 <= self.blank <= DEAREST and 0 <= self.disc <= DEAREST and self.blank + self.disc > 0):
            raise MasteringError(f"prices: blank {self.blank}, disc {self.disc}: expected prices from 0 to {DEAREST:,}, not both 0")


@dataclass(frozen=True)
class Costs:
    """What a good disc costs: `go_on` with the blanks of a lot, which are paid for, or `stop` and take new ones. `rate`: the lot's."""

    rate: float
    go_on: float
    stop: float

    @property
    def go_on_is_cheaper(self) -> bool:
        """Whether using up the lot costs less, bad as it is."""
        return self.go_on < self.stop


@dataclass(frozen=True)
class GoodDisc:
    """What a good disc of a lot costs, blank and time, and between which limits (95 % confidence); no upper one where none passed."""

    price: float | None
    low: float
    high: float | None


def lot_rate(bad: int, discs: int, settings: Settings) -> float:
    """The share of bad discs to expect of a lot of which so many were bad: ordinary, bad and hopeless lots mixed, as what was seen says."""
    return sum(weight * a / (a + b) for weight, (a, b) in settings.lot_rates(bad, discs))


def usual_rate(others: Sequence[tuple[int, int]], settings: Settings) -> float:
    """The share of bad discs to expect of a new lot: as (bad, discs) of all other lots say, else as ordinary."""
    a, b = settings.normal_prior
    return (sum(bad for bad, _ in others) + a) / (sum(discs for _, discs in others) + a + b)


def break_even(prices: Prices, new_rate: float) -> float:
    """The share of bad blanks from which on it is cheaper to buy others, of which `new_rate` are bad.

    Blanks that are paid for cost t / (1 - p) a good disc, new ones (c + t) / (1 - p'): t the time of a disc, c the price of a blank.
    """
    return max(1 - prices.disc * (1 - new_rate) / (prices.blank + prices.disc), 0.0)


def costs(prices: Prices, rate: float, new_rate: float) -> Costs:
    """What a good disc costs with this lot and with a new one. They are equal where `rate` is the break-even share."""
    return Costs(rate, prices.disc / (1 - rate), (prices.blank + prices.disc) / (1 - new_rate))


@dataclass(frozen=True)
class JudgedLot:
    """A lot's decided discs and bad ones, with what one of its blanks costs and who sold it; None where nobody said."""

    name: str
    bad: int
    discs: int
    price: float | None = None
    supplier: str | None = None


def good_discs(lots: Sequence[JudgedLot], disc: float) -> list[tuple[str, GoodDisc]]:
    """What a good disc costs of each lot whose blanks' price is known, then of all such lots of each supplier, by their names.

    `disc`: what the time for one disc costs. A supplier's price is the mean of what its blanks cost.
    """
    priced = [lot for lot in lots if lot.price is not None and lot.discs]
    costs_of = [(lot.name, good_disc(Prices(lot.price or 0.0, disc), lot.bad, lot.discs)) for lot in priced]
    for supplier in dict.fromkeys(lot.supplier for lot in priced if lot.supplier):
        theirs = [lot for lot in priced if lot.supplier == supplier]
        discs = sum(lot.discs for lot in theirs)
        price = sum((lot.price or 0.0) * lot.discs for lot in theirs) / discs
        costs_of.append((f"all from {supplier}", good_disc(Prices(price, disc), sum(lot.bad for lot in theirs), discs)))
    return costs_of


def good_disc(prices: Prices, bad: int, discs: int) -> GoodDisc:
    """(price + time) / share of good ones, with the limits that Wilson's interval gives. ValueError without discs."""
    low, high = wilson(bad, discs)
    spent = prices.blank + prices.disc
    return GoodDisc(spent / (1 - bad / discs) if bad < discs else None, spent / (1 - low), spent / (1 - high) if high < 1 else None)
