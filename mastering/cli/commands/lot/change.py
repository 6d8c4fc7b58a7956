"""`obverse lot change`."""

import click

from mastering.cli.lot_facts import lot_facts
from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Change what is known of a lot.")
@click.argument("name")
@lot_facts
@reason_option("Why.")
@ledger_option
@json_option("Print the change's line.")
def command(name: str, reason: str, ledger: str | None, as_json: bool, **facts: object) -> None:
    """Change what is known of the lot NAME. Nothing is erased: the change is a new row."""
    changes = {key: value for key, value in facts.items() if value is not None}
    if not changes:
        raise click.UsageError("nothing to change: give --count, --inner-box or another of its facts")
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "change", "of": "lot", "name": name, **changes, "reason": reason, "at": stamp(writer)}
        writer.add(line)
    json_lines([line]) if as_json else lines([f"lot {name} changed: {', '.join(changes)}"])
