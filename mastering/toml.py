"""The TOML files that people write, read within bounds: what no such file holds is refused by its place at once."""

import tomllib
from pathlib import Path
from typing import Any, TypeAlias

from mastering.errors import MasteringError

MOST_BYTES = 1 << 20
_DEEPEST = 32  # tables in tables
_Place: TypeAlias = "tuple[()] | tuple[_Place, str | int]"  # the place above, and the key or number in it
_WHOLE = range(-(1 << 63), 1 << 63)  # TOML's own numbers


def read_toml(path: Path, kind: str) -> dict[str, Any]:
    """The tables of a file; `kind`: what it is, for messages ("a job file"). MasteringError names the line or the key that is wrong."""
    try:
        if path.exists() and not path.is_file():
            raise MasteringError(f"{path}: not a file; {kind} was expected")
        if path.stat().st_size > MOST_BYTES:
            raise MasteringError(f"{path}: {path.stat().st_size:,} bytes, {kind} has at most {MOST_BYTES:,}")
        table = tomllib.loads(path.read_bytes().decode("utf-8-sig"))  # some editors put a byte order mark first
    except OSError as error:
        raise MasteringError(f"{path}: can't be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise MasteringError(f"{path}: byte {error.start}: not UTF-8") from error
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, numbers of thousands of digits, lists in lists in lists
        raise MasteringError(f"{path}: not TOML: {error}") from error
    _refuse_unbounded(path, table)
    return table


def _refuse_unbounded(path: Path, table: dict[str, Any]) -> None:
    """MasteringError at a number of more than 64 bits, or a table or list that is nested deeper than any that means something."""
    values: list[tuple[_Place, int, Any]] = [((), 0, table)]
    while values:
        place, depth, value = values.pop()
        if depth > _DEEPEST:
            raise MasteringError(f"{path}: {_text(place)}: nested more than {_DEEPEST} deep")
        if isinstance(value, dict | list):
            inner = value.items() if isinstance(value, dict) else enumerate(value)
            values += [((place, key), depth + 1, each) for key, each in inner]
        elif isinstance(value, int) and value not in _WHOLE:
            raise MasteringError(f"{path}: {_text(place)}: a whole number has at most 64 bits, this one has {value.bit_length():,}")


def _text(place: _Place) -> str:
    """A place for people, cut where it is long: it is spelled out only when something is wrong there."""
    keys: list[str | int] = []
    while place:
        place, key = place
        keys.insert(0, key)
    text = "".join(f"[{key}]" if isinstance(key, int) else f".{key[:60]}" for key in keys).lstrip(".")
    return text if len(text) <= 100 else f"{text[:100]}..."
