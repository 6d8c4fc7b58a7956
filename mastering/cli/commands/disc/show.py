"""`obverse disc show`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines
from mastering.words.batches import disc_text
from mastering.words.discs import history_plain, history_text


@click.command(short_help="The whole history of a disc.")
@click.argument("serial")
@ledger_option
@json_option("Print it as a JSON line.")
def command(serial: str, ledger: str | None, as_json: bool) -> None:
    """The whole history of the disc SERIAL, whatever its batch: with dates, revision, drives and operators.

    Its number alone will do where all discs have one catalogue number.
    """
    from mastering.ledger.disc_list import order_of

    with open_ledger(ledger) as opened, opened.read() as known:
        disc = known.disc_by(serial)
        rows = list(known.rows_of(disc))
        order = order_of(known, disc.id)
    json_lines([history_plain(disc, rows, order)]) if as_json else lines([disc_text(disc), *history_text(disc, rows, order)])
