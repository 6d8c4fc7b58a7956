"""The shop's own settings: `shop.toml` in a folder above, and where ledger and masters lie by it."""

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mastering.errors import MasteringError

NAME = "shop.toml"
VARIABLE = "OBVERSE_LEDGER"
_KEYS: dict[str, tuple[tuple[type, ...], str]] = {
    "masters": ((str,), "the name of a folder"),
    "tolerable": ((float,), "a share such as 0.03"),
    "bad": ((float,), "a share such as 0.15"),
    "false_stop": ((float,), "a chance such as 0.02"),
    "false_alarm_discs": ((int,), "a number of discs such as 2000"),
    "blank_price": ((float, int), "a price such as 1.50"),
    "disc_price": ((float, int), "a price such as 1.50"),
}


@dataclass(frozen=True)
class Shop:
    """A shop's folder (the current one where there is no `shop.toml`) and its settings."""

    folder: Path
    settings: dict[str, Any]

    @property
    def masters(self) -> Path | None:
        """The folder of its masters, where it names one."""
        return self.folder / self.settings["masters"] if "masters" in self.settings else None

    def ledger(self, given: str | None) -> Path:
        """The ledger's file: the one given, else the environment's, else `ledger.sqlite` in the shop. MasteringError for any other URL."""
        named = given or os.environ.get(VARIABLE)
        if not named:
            return self.folder / "ledger.sqlite"
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
    return Shop(start, {})


def _settings(path: Path) -> dict[str, Any]:
    try:
        settings = tomllib.loads(path.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise MasteringError(f"{path}: {error}") from error
    except OSError as error:
        raise MasteringError(f"{path}: can't be read: {error.strerror}") from error
    for key, value in settings.items():
        if key not in _KEYS:
            raise MasteringError(f"{path}: {key}: not a key of a shop; known: {', '.join(_KEYS)}")
        wanted, words = _KEYS[key]
        if type(value) not in wanted:
            raise MasteringError(f"{path}: {key} is {value!r}, where {words} was expected")
    return settings
