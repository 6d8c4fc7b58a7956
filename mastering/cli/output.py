"""What commands print: JSON Lines and nothing else, or text for people."""

import json
import re
import sys
from collections.abc import Iterable
from typing import Any

_CONTROL = {code: f"%{code:02X}" for code in (*range(0x20), *range(0x7F, 0xA0))}  # a disc's names reach no terminal as commands

_NUMBER = re.compile(r"\d[\d.,]*( %)?( to [\d.,]+ %| % sure)?")  # or the limits of one, or their head


def json_lines(values: Iterable[Any]) -> None:
    """Each value on a line of its own, on standard output."""
    for value in values:
        sys.stdout.write(json.dumps(value, allow_nan=False) + "\n")


def lines(texts: Iterable[str]) -> None:
    """Each text on a line of its own, on standard output."""
    for text in texts:
        sys.stdout.write(printable(text.rstrip()) + "\n")


def printable(text: str) -> str:
    """A text that stays on one line and gives a terminal no commands."""
    return text.translate(_CONTROL)


def table(rows: Iterable[tuple[str, ...]]) -> list[str]:
    """Rows of texts in columns; numbers stand to the right."""
    rows = list(rows)
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(cell.rjust(width) if _NUMBER.fullmatch(cell) else cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        for row in rows
    ]
