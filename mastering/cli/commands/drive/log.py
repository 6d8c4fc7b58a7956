"""`obverse drive log`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Note that a drive was cleaned, adjusted, repaired or retired.")
@click.argument("drive")
@click.argument("what", type=click.Choice(["cleaned", "adjusted", "repaired", "retired"]))
@click.option("--note", metavar="TEXT", help="What was done.")
@ledger_option
@json_option("Print the row.")
def command(drive: str, what: str, note: str | None, ledger: str | None, as_json: bool) -> None:
    """Note in the ledger what was done to DRIVE. Its chart begins anew; a hold ends with a passing `drive check` only.

    Clean heads only with what the drive's manual permits, with fresh air; mains inside an open drive are for those who are qualified.
    """
    with open_ledger(ledger) as opened, opened.write() as writer:
        line = {"kind": "drive-log", "drive": drive, "what": what, "note": note, "at": stamp(writer)}
        writer.add(line)
        held = drive in writer.held()
    if as_json:
        json_lines([line])
        return
    lines([f"drive {drive}: {what}; its chart begins anew" if what != "retired" else f"drive {drive}: retired; no batch uses it"])
    if held:
        lines([f"it is still on hold: `obverse drive check {drive} MASTER --bench bench.toml` ends that when it passes"])
