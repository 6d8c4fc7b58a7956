"""Text for people laid out in so many columns: sentences wrap, tables keep their numbers whole, nothing gives a terminal a command.

Words are made here of values that others decided; where they are shown (a terminal, a page) is not known here.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from shlex import quote
from textwrap import TextWrapper

TIE = "\N{NO-BREAK SPACE}"  # a space at which no line is broken; shown as a plain one
COLUMNS = 80
_NARROWEST = 40  # columns that a text needs beside what stands in front of it; with fewer it goes onto the next line
_CELL = 24  # a table breaks no word that is shorter
_GAP = "  "
_NUMBER = re.compile(r"[\d?][\d.,/-]*([ \u00A0]%)?( to [\d.,]+[ \u00A0]%)?")  # or several, or the limits of one
_PERCENT = re.compile(r"(?<=\d) (?=%)")  # a number and its sign stay together


@dataclass(frozen=True)
class Line:
    """A text, and what stands in front of it: where the text is wrapped, its further lines begin under its first."""

    lead: str
    text: str


@dataclass(frozen=True)
class Command:
    """A command to copy, quoted for a shell: where it is wrapped, a backslash ends the line, so that a shell reads it whole."""

    lead: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """Rows of cells, the first row its head. Numbers are never broken, other cells wrap where room is short.

    A row of one cell, where the head has several, is a title across all columns.
    """

    rows: Sequence[Sequence[str]]
    indent: str = ""


Block = str | Line | Command | Table


def escaped(text: str) -> str:
    """A text without anything that a terminal could take for a command, or that hides or turns what is near it.

    Discs' names and files hold any character; one that is not printable is shown by its number.
    """
    return text if text.isprintable() else "".join(map(_escaped, text))


def _escaped(character: str) -> str:
    if character.isprintable() or character == TIE:
        return character
    code = ord(character)
    return f"%{code:02X}" if code <= 0xFF else f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def indented(blocks: Iterable[Block], by: str = "  ") -> Iterator[Block]:
    """The same blocks, indented by some more spaces."""
    for block in blocks:
        if isinstance(block, str):
            yield by + block
        elif isinstance(block, Table):
            yield replace(block, indent=by + block.indent)
        else:
            yield replace(block, lead=by + block.lead)


def rendered(blocks: Iterable[Block], columns: int = COLUMNS) -> Iterator[str]:
    """Lines of so many columns at most, without line ends. Only a word of a `Command` that is longer than that stands out."""
    for block in blocks:
        if isinstance(block, str):
            body = block.lstrip(" ")
            yield from _wrapped(Line(block[: len(block) - len(body)], body), columns, hanging=2)
        elif isinstance(block, Line):
            yield from _wrapped(block, columns)
        elif isinstance(block, Command):
            yield from _command(block, columns)
        else:
            yield from _table(block, columns)


def _wrapped(line: Line, columns: int, hanging: int = 0) -> Iterator[str]:
    """A text in lines; further ones stand `hanging` columns further in than it begins."""
    lead, text = escaped(line.lead), _PERCENT.sub(TIE, escaped(line.text))
    if len(lead) + len(text) <= columns:
        yield _shown(lead + text)
        return
    start = len(lead)
    if columns - start < min(_NARROWEST, len(text)):
        if lead.strip():
            yield from _pieces(lead.rstrip(), columns, _indent(lead), _indent(lead) + "  ")
            start = min(len(_indent(lead)) + 4, columns // 4)
        else:  # a further line of a text whose lead was as long
            start = min(len(lead), 6)
        lead = " " * start
    yield from _pieces(text, columns, lead, " " * (start + hanging))


def _indent(text: str) -> str:
    return text[: len(text) - len(text.lstrip(" "))]


def _pieces(text: str, columns: int, first: str, further: str) -> Iterator[str]:
    body = text[len(first) :] if not first.strip() and text.startswith(first) else text
    wrapper = TextWrapper(columns, initial_indent=first, subsequent_indent=further, break_on_hyphens=False)
    yield from map(_shown, wrapper.wrap(body) or [first])


def _shown(line: str) -> str:
    return line.replace(TIE, " ").rstrip(" ")


def _command(command: Command, columns: int) -> Iterator[str]:
    words = [quote(escaped(word)) for word in command.words]
    line, further = command.lead + words[0], " " * (len(_indent(command.lead)) + 4)
    for number, word in enumerate(words[1:], start=2):
        last = number == len(words)
        if len(line) + 1 + len(word) + (0 if last else 2) > columns and line.strip():
            yield f"{line} \\"
            line = further + word
        else:
            line += f" {word}"
    yield line


# Tables


def _table(table: Table, columns: int) -> Iterator[str]:
    rows = [[escaped(cell) for cell in row] for row in table.rows]
    if not rows:
        return
    by_column = list(zip(*(row for row in rows if len(row) == len(rows[0])), strict=True))
    widths = _widths(by_column, columns - len(table.indent))
    if widths is None:
        yield from _records(rows, table.indent, columns)
        return
    rights = [_is_of_numbers(column) for column in by_column]
    for number, row in enumerate(rows):
        if len(row) < len(widths):
            yield from _wrapped(Line(table.indent, row[0]), columns)
            continue
        for cells in _lines_of(row, widths, rights, bottom=number == 0):
            yield _shown(table.indent + _GAP.join(cells))


def _is_of_numbers(column: Sequence[str]) -> bool:
    """Whether a column, apart from its head, holds numbers and nothing else: such a column stands to the right."""
    cells = [cell for cell in column[1:] if cell.strip()]
    return bool(cells) and all(map(_NUMBER.fullmatch, cells))


def _widths(by_column: Sequence[Sequence[str]], room: int) -> list[int] | None:
    """The width of each column: the widest columns of text are made narrower until all fit; None when numbers alone are too wide."""
    widths = [max(map(len, column)) for column in by_column]
    least = [_least(column) for column in by_column]
    while (over := sum(widths) + len(_GAP) * (len(widths) - 1) - room) > 0:
        spare = [width - low for width, low in zip(widths, least, strict=True)]
        if max(spare) <= 0:
            return None
        widest = max((at for at, each in enumerate(spare) if each > 0), key=lambda at: widths[at])
        others = [width for at, width in enumerate(widths) if spare[at] > 0 and at != widest and width < widths[widest]]
        widths[widest] -= min(over, spare[widest], max(1, widths[widest] - max(others, default=0)))
    return widths


def _least(column: Sequence[str]) -> int:
    """The narrowest that a column may get: as wide as its numbers, and as the words of its head."""
    numbers = [len(cell) for cell in column[1:] if _NUMBER.fullmatch(cell)]
    words = [len(word) for word in column[0].split(" ")]
    texts = [min(_CELL, max(map(len, cell.split(" ")))) for cell in column[1:] if cell.strip() and not _NUMBER.fullmatch(cell)]
    return max([0, *numbers, *words, *texts])


def _lines_of(row: Sequence[str], widths: Sequence[int], rights: Sequence[bool], *, bottom: bool) -> Iterator[list[str]]:
    """A row in as many lines as its highest cell needs; `bottom`: lower cells stand at the last line, as heads do."""
    cells = [_cell(cell, width) for cell, width in zip(row, widths, strict=True)]
    height = max(map(len, cells))
    filled = [[""] * (height - len(lines)) + lines if bottom else lines + [""] * (height - len(lines)) for lines in cells]
    for pieces in zip(*filled, strict=True):
        yield [piece.rjust(width) if right else piece.ljust(width) for piece, width, right in zip(pieces, widths, rights, strict=True)]


def _cell(cell: str, width: int) -> list[str]:
    return [cell] if len(cell) <= width else TextWrapper(width, break_on_hyphens=False).wrap(cell)


def _records(rows: Sequence[Sequence[str]], indent: str, columns: int) -> Iterator[str]:
    """A table that is too wide for its room: a row's cells one under the other, each behind its head."""
    head, *body = rows
    lead = max(map(len, head)) + len(_GAP)
    for row in body:
        for name, cell in zip(head, row, strict=False):
            if cell.strip():
                yield from _wrapped(Line(indent + name.ljust(lead), cell), columns)
