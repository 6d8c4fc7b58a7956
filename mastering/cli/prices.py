"""The prices of a blank and of a disc's time, as commands take them: given, else from `shop.toml`."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from mastering.cli.options import shop

if TYPE_CHECKING:
    from mastering.deciding.costs import Prices


def price_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Adds `--blank-price` and `--disc-price` to a command."""
    disc = click.option("--disc-price", type=click.FloatRange(0), metavar="P", help="What the time for one disc costs, in the same money.")
    return click.option("--blank-price", type=click.FloatRange(0), metavar="P", help="What a new blank costs.")(disc(command))


def prices(blank: float | None, disc: float | None) -> "Prices | None":
    """The prices given, else the shop's; None where there are none. UsageError for one without the other."""
    from mastering.deciding.costs import Prices

    settings = shop().settings
    blank, disc = (settings.get(key) if price is None else price for key, price in (("blank_price", blank), ("disc_price", disc)))
    if (blank is None) != (disc is None):
        raise click.UsageError("give both --blank-price and --disc-price, or neither")
    return None if blank is None or disc is None else Prices(blank, disc)
