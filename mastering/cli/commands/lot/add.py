"""`obverse lot add`: a supply of blanks."""

import click

from mastering.cli.lot_facts import lot_facts
from mastering.cli.options import json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Add a lot of blanks.")
@click.argument("name")
@lot_facts
@ledger_option
@json_option("Print the lot's line.")
def command(name: str, ledger: str | None, as_json: bool, **facts: object) -> None:
    """Add the lot NAME: a supply of blanks that came together, and what is known of them.

    What does not go together with a master, such as high-density blanks, is then refused when a batch is opened.
    """
    from mastering.ledger.lines import check_name

    check_name(name, "lot")
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "lot", "name": name, **facts, "at": stamp(writer)}
        writer.add(line)
    json_lines([line]) if as_json else lines([f"lot {name} added"])
