"""`obverse drive list`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines, message
from mastering.words.bench import drives_table


@click.command(short_help="List the drives.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(ledger: str | None, as_json: bool) -> None:
    """List the disc drives."""
    from mastering.ledger.tables import DRIVES

    with open_ledger(ledger) as opened, opened.read() as known:
        found = [known.drive(name) for name in known.ids(DRIVES)]
    if as_json:
        json_lines(found)
    elif found:
        lines([drives_table(found)])
    else:
        message("no drive yet; `obverse drive add` makes one")
