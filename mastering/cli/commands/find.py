"""`obverse find`: which masters carry a piece of data, and which do not."""

import json
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.output import json_lines, lines, message, progress, warning
from mastering.cli.spread import in_order
from mastering.errors import MasteringError
from mastering.master.bag import MasterError
from mastering.master.master import masters_at, open_master
from mastering.words.masters import search_summary, search_text

if TYPE_CHECKING:
    from mastering.master.search import Searcher

_LARGEST = 16 << 20  # bytes of a piece: several times what the largest disc holds


@click.command(short_help="Tell which masters carry a piece of data, and which do not.")
@click.argument("masters", type=click.Path(), nargs=-1, required=True, metavar="MASTER|FOLDER...")
@click.option("--bytes", "file", type=click.Path(), metavar="FILE", help="The piece: the bytes of a file.")
@click.option("--hex", "digits", metavar="BYTES", help='The piece in hexadecimal, such as "4C 41".')
@click.option("--text", metavar="TEXT", help="The piece as a text: in ASCII, and with bit 7 of each byte set, as some machines have it.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each side of each master.")
def command(masters: tuple[str, ...], file: str | None, digits: str | None, text: str | None, as_json: bool) -> int:
    """Tell which sides of which MASTERs carry a piece of data, and which do not: one correction must reach every platform.

    It is looked for in each file's own bytes, whatever sectors they are spread over, and in what no file has; the text in free sectors
    does not count. A folder stands for the masters in it. Exit status 0 whether it was found or not, 2 when a master could not be read.
    """
    from mastering.master.search import Searcher

    searcher = Searcher(_pieces(file, digits, text))
    wrong: list[str] = []
    folders = list(_folders(masters, wrong))
    carried: list[str] = []
    without: list[str] = []
    for problem in wrong:
        warning(str(problem))
    status = MasteringError.status if wrong else 0
    for state, made in progress(in_order(folders, partial(_searched, searcher)), "masters", len(folders)):
        if state == "error":
            warning(str(made))
            status = MasteringError.status
            continue
        for line in map(json.loads, made.splitlines()):
            (carried if line["found"] else without).append(f"{line['title']} {line['side']}")
            json_lines([line]) if as_json else lines(search_text(line))
    if folders:
        message(search_summary(carried, without))
    return status


def _pieces(file: str | None, digits: str | None, text: str | None) -> list[bytes]:
    """The bytes to look for: one spelling of a file or of hexadecimal digits, two of a text (with and without bit 7)."""
    if [file, digits, text].count(None) != 2:
        raise click.UsageError("give the piece in one way: --bytes FILE, --hex BYTES or --text TEXT")
    if file is not None:
        from mastering.judging.readback import read_bounded

        pieces = [read_bounded(file, _LARGEST)]
    elif digits is not None:
        try:
            pieces = [bytes.fromhex(digits)]
        except ValueError as error:
            raise click.UsageError(f'--hex {digits!r}: bytes of two hexadecimal digits were expected, such as "4C 41"') from error
    else:
        if not (text or "").isascii():
            raise click.UsageError("--text: only ASCII is written alike by all machines; give other characters as --hex")
        plain = (text or "").encode("ascii")
        pieces = [plain, bytes(byte | 0x80 for byte in plain)]
    if not pieces[0]:
        raise MasteringError(f"{file or 'the piece'}: no bytes, which every master would carry")
    return pieces


def _folders(masters: Sequence[str], wrong: list[str]) -> Iterator[Path]:
    """The folders of the masters that were named, or that lie in a folder that was. A path that holds no master is told in `wrong`."""
    for path in dict.fromkeys(map(Path, masters)):
        try:
            found = masters_at(path)
        except MasterError as error:
            wrong.append(str(error))
            continue
        if not found:
            wrong.append(f"{path}: no master, and no master lies in it")
        yield from found


def _searched(searcher: "Searcher", folder: Path) -> tuple[str, str]:
    """The JSON lines of a master that was searched, with "searched"; or what is wrong with it, with "error"."""
    try:
        return "searched", "\n".join(map(json.dumps, searcher.lines(open_master(folder, whole=False))))
    except MasteringError as error:
        what = str(error)
        return "error", what if what.startswith(str(folder)) else f"{folder}: {what}"
