"""`obverse batch open`."""

from dataclasses import replace
from pathlib import Path

import click

from mastering.cli.options import batch_rules, json_option, ledger_option, open_ledger, shop, stamp
from mastering.cli.output import json_lines, lines, warning
from mastering.errors import ProblemsError
from mastering.master.master import open_master


@click.command(short_help="Open a batch of a master's copies.")
@click.argument("master", type=click.Path())
@click.option("--good", type=click.IntRange(1), required=True, metavar="N", help="How many good discs are wanted.")
@click.option("--lot", "lots", multiple=True, required=True, metavar="L", help="A lot that the blanks are from; may be given again.")
@click.option("--drive", "drives", multiple=True, required=True, metavar="D", help="A drive that writes or reads them; may be given again.")
@click.option("--operator", metavar="NAME", help="Who makes them.")
@click.option("--rewrites", type=click.IntRange(0, 9), metavar="N", help="How often a side may be written again.  [default: the shop's, 1]")
@click.option("--each-side", is_flag=True, help="Judge each side by itself: no last look at a side after the other one was written.")
@click.option("--unserialled", type=click.Choice(["A", "B", "both"]), help="A side that may carry the master's marker instead of a serial.")
@click.option("--older", is_flag=True, help="Also when the master was superseded.")
@click.option("--continue", "continues", metavar="BATCH", help="Take over the unfinished discs of a closed batch of the same master.")
@ledger_option
@json_option("Print the batch's name and its master's digest.")
def command(
    master: str,
    good: int,
    lots: tuple[str, ...],
    drives: tuple[str, ...],
    operator: str | None,
    rewrites: int | None,
    each_side: bool,
    unserialled: str | None,
    older: bool,
    continues: str | None,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Open a batch of copies of MASTER.

    Refused when the master does not go together with the blanks or the drives, or when another content was opened before as the same
    revision. Writing over a disc can't be undone: make sure that nobody needs what is on the blanks.
    """
    from mastering.recording.opening import EACH_SIDE, BatchRequest, batch_line, take_lines, taken_over, unfit

    opened_master, rules = open_master(Path(master)), batch_rules(shop())
    rules = replace(rules, rewrites=rules.rewrites if rewrites is None else rewrites, verify=EACH_SIDE if each_side else rules.verify)
    marked = {"both": tuple(opened_master.sides), None: ()}.get(unserialled, (unserialled,))
    request = BatchRequest(good, lots, drives, operator, rules, tuple(str(side) for side in marked), older, continues)
    with open_ledger(ledger) as opened, opened.write() as writer:
        found = list(unfit(writer, opened_master, request))
        refused = [misfit.what for misfit in found if misfit.refused]
        if refused:
            raise ProblemsError(refused)
        discs = taken_over(writer, opened_master, continues) if continues else []
        line = batch_line(writer, opened_master, request, opened.path) | {"at": stamp(writer)}
        writer.add(line)
        for each in list(take_lines(line, discs)):
            writer.add(each)
    for misfit in found:
        warning(f"{misfit.what}")
    if as_json:
        json_lines([{"batch": line["batch"], "digest": line["digest"]}])
        return
    name = line["batch"]
    lines([f"batch {name}: {good} good discs of {opened_master.label}"])
    lines(
        [f"took over from {continues}: {', '.join(disc.serial for disc in discs) or 'nothing, as it left nothing unfinished'}"]
        if continues
        else []
    )
    lines([f"next: obverse batch image {name} --next {good} --out DIR"])
