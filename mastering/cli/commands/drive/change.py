"""`obverse drive change`."""

import click

from mastering.cli.options import geometry_list, json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Change what a drive writes and reads.")
@click.argument("name")
@click.option("--writes", metavar="GEOMETRY,...", help="The geometries that it writes; none: no side.")
@click.option("--reads", metavar="GEOMETRY,...", help="The geometries that it reads; none: no side.")
@click.option("--index", type=click.Choice(["needed", "ignored"]), help="Whether it needs the disc's index hole.")
@click.option("--by-hand", metavar="DIR", help="The folder that its files are put into and taken from.")
@reason_option("Why.")
@ledger_option
@json_option("Print the change's line.")
def command(
    name: str,
    writes: str | None,
    reads: str | None,
    index: str | None,
    by_hand: str | None,
    reason: str,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Change what the drive NAME writes and reads. Nothing is erased: the change is a new row."""
    given = {"writes": geometry_list(writes), "reads": geometry_list(reads), "index": index, "by_hand": by_hand}
    changes = {key: value for key, value in given.items() if value is not None}
    if not changes:
        raise click.UsageError("nothing to change: give --writes, --reads, --index or --by-hand")
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "change", "of": "drive", "name": name, **changes, "reason": reason, "at": stamp(writer)}
        writer.add(line)
    json_lines([line]) if as_json else lines([f"drive {name} changed: {', '.join(changes)}"])
