"""`obverse batch amend`."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, reason_option, stamp
from mastering.cli.output import json_lines, lines
from mastering.words.batches import disc_text


@click.command(short_help="Correct what was said of a disc, or of a drive's reads.")
@click.argument("batch")
@click.argument("serial", required=False)
@click.option("--lot", metavar="L", help="The lot that it is from.")
@click.option("--inner", type=click.IntRange(1), metavar="N", help="The inner box of the lot that it is from.")
@click.option("--wrote", metavar="D", help="The drive that wrote it; with --read, the writing that was read.")
@click.option("--read", type=click.IntRange(1), metavar="N", help="The read meant, by its number (`batch show BATCH SERIAL`).")
@click.option("--void", is_flag=True, help="That read settles nothing: it was of another disc, or made by mistake.")
@click.option("--read-by", metavar="D", help="The drive that made that read; without a SERIAL, the drive whose reads are struck out.")
@click.option("--since", metavar="TIME", help="Since when, as 2026-11-25T19:30:00Z.")
@click.option("--restore", is_flag=True, help="Take back that it was rejected, and allow one more writing of each side.")
@click.option("--operator", metavar="NAME", help="Who says so.")
@reason_option("Why.")
@ledger_option
@json_option("Print the disc's line (without a SERIAL, one for each disc).")
def command(
    batch: str,
    serial: str | None,
    lot: str | None,
    inner: int | None,
    wrote: str | None,
    read: int | None,
    void: bool,
    read_by: str | None,
    since: str | None,
    restore: bool,
    operator: str | None,
    reason: str,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Correct what was said of the disc SERIAL of BATCH. Nothing is erased: the correction is a new row.

    Without a SERIAL: strike out all reads of a drive in BATCH since a time (--read-by, --since, --void).
    """
    from mastering.recording.corrections import Correction, correct, strike_out

    if serial is None:
        if not (read_by and since and void) or lot or inner or wrote or read or restore:
            raise click.UsageError("without a SERIAL: --read-by D --since TIME --void strikes out a drive's reads")
    elif not (lot or inner or wrote or void or restore or read_by):
        raise click.UsageError("nothing to correct: give --lot, --inner, --wrote, --restore, or --read with --void or --read-by")
    elif since is not None:
        raise click.UsageError("--since is said of a drive's reads in the whole batch: leave the SERIAL out")
    given = Correction(lot, inner, wrote, read, void, read_by, restore, reason, operator)
    with open_ledger(ledger) as opened:
        with opened.write() as writer:
            at = stamp(writer)
            serials = strike_out(writer, batch, given, str(since), at) if serial is None else [correct(writer, batch, serial, given, at)]
        with opened.read() as known:
            discs = [known.known_disc(each) for each in serials]
    json_lines(disc.plain() for disc in discs) if as_json else lines(map(disc_text, discs))
