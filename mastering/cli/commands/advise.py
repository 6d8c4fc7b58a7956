"""`obverse advise`: from rates to decisions."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shop
from mastering.cli.output import json_lines, lines, message
from mastering.cli.prices import price_options, prices
from mastering.deciding.sampling import checked_in_all, let_through

_SEED = 20261125  # of the draws that say where harmless discs would have failed: the same ledger gets the same advice


_BATCH, _BAD = 200, 6  # discs, and bad ones among them, that the help page reckons with
_SAMPLE, _ALLOWED, _STRICT = 32, 2, 59  # discs of a usual sample and bad ones allowed in it; discs of one that allows none

_HELP = f"""One sentence for every open batch, lot and drive, the most urgent first: stop the lot, clean the drive, go on.

With both prices (or those of `shop.toml`) a lot that is bad, but cheaper to use up than to replace, is not stopped.

Every disc is verified all the same, and nothing here ends that. Checking only some lets bad ones through: of {_BATCH} discs with {_BAD} bad
ones among them, a sample of {_SAMPLE} in which two may be bad sends {let_through(_SAMPLE, _ALLOWED, _BATCH, _BAD):.1f} of the {_BAD} to
customers on average, and a plan that sends fewer than one checks {checked_in_all(_STRICT, 0, _BATCH, _BAD):.0f} of the {_BATCH} anyway.
And a lot that was good so far can turn bad half-way.

Many things are compared at once, so one that merely looks odd is not called bad: the limits are set so that few false alarms are left.
Who is to blame is said no sooner than 20 discs after an alarm: at the alarm itself chance has had its best moment.
"""


@click.command(short_help="Say what to stop, what to look at, and what is fine.", help=_HELP)
@click.option("--why", is_flag=True, help="Show the figures behind each sentence.")
@price_options
@ledger_option
@json_option("Print a JSON line for each.")
def command(why: bool, blank_price: float | None, disc_price: float | None, ledger: str | None, as_json: bool) -> None:
    """Says what the ledger's statistics call for."""
    import numpy as np

    from mastering.cli.settings import settings
    from mastering.deciding.advice import advise
    from mastering.ledger.in_use import in_use, simulated
    from mastering.ledger.outcomes import history
    from mastering.words.advice import entry_text, line

    with open_ledger(ledger) as opened, opened.read() as known:
        rng = np.random.default_rng(_SEED)
        entries = advise(history(known), in_use(known), settings(shop()), rng, prices(blank_price, disc_price))
        unreal = simulated(known)
    if as_json:
        json_lines(line(entry, simulated=(entry.about, entry.name) in unreal) for entry in entries)
    elif entries:
        lines(block for entry in entries for block in entry_text(entry, simulated=(entry.about, entry.name) in unreal, why=why))
    else:
        message("nothing is in use: no lot, drive or open batch")
