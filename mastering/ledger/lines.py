"""The ledger's lines: what each kind must hold. A line is a JSON object; it may hold more than is named here."""

import json
import re
from collections.abc import Mapping
from typing import Any

from mastering.clock import moment
from mastering.errors import MasteringError

Line = Mapping[str, Any]

_NONE = type(None)
_TEXT = (str,)
_MAYBE = (str, _NONE)
_COUNT = (int,)
_FLAG = (bool,)
_LIST = (list,)

SHAPES: Mapping[str, Mapping[str, tuple[type, ...]]] = {
    "lot": {"name": _TEXT, "count": (int, _NONE)},
    "drive": {"name": _TEXT, "tpi": _COUNT, "heads": _COUNT, "simulated": _FLAG},
    "batch": {
        "batch": _TEXT, "master": _TEXT, "catalogue": _TEXT, "digest": _TEXT, "sides": (dict,), "good": _COUNT, "lots": _LIST,
        "drives": _LIST, "operator": _MAYBE, "at": _TEXT,
    },
    "serial": {"batch": _TEXT, "serial": _TEXT, "at": _TEXT},
    "read": {
        "batch": _TEXT, "serial": _TEXT, "on_disc": _MAYBE, "readback": _TEXT, "side": _MAYBE, "evidence": _TEXT, "verdict": _TEXT,
        "diagnosis": _MAYBE, "action": _TEXT, "sectors": (dict, _NONE), "unproven": _COUNT, "simulated": _FLAG, "findings": _LIST,
        "read": _COUNT, "writing": (int, _NONE), "lot": _TEXT, "wrote": _MAYBE, "read_by": _MAYBE, "at": _TEXT,
    },
    "reject": {"batch": _TEXT, "serial": _TEXT, "lot": _MAYBE, "reason": _TEXT, "at": _TEXT},
    "amend": {
        "batch": _TEXT, "serial": _TEXT, "lot": _MAYBE, "wrote": _MAYBE, "read": (int, _NONE), "void": _FLAG, "reason": _TEXT,
        "at": _TEXT,
    },
    "close": {"batch": _TEXT, "at": _TEXT},
}  # fmt: skip
_FINDING = {"track": _COUNT, "head": _COUNT, "sector": _COUNT, "kind": _TEXT}
_VALUES: Mapping[str, set[Any]] = {
    "evidence": {"dump", "report", "cells", "flux"},
    "verdict": {"pass", "marginal", "fail"},
    "diagnosis": {None, "blank", "other-side", "other-master", "other-geometry", "shifted", "short"},
    "side": {None, "A", "B"},
}
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}")
_LARGEST = 2**53


class LineError(MasteringError):
    """A line that can't stand in the ledger."""


def parsed(text: str) -> dict[str, Any]:
    """The object on a line of text. LineError when it is none."""
    try:
        line = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise LineError(f"not JSON: {error}") from error
    if not isinstance(line, dict):
        raise LineError("a JSON object was expected")
    return line


def spelled(line: Line) -> str:
    """The one spelling of a line, which its digest covers."""
    return json.dumps(line, separators=(",", ":"))


def check_shape(line: Line) -> None:
    """LineError unless a line has a known kind, and each of its keys a value of the right type."""
    kind = line.get("kind")
    if not isinstance(kind, str) or kind not in SHAPES:
        raise LineError(f"kind {kind!r} is none of {', '.join(SHAPES)}")
    _held(line, SHAPES[kind], kind)
    if kind == "read":
        for key, values in _VALUES.items():
            if line[key] not in values:
                raise LineError(f"{key} is {line[key]!r}, where {' or '.join(sorted(map(str, values)))} was expected")
        for finding in line["findings"]:
            _held(finding, _FINDING, "a finding")
    if "at" in line:
        moment(line["at"], "at")


def check_name(name: str, what: str) -> str:
    """A name that can stand in a command line and a table. LineError when it can't."""
    if not _NAME.fullmatch(name):
        raise LineError(
            f"{what} {name!r}: a name has up to 32 letters, digits, dots, hyphens, underscores, and begins with a letter or digit"
        )
    return name


def _held(value: Any, shape: Mapping[str, tuple[type, ...]], where: str) -> None:
    if not isinstance(value, dict):
        raise LineError(f"{where} is no JSON object")
    for key, types in shape.items():
        if key not in value:
            raise LineError(f"{where} has no {key}")
        found = value[key]
        if type(found) not in types:
            wanted = " or ".join("null" if each is _NONE else _WORDS[each] for each in types)
            raise LineError(f"{where}: {key} is {json.dumps(found)[:40]}, where {wanted} was expected")
        if type(found) is int and not 0 <= found < _LARGEST:
            raise LineError(f"{where}: {key} is {found}, out of range")


_WORDS: Mapping[type, str] = {str: "a text", int: "a number", bool: "true or false", list: "a list", dict: "an object"}
