"""`obverse batch image`."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves
from mastering.cli.output import json_lines, lines, warning
from mastering.errors import MasteringError
from mastering.judging.standing import after_failure
from mastering.judging.verdict import sides_text

if TYPE_CHECKING:
    from mastering.ledger.entities import Disc


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

    with open_ledger(ledger) as opened, opened.read() as known:
        found = known.batch(batch)
        disc = known.disc(serial, found)
        if side not in found.sides:
            raise MasteringError(f"--side {side}: this master has {sides_text(found.sides)}")
        _check(disc)
        early = None if again else _early(disc, side)
        master = find_master(found, opened.path, shelves(shelf), whole=False)
    if os.path.lexists(out):
        raise MasteringError(f"{out}: exists already; name a file that does not, so that no disc gets another one's serial")
    data = image(master.sides[side], serial, out.lower().endswith(".capture"))
    write_file(Path(out), data)
    if early:
        warning(f"{early}")
    slot = master.sides[side].slot is not None
    if as_json:
        json_lines(
            [{"batch": batch, "serial": serial, "side": side, "file": out, "bytes": len(data), "sha256": digest(data), "stamped": slot}]
        )
    else:
        lines([f"{out}: side {side} of {serial}" + ("" if slot else " (this side has no place for a serial)")])


def _check(disc: "Disc") -> None:
    """MasteringError when nothing is ever to be written on a disc again."""
    if not disc.batch.open:
        raise MasteringError(f"{disc.serial}: batch {disc.batch.name} is closed: what is written now can't be recorded")
    if disc.action() == "reject":
        why = "it was rejected by eye" if disc.rejected else "its last writing failed, too"
        raise MasteringError(f"{disc.serial}: {why}; take another blank and the next serial")


def _early(disc: "Disc", side: str) -> str | None:
    """What comes before a failed side's next writing, if anything does. MasteringError when the side may be good as it is."""
    standing = disc.standings()[side]
    if standing.verdict in ("pass", "marginal"):
        why = "good" if standing.verdict == "pass" else "in doubt: read it again"
        raise MasteringError(f"{disc.serial}: side {side} is {why}; to write over it all the same say --again")
    if standing.verdict != "fail":
        return None
    advice = {"read-again": "read it again first", "other-drive": "read it in another drive first"}.get(
        after_failure(standing, disc.batch.drives)
    )
    return advice and f"{disc.serial}: side {side} failed; {advice}, as it may be the reading"
