"""`obverse batch change`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Change how many are wanted; add lots and drives.")
@click.argument("batch")
@click.option("--good", type=click.IntRange(1), metavar="N", help="How many good discs are wanted now.")
@click.option("--lot", "lots", multiple=True, metavar="L", help="Another lot that the blanks are from; may be given again.")
@click.option("--drive", "drives", multiple=True, metavar="D", help="Another drive that writes or reads them; may be given again.")
@reason_option("Why.")
@ledger_option
@json_option("Print the change's line.")
def command(
    batch: str, good: int | None, lots: tuple[str, ...], drives: tuple[str, ...], reason: str, ledger: str | None, as_json: bool
) -> None:
    """Change what an open BATCH is to be: how many good discs it wants, and further lots and drives."""
    changes = {key: value for key, value in (("good", good), ("lots", list(lots)), ("drives", list(drives))) if value}
    if not changes:
        raise click.UsageError("nothing to change: give --good, --lot or --drive")
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "change", "of": "batch", "name": writer.batch(batch).name, **changes, "reason": reason, "at": stamp(writer)}
        writer.add(line)
    json_lines([line]) if as_json else lines([f"batch {batch} changed: {', '.join(changes)}"])
