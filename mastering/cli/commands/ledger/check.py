"""`obverse ledger check`."""

from typing import TYPE_CHECKING

import click

from formats.words import counted
from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines, progress, warning

if TYPE_CHECKING:
    from mastering.ledger.exchange import Checked

_ROWS_WHOLE = (
    "the rows of the log are whole: `ledger export` prints them, and `ledger import` makes a sound ledger of them; "
    "if that is refused, go on with the newest backup"
)
_ROWS_LOST = "rows were changed, lost or damaged: move this ledger away and go on with the newest backup"


@click.command(short_help="Check that no row was changed outside the program.")
@click.option("--digest", metavar="D", help="Whether the ledger still holds the row with this digest, as an earlier check printed it.")
@click.option("--reads", is_flag=True, help="Also that each recorded file that is still there has its digest.")
@ledger_option
@json_option("Print a JSON line for each check, then one with the number of rows and the last digest.")
def command(digest: str | None, reads: bool, ledger: str | None, as_json: bool) -> int:
    """Check the database's own integrity, the digest chain over its rows, and that its tables are what the rows give.

    Prints the number of rows and the last digest: write it down, and --digest says later whether that row is still there. Exit status 1
    when something was changed outside the program, lost or damaged: go on with the newest backup then.
    """
    from mastering.ledger.exchange import Checked, check, end_of
    from mastering.recording.files_kept import changed_files

    with open_ledger(ledger) as opened:
        found = list(check(opened))
        count, last = end_of(opened)
        if digest is not None:
            with opened.read() as known:
                row = known.row_with(digest.strip().lower())
            found.append(Checked("digest", () if row else (f"no row has the digest {digest}: the ledger was changed, or is another one",)))
        if reads:
            found.append(Checked("reads", tuple(changed_files(opened, progress))))
    if as_json:
        json_lines({"check": each.check, "ok": each.ok, "problems": list(each.problems)} for each in found)
        json_lines([{"check": "end", "ok": True, "problems": [], "rows": count, "digest": last}])
    else:
        for each in found:
            lines([f"{'good' if each.ok else 'BAD':5}  {each.check}", *(f"       {problem}" for problem in each.problems)])
        lines([f"{counted(count, 'row')}, the last with the digest {last}" if last else "no row yet"])
    _advise(found)
    return 0 if all(each.ok for each in found) else 1


def _advise(found: "list[Checked]") -> None:
    bad = {each.check for each in found if not each.ok} - {"reads"}
    if bad:
        warning(f"{_ROWS_WHOLE if bad == {'tables'} else _ROWS_LOST}")
