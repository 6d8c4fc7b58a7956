"""`obverse disc proof`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves
from mastering.cli.output import json_lines, lines


@click.command(short_help="What shows that a disc was verified.")
@click.argument("serial")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters, when the batch's was moved.")
@ledger_option
@json_option("Print it as a JSON line.")
def command(serial: str, shelf: str | None, ledger: str | None, as_json: bool) -> int:
    """What shows that the disc SERIAL was verified: its reads, the digests of their files and of its master, the chain's rows.

    Proves those that can be proved: the chain over the whole log, the master and the files that are still there. Exit status 1 when one of
    them is not what it was, or the disc is not good.
    """
    from mastering.recording.proving import proof

    with open_ledger(ledger) as opened:
        found = proof(opened, serial, shelves(shelf))
    if as_json:
        json_lines([{"serial": found.serial, "ok": found.ok, "lines": [each.plain() for each in found.lines]}])
    else:
        lines([f"{found.serial}: {'verified' if found.ok else 'NOT PROVED'}", *(f"  {each.text()}" for each in found.lines)])
    return 0 if found.ok else 1
