"""`obverse batch close`."""

from itertools import chain, count
from os.path import lexists
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, stamp
from mastering.cli.output import json_lines, lines, message
from mastering.errors import MasteringError
from mastering.words.batches import batch_plain, closed_text

if TYPE_CHECKING:
    from mastering.ledger.store import Ledger


@click.command(short_help="Close a batch, and back the ledger up.")
@click.argument("batch")
@click.option("--counted", metavar="good=N,...", help="What lies on the table: good, rejected, unused, labels; unlike counts are told.")
@click.option("--reason", metavar="TEXT", help="Why the counts differ.")
@ledger_option
@json_option("Print the batch's line.")
def command(batch: str, counted: str | None, reason: str | None, ledger: str | None, as_json: bool) -> None:
    """Close BATCH: it takes no more reads. The ledger is copied to the folder `backups` beside it; keep a copy on another disk, too."""
    from mastering.ledger.exchange import end_of
    from mastering.recording.closing import compared

    with open_ledger(ledger) as opened:
        with opened.read() as known:
            closing = known.closing_digest(known.batch(batch))
        if closing is None or _is_backed_up(opened, closing):  # else a close was killed before its backup: that is all there is to do
            with opened.write() as writer:
                on_table = None if counted is None else compared(writer, writer.batch(batch), counted, reason)
                given = {} if reason is None else {"reason": reason}
                writer.add({"kind": "close", "batch": batch, "counted": on_table, **given, "at": stamp(writer)})
        rows, digest = end_of(opened)
        with opened.read() as known:
            found = known.batch(batch)
            counts = known.counts(found)
            discs = known.discs(found)
        json_lines([batch_plain(found, counts) | {"rows": rows, "last_digest": digest}]) if as_json else lines(
            closed_text(found, discs, counts)
        )
        try:
            target = _backed_up(opened, batch)
        except (MasteringError, OSError) as error:
            why = f"{error.filename}: {error.strerror}" if isinstance(error, OSError) else str(error)
            raise MasteringError(
                f"{why}; batch {batch} is closed, but the ledger was not copied: say this again, or `obverse ledger backup FILE`"
            ) from error
    message(f"the ledger was copied to {target}: {rows:,} rows, the last with the digest {digest}")


def _is_backed_up(ledger: "Ledger", closing: str) -> bool:
    """Whether a copy beside the ledger holds the row, given by its digest, that closed the batch."""
    from mastering.ledger.store import holds_row

    return any(holds_row(path, closing) for path in _folder(ledger).glob("*.sqlite"))


def _folder(ledger: "Ledger") -> Path:
    return ledger.path.absolute().parent / "backups"


def _backed_up(ledger: "Ledger", batch: str) -> Path:
    """Copies the ledger to a file of the batch's name in the folder `backups` beside it; returns it."""
    folder = _folder(ledger)
    folder.mkdir(exist_ok=True)
    tails = chain([""], (f"-{number}" for number in count(2)))  # another ledger of this name may have closed its own
    paths = (folder / f"{ledger.path.stem}-{batch}{tail}.sqlite" for tail in tails)
    target = next(path for path in paths if not lexists(path))
    ledger.backup(target)
    return target
