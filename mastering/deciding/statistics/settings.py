"""What a shop calls good enough, and what follows from it for every rule."""

from dataclasses import dataclass

from mastering.errors import MasteringError


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
