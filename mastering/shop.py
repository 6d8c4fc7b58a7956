"""The shop's own settings: `shop.toml` in a folder above, and where ledger and masters lie by it."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mastering.errors import MasteringError
from mastering.toml import read_toml

NAME = "shop.toml"
VARIABLE = "OBVERSE_LEDGER"
_KEYS: dict[str, tuple[tuple[type, ...], str]] = {
    "masters": ((str,), "the name of a folder"),
    "ledger": ((str,), "a file or a URL such as sqlite:///FILE"),
    "practice": ((bool,), "true or false"),
    "verify": ((str,), "after-turning-over or each-side"),
    "rewrites": ((int,), "a number such as 1"),
    "accept": ((list,), "a list of dump, report, cells, flux, sums"),
    "margin": ((float,), "a chance such as 0.01"),
    "tolerable": ((float,), "a share such as 0.03"),
    "bad": ((float,), "a share such as 0.15"),
    "false_stop": ((float,), "a chance such as 0.02"),
    "false_alarm_discs": ((int,), "a number of discs such as 2000"),
    "blank_price": ((float, int), "a price such as 1.50"),
    "disc_price": ((float, int), "a price such as 1.50"),
}


@dataclass(frozen=True)
class Shop:
    """A shop's folder and its settings. `known`: there is a `shop.toml`; else it is the folder in which one was looked for."""

    folder: Path
    settings: dict[str, Any]
    known: bool = True

    @property
    def masters(self) -> Path | None:
        """The folder of its masters, where it names one."""
        return self.folder / self.settings["masters"] if "masters" in self.settings else None

    def ledger(self, given: str | None) -> Path:
        """The ledger's file: the one given, else the environment's, else `ledger.sqlite` in the shop. MasteringError for any other URL."""
        named = given or os.environ.get(VARIABLE)
        return _file(named) if named else self.ledger_by_settings

    @property
    def ledger_by_settings(self) -> Path:
        """The ledger's file that the shop itself names. MasteringError when it is named by a URL that is none."""
        named = self.settings.get("ledger", "ledger.sqlite")
        return _file(named) if "://" in named else self.folder / named


def _file(named: str) -> Path:
    """The file of a ledger's name or URL. MasteringError for a URL of anything but a file."""
    kind, colon, rest = named.partition("://")
    if not colon:
        return Path(named)
    if kind != "sqlite" or not rest.startswith("/"):
        raise MasteringError(f"{named}: ledgers are files so far; name one, or write it as sqlite:///FILE")
    return Path(rest[1:])


def find(start: Path) -> Shop:
    """The shop that a folder belongs to: the nearest folder upwards with a `shop.toml`. MasteringError when that is broken."""
    for folder in (start, *start.parents):
        path = folder / NAME
        if path.is_file():
            return Shop(folder, _settings(path))
    return Shop(start, {}, known=False)


_CHOICES = {"verify": ("after-turning-over", "each-side"), "accept": ("dump", "report", "cells", "flux", "sums")}
_LARGEST = {"rewrites": 9, "margin": 1.0}


def _fits(key: str, value: Any) -> bool:
    """Whether a value of the right type is one that a key may have."""
    if key in _LARGEST:
        return bool(0 <= value <= _LARGEST[key])
    values = value if isinstance(value, list) else [value]
    return key not in _CHOICES or (len(values) > 0 and all(each in _CHOICES[key] for each in values))


def _settings(path: Path) -> dict[str, Any]:
    settings = read_toml(path, "a shop's file")
    for key, value in settings.items():
        if key not in _KEYS:
            raise MasteringError(f"{path}: {key}: not a key of a shop; known: {', '.join(_KEYS)}")
        wanted, words = _KEYS[key]
        if type(value) not in wanted or not _fits(key, value):
            raise MasteringError(f"{path}: {key} is {value!r}, where {words} was expected")
    return settings
