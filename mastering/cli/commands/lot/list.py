"""`obverse lot list`."""

from collections.abc import Mapping
from typing import Any

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines, table

_WORDS = {"coercivity": "{} Oe", "faces": "{} face{} certified", "condition": "{}", "inner_box": "in boxes of {}", "price": "{} each"}


@click.command(short_help="List the lots.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(ledger: str | None, as_json: bool) -> None:
    """List the lots of blanks: how many there were, how many discs were begun of them, and what is known of them."""
    from mastering.ledger.tables import LOTS

    with open_ledger(ledger) as opened, opened.read() as known:
        found = [(known.lot(name), known.used(name)) for name in known.ids(LOTS)]
    if as_json:
        json_lines(line for line, _ in found)
    elif found:
        lines(table([("lot", "blanks", "used", "what they are"), *(_row(line, used) for line, used in found)]))
    else:
        click.echo("no lot yet; `obverse lot add` makes one", err=True)


def _row(line: Mapping[str, Any], used: int) -> tuple[str, ...]:
    facts = [text.format(line[key], "" if line[key] == 1 else "s") for key, text in _WORDS.items() if line.get(key) is not None]
    if line.get("hub_ring") is not None:
        facts.append("hub ring" if line["hub_ring"] else "no hub ring")
    if line.get("supplier"):
        facts.append(f"from {line['supplier']}")
    return line["name"], "?" if line["count"] is None else f"{line['count']:,}", f"{used:,}", ", ".join(facts)
