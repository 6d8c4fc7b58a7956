"""`obverse batch list`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines, message
from mastering.words.batches import batches_table


@click.command(short_help="List the batches.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(ledger: str | None, as_json: bool) -> None:
    """List the batches, and how their discs stand."""
    with open_ledger(ledger) as opened, opened.read() as known:
        found = [(batch, known.counts(batch)) for batch in known.batches()]
    if as_json:
        json_lines(dict(batch.line) | {"state": "open" if batch.open else "closed", "discs": counts} for batch, counts in found)
    elif found:
        lines([batches_table(found)])
    else:
        message("no batch yet; `obverse batch open` makes one")
