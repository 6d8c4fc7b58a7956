"""`obverse advise`: from rates to decisions."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shop
from mastering.cli.output import json_lines, lines, message

_SEED = 20261125  # of the draws that say where harmless discs would have failed: the same ledger gets the same advice


@click.command(short_help="Say what to stop, what to look at, and what is fine.")
@click.option("--why", is_flag=True, help="Show the figures behind each sentence.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(why: bool, ledger: str | None, as_json: bool) -> None:
    """One sentence for every open batch, lot and drive, the most urgent first: stop the lot, clean the drive, go on.

    Every disc is verified all the same, and nothing here ends that. Checking only some lets bad ones through: of 200 discs with 6 bad ones
    among them, a sample of 32 in which two may be bad sends 4.7 of the 6 to customers on average, and a plan that sends fewer than one
    checks 177 of the 200 anyway. And a lot that was good so far can turn bad half-way.

    Many things are compared at once, so one that merely looks odd is not called bad: the limits are set so that few false alarms are left.
    """
    import numpy as np

    from mastering.cli.settings import settings
    from mastering.deciding.advice import advise
    from mastering.ledger.outcomes import history, in_use, simulated
    from mastering.words.advice import entry_text, line

    with open_ledger(ledger) as opened, opened.read() as known:
        entries = advise(history(known), in_use(known), settings(shop()), np.random.default_rng(_SEED))
        unreal = simulated(known)
    if as_json:
        json_lines(line(entry, simulated=(entry.about, entry.name) in unreal) for entry in entries)
    elif entries:
        lines(block for entry in entries for block in entry_text(entry, simulated=(entry.about, entry.name) in unreal, why=why))
    else:
        message("nothing is in use: no lot, drive or open batch")
