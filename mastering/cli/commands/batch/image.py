"""`obverse batch image`."""

import os
from pathlib import Path

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves
from mastering.cli.output import json_lines, lines
from mastering.errors import MasteringError
from mastering.judging.verdict import sides_text


@click.command(short_help="Make what a drive is to write on one disc.")
@click.argument("batch")
@click.argument("serial")
@click.option("--side", metavar="S", required=True, help="The side, A or B.")
@click.option(
    "--out", type=click.Path(), required=True, metavar="FILE", help="The file to make: a capture if it ends in .capture, else a dump."
)
@click.option("--again", is_flag=True, help="Also for a side that is written and was not judged bad.")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters, when the batch's was moved.")
@ledger_option
@json_option("Print a JSON line.")
def command(batch: str, serial: str, side: str, out: str, again: bool, shelf: str | None, ledger: str | None, as_json: bool) -> None:
    """Make what a drive is to write on a side of the disc SERIAL of BATCH: the master's side with this serial in its place.

    Refused for a disc that was rejected, and for one of a closed batch.
    """
    from mastering.files import digest, write_file
    from mastering.master.stamp import image
    from mastering.recording.masters import find_master
    from mastering.recording.writing import before_writing, check_writable

    with open_ledger(ledger) as opened, opened.read() as known:
        found = known.batch(batch)
        disc = known.disc(serial, found)
        if side not in found.sides:
            raise MasteringError(f"--side {side}: this master has {sides_text(found.sides)}")
        check_writable(disc)
        early = None if again else before_writing(disc, side)
        master = find_master(found, opened.path, shelves(shelf), whole=False)
    if os.path.lexists(out):
        raise MasteringError(f"{out}: exists already; name a file that does not, so that no disc gets another one's serial")
    data = image(master.sides[side], serial, out.lower().endswith(".capture"))
    write_file(Path(out), data)
    if early:
        click.echo(f"obverse: {early}", err=True)
    slot = master.sides[side].slot is not None
    if as_json:
        json_lines(
            [{"batch": batch, "serial": serial, "side": side, "file": out, "bytes": len(data), "sha256": digest(data), "stamped": slot}]
        )
    else:
        lines([f"{out}: side {side} of {serial}" + ("" if slot else " (this side has no place for a serial)")])
