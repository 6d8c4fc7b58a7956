"""The keys of a job file, as pydantic models, and their problems in the publisher's words."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812  (a key is called date)
from difflib import get_close_matches
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError
from pydantic_core import ErrorDetails

from formats.errors import Problem
from formats.volumes.shared.problems import Problems, key
from mastering.job.plan import SLOT_BYTES

Text = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")]
HexBytes = Annotated[str, StringConstraints(pattern=r"^ *([0-9A-Fa-f]{2} *)+$")]


class Keys(BaseModel):
    """The keys of a table: no unknown key, each value of the type that is written here."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class JobKeys(Keys):
    """The top level."""

    title: Any = None
    geometry: Any = None
    serial: Any = None  # of before: an error that says what to write instead
    side: Any = None
    edition: Any = None  # `mastering.job.editions` reads them


class TitleKeys(Keys):
    """[title]."""

    name: Text
    publisher: Text
    catalogue: Annotated[str, StringConstraints(pattern=r"^[A-Z0-9-]{0,31}[A-Z0-9]$")]
    revision: Text
    date: Date = Date(1980, 1, 1)
    disc: Annotated[int, Field(ge=1, le=99)] = 1
    discs: Annotated[int, Field(ge=1, le=99)] = 1


class MarkerKeys(Keys):
    """`serial = { marker = "..." }` of a side."""

    marker: Annotated[str, StringConstraints(min_length=20, max_length=1024, pattern=r"^[\x20-\x7e]+$")]


class SerialPlaceKeys(Keys):
    """`serial = { track = 34, ... }` of a side."""

    track: Annotated[int, Field(ge=0)]
    sector: Annotated[int, Field(ge=0)]
    head: Annotated[int, Field(ge=0, le=1)] = 0
    offset: Annotated[int, Field(ge=0)] = 0
    bytes: Annotated[int, Field(ge=1, le=1024)] = SLOT_BYTES


class SideKeys(Keys):
    """[side.A], without its files and places."""

    platform: Text = ""
    geometry: Text
    volume: Text
    label: Annotated[str, StringConstraints(max_length=64)] = ""
    disc_id: Annotated[str, StringConstraints(pattern=r"^[\x20-\x7e]{2}$")] | None = None
    volume_number: Annotated[int, Field(ge=0, le=255)] = 254
    interleave: Annotated[int, Field(ge=1, le=255)] | None = None
    free: Literal["numbered", "zero"] = "numbered"
    suffix: Annotated[str, StringConstraints(pattern=r"^[a-z0-9]{1,8}$")] | None = None
    boot: Text | None = None
    image: Text | None = None
    order: Text | list[int] | None = None
    serial: Any = None  # `mastering.job.slots` reads it


class FileKeys(Keys):
    """[[side.A.file]]."""

    source: Text
    name: Text | None = None
    name_bytes: HexBytes | None = None
    type: Text | Annotated[int, Field(ge=0, le=255)] | None = None
    load_address: Annotated[int, Field(ge=0, le=0xFFFF)] | Literal["in-file"] | None = None
    locked: bool = False
    volatile: bool = False


class PlaceKeys(Keys):
    """[[side.A.place]]."""

    track: Annotated[int, Field(ge=0)]
    sector: Annotated[int, Field(ge=0)]
    head: Annotated[int, Field(ge=0, le=1)] = 0
    source: Text


class EditionKeys(Keys):
    """[edition.NAME]: the title's keys, which are judged as the title's; what is left out and replaced; [edition.NAME.side.A]."""

    name: Any = None
    publisher: Any = None
    catalogue: Any = None
    revision: Any = None
    date: Any = None
    disc: Any = None
    discs: Any = None
    leave_out: list[Any] = []
    replace: Any = None
    side: Any = None


class LeaveOutKeys(Keys):
    """A table in `leave_out`; a text in that list stands for a table with this name."""

    side: Literal["A", "B"] | None = None
    name: Text | None = None
    name_bytes: HexBytes | None = None


class ReplaceKeys(FileKeys):
    """[[edition.NAME.replace]]: side and name of a file of the job, and the keys that the edition gives it instead."""

    side: Literal["A", "B"] | None = None


Table = TypeVar("Table", bound=BaseModel)

