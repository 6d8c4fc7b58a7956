"""Rates that can be trusted: how many discs of a group are bad, and between which limits the true share lies. Pure; no scipy."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import Any, Literal

By = Literal["batch", "lot", "inner", "drive", "side", "track"]
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
    """A group's units (discs, first writings or first reads) and how many of them are bad.

    `more`: further counts by their keys in `rates --json`, which differ from one grouping to another; `after`: keys behind `simulated`.
    """

    by: By
    group: str
    discs: int
    bad: int
    simulated: bool = False
    more: Mapping[str, Any] = field(default_factory=dict)
    after: Mapping[str, Any] = field(default_factory=dict)

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
            **self.more,
            "simulated": self.simulated,
            **self.after,
        }


_HEADS: Mapping[str, str] = {  # of the columns that a grouping has beside its rate
    "working": "working",
    "abandoned": "abandoned",
    "first pass": "first pass",
    "rewritten": "rewritten",
    "saved": "saved",
    "lost": "lost",
    "rescued": "rescued",
    "denied": "denied",
}


def rows(rates: Sequence[Rate]) -> Iterator[tuple[str, ...]]:
    """A table of rates for people, its head first. The bar's whole length is 100 %, its `-` the interval."""
    shown = [_counts(rate) for rate in rates]
    heads = [key for key in _HEADS if any(counts.get(key) for counts in shown)]
    yield ("", "discs", "bad", "rate", "95 % sure", *(_HEADS[key] for key in heads), "0" + " " * (_BAR - len("0100 %")) + "100 %", "")
    for rate, counts in zip(rates, shown, strict=True):
        low, high = wilson(rate.bad, rate.discs)
        yield (
            rate.group,
            f"{rate.discs:,}",
            f"{rate.bad:,}",
            _percent(rate.bad / rate.discs),
            f"{low:.1%} to {high:.1%}".replace("%", " %"),
            *(counts.get(key, "") for key in heads),
            bar(rate.bad / rate.discs, low, high),
            ", ".join(_remarks(rate)),
        )


def _percent(share: float) -> str:
    return f"{share:.1%}".replace("%", " %")


def _counts(rate: Rate) -> dict[str, str]:
    """What a grouping counts beside its rate, as it is shown; what is nowhere but 0 is left out."""
    counts = {key: f"{value:,}" for key, value in rate.more.items() if key in _HEADS and value}
    if rate.more.get("first_read"):
        counts["first pass"] = _percent(1 - rate.more["first_bad"] / rate.more["first_read"])
    if rate.more.get("rescues"):
        counts["rescued"] = f"{rate.more['rescued']} of {rate.more['rescues']}"
    return counts


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
