"""The ledger's lines: what each kind must hold. A line is a JSON object; it may hold more than is named here."""

import json
import re
from collections.abc import Collection, Iterator, Mapping
from math import isfinite
from typing import Any, NoReturn, get_args

from mastering.clock import moment
from mastering.errors import MasteringError
from mastering.judging.kinds import Action
from mastering.judging.verdict import DIAGNOSED, KINDS, Evidence, Looks, State
from mastering.ledger.shapes import CHOICES, FURTHER, SHAPES, WORDS, Types

Line = Mapping[str, Any]

_ZONE = 4  # head, first and last track, sectors of each
_SECTORS: Mapping[str, Types] = {"expected": (int,), "good": (int,)}
_LOOKS = (None, *get_args(Looks))
_FINDING: Mapping[str, Types] = {"track": (int,), "head": (int,), "sector": (int,), "kind": (str,)}
EVIDENCE = tuple(dict.fromkeys((*get_args(Evidence), "sums")))  # `sums`: check values read off the old machine
_VALUES: Mapping[str, tuple[str | None, ...]] = {
    "evidence": EVIDENCE,
    "verdict": get_args(State),
    "diagnosis": (None, *DIAGNOSED),
    "side": (None, "A", "B"),
}
LONGEST_LINE = 4 << 20  # characters; the largest read of the largest disc has less than a tenth
_ACTIONS: Mapping[str, tuple[str, ...]] = {  # by verdict
    "pass": ("box",),
    "marginal": ("read-again",),
    "fail": tuple(action for action in get_args(Action) if action != "box"),
}
VERIFY = ("after-turning-over", "each-side")
_LONGEST = 64
_CATALOGUE = re.compile(r"[A-Z0-9-]{0,31}[A-Z0-9]")
_LARGEST = 2**53
_LARGEST_ZONE = 10_000  # tracks or sectors, far beyond any disc's


class LineError(MasteringError):
    """A line that can't stand in the ledger."""


class DamagedError(MasteringError):
    """A row of the log that no program wrote so."""


def parsed(text: str) -> dict[str, Any]:
    """The object on a line of text. LineError when it is none, or one that no ledger could print again."""
    if len(text) > LONGEST_LINE:
        raise LineError(f"{len(text):,} characters, more than the {LONGEST_LINE:,} that a line may have")
    try:
        line = _DECODER.decode(text)
    except (ValueError, RecursionError) as error:
        raise LineError(f"not JSON: {error}") from error
    if not isinstance(line, dict):
        raise LineError("a JSON object was expected")
    return line


def logged(text: str) -> dict[str, Any]:
    """The line of a row of the log, which the program trusts. DamagedError when it is none."""
    try:
        line = parsed(text)
        check_shape(line)
    except (LineError, TypeError) as error:
        raise DamagedError(f"a row of its log is not what was written: {error}") from error
    return line


def _number(text: str) -> float:
    number = float(text)
    if not isfinite(number):
        raise ValueError(f"{text} is larger than any number that can be kept")
    return number


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")


_DECODER, _ENCODER = json.JSONDecoder(parse_constant=_no_constant, parse_float=_number), json.JSONEncoder(separators=(",", ":"))


def spelled(line: Line) -> str:
    """The one spelling of a line, which its digest covers. LineError when a text in it has characters that can't be printed again."""
    text = _ENCODER.encode(line)
    if "\\ud" in text:  # a surrogate: half of a character, or all of one with its other half
        for key, value in _texts(line):
            if not value.isprintable() and any("\ud800" <= character <= "\udfff" for character in value):
                raise LineError(f"{key} is {value.encode('ascii', 'backslashreplace').decode()[:40]}, which is no text")
    return text


def _texts(value: Any, where: str = "") -> Iterator[tuple[str, str]]:
    """Every text in a JSON value, keys too, with the key that it stands under."""
    if isinstance(value, str):
        yield where, value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield "a key", key
            yield from _texts(inner, where or key)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner, where)


def check_shape(line: Line) -> None:
    """LineError unless a line has a known kind, and each of its keys a value of the right type."""
    kind = line.get("kind")
    if not isinstance(kind, str) or kind not in SHAPES:
        raise LineError(f"kind {kind!r} is none of {', '.join(SHAPES)}")
    further = FURTHER.get(kind, {})
    _held(line, {**SHAPES[kind], **{key: types for key, types in further.items() if key in line}}, kind)
    for key, values in CHOICES.get(kind, {}).items():
        _one_of(line[key], values, key)
    if kind == "batch":
        _check_batch(line)
    if kind == "read":
        _check_read(line)
    if "at" in line:
        moment(line["at"], "at")


