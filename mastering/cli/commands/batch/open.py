"""`obverse batch open`."""

from pathlib import Path

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shop, stamp
from mastering.cli.output import json_lines, lines
from mastering.errors import ProblemsError
from mastering.master.master import open_master


@click.command(short_help="Open a batch of a master's copies.")
@click.argument("master", type=click.Path())
@click.option("--good", type=click.IntRange(1), required=True, metavar="N", help="How many good discs are wanted.")
@click.option("--lot", "lots", multiple=True, required=True, metavar="L", help="A lot that the blanks are from; may be given again.")
@click.option("--drive", "drives", multiple=True, required=True, metavar="D", help="A drive that writes them; may be given again.")
@click.option("--operator", metavar="NAME", help="Who makes them.")
@ledger_option
@json_option("Print the batch's name and its master's digest.")
def command(
    master: str, good: int, lots: tuple[str, ...], drives: tuple[str, ...], operator: str | None, ledger: str | None, as_json: bool
) -> None:
    """Open a batch of copies of MASTER.

    Refused when the master does not go together with the blanks or the drives, or when another content was opened before as the same
    revision. Writing over a disc can't be undone: make sure that nobody needs what is on the blanks.
    """
    from mastering.recording.opening import Run, batch_line, unfit

    opened_master, run = open_master(Path(master)), Run(good, lots, drives, operator)
    with open_ledger(ledger) as opened, opened.write() as writer:
        found = list(unfit(writer, opened_master, run))
        refused = [misfit.what for misfit in found if misfit.refused]
        if refused:
            raise ProblemsError(refused)
        line = batch_line(writer, opened_master, run, shop().ledger(ledger)) | {"at": stamp(writer)}
        writer.add(line)
    for misfit in found:
        click.echo(f"obverse: {misfit.what}", err=True)
    if as_json:
        json_lines([{"batch": line["batch"], "digest": line["digest"]}])
    else:
        name = line["batch"]
        lines([f"batch {name}: {good} good discs of {opened_master.label}", f"next: obverse batch serials {name} --count {good}"])
