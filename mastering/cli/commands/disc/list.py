"""`obverse disc list`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, point_in_time
from mastering.cli.output import json_lines, lines, message
from mastering.words.discs import discs_table

_STATES = (
    "handed-out", "working", "unused", "abandoned", "rejected", "in-stock", "boxed", "packed", "shipped", "returned", "kept", "withdrawn",
)  # fmt: skip


@click.command(short_help="List discs, by what is asked of them.")
@click.option("--title", metavar="T", help="Of this title, or of this catalogue number.")
@click.option("--revision", metavar="R", help="Of this revision.")
@click.option("--batch", metavar="B", help="Of this batch.")
@click.option("--lot", metavar="L", help="From this lot.")
@click.option("--inner", type=click.IntRange(1), metavar="N", help="From this inner box.")
@click.option("--wrote", metavar="D", help="Written by this drive.")
@click.option("--read", metavar="D", help="Read by this drive.")
@click.option("--from", "since", metavar="DATE", help="From this day or time on.")
@click.option("--to", "until", metavar="DATE", help="Up to this day or time, that one included.")
@click.option("--when", type=click.Choice(["written", "read", "packed", "shipped"]), help="Which date.  [default: written]")
@click.option("--verdict", type=click.Choice(["pass", "marginal", "fail", "open"]), help="With this verdict.")
@click.option("--state", type=click.Choice(_STATES), help="In this state.")
@click.option("--failed-first", is_flag=True, help="Whose first read of a side did not pass.")
@click.option("--order", metavar="O", help="In this order.")
@click.option("--orders", is_flag=True, help="Also the orders that hold them.")
@click.option("--margin", is_flag=True, help="Also the worst margin that flux reads found.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(orders: bool, margin: bool, since: str | None, until: str | None, ledger: str | None, as_json: bool, **asked: object) -> None:
    """List the discs that are asked for, as they were handed out. A day is the local one.

    Dates are of the newest writing's first read, unless --when says otherwise.
    """
    from mastering.ledger.disc_list import Wanted, disc_lines

    times = {"since": point_in_time(since, "--from"), "until": point_in_time(until, "--to", end=True)}
    wanted = Wanted(**asked, **times)  # type: ignore[arg-type]
    with open_ledger(ledger) as opened, opened.read() as known:
        found = list(disc_lines(known, wanted, orders, margin))
    if as_json:
        json_lines(found)
    elif found:
        further = [key for key, asked_for in (("order", orders), ("margin", margin)) if asked_for]
        lines([discs_table(found, further)])
    else:
        message("no disc is like that")
