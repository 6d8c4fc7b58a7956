"""`obverse batch open`."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mastering.cli.options import batch_rules, json_option, ledger_option, open_ledger, shelves, shop, stamp
from mastering.cli.output import json_lines, lines, warning
from mastering.errors import ProblemsError
from mastering.judging.verdict import sides_text
from mastering.master.master import open_master

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from mastering.ledger.log_writer import LogWriter
    from mastering.master.master import Master


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
@click.option("--rework", "reworks", metavar="BATCH", help="Make them of the discs of a batch of another revision, which closes.")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="With --rework: where the earlier master lies, if it was moved.")
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
    reworks: str | None,
    shelf: str | None,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Open a batch of copies of MASTER.

    Refused when the master does not go together with the blanks or the drives, or when another content was opened before as the same
    revision. Writing over a disc can't be undone: make sure that nobody needs what is on the blanks.
    """
    from mastering.recording.opening import EACH_SIDE, BatchRequest, batch_line, unfit

    if continues and reworks:
        raise click.UsageError("--continue is of the same master, --rework of another one: give one of them")
    opened_master, rules = open_master(Path(master)), batch_rules(shop())
    rules = replace(rules, rewrites=rules.rewrites if rewrites is None else rewrites, verify=EACH_SIDE if each_side else rules.verify)
    marked = {"both": tuple(opened_master.sides), None: ()}.get(unserialled, (unserialled,))
    request = BatchRequest(good, lots, drives, operator, rules, tuple(str(side) for side in marked), older, continues, reworks)
    with open_ledger(ledger) as opened, opened.write() as writer:
        found = list(unfit(writer, opened_master, request))
        refused = [misfit.what for misfit in found if misfit.refused]
        if refused:
            raise ProblemsError(refused)
        line = batch_line(writer, opened_master, request, opened.path) | {"at": stamp(writer)}
        further, texts = _taken(writer, opened_master, line, opened.path, shelves(shelf))
        for each in (line, *further):
            writer.add(each)
    for misfit in found:
        warning(misfit.what)
    if as_json:
        json_lines([{"batch": line["batch"], "digest": line["digest"]}])
    else:
        lines([f"batch {line['batch']}: {good} good discs of {opened_master.label}", *texts])
        lines([f"next: obverse batch image {line['batch']} --next {good} --out DIR"])


def _taken(
    writer: "LogWriter", master: "Master", line: "Mapping[str, Any]", ledger: Path, shelves: "Iterable[Path]"
) -> "tuple[list[Mapping[str, Any]], list[str]]":
    """The rows by which a batch takes over the discs of another, and what there is to say of them."""
    from mastering.recording.masters import find_master
    from mastering.recording.opening import rework_lines, reworked, take_lines, taken_over

    name = line["continues"] or line["reworks"]
    if name is None:
        return [], []
    if line["continues"]:
        discs = taken_over(writer, master, name)
        serials = ", ".join(disc.serial for disc in discs)
        return list(take_lines(line, discs)), [f"took over from {name}: {serials or 'nothing, as it left nothing unfinished'}"]
    source = writer.batch(name)
    rework = reworked(writer, master, name, find_master(source, ledger, shelves, whole=False))
    texts = [f"took over from {name}, which is closed: {', '.join(disc.serial for disc in rework.taken) or 'nothing'}"]
    texts += [f"to be written: {sides_text(rework.sides)}" if rework.sides else "no side is to be written: both are as they were"]
    texts += [f"not taken: {disc.serial} is {disc.state}" for disc in rework.away]
    return list(rework_lines(line, rework, source)), texts
