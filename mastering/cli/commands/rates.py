"""`obverse rates`: how bad lots, drives, sides and tracks are."""

import sys
from typing import get_args

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import columns, json_lines, lines, message
from mastering.deciding.rates import By, Role
from mastering.words.rates import rates_text


@click.command(short_help="How bad each batch, lot, inner box, drive, side or track is.")
@click.option("--by", type=click.Choice(get_args(By)), default="lot", show_default=True, help="The groups.")
@click.option(
    "--role",
    type=click.Choice(["wrote", "read"]),
    default="wrote",
    show_default=True,
    help="With --by drive which one: the drive that wrote a side, or the one that read it.",
)
@ledger_option
@json_option("Print a JSON line for each group.")
def command(by: By, role: Role, ledger: str | None, as_json: bool) -> None:
    """How many of each batch, lot, inner box, drive, side or track are bad, and between which limits the true share lies.

    Discs count by batch, lot and inner box: those that are good or rejected. By drive and side first writings count, by track their first
    reads. The limits are Wilson's, with 95 % confidence: a rate of few discs says little. First pass: good at the first reading of the
    first writing.
    """
    if role == "read" and by != "drive":
        raise click.UsageError(
            f"--role read says which drive is meant, where the groups are those of --by {by}: leave it out, or say --by drive"
        )
    with open_ledger(ledger) as opened, opened.read() as known:
        found = known.rates(by, role)
    if as_json:
        json_lines(rate.plain() for rate in found)
    elif found:
        lines(rates_text(found, columns(sys.stdout)))
    else:
        message("nothing is decided yet: no disc is good or rejected")
