"""`obverse lot stop`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Stop a lot, or an inner box of it.")
@click.argument("lot")
@click.option("--inner", type=click.IntRange(1), metavar="N", help="An inner box of it only.")
@reason_option("Why; it is kept for good.")
@ledger_option
@json_option("Print the row.")
def command(lot: str, inner: int | None, reason: str, ledger: str | None, as_json: bool) -> None:
    """No batch takes another disc of LOT; what is in a drive is finished."""
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "lot-stop", "lot": lot, "inner": inner, "reason": reason, "at": stamp(writer)}
        writer.add(line)
    what = f"lot {lot}" + (f", inner box {inner}" if inner else "")
    json_lines([line]) if as_json else lines([f"{what}: stopped; no batch takes another disc of it"])
