"""`obverse lot add`: a supply of blanks."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Add a lot of blanks.")
@click.argument("name")
@click.option("--count", type=click.IntRange(1), metavar="N", help="How many blanks there are.")
@click.option("--coercivity", type=click.IntRange(1), metavar="OE", help="Of their coating: about 300 for double, 600 for high density.")
@click.option("--faces", type=click.IntRange(1, 2), metavar="N", help="How many faces their maker certified.")
@click.option("--condition", type=click.Choice(["new", "used", "erased"]), help="Never recorded, recorded, or erased in bulk.")
@click.option("--hub-ring/--no-hub-ring", default=None, help="Whether they have a reinforced hub.")
@click.option("--inner-box", type=click.IntRange(1), metavar="N", help="How many lie in one inner box, often ten.")
@click.option("--price", type=click.FloatRange(0), metavar="P", help="What one blank costs.")
@click.option("--supplier", metavar="TEXT", help="Where they came from.")
@ledger_option
@json_option("Print the lot's line.")
def command(name: str, ledger: str | None, as_json: bool, **facts: object) -> None:
    """Add the lot NAME: a supply of blanks that came together, and what is known of them.

    What does not go together with a master, such as high-density blanks, is then refused when a batch is opened.
    """
    from mastering.ledger.lines import check_name

    check_name(name, "lot")
    with open_ledger(ledger, create=True) as opened, opened.write() as writer:
        line = {"kind": "lot", "name": name, **facts, "at": stamp(writer)}
        writer.add(line)
    json_lines([line]) if as_json else lines([f"lot {name} added"])
