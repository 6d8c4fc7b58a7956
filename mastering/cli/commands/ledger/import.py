"""`obverse ledger import`."""

import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import BinaryIO

import click

from formats.words import counted
from mastering.cli.options import ledger_option, open_ledger
from mastering.cli.output import message
from mastering.errors import MasteringError


@click.command(short_help="Add the rows of another ledger's export.")
@click.argument("file", type=click.Path())
@ledger_option
def command(file: str, ledger: str | None) -> None:
    """Add every line of FILE (- for standard input), which `ledger export` printed, to a ledger; or none when one is wrong.

    No master is needed. A line that was changed since its export is refused, and so are names and serials that the ledger has already.
    """
    from mastering.ledger.exchange import take

    name = "standard input" if file == "-" else file
    with open_ledger(ledger) as opened, _opened(file) as stream:
        count = take(opened, _lines(stream, name), name)
    message(f"{counted(count, 'row')} imported" + ("" if count else f": {name} has no line"))


def _opened(file: str) -> AbstractContextManager[BinaryIO]:
    """The file's bytes. MasteringError when it can't be read."""
    try:
        return nullcontext(sys.stdin.buffer) if file == "-" else Path(file).open("rb")
    except OSError as error:
        raise MasteringError(f"{file}: can't be read: {error.strerror}") from error


def _lines(stream: BinaryIO, name: str) -> Iterator[str]:
    """A stream's lines, none longer than one character more than a line may have. MasteringError when one is no UTF-8 text."""
    from mastering.ledger.lines import LONGEST_LINE

    number = 0
    try:
        while line := stream.readline(LONGEST_LINE + 2):
            number += 1
            yield line.removesuffix(b"\n").decode("utf-8")
    except UnicodeDecodeError as error:
        raise MasteringError(f"{name}, line {number}: not UTF-8 text (byte {error.start} of the line); nothing was imported") from error
    except OSError as error:
        raise MasteringError(f"{name}: can't be read: {error.strerror}") from error
