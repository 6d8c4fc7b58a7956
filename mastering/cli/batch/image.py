"""`obverse batch image`."""

import os
from pathlib import Path

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves
from mastering.cli.output import json_lines, lines
from mastering.errors import MasteringError


@click.command(short_help="Make what a drive is to write on one disc.")
@click.argument("batch")
@click.argument("serial")
@click.option("--side", metavar="S", required=True, help="The side, A or B.")
@click.option(
    "--out", type=click.Path(), required=True, metavar="FILE", help="The file to make: a capture if it ends in .capture, else a dump."
)
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters, when the batch's was moved.")
@ledger_option
@json_option("Print a JSON line.")
def command(batch: str, serial: str, side: str, out: str, shelf: str | None, ledger: str | None, as_json: bool) -> None:
    """Make what a drive is to write on a side of the disc SERIAL of BATCH: the master's side with this serial in its place."""
    from mastering.at_hand import find_master
    from mastering.files import digest, write_file
    from mastering.stamp import image

    with open_ledger(ledger) as opened, opened.read() as known:
        found = known.batch(batch)
        disc = known.disc(serial, found)
        if disc.rejected:
            raise MasteringError(f"{serial}: it was rejected by eye; take another blank and the next serial")
        master = find_master(found, opened.path, shelves(shelf), whole=False)
    if side not in master.sides:
        raise MasteringError(f"--side {side}: this master has side {' and '.join(master.sides)}")
    if os.path.lexists(out):
        raise MasteringError(f"{out}: exists already; name a file that does not, so that no disc gets another one's serial")
    data = image(master.sides[side], serial, out.lower().endswith(".capture"))
    write_file(Path(out), data)
    slot = master.sides[side].slot is not None
    if as_json:
        json_lines(
            [{"batch": batch, "serial": serial, "side": side, "file": out, "bytes": len(data), "sha256": digest(data), "stamped": slot}]
        )
    else:
        lines([f"{out}: side {side} of {serial}" + ("" if slot else " (this side has no place for a serial)")])
