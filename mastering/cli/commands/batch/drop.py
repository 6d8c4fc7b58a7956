"""`obverse batch drop`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Drop serials that no disc will carry.")
@click.argument("batch")
@click.argument("serials", nargs=-1, required=True, metavar="SERIAL...")
@reason_option("Why.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(batch: str, serials: tuple[str, ...], reason: str, ledger: str | None, as_json: bool) -> None:
    """Drop serials of BATCH that were handed out and never written: they count nowhere, and their numbers are not used again."""
    dropped = []
    with open_ledger(ledger) as opened, opened.write() as writer:
        at = stamp(writer)
        for each in serials:
            serial = writer.disc(each, writer.batch(batch)).serial
            writer.add({"kind": "drop", "batch": batch, "serial": serial, "reason": reason, "at": at})
            dropped.append(serial)
    json_lines({"serial": serial} for serial in dropped) if as_json else lines(f"{serial} dropped" for serial in dropped)
