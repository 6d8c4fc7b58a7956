"""`obverse batch reject`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines
from mastering.errors import MasteringError
from mastering.words.batches import disc_text


@click.command(short_help="Reject a disc by eye.")
@click.argument("batch")
@click.argument("serial")
@click.option("--by-eye", is_flag=True, required=True, help="It was seen to be bad: scratched, mouldy, bent.")
@click.option("--lot", metavar="L", help="The lot that it is from, where the batch has several and the disc was not read yet.")
@click.option("--inner", type=click.IntRange(1), metavar="N", help="The inner box of the lot that it is from.")
@click.option("--operator", metavar="NAME", help="Who saw it.")
@reason_option("What was seen.")
@ledger_option
@json_option("Print the disc's line.")
def command(
    batch: str,
    serial: str,
    by_eye: bool,
    lot: str | None,
    inner: int | None,
    operator: str | None,
    reason: str,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Reject the disc SERIAL of BATCH for what was seen of it, whatever its reads gave.

    A mouldy or shedding disc soils the heads: don't put it into a drive at all.
    """
    with open_ledger(ledger) as opened:
        with opened.write() as writer:
            disc = writer.disc(serial, writer.batch(batch))
            serial = disc.serial
            if disc.standing.by_eye:
                raise MasteringError(f"{serial}: it was rejected by eye already (`batch show {batch} {serial}`); nothing was changed")
            if disc.lot is None and lot is None and len(disc.batch.lots) > 1:
                raise MasteringError(f"{serial}: its batch has the lots {', '.join(disc.batch.lots)}; say with --lot which one it is from")
            line = {"kind": "reject", "batch": batch, "serial": serial, "lot": lot, "inner": inner, "operator": operator, "reason": reason}
            writer.add(line | {"at": stamp(writer)})
        with opened.read() as known:
            disc = known.disc(serial, known.batch(batch))
    json_lines([disc.plain()]) if as_json else lines([disc_text(disc)])
