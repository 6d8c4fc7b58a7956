"""Fields of the track and of volumes: one declaration, three forms.

A field is declared as a construct struct. Here, and only here, it becomes a tuple of plain `Field`s (what a master stores
and what is compared), a construct struct (to build and parse one) and a numpy dtype (to look at thousands). Fields have a
fixed size, so all three say the same; a test over every declared record holds that.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

from formats.errors import DefinitionError, Problem

if TYPE_CHECKING:
    import numpy as np
    from construct import Construct, Struct

Kind = Literal["const", "uint", "bytes"]


@dataclass(frozen=True)
class Field:
    """`size` bytes called `name`: a required constant, an unsigned number, or bytes.

    `value` is what a constant must be, and what a writer puts into bytes that nobody judges. `complemented` bytes stand on the
    track with every bit inverted; checks cover what stands there.
    """

    name: str
    kind: Kind
    size: int
    value: bytes = b""
    little: bool = False
    complemented: bool = False


def _complement(data: bytes) -> bytes:
    return bytes(byte ^ 0xFF for byte in data)


def complemented(inner: "Construct[Any, Any]") -> "Construct[Any, Any]":
    """Bytes of a fixed size that stand on the track with every bit inverted."""
    from construct import Transformed

    size = inner.sizeof()
    return Transformed(inner, _complement, size, _complement, size)


def fields_of(struct: "Construct[Any, Any]") -> tuple[Field, ...]:
    """The plain fields of a construct struct of named constants, unsigned numbers and bytes of a fixed size."""
    return tuple(_field(part) for part in getattr(struct, "subcons", ()))


def _field(renamed: Any) -> Field:
    from construct import Bytes, Const, Default, FormatField, Transformed

    name, inner = renamed.name or "", getattr(renamed, "subcon", renamed)
    if isinstance(inner, Transformed) and inner.decodefunc is _complement and isinstance(inner.subcon, Bytes):
        return Field(name, "bytes", inner.sizeof(), complemented=True)
    if isinstance(inner, Default) and isinstance(inner.subcon, Bytes):
        return Field(name, "bytes", inner.sizeof(), inner.value)
    if isinstance(inner, Const):
        return Field(name, "const", inner.sizeof(), inner.build(None))
    if isinstance(inner, Bytes):
        return Field(name, "bytes", inner.sizeof())
    if isinstance(inner, FormatField) and inner.fmtstr[-1] in "BHLQ":
        return Field(name, "uint", inner.sizeof(), little=inner.fmtstr[0] == "<")
    raise DefinitionError(name, [Problem("", f"a field must be a constant, an unsigned number or bytes of a fixed size, not {inner!r}")])


def struct_of(fields: Iterable[Field]) -> "Struct[Any, Any]":
    """The construct struct of plain fields: equal to the struct that `fields_of` takes them from."""
    from construct import Bytes, BytesInteger, Const, Default, Int8ub, Int16ub, Int16ul, Int32ub, Int32ul, Struct

    numbers = {(1, False): Int8ub, (1, True): Int8ub, (2, False): Int16ub, (2, True): Int16ul, (4, False): Int32ub, (4, True): Int32ul}

    def one(field: Field) -> Any:
        if field.kind == "const":
            return field.name / Const(field.value)
        if field.complemented:
            return field.name / complemented(Bytes(field.size))
        if field.kind == "bytes":
            return field.name / (Default(Bytes(field.size), field.value) if field.value else Bytes(field.size))
        return field.name / numbers.get((field.size, field.little), BytesInteger(field.size, swapped=field.little))

    return Struct(*(one(field) for field in fields))


def dtype_of(fields: Iterable[Field]) -> "np.dtype[np.void]":
    """The numpy dtype with the same names, offsets and byte order; bytes are subarrays of `u1`."""
    import numpy as np

    def one(field: Field) -> tuple[Any, ...]:
        if field.kind == "uint":
            return (field.name, f"{'<' if field.little else '>'}u{field.size}")
        return (field.name, "u1", (field.size,))

    return np.dtype([one(field) for field in fields])


@dataclass(frozen=True)
class Mark:
    """A pattern of cells that a reader looks for at every cell.

    `cells` is what is looked for; `written`, when it differs, what a writer lays down; `begins` the place in `cells` at which
    the field's first byte starts (default: behind it). `data` are the bytes that the mark stands for in a check.
    """

    cells: str
    data: bytes = b""
    begins: int = -1
    written: str = ""

    @property
    def lead(self) -> int:
        """Cells of the pattern before the field's first byte."""
        return len(self.cells) if self.begins < 0 else self.begins

    @property
    def laid(self) -> str:
        """The cells that a writer lays down before the field's first byte."""
        return self.written or self.cells[: self.lead]


@dataclass(frozen=True)
class Part:
    """A run of fields in one recording code. Declared as `part(code, Struct(...))`."""

    code: str
    fields: tuple[Field, ...]

    @property
    def size(self) -> int:
        """Decoded bytes."""
        return sum(field.size for field in self.fields)


def part(code: str, struct: "Construct[Any, Any]") -> Part:
    """A part whose fields are those of a construct struct."""
    return Part(code, fields_of(struct))


@dataclass(frozen=True)
class Check:
    """A check word over a range of fields, `first` to `last` ("mark" is the mark's data), held in the field `stored`."""

    name: str
    first: str
    last: str
    stored: str


@dataclass(frozen=True)
class Record:
    """One field of the track: a mark, then parts in their codes.

    `tag` names the constant that tells records with the same mark apart; `deleted` is that constant's other value, which marks
    a block as deleted data. Constants besides the tag are required: a wrong one makes the field unsound. `bytes` fields other
    than `body` are not judged.
    """

    name: str
    mark: Mark
    parts: tuple[Part, ...]
    checks: tuple[Check, ...] = ()
    tag: str = ""
    deleted: bytes = b""

    @cached_property
    def fields(self) -> tuple[Field, ...]:
        """The fields of all parts, in order."""
        return tuple(field for each in self.parts for field in each.fields)

    @cached_property
    def offsets(self) -> Mapping[str, int]:
        """Where each field begins among the decoded bytes."""
        places: dict[str, int] = {}
        at = 0
        for field in self.fields:
            places[field.name] = at
            at += field.size
        return places

    @property
    def size(self) -> int:
        """Decoded bytes of all parts."""
        return sum(each.size for each in self.parts)

    def field(self, name: str) -> Field:
        """The field of that name. KeyError when there is none."""
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(name)

    def span(self, check: Check) -> tuple[int, int]:
        """First and behind-last decoded byte that a check covers, without the mark."""
        first = 0 if check.first == "mark" else self.offsets[check.first]
        last = self.field(check.last)
        return first, self.offsets[last.name] + last.size

    @cached_property
    def struct(self) -> "Struct[Any, Any]":
        """The construct struct of all fields, to build or parse one by hand."""
        return struct_of(self.fields)
