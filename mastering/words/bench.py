"""What the bench has, in words: lots of blanks and disc drives."""

from collections.abc import Iterable, Mapping
from typing import Any

from mastering.words.layout import Table

_LOT_WORDS = {"coercivity": "{} Oe", "faces": "{} face{} certified", "condition": "{}", "inner_box": "in boxes of {}", "price": "{} each"}


def lots_table(lots: Iterable[tuple[Mapping[str, Any], int]]) -> Table:
    """Lots, and how many discs were begun of each."""
    return Table([("lot", "blanks", "used", "what they are"), *(_lot_row(line, used) for line, used in lots)])


def _lot_row(line: Mapping[str, Any], used: int) -> tuple[str, ...]:
    facts = [text.format(line[key], "" if line[key] == 1 else "s") for key, text in _LOT_WORDS.items() if line.get(key) is not None]
    if line.get("hub_ring") is not None:
        facts.append("hub ring" if line["hub_ring"] else "no hub ring")
    if line.get("supplier"):
        facts.append(f"from {line['supplier']}")
    return line["name"], "?" if line["count"] is None else f"{line['count']:,}", f"{used:,}", ", ".join(facts)


def drives_table(drives: Iterable[Mapping[str, Any]]) -> Table:
    """Drives, and what they are."""
    head = ("drive", "tracks per inch", "heads", "index hole", "")
    return Table([head, *(_drive_row(line) for line in drives)])


def _drive_row(line: Mapping[str, Any]) -> tuple[str, ...]:
    return line["name"], str(line["tpi"]), str(line["heads"]), line.get("index") or "", "simulated" if line["simulated"] else ""
