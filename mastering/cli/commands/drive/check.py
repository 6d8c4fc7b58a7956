"""`obverse drive check`."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves, stamp
from mastering.cli.output import json_lines, lines, message

if TYPE_CHECKING:
    from mastering.bench.checking import DriveCheck
    from mastering.judging.verdict import Verdict
    from mastering.recording.masters import AtHand


@click.command(short_help="Check a drive with a disc that is known to be good.")
@click.argument("drive")
@click.argument("master", type=click.Path())
@click.option("--bench", "bench_file", required=True, type=click.Path(), metavar="FILE", help="The table's bench.toml.")
@click.option("--serial", metavar="SERIAL", help="The reference disc's serial.")
@click.option("--blank", "lot", metavar="LOT", help="No reference disc: write a fresh blank of this lot here, read it in another drive.")
@ledger_option
@json_option("Print the row.")
def command(drive: str, master: str, bench_file: str, serial: str | None, lot: str | None, ledger: str | None, as_json: bool) -> int:
    """Read a reference disc of MASTER in DRIVE, or write a fresh blank in it; a passing check ends a hold. Required after `repaired`.

    Never put a disc that sheds its coating into a drive. What is on the blank is lost. Exit status 1: the check did not pass.
    """
    from mastering.bench.checking import DriveCheck
    from mastering.bench.settings import load
    from mastering.errors import MasteringError, unknown
    from mastering.ledger.tables import LOTS
    from mastering.master.master import open_master
    from mastering.recording.masters import AtHand

    bench = load(Path(bench_file))
    if drive not in bench.drives:
        raise MasteringError(f"{bench_file}: {unknown(drive, list(bench.drives))}")
    if (serial is None) == (lot is None):
        raise click.UsageError("say which disc: --serial of a reference disc, or --blank LOT")
    with open_ledger(ledger) as opened:
        with opened.read() as known:
            if lot is not None:
                known.id_of(LOTS, "lot", lot)
            others = AtHand(opened.path, tuple(each.line for each in known.batches()), shelves(None))
        check = DriveCheck(bench, bench.drives[drive], open_master(Path(master)), opened.path.absolute().parent / "bench" / "checks")
        verdict = _reference(check, serial) if serial is not None else _blank(check, str(lot), others)
        ok = verdict.verdict == "pass"
        with opened.write() as writer:
            line = {"kind": "drive-check", "drive": drive, "ok": ok, "digest": check.master.digest, "at": stamp(writer)}
            writer.add(line)
    if as_json:
        json_lines([line])
    else:
        lines([f"drive {drive}: the check passed; a hold is over" if ok else f"drive {drive}: the check did not pass ({verdict.verdict})"])
    return 0 if ok else 1


def _reference(check: "DriveCheck", serial: str) -> "Verdict":
    _ask(f"Put the reference disc {serial} into {check.drive.name}, label up.")
    return check.read(serial)


def _blank(check: "DriveCheck", lot: str, others: "AtHand") -> "Verdict":
    _ask(f"Put a fresh blank of lot {lot} into {check.drive.name}, label up.")
    check.write(others)
    reader = check.other_reader
    if reader is not check.drive:
        _ask(f"Move it from {check.drive.name} to {reader.name}, label up.")
    return check.read(None, reader)


def _ask(text: str) -> None:
    """Asks for something to be done by hand, and waits for a key where somebody can press one."""
    message(text)
    if sys.stdin is not None and sys.stdin.isatty():
        click.pause("Then press any key.", err=True)
