"""`obverse lot release`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Take a stop back.")
@click.argument("lot")
@click.option("--inner", type=click.IntRange(1), metavar="N", help="An inner box of it only.")
@ledger_option
@json_option("Print the row.")
def command(lot: str, inner: int | None, ledger: str | None, as_json: bool) -> None:
    """Batches may take discs of LOT again; its chart begins anew."""
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "lot-release", "lot": lot, "inner": inner, "at": stamp(writer)}
        writer.add(line)
    what = f"lot {lot}" + (f", inner box {inner}" if inner else "")
    json_lines([line]) if as_json else lines([f"{what}: released; batches take its discs again"])
