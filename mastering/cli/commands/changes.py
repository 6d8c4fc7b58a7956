"""`obverse changes`: what differs between two masters."""

from pathlib import Path

import click

from mastering.cli.output import json_lines, lines
from mastering.words.masters import changes_text


@click.command(short_help="Show what differs between two masters.")
@click.argument("old", type=click.Path())
@click.argument("new", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each change.")
def command(old: str, new: str, as_json: bool) -> None:
    """Show what differs in the master NEW from the master OLD: files added, removed, changed or renamed, and the sectors.

    A side that keeps its bytes is named as such: its discs are good for either master. Free sectors that differ in their text only are
    counted apart. Exit status 0 whether anything is other or not.
    """
    from mastering.master.changes import changes
    from mastering.master.master import open_master

    was, now = (open_master(Path(each), whole=False) for each in (old, new))
    found = list(changes(was, now))
    if as_json:
        json_lines(found)
    else:
        lines(changes_text(was, now, found))
