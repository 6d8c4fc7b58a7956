"""`obverse batch list`."""

from typing import TYPE_CHECKING

import click

from mastering.cli.options import json_option, ledger_option, open_ledger
from mastering.cli.output import json_lines, lines, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from mastering.ledger.entities import Batch


@click.command(short_help="List the batches.")
@ledger_option
@json_option("Print a JSON line for each.")
def command(ledger: str | None, as_json: bool) -> None:
    """List the batches, and how their discs stand."""
    with open_ledger(ledger) as opened, opened.read() as known:
        found = [(batch, known.counts(batch)) for batch in known.batches()]
    if as_json:
        json_lines(dict(batch.line) | {"state": "open" if batch.open else "closed", "discs": counts} for batch, counts in found)
    elif found:
        head = ("batch", "state", "master", "wanted", "good", "in doubt", "bad", "open", "opened")
        lines(table([head, *(_row(batch, counts) for batch, counts in found)]))
    else:
        click.echo("no batch yet; `obverse batch open` makes one", err=True)


def _row(batch: "Batch", counts: "Mapping[str, int]") -> tuple[str, ...]:
    line = batch.line
    standing = (str(counts["pass"]), str(counts["marginal"]), str(counts["fail"]), str(counts["open"]))
    return batch.name, "open" if batch.open else "closed", line["master"], str(line["good"]), *standing, line["at"]
