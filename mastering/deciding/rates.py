"""Rates that can be trusted: how many discs of a group are bad, and between which limits the true share lies. Pure; no scipy."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt
from typing import Any, Literal

By = Literal["batch", "lot", "inner", "drive", "side", "track"]
Role = Literal["wrote", "read"]

Z95 = 1.959963984540054  # the normal distribution's 0.975 quantile, as scipy.stats.norm.ppf(0.975) gives it


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
