"""The sector report: a text beside a dump in which a reader says what it met in each sector."""

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NoReturn

from formats.bounds import LARGEST_REPORT
from formats.errors import ContainerError
from formats.model.geometry import Address, Geometry

HEADER = ("track", "head", "sector", "state", "tries")
STATES = frozenset(
    "good soft unread not-tried density block-check no-block identifier-check misplaced absent data-mark identity serial".split()  # noqa: SIM905
)
_SHOWN = 40  # characters of a value in a message


@dataclass(frozen=True)
class Report:
    """What a reader said: for each sector its state and the number of tries, where it gave one; and in which line."""

    name: str
    rows: Mapping[Address, tuple[str, int | None]]
    lines: Mapping[Address, int]

    def check_against(self, geometry: Geometry) -> None:
        """ContainerError when it names a sector that the geometry lacks."""
        for address, line in self.lines.items():
            if address not in geometry.places:
                track, head, sector = address
                _refuse(self.name, line, f"{geometry.id} has no track {track} head {head} sector {sector}")


def read(data: bytes, name: str) -> Report:
    """The report in a file's bytes; `name` stands in messages. ContainerError names the line that breaks a rule."""
    if len(data) > LARGEST_REPORT:
        raise ContainerError(f"{name}: {len(data):,} bytes, a sector report has at most {LARGEST_REPORT:,}")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ContainerError(f"{name}: byte {error.start}: not UTF-8") from error
    rows: dict[Address, tuple[str, int | None]] = {}
    lines: dict[Address, int] = {}
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = next(reader, [])
        if tuple(header) != HEADER:
            _refuse(name, 1, f"the header {','.join(HEADER)} was expected")
        for row in reader:
            if row:
                address, state, tries = _row(name, reader.line_num, row)
                if address in rows:
                    _refuse(name, reader.line_num, f"{_called(address)} stands in line {lines[address]} already")
                rows[address], lines[address] = (state, tries), reader.line_num
    except csv.Error as error:
        _refuse(name, reader.line_num, str(error))
    return Report(name, rows, lines)


def write(rows: Iterable[tuple[Address, str, int | None]]) -> bytes:
    """A report of these sectors, in their order."""
    lines = [",".join(HEADER)]
    lines += [f"{address.track},{address.head},{address.sector},{state},{'' if tries is None else tries}" for address, state, tries in rows]
    return "".join(f"{line}\n" for line in lines).encode()


def _row(name: str, line: int, row: list[str]) -> tuple[Address, str, int | None]:
    if len(row) != len(HEADER):
        _refuse(name, line, f"{len(row)} columns, {len(HEADER)} were expected")
    track, head, sector = (_number(name, line, column, text) for column, text in zip(HEADER[:3], row[:3], strict=True))
    if row[3] not in STATES:
        _refuse(name, line, f"the state {row[3][:_SHOWN]!r} is none of {', '.join(sorted(STATES))}")
    return Address(track, head, sector), row[3], _number(name, line, "tries", row[4]) if row[4] else None


def _number(name: str, line: int, column: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        _refuse(name, line, f"{column} must be a whole number, not {text[:_SHOWN]!r}")
    return int(text)


def _called(address: Address) -> str:
    return f"track {address.track} head {address.head} sector {address.sector}"


def _refuse(name: str, line: int, what: str) -> NoReturn:
    raise ContainerError(f"{name}: line {line}: {what}")
