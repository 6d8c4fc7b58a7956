"""`obverse ledger import`."""

import sys
from pathlib import Path

import click

from mastering.cli.options import ledger_option, open_ledger, shop
from mastering.cli.output import message
from mastering.errors import MasteringError


@click.command(short_help="Take rows that another ledger printed.")
@click.argument("file", type=click.Path())
@ledger_option
def command(file: str, ledger: str | None) -> None:
    """Take every line of FILE (- for standard input), which `ledger export` printed, into a ledger; or none when one is wrong.

    No master is needed. Names of lots, drives, batches and serials that the ledger has already are refused.
    """
    from mastering.ledger.exchange import take, take_anew

    name = "standard input" if file == "-" else file
    try:
        lines = (sys.stdin.buffer.read() if file == "-" else Path(file).read_bytes()).decode("utf-8").split("\n")
    except OSError as error:
        raise MasteringError(f"{file}: can't be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise MasteringError(f"{name}: not UTF-8 text (byte {error.start})") from error
    path = shop().ledger(ledger)
    if path.exists():
        with open_ledger(ledger) as opened:
            count = take(opened, lines, name)
    else:
        count = take_anew(path, lines, name)
    message(f"{count:,} rows imported" + ("" if count else f": {name} has no line"))
