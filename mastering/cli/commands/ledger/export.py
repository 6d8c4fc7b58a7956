"""`obverse ledger export`."""

import click

from mastering.cli.options import ledger_option, open_ledger
from mastering.cli.output import write


@click.command(short_help="Print every row as a JSON line.")
@ledger_option
@click.option("--json", "_as_json", is_flag=True, help="Always so.")
def command(ledger: str | None, _as_json: bool) -> None:
    """Print every row of the ledger as a JSON line, in their order; `chain` ties each to those before it. `ledger import` takes them."""
    from mastering.ledger.exchange import exported

    with open_ledger(ledger) as opened:
        for line in exported(opened):
            write(f"{line}\n")
