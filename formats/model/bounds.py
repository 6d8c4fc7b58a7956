"""What each field of a geometry may hold before anything is computed from it: its type, how large a number is, how long a list.

A master carries its geometries as data, which anybody may have edited: a number of thirty digits must be refused before anything is
multiplied by it. What numbers within these bounds contradict is `formats.model.proof`'s.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from fractions import Fraction
from reprlib import repr as brief
from typing import Any

from formats.errors import Problem
from formats.model.geometry import Gap, Geometry, Zone
from formats.model.record import Check, Field, Mark, Part, Record
from formats.source import Source

Shape = Callable[[Any, str], Iterator[Problem]]


@dataclass(frozen=True)
class Whole:
    """A whole number from `least` to `most`."""

    least: int
    most: int

    def __call__(self, value: Any, where: str) -> Iterator[Problem]:
        """A problem unless a value is one."""
        if type(value) is not int or not self.least <= value <= self.most:
            yield Problem(where, f"{brief(value)} is not a whole number from {self.least:,} to {self.most:,}")


@dataclass(frozen=True)
class Many:
    """A list of `least` to `most` values of one shape."""

    shape: Shape
    most: int
    least: int = 0

    def __call__(self, value: Any, where: str) -> Iterator[Problem]:
        """The problems of its values, or that it is no such list."""
        if not isinstance(value, tuple) or not self.least <= len(value) <= self.most:
            yield Problem(where, f"is not a list of {self.least} to {self.most} values")
            return
        for number, each in enumerate(value):
            yield from self.shape(each, f"{where}[{number}]")


@dataclass(frozen=True)
class Instance:
    """A value of one of some classes, each of whose fields has its shape."""

    classes: tuple[type, ...]

    def __call__(self, value: Any, where: str) -> Iterator[Problem]:
        """The problems of its fields, or that it is none of the classes."""
        if type(value) not in self.classes:
            yield Problem(where, f"is not a {' or a '.join(kind.__name__ for kind in self.classes)}")
            return
        shapes = _SHAPES[type(value)]
        for field in fields(value):
            yield from shapes[field.name](getattr(value, field.name), f"{where}.{field.name}".lstrip("."))


def _checked(right: Callable[[Any], bool], words: str) -> Shape:
    """The shape of values for which a rule holds, in words."""

    def problems(value: Any, where: str) -> Iterator[Problem]:
        if not right(value):
            yield Problem(where, f"{brief(value)} is not {words}")

    return problems


def _is_cells(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= _MOST and set(value) <= {"0", "1"}


def _is_ratio(value: Any) -> bool:
    return isinstance(value, int | Fraction) and 0 <= value <= 10**9 and Fraction(value).denominator <= 10**18


def _is_order(value: Any) -> bool:
    return isinstance(value, tuple) and len(value) == 2 and isinstance(value[0], str) and not any(_NUMBERS(value[1], ""))


_MOST = 4_096
_TEXT = _checked(lambda value: isinstance(value, str) and len(value) <= 1_000, "a text of at most 1,000 characters")
_BYTES = _checked(lambda value: isinstance(value, bytes) and len(value) <= _MOST, f"at most {_MOST:,} bytes")
_FLAG = _checked(lambda value: isinstance(value, bool), "true or false")
_CELLS = _checked(_is_cells, f"a text of at most {_MOST:,} cells, 0 or 1")
_RATIO = _checked(_is_ratio, "a number from 0 to 1,000,000,000")
_FILL = _checked(
    lambda value: (_is_cells(value) and value != "") or (type(value) is int and value in range(256)), "a byte or a text of cells"
)
_COUNT = Whole(0, _MOST)
_NUMBERS = Many(_COUNT, 256)
_ORDER = _checked(_is_order, "a name and a list of sector numbers")
_ELEMENTS = Many(Instance((Gap, Record)), 64)

_SHAPES: dict[type, dict[str, Shape]] = {
    Geometry: {
        "id": _TEXT, "sources": Many(Instance((Source,)), 64), "rpm": Whole(1, 10_000), "tpi": Whole(1, 1_000),
        "zones": Many(Instance((Zone,)), 256, 1), "size": Whole(1, 1 << 16), "first_sector": _COUNT, "sector": _ELEMENTS,
        "tail": Instance((Gap,)), "lead": _ELEMENTS, "heads": _COUNT, "order": _NUMBERS, "dump_order": _NUMBERS,
        "orders": Many(_ORDER, 16), "head_tracks": _COUNT, "heads_apart": _FLAG, "index": _FLAG, "coercivity": _TEXT, "tolerance": _RATIO,
    },
    Zone: {"first": _COUNT, "last": _COUNT, "sectors": _COUNT, "cell_ns": _RATIO, "gap": _COUNT},
    Gap: {
        "count": Whole(0, 1 << 16), "fill": _FILL, "code": _TEXT, "minimum": _COUNT, "maximum": _COUNT, "from_start": _COUNT,
    },
    Record: {
        "name": _TEXT, "mark": Instance((Mark,)), "parts": Many(Instance((Part,)), 16), "checks": Many(Instance((Check,)), 16),
        "tag": _TEXT, "deleted": _BYTES,
    },
    Mark: {"cells": _CELLS, "data": _BYTES, "begins": Whole(-1, _MOST), "written": _CELLS},
    Part: {"code": _TEXT, "fields": Many(Instance((Field,)), 64)},
    Field: {
        "name": _TEXT, "kind": _checked(lambda value: value in ("const", "uint", "bytes"), "const, uint or bytes"),
        "size": Whole(1, 1 << 16), "value": _BYTES, "little": _FLAG, "complemented": _FLAG,
    },
    Check: {"name": _TEXT, "first": _TEXT, "last": _TEXT, "stored": _TEXT},
    Source: {"title": _TEXT, "section": _TEXT, "how": _TEXT, "note": _TEXT},
}  # fmt: skip


def out_of_bounds(geometry: Geometry) -> Iterator[Problem]:
    """Every field of a geometry that holds what none of the kind may hold; `where` is its place in the declaration."""
    yield from Instance((Geometry,))(geometry, "")
