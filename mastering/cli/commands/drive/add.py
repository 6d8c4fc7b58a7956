"""`obverse drive add`: a drive of the bench."""

import click

from mastering.cli.options import geometry_list, json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines, warning

_USUAL = (48, 96, 100)  # what the declared geometries have; a job's own may have another


@click.command(short_help="Add a disc drive.")
@click.argument("name")
@click.option("--tpi", type=click.IntRange(1, 999), required=True, metavar="N", help="Tracks per inch: usually 48, 96 or 100.")
@click.option("--heads", type=click.IntRange(1, 2), required=True, metavar="N", help="How many heads it has.")
@click.option("--index", type=click.Choice(["needed", "ignored"]), help="Whether it needs the disc's index hole.")
@click.option("--simulated", is_flag=True, help="It is no real drive: whatever it writes or reads is marked so.")
@click.option("--writes", metavar="GEOMETRY,...", help="The geometries that it writes; none: it only reads.  [default: all it can]")
@click.option("--reads", metavar="GEOMETRY,...", help="The geometries that it reads; none: it only writes.  [default: all it can]")
@click.option("--by-hand", metavar="DIR", help="A machine of its own: files are put into and taken from this folder.")
@ledger_option
@json_option("Print the drive's line.")
def command(
    name: str,
    tpi: int,
    heads: int,
    index: str | None,
    simulated: bool,
    writes: str | None,
    reads: str | None,
    by_hand: str | None,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Add the drive NAME, and what is known of it."""
    from mastering.ledger.lines import check_name

    check_name(name, "drive")
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {
            "kind": "drive", "name": name, "tpi": tpi, "heads": heads, "index": index, "simulated": simulated,
            "writes": geometry_list(writes), "reads": geometry_list(reads), "by_hand": by_hand, "at": stamp(writer),
        }  # fmt: skip
        writer.add(line)
    if tpi not in _USUAL:
        warning(f"drive {name}: {tpi} tracks per inch, where {', '.join(map(str, _USUAL))} are usual; is that right?")
    json_lines([line]) if as_json else lines([f"drive {name} added"])
