"""`obverse batch serials`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Hand out the next serials.")
@click.argument("batch")
@click.option("--count", type=click.IntRange(1, 10_000), default=1, show_default=True, metavar="N", help="How many.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(batch: str, count: int, ledger: str | None, as_json: bool) -> None:
    """Hand out the next serials to discs of BATCH. A serial is never used again for this catalogue number."""
    from mastering.recording.writing import hand_out

    with open_ledger(ledger) as opened, opened.write() as writer:
        made = hand_out(writer, writer.batch(batch), count, stamp(writer))
    json_lines({"serial": each} for each in made) if as_json else lines(made)
