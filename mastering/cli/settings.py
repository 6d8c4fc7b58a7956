"""The shop's own limits, from `shop.toml`."""

from mastering.shop import Shop
from mastering.statistics.settings import Settings

LIMITS = ("tolerable", "bad", "false_stop", "false_alarm_discs")


def settings(shop: Shop) -> Settings:
    """The limits that a shop gives, else the usual ones. SettingsError when they contradict each other."""
    return Settings(**{key: shop.settings[key] for key in LIMITS if key in shop.settings})
