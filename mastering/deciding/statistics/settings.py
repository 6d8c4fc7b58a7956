"""What a shop calls good enough, and what follows from it for every rule."""

from dataclasses import dataclass
from math import exp, lgamma, log

from mastering.errors import MasteringError

MAX_POINTS = 400  # that a failure adds; lower rates need more discs than a shop makes
MIXED = (0.80, 0.15, 0.05)  # shares of ordinary, bad and hopeless lots before anything was seen of one


class SettingsError(MasteringError):
    """A rate or a limit that no rule can be made from."""


@dataclass(frozen=True)
class Settings:
    """The shop's own figures (`shop.toml`): rates per disc, the chance to stop a tolerable lot, discs between a drive's false alarms.

    `wolf` is the share of false names that one report may hold; `sure` is how sure a culprit must be to be named.
    """

    tolerable: float = 0.03
    bad: float = 0.15
    false_stop: float = 0.02
    false_alarm_discs: int = 2000
    wolf: float = 0.10
    sure: float = 0.70

    def __post_init__(self) -> None:
        if not 0 < self.tolerable < self.bad < 1:
            raise SettingsError(f"shop: tolerable = {self.tolerable} and bad = {self.bad}: expected 0 < tolerable < bad < 1")
        if not 0 < self.false_stop < 1:
            raise SettingsError(f"shop: false_stop = {self.false_stop}: expected a chance between 0 and 1, such as 0.02")
        if self.false_alarm_discs < 1:
            raise SettingsError(f"shop: false_alarm_discs = {self.false_alarm_discs}: expected a number of discs, such as 2000")

    @property
    def normal_prior(self) -> tuple[float, float]:
        """The beta distribution of ordinary rates, its mean a third above the tolerable one: (1, 24) at the defaults."""
        return 1.0, max(0.75 / self.tolerable - 1.0, 1.0)

    @property
    def bad_prior(self) -> tuple[float, float]:
        """The beta distribution of bad rates, its mean a third above the bad one: (2, 8) at the defaults."""
        return 2.0, max(1.5 / self.bad - 2.0, 1.0)

    @property
    def fail_points(self) -> int:
        """The points that a failed disc adds to a chart; a good one takes 1 away."""
        return points(self.tolerable, self.bad)

    def lot_rates(self, bad: int, discs: int) -> list[tuple[float, tuple[float, float]]]:
        """Weights and beta distributions of a lot's rate of which so many were bad: ordinary, bad or hopeless, as in MIXED before."""
        priors = zip(MIXED, (self.normal_prior, self.bad_prior, (1.0, 1.0)), strict=True)
        logs = [log(share) + _log_beta(a + bad, b + discs - bad) - _log_beta(a, b) for share, (a, b) in priors]
        weights = [exp(each - max(logs)) for each in logs]
        after = [(a + bad, b + discs - bad) for a, b in (self.normal_prior, self.bad_prior, (1.0, 1.0))]
        return [(weight / sum(weights), beta) for weight, beta in zip(weights, after, strict=True)]


def _log_beta(a: float, b: float) -> float:
    return lgamma(a) + lgamma(b) - lgamma(a + b)


def points(tolerable: float, bad: float) -> int:
    """What a failed disc adds: the ratio of the two log-likelihood steps, less the 1 that each disc takes away."""
    down = log((1 - tolerable) / (1 - bad))
    up = log(bad * (1 - tolerable) / (tolerable * (1 - bad)))
    fail = round(up / down) - 1
    if not 1 <= fail <= MAX_POINTS:
        asked = f"shop: tolerable = {tolerable} and bad = {bad}: a failed disc would outweigh {fail} good ones"
        raise SettingsError(f"{asked}, and no more than {MAX_POINTS} can be charted; set higher rates")
    return fail
