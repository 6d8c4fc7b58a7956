"""`obverse batch show`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines
from mastering.words.batches import batch_plain, batch_text, disc_story


@click.command(short_help="How a batch or one of its discs stands.")
@click.argument("batch")
@click.argument("serial", required=False)
@ledger_option
@json_option("Print the batch's line, then a line for each disc.")
def command(batch: str, serial: str | None, ledger: str | None, as_json: bool) -> None:
    """How many discs of BATCH are good, which serials are next, and which discs wait for what. With a SERIAL: all about that disc."""
    with open_ledger(ledger) as opened, opened.read() as known:
        found = known.batch(batch)
        counts = known.counts(found)
        discs = known.discs(found) if serial is None else [known.disc(serial, found)]
        discs = [disc for disc in discs if serial is not None or not disc.unused]
        corrections = [] if serial is None else known.corrections(discs[0])
    if as_json:
        json_lines([batch_plain(found, counts)] if serial is None else [])
        json_lines(disc.plain() for disc in discs)
    else:
        lines(batch_text(found, discs, counts) if serial is None else disc_story(discs[0], corrections))
