"""`obverse batch amend`."""

from typing import TYPE_CHECKING

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines
from mastering.errors import MasteringError
from mastering.words.batches import disc_text

if TYPE_CHECKING:
    from mastering.ledger.entities import Disc


@click.command(short_help="Correct what was said of a disc.")
@click.argument("batch")
@click.argument("serial")
@click.option("--lot", metavar="L", help="The lot that it is from.")
@click.option("--wrote", metavar="D", help="The drive that wrote its newest writings, or with --read the one that was read.")
@click.option("--read", type=click.IntRange(1), metavar="N", help="The read meant, by its number (`batch show BATCH SERIAL`).")
@click.option("--void", is_flag=True, help="That read settles nothing: it was of another disc, or made by mistake.")
@reason_option("Why.")
@ledger_option
@json_option("Print the disc's line.")
def command(
    batch: str,
    serial: str,
    lot: str | None,
    wrote: str | None,
    read: int | None,
    void: bool,
    reason: str,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Correct what was said of the disc SERIAL of BATCH. Nothing is erased: the correction is a new row."""
    if lot is None and wrote is None and not void:
        raise click.UsageError("nothing to correct: give --lot, --wrote, or --read with --void")
    fields = {"lot": lot, "wrote": wrote, "read": read, "void": void, "reason": reason}
    with open_ledger(ledger) as opened:
        with opened.write() as writer:
            disc = writer.disc(serial, writer.batch(batch))
            before = _known(disc)
            writer.add({"kind": "amend", "batch": batch, "serial": serial, **fields, "at": stamp(writer)})
            if _known(disc) == before:
                raise MasteringError(f"{serial}: the ledger says so already; nothing was changed")
        with opened.read() as known:
            disc = known.disc(serial, known.batch(batch))
    json_lines([disc.plain()]) if as_json else lines([disc_text(disc)])


def _known(disc: "Disc") -> tuple[object, ...]:
    """What can be corrected of a disc, as it is now."""
    return disc.lot, [read.void for read in disc.reads], {key: writing.drive for key, writing in disc.writings.items()}
