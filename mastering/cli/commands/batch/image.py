"""`obverse batch image`."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves, stamp
from mastering.cli.output import json_lines, lines, warning
from mastering.errors import MasteringError
from mastering.judging.verdict import sides_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from mastering.ledger.entities import Batch, Disc
    from mastering.ledger.log_writer import LogWriter
    from mastering.recording.writing import Image

_SUFFIXES = (".dump", ".capture")


@click.command(short_help="Make what a drive is to write on discs.")
@click.argument("batch")
@click.argument("serials", nargs=-1, metavar="[SERIAL]...")
@click.option("--next", "count", type=click.IntRange(1, 1000), metavar="N", help="Hand out N new serials, and make theirs.")
@click.option("--side", metavar="S", help="One side only, A or B.")
@click.option(
    "--out", type=click.Path(), required=True, metavar="DIR|FILE", help="The folder; or, for one image, its file (.dump, .capture)."
)
@click.option("--capture", "as_capture", is_flag=True, help="Cells instead of sectors.")
@click.option("--short", metavar="SUFFIX", help="Name them 0017A.SUFFIX, for machines that take no long names.")
@click.option("--again", is_flag=True, help="Also for a side that is written and was not judged bad.")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters, when the batch's was moved.")
@ledger_option
@json_option("Print a JSON line for each image.")
def command(
    batch: str,
    serials: tuple[str, ...],
    count: int | None,
    side: str | None,
    out: str,
    as_capture: bool,
    short: str | None,
    again: bool,
    shelf: str | None,
    ledger: str | None,
    as_json: bool,
) -> None:
    """Make what a drive is to write on discs of BATCH: the master's sides with each disc's serial in its place.

    Both sides, unless --side says which. Named SERIAL-SIDE.write.dump, and listed in to-write.csv beside them: no command takes them for
    read-backs. Refused for a disc that was rejected, and for one of a closed batch. Writing over a disc can't be undone.
    """
    from mastering.recording.masters import find_master
    from mastering.recording.storing import store_images
    from mastering.recording.writing import claim, hand_out, images

    if not serials and count is None:
        raise click.UsageError("say which discs: their serials, or --next N for new ones")
    path = Path(out)
    single = path.suffix.lower() in _SUFFIXES and not path.is_dir()
    with open_ledger(ledger) as opened:
        with opened.read() as known:
            master = find_master(known.batch(batch), opened.path, shelves(shelf), whole=False)
        with opened.write() as writer:
            found = writer.batch(batch)
            new = hand_out(writer, found, count, stamp(writer)) if count else []
            wanted, early = _wanted(writer, found, (*serials, *new), side, again)
            if single and len(wanted) != 1:
                raise MasteringError(f"{out}: one file, where there are {len(wanted)} images to make; name a folder")
            as_capture |= single and path.suffix.lower() == ".capture"
            made = images(master, wanted, as_capture, short, path.name if single else None)
            folder = path.parent if single else path
            if single and not os.path.lexists(folder):
                raise MasteringError(f"{out}: can't be written: its folder is not there")
            store = store_images(folder, made)
            claim(writer, found, made, stamp)
        store()
    for text in early:
        warning(f"{text}")
    _print(folder, made, batch, as_json)


def _wanted(
    writer: "LogWriter", batch: "Batch", serials: "Sequence[str]", side: str | None, again: bool
) -> "tuple[list[tuple[Disc, str]], list[str]]":
    """The discs' sides to make images for, and what comes before some of them. MasteringError where nothing may be written."""
    from mastering.recording.writing import before_writing, check_writable, sides_to_write

    if side is not None and side not in batch.sides:
        raise MasteringError(f"--side {side}: this master has {sides_text(tuple(batch.sides))}")
    wanted: list[tuple[Disc, str]] = []
    early: list[str] = []
    for serial in serials:
        disc = writer.disc(serial, batch)
        check_writable(disc)
        sides = [side] if side else sides_to_write(disc) or list(batch.sides)
        if not again:
            early += [text for each in sides if (text := before_writing(disc, each)) is not None]
        wanted += [(disc, each) for each in sides]
    if len(set((disc.serial, each) for disc, each in wanted)) < len(wanted):
        raise MasteringError("a disc is named twice")
    return wanted, early


def _print(folder: Path, made: "Sequence[Image]", batch: str, as_json: bool) -> None:
    if as_json:
        json_lines(
            {
                "batch": batch,
                "serial": each.serial,
                "side": each.side,
                "file": str(folder / each.file),
                "bytes": len(each.data),
                "sha256": each.sha256,
                "stamped": each.stamped,
            }
            for each in made
        )
    else:
        without = "" if all(each.stamped for each in made) else " (this side has no place for a serial)"
        lines(f"{folder / each.file}: side {each.side} of {each.serial}" + ("" if each.stamped else without) for each in made)
