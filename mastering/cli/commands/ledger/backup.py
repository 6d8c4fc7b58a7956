"""`obverse ledger backup`."""

from pathlib import Path

import click

from mastering.cli.options import ledger_option, open_ledger
from mastering.cli.output import lines


@click.command(short_help="Copy the ledger, also while a batch runs.")
@click.argument("file", type=click.Path())
@ledger_option
def command(file: str, ledger: str | None) -> None:
    """Copy the whole ledger to FILE, which must not exist, also while a batch runs. Keep it on another disk."""
    with open_ledger(ledger) as opened:
        opened.backup(Path(file))
    lines([f"{file} holds the ledger as it is now"])
