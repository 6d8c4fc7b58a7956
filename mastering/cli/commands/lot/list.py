"""`obverse lot list`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shop
from mastering.cli.output import json_lines, lines, message
from mastering.words.bench import lots_table


@click.command(short_help="List the lots.")
@click.option(
    "--disc-price", type=click.FloatRange(0), metavar="P", help="What the time for one disc costs, to tell what a good disc costs."
)
@ledger_option
@json_option("Print a JSON line for each.")
def command(disc_price: float | None, ledger: str | None, as_json: bool) -> None:
    """List the lots of blanks: how many there were, how many discs were made of them, and what is known of them.

    With the price of a disc's time (or that of `shop.toml`), and for lots whose blanks' price was said: what a good disc costs of each lot
    and of each supplier, blank and time together, between its limits.
    """
    from mastering.deciding.costs import good_discs
    from mastering.ledger.supply import judged_lots
    from mastering.ledger.tables import LOTS
    from mastering.words.planning import good_discs_table

    time = shop().settings.get("disc_price") if disc_price is None else disc_price
    with open_ledger(ledger) as opened, opened.read() as known:
        lots = [(known.lot(name), known.used(name)) for name in known.ids(LOTS)]
        costs = [] if time is None or as_json else good_discs(judged_lots(known), float(time))
    if as_json:
        json_lines(line for line, _ in lots)
    elif lots:
        lines([lots_table(lots), *([good_discs_table(costs)] if costs else [])])
    else:
        message("no lot yet; `obverse lot add` makes one")