# The problem's kind in pydantic's terms to a sentence; what the kind's context holds may be used.
_WORDS: dict[str, str] = {
    "missing": "is missing",
    "string_type": "must be a text in quotes",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "date_type": "must be a date such as 2026-11-25, without quotes",
    "list_type": "must be a list",
    "literal_error": "must be {expected}",
    "string_too_short": "must have at least {min_length} characters",
    "string_too_long": "must have at most {max_length} characters",
    "greater_than_equal": "must be at least {ge}",
    "less_than_equal": "must be at most {le}",
    "greater_than": "must be more than {gt}",
    "float_type": "must be a number",
    "finite_number": "must be a finite number",
}
_BOUNDS = {"greater_than_equal", "less_than_equal", "greater_than", "finite_number"}
_PATTERNS = {
    "catalogue": "must be up to 32 of A-Z, 0-9 and hyphens, with no hyphen at the end",
    "marker": "must be printable ASCII",
    "disc_id": "must be two printable ASCII characters",
    "suffix": "must be 1 to 8 of a-z and 0-9",
    "name_bytes": 'must be bytes in hexadecimal, such as "4C 41"',
}
_RESERVED_SUFFIXES = {"dump", "capture", "json"}


@dataclass(frozen=True)
class UnknownKey(Problem):
    """A key that a table has not; `meant`: the place of the known one that it is nearest to, empty where none is near."""

    meant: str = ""


def parse(model: type[Table], raw: dict[str, Any], where: str, problems: Problems) -> Table | None:
    """The keys of one table; None, and its problems added with their places, when they are wrong."""
    try:
        keys = model.model_validate(raw)
    except ValidationError as error:
        problems += _problems(model, raw, where, error.errors())
        return None
    if isinstance(keys, SideKeys) and keys.suffix in _RESERVED_SUFFIXES:
        problems.add(key(where, "suffix"), f"{keys.suffix!r} is a name of the master's own")
    return keys


def parse_rest(model: type[Table], raw: dict[str, Any], where: str, problems: Problems) -> Table:
    """The keys of one table as `parse` gives them; a wrong key has its default, or None where it has no default.

    So what else is wrong with the table is reported with them.
    """
    own = Problems()
    keys = parse(model, raw, where, own)
    problems += own
    if keys is not None:
        return keys
    wrong = {problem.where for problem in own}
    right = {name: value for name, value in raw.items() if key(where, name) not in wrong and name in model.model_fields}
    needed = dict.fromkeys(name for name, field in model.model_fields.items() if field.is_required())
    return model.model_construct(**needed | right)


def _problems(model: type[BaseModel], raw: dict[str, Any], where: str, errors: list[ErrorDetails]) -> Iterator[Problem]:
    """One problem for each key that is wrong."""
    seen = set()
    for error in errors:
        name = str(error["loc"][0]) if error["loc"] else ""
        if name not in seen:
            seen.add(name)
            same = [each for each in errors if each["loc"] and each["loc"][0] == error["loc"][0]]
            place = ".".join(part for part in (where, name) if part)
            yield (
                _unknown(model, name, where) if error["type"] == "extra_forbidden" else Problem(place, _sentence(name, raw.get(name), same))
            )


def _unknown(model: type[BaseModel], name: str, where: str) -> UnknownKey:
    """That a table has no such key; the nearest that it has, or all."""
    names = [*model.model_fields, *(["file", "place"] if model is SideKeys else [])]
    near = get_close_matches(name, names, 1, 0.5)
    there = f"; did you mean `{near[0]}`?" if near else f"; there are {', '.join(f'`{each}`' for each in names)}"
    return UnknownKey(key(where, name), f"unknown key{there}", meant=key(where, near[0]) if near else "")


def _sentence(name: str, value: Any, errors: list[ErrorDetails]) -> str:
    """What a key must be; the alternatives of a union are joined, without those of another type where only a number's bounds are wrong."""
    bounds = any(error["type"] in _BOUNDS for error in errors)
    phrases = [_phrase(name, error) for error in errors if not (bounds and error["type"].endswith("_type"))]
    joined = " or ".join(dict.fromkeys(phrases)).replace(" or must be ", " or ")
    return joined if value is None else f"{joined}, not {brief(value)}"


def brief(value: Any) -> str:
    """A value of a job in a message: as it is written in Python, cut where it is long."""
    text = repr(value)
    return text if len(text) <= 200 else f"{text[:200]}..."


def _phrase(name: str, error: ErrorDetails) -> str:
    """What one of pydantic's errors asks for, in the publisher's words."""
    if error["type"] == "string_pattern_mismatch":
        return _PATTERNS.get(name, "must be on one line, without control characters")
    words: Callable[..., str] | None = _WORDS[error["type"]].format if error["type"] in _WORDS else None
    return words(**error.get("ctx", {})) if words else error["msg"]
