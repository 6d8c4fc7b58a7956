"""`obverse capture`: a reader's lists of intervals to a capture file and back; what a capture holds."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.output import lines
from mastering.errors import MasteringError

if TYPE_CHECKING:
    from formats.containers.capture import Capture
    from mastering.words.layout import Block


@click.command(short_help="Make a capture file of a reader's times, or show what one holds.")
@click.argument("file", metavar="FILE|show")
@click.argument("shown", required=False, type=click.Path(), metavar="[FILE]")
@click.option("--out", type=click.Path(), metavar="FILE", help="The file to make: a capture, or from a capture .csv or .npy.")
@click.option("--ticks", type=click.IntRange(1, 2**32 - 1), metavar="N", help="Ticks a second, where the list's intervals are ticks.")
@click.option("--rpm", type=click.FloatRange(1, 10_000), default=300, show_default=True, help="Nominal speed of the drive that read.")
@click.option("--tpi", type=click.FloatRange(1, 1000), metavar="N", help="Tracks per inch of the drive, where it isn't the disc's.")
@click.option("--cylinder", type=click.IntRange(0, 95), default=0, help="Where the list has no such column.")
@click.option("--head", type=click.IntRange(0, 1), default=0, help="Where the list has no such column.")
@click.option("--reversed", "backwards", is_flag=True, help="The medium passed the head against its recording direction.")
def command(
    file: str,
    shown: str | None,
    out: str | None,
    ticks: int | None,
    rpm: float,
    tpi: float | None,
    cylinder: int,
    head: int,
    backwards: bool,
) -> int:
    """Make a capture file of the times between transitions that a reader delivered, or a list of times of a capture.

    A list is CSV or .npy, a row a transition: cylinder, head, and interval (ticks) or interval_ns since the transition before it; also
    read (a number for each further read of a track), turn (a number that changes where the index hole passed) or, in a row of its own,
    index or index_ns (when it passed, from the start of the read). `capture show FILE` tells what a capture holds, track by track.
    """
    if file == "show" and shown is not None and out is None:
        lines(_shown(shown))
        return 0
    if shown is not None or out is None:
        raise click.UsageError("give a FILE and --out FILE, or show and a FILE")
    from formats.bounds import LARGEST_CAPTURE, SIGNATURE
    from formats.containers import capture, interval_list
    from mastering.files import write_file
    from mastering.judging.readback import read_bounded

    data = read_bounded(file, 4 * LARGEST_CAPTURE)
    if data.startswith(SIGNATURE):
        write_file(Path(out), _list_of(capture.read(data, file), file, out))
        return 0
    times = interval_list.read(data, file, ticks, cylinder, head)
    if not times:
        raise MasteringError(f"{file}: it holds no row")
    made = capture.write(capture.Capture(rpm, "obverse capture", (), backwards, False, tpi, times))
    capture.read(made, out)  # so that no file is made that the judge would refuse
    write_file(Path(out), made)
    return 0


def _list_of(read: "Capture", name: str, out: str) -> bytes:
    """The list of a capture's times, by the suffix of the file to be made."""
    from formats.containers import interval_list

    if not read.times:
        raise MasteringError(f"{name}: it holds cells, no times between transitions")
    if out.endswith(".csv"):
        return "".join(interval_list.write(read.times)).encode()
    if not out.endswith(".npy"):
        raise MasteringError(f"--out {out}: a list of times is a .csv or a .npy")
    import io

    import numpy as np

    made = io.BytesIO()
    np.save(made, interval_list.columns(read.times), allow_pickle=False)
    return made.getvalue()


def _shown(path: str) -> "list[Block]":
    """What a capture holds."""
    from formats.bounds import LARGEST_CAPTURE
    from formats.containers import capture
    from mastering.judging.evidence import CaptureReadBack
    from mastering.judging.readback import read_bounded
    from mastering.words.traces import reads_table

    read = capture.read(read_bounded(path, LARGEST_CAPTURE), path)
    view = CaptureReadBack(path, read)
    recorded = view.recorded()
    kind = (
        f"most of it reads as {recorded[0]}: {recorded[1]:,} of {recorded[2]:,} sectors" if recorded else "no declared geometry's sectors"
    )
    what = "simulated, " * read.simulated + "read backwards, " * read.reversed + f"{read.rpm:g} rpm, written by {read.writer}"
    sectors = view.met(recorded[0]) if recorded else {}
    return [f"{path}: {what}; {kind}", "", reads_table(read, sectors)]