def _check_batch(line: Line) -> None:
    if not _CATALOGUE.fullmatch(line["catalogue"]):
        raise LineError(f"catalogue is {line['catalogue']!r}, where A-Z, 0-9 and hyphens were expected")
    for key in ("lots", "drives", "accept", "unserialled", "slots"):
        if not all(isinstance(name, str) for name in line.get(key, ())):
            raise LineError(f"{key} is {json.dumps(line[key])[:40]}, where a list of names was expected")
    for side, zones in (line.get("zones") or {}).items():
        if not (isinstance(zones, list) and all(_is_zone(zone) for zone in zones)):
            raise LineError(f"zones of side {side}: lists of head, first track, last track and sectors were expected")

    if line.get("verify") not in (None, *VERIFY):
        raise LineError(f"verify is {json.dumps(line['verify'])[:40]}, where {' or '.join(VERIFY)} was expected")
    for side, number in (line.get("first_sector") or {}).items():
        if type(number) is not int or not 0 <= number < _LARGEST_ZONE:
            raise LineError(f"first_sector of side {side}: a sector's number was expected")


def _check_read(line: Line) -> None:
    for key, values in _VALUES.items():
        _one_of(line[key], values, key)
    if not all(isinstance(text, str) for text in line.get("slot", ())):
        raise LineError(f"slot is {json.dumps(line['slot'])[:40]}, where a list of texts was expected")
    if line["sectors"] is not None:
        _held(line["sectors"], _SECTORS, "sectors")
    for finding in line["findings"]:
        _held(finding, _FINDING, "a finding")
        _one_of(finding["kind"], KINDS[1:], "a finding's kind")
        _one_of(finding.get("looks"), _LOOKS, "a finding's looks")
    if len({(each["track"], each["head"], each["sector"]) for each in line["findings"]}) != len(line["findings"]):
        raise LineError("findings: two are about one sector")
    _check_verdict(line)


def _check_verdict(line: Line) -> None:
    """LineError when what a read line says of its disc contradicts itself."""
    kinds, sectors, side = [each["kind"] for each in line["findings"]], line["sectors"], line["side"]
    wrong = sum(kind != "soft" for kind in kinds)
    fails = side is None or line["diagnosis"] is not None or wrong > 0
    verdict = "fail" if fails else "marginal" if kinds else "pass"
    marginal_by_its_margin = line["verdict"] == "marginal" and verdict == "pass" and "margin" in line
    if line["verdict"] != verdict and not marginal_by_its_margin:
        raise LineError(f"verdict is {line['verdict']}, where its side, diagnosis and findings make it {verdict}")
    if line["action"] not in _ACTIONS[line["verdict"]]:
        raise LineError(
            f"action is {json.dumps(line['action'])[:40]}, where {line['verdict']} has {' or '.join(_ACTIONS[line['verdict']])}"
        )
    if (sectors is None) != (side is None) or (side is None and kinds):
        raise LineError("side, sectors, findings: without a side no sector was judged, and with one some were")
    if sectors is not None and sectors["good"] != sectors["expected"] - wrong:
        raise LineError(f"sectors: {sectors['good']} good of {sectors['expected']}, where {wrong} have findings other than soft")
    if line["unproven"] > (sectors or {"good": 0})["good"]:
        raise LineError(f"unproven is {line['unproven']}, more than sectors that pass")


def _one_of(value: Any, values: Collection[str | None], what: str) -> None:
    if value not in values:
        raise LineError(f"{what} is {json.dumps(value)[:40]}, where {' or '.join(sorted(map(str, values)))} was expected")


def _is_zone(zone: Any) -> bool:
    return isinstance(zone, list) and len(zone) == _ZONE and all(type(each) is int and 0 <= each < _LARGEST_ZONE for each in zone)


def check_name(name: str, what: str) -> str:
    """A name that can stand in a command line and a table. LineError when it can't."""
    fits = 0 < len(name) <= _LONGEST and name == name.strip() and name[0] != "-"
    if not (fits and name.isprintable() and not set(name) & set("/\\")):
        raise LineError(f"{what} {name!r}: a name has up to {_LONGEST} characters, no slashes, and begins with no hyphen or space")
    return name


def _held(value: Any, shape: Mapping[str, tuple[type, ...]], where: str) -> None:
    if not isinstance(value, dict):
        raise LineError(f"{where} is no JSON object")
    for key, types in shape.items():
        if key not in value:
            raise LineError(f"{where} has no {key}")
        found = value[key]
        if type(found) not in types:
            wanted = " or ".join(WORDS[each] for each in types)
            raise LineError(f"{where}: {key} is {json.dumps(found)[:40]}, where {wanted} was expected")
        if isinstance(found, int | float) and not 0 <= found < _LARGEST:  # what is no number at all is in no range either
            raise LineError(f"{where}: {key} is {found}, out of range")
