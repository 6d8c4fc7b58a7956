"""`obverse lot discard`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Note that blanks were thrown away.")
@click.argument("lot")
@click.option("--inner", type=click.IntRange(1), metavar="N", help="An inner box of it only.")
@click.option("--count", required=True, type=click.IntRange(1), metavar="N", help="How many.")
@reason_option("Why; it is kept for good.")
@ledger_option
@json_option("Print the row.")
def command(lot: str, inner: int | None, count: int, reason: str, ledger: str | None, as_json: bool) -> None:
    """Blanks of LOT that were thrown away unused: they are no longer counted on."""
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "lot-discard", "lot": lot, "inner": inner, "count": count, "reason": reason, "at": stamp(writer)}
        writer.add(line)
    what = f"lot {lot}" + (f", inner box {inner}" if inner else "")
    json_lines([line]) if as_json else lines([f"{what}: {count} blanks discarded"])
