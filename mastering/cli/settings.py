"""The shop's own limits, from `shop.toml`."""

from mastering.deciding.statistics.settings import Settings
from mastering.shop import Shop

LIMITS = ("tolerable", "bad", "false_stop", "false_alarm_discs")


def settings(shop: Shop) -> Settings:
    """The limits that a shop gives, else the usual ones. SettingsError when they contradict each other."""
    return Settings(**{key: shop.settings[key] for key in LIMITS if key in shop.settings})
