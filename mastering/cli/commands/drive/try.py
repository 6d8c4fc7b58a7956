"""`obverse drive try`."""

import tempfile
from pathlib import Path

import click

from mastering.cli.options import ledger_option, open_ledger, shelves
from mastering.cli.output import lines


@click.command(short_help="Prove what a bench file says of a drive.")
@click.argument("drive")
@click.option("--bench", "bench_file", required=True, type=click.Path(), metavar="FILE", help="The table's bench.toml.")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters that the disc may be of.")
@ledger_option
def command(drive: str, bench_file: str, shelf: str | None, ledger: str | None) -> int:
    """Run DRIVE's `probe`, or its `read`, on whatever is in it: what ran, what came back, what it would be taken for.

    No disc is written and nothing is recorded. Exit status 1: something of it can't be used, and the key behind it is named.
    """
    from mastering.bench.checking import try_drive
    from mastering.bench.settings import load
    from mastering.errors import MasteringError, unknown
    from mastering.recording.masters import AtHand
    from mastering.words.hands import tried_text

    bench = load(Path(bench_file))
    if drive not in bench.drives:
        raise MasteringError(f"{bench_file}: {unknown(drive, list(bench.drives))}")
    with open_ledger(ledger) as opened:
        with opened.read() as known:
            batches = tuple(each.line for each in known.batches())
        at_hand = AtHand(opened.path, batches, shelves(shelf))
        with tempfile.TemporaryDirectory(prefix="obverse-try-") as folder:
            tried = try_drive(bench.drives[drive], Path(folder), at_hand)
            lines(tried_text(tried))
    return 1 if tried.problem else 0
