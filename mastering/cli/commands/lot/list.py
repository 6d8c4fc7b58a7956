"""`obverse lot list`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines, message
from mastering.words.bench import lots_table


@click.command(short_help="List the lots.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(ledger: str | None, as_json: bool) -> None:
    """List the lots of blanks: how many there were, how many discs were made of them, and what is known of them."""
    from mastering.ledger.tables import LOTS

    with open_ledger(ledger) as opened, opened.read() as known:
        found = [(known.lot(name), known.used(name)) for name in known.ids(LOTS)]
    if as_json:
        json_lines(line for line, _ in found)
    elif found:
        lines([lots_table(found)])
    else:
        message("no lot yet; `obverse lot add` makes one")
