"""`obverse today`: the morning screen."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines
from mastering.words.today import today_plain, today_text


@click.command(short_help="What is open, what waits, what is held.")
@ledger_option
@json_option("Print it as a JSON line.")
def command(ledger: str | None, as_json: bool) -> None:
    """The morning screen: open batches and what each still wants, discs that wait for something, drives held, lots stopped.

    Also orders that can be packed, and how old the newest backup is.
    """
    from mastering.recording.morning import morning

    with open_ledger(ledger) as opened:
        found = morning(opened)
    json_lines([today_plain(found)]) if as_json else lines(today_text(found))
