"""Rates that can be trusted: how many discs of a group are bad, and between which limits the true share lies. Pure; no scipy."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any, Literal

By = Literal["batch", "lot", "drive", "side", "track"]
Role = Literal["wrote", "read"]

Z95 = 1.959963984540054  # the normal distribution's 0.975 quantile, as scipy.stats.norm.ppf(0.975) gives it
TOO_FEW = 20  # discs below which a rate says little
_BAR = 20
LEGEND = "bar: # the rate, - between its limits, + both"


def wilson(bad: int, discs: int, z: float = Z95) -> tuple[float, float]:
    """Wilson's score interval of a share, without correction. ValueError for no discs.

    R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17 (1998), method 3.
    """
    if not 0 <= bad <= discs or discs == 0:
        raise ValueError(f"{bad} of {discs} is no share")
    share, spread = bad / discs, z * z / discs
    middle, half = share + spread / 2, z * sqrt(share * (1 - share) / discs + spread / (4 * discs))
    low = 0.0 if bad == 0 else (middle - half) / (1 + spread)  # exact at both ends, where rounding would leave a trace
    return low, 1.0 if bad == discs else (middle + half) / (1 + spread)


@dataclass(frozen=True)
class Rate:
    """A group's discs that are settled, and how many of them are what. `unread`: of no first writing of theirs a read is known."""

    by: By
    group: str
    discs: int
    bad: int
    marginal: int
    rewritten: int
    first_bad: int
    simulated: bool
    unread: int = 0

    def plain(self) -> dict[str, Any]:
        """A line of `rates --json`."""
        low, high = wilson(self.bad, self.discs)
        return {
            "by": self.by,
            "group": self.group,
            "discs": self.discs,
            "bad": self.bad,
            "rate": self.bad / self.discs,
            "low": low,
            "high": high,
            "confidence": 0.95,
            "method": "wilson",
            "marginal": self.marginal,
            "rewritten": self.rewritten,
            "first_bad": self.first_bad,
            "simulated": self.simulated,
        }


def rows(rates: Sequence[Rate]) -> Iterator[tuple[str, ...]]:
    """A table of rates for people, its head first. The bar's whole length is 100 %, its `-` the interval."""
    yield ("", "discs", "bad", "rate", "95 % sure", "first pass", "rewritten", "0" + " " * (_BAR - len("0100 %")) + "100 %", "")
    for rate in rates:
        low, high = wilson(rate.bad, rate.discs)
        read = rate.discs - rate.unread
        yield (
            rate.group,
            f"{rate.discs:,}",
            f"{rate.bad:,}",
            f"{rate.bad / rate.discs:.1%}".replace("%", " %"),
            f"{low:.1%} to {high:.1%}".replace("%", " %"),
            f"{1 - rate.first_bad / read:.1%}".replace("%", " %") if read else "",
            f"{rate.rewritten:,}",
            bar(rate.bad / rate.discs, low, high),
            ", ".join(_remarks(rate)),
        )


def bar(share: float, low: float, high: float) -> str:
    """A rate as a bar of `#` with its interval in `-`, and `+` where it is both."""
    cells = ["#" if place < round(share * _BAR) else " " for place in range(_BAR)]
    for place in range(int(low * _BAR), min(_BAR, int(high * _BAR) + 1)):
        cells[place] = "+" if cells[place] == "#" else "-"
    return "".join(cells)


def _remarks(rate: Rate) -> Iterator[str]:
    if rate.discs < TOO_FEW:
        yield "too few to say"
    if rate.simulated:
        yield "simulated"
