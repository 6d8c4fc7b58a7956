"""`obverse ledger check`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines, warning

_ROWS_WHOLE = (
    "the rows of the log are whole: `ledger export` prints them, and `ledger import` makes a sound ledger of them; "
    "if that is refused, go on with the newest backup"
)
_ROWS_LOST = "rows were changed, lost or damaged: move this ledger away and go on with the newest backup"


@click.command(short_help="Check that no row was changed outside the program.")
@ledger_option
@json_option("Print a JSON line for each check.")
def command(ledger: str | None, as_json: bool) -> int:
    """Prove the database's own integrity, the digest chain over its rows, and that its tables are what the rows give.

    Exit status 1 when something was changed, lost or damaged: go on with the newest backup then.
    """
    from mastering.ledger.exchange import check

    with open_ledger(ledger) as opened:
        found = list(check(opened))
    if as_json:
        json_lines({"check": each.check, "ok": each.ok, "problems": list(each.problems)} for each in found)
    else:
        for each in found:
            lines([f"{'good' if each.ok else 'BAD':5}  {each.check}", *(f"       {problem}" for problem in each.problems)])
    bad = {each.check for each in found if not each.ok}
    if bad:
        warning(f"{_ROWS_WHOLE if bad == {'tables'} else _ROWS_LOST}")
    return 0 if all(each.ok for each in found) else 1
