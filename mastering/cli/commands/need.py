"""`obverse need`: how many blanks to lay out."""

from typing import TYPE_CHECKING

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shop
from mastering.cli.output import json_lines, lines
from mastering.cli.prices import price_options, prices

if TYPE_CHECKING:
    from mastering.deciding.rates import Rate


@click.command(short_help="Say how many blanks to lay out for so many good discs.")
@click.option("--good", type=click.IntRange(1, 100_000), required=True, metavar="N", help="How many good discs are wanted.")
@click.option("--lot", metavar="L", help="The lot that the blanks are from; else they are from a new one.")
@click.option("--assurance", type=float, default=0.95, show_default=True, metavar="P", help="How sure it must be that they are enough.")
@price_options
@ledger_option
@json_option("Print a JSON line.")
def command(
    good: int, lot: str | None, assurance: float, blank_price: float | None, disc_price: float | None, ledger: str | None, as_json: bool
) -> None:
    """Say how many blanks to lay out for so many good discs, from what the ledger knows of its lots.

    With both prices (or those of `shop.toml`): the cost, and the share of bad blanks from which on buying others is cheaper than going on
    with these.
    """
    from mastering.cli.settings import settings
    from mastering.deciding.planning import need

    path = shop().ledger(ledger)
    rates: dict[str, Rate] = {}
    left: int | None = None
    if ledger is not None or lot is not None or path.exists():
        with open_ledger(ledger) as opened, opened.read() as known:
            if lot is not None and (count := known.lot(lot)["count"]) is not None:
                left = max(count - known.used(lot), 0)
            rates = {rate.group: rate for rate in known.rates("lot")}
    found = {name: (rate.bad, rate.discs) for name, rate in rates.items()}
    own = None if lot is None else found.get(lot)
    working = sum(int(rate.more.get("working", 0)) for name, rate in rates.items() if own is None or name == lot)
    made = need(good, list(found.values()), own, assurance, prices(blank_price, disc_price), settings(shop()), lot, left, working)
    if as_json:
        json_lines([made.plain()])
    else:
        from mastering.words.planning import need_sentences

        lines(need_sentences(made))
