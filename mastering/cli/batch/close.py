"""`obverse batch close`."""

import click

from mastering.cli.batch_words import batch_plain, counts_text
from mastering.cli.options import json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines


@click.command(short_help="Close a batch, and back the ledger up.")
@click.argument("batch")
@ledger_option
@json_option("Print the batch's line.")
def command(batch: str, ledger: str | None, as_json: bool) -> None:
    """Close BATCH: it takes no more reads. The ledger is copied to the folder `backups` beside it; keep a copy on another disk, too."""
    with open_ledger(ledger) as opened:
        with opened.write() as book:
            book.add({"kind": "close", "batch": batch, "at": stamp(book)})
        with opened.read() as known:
            counts = known.counts(known.batch(batch))
            plain = batch_plain(known.batch(batch), counts)
        json_lines([plain]) if as_json else lines([f"batch {batch} is closed: {counts_text(counts)}"])
        folder = opened.path.absolute().parent / "backups"
        folder.mkdir(exist_ok=True)
        target = folder / f"{opened.path.stem}-{batch}.sqlite"
        opened.backup(target)
    click.echo(f"the ledger was copied to {target}", err=True)
