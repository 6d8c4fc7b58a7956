"""What may be written on the discs of a batch: claims of serials, stamped images, and what comes before another writing."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from mastering.errors import MasteringError
from mastering.files import digest
from mastering.judging.to_write import image_name, short_name
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.lines import LineError
from mastering.ledger.log_writer import LogWriter
from mastering.master.master import Master
from mastering.master.serial import serial
from mastering.master.stamp import image


@dataclass(frozen=True)
class Image:
    """What a drive is to write on one side of a disc: its file's name and bytes. `stamped`: it carries the serial."""

    file: str
    serial: str
    side: str
    data: bytes
    sha256: str
    stamped: bool


def hand_out(writer: LogWriter, batch: Batch, count: int, at: str) -> list[str]:
    """Hands out the next serials to discs of a batch."""
    serials = []
    for _ in range(count):
        serials.append(serial(batch.catalogue, writer.next_number(batch.catalogue)))
        writer.add({"kind": "serial", "batch": batch.name, "serial": serials[-1], "at": at})
    return serials


def check_writable(disc: Disc) -> None:
    """LineError when nothing is ever to be written on this disc again."""
    if not disc.batch.open:
        raise LineError(f"{disc.serial}: batch {disc.batch.name} is closed: what is written now can't be recorded")
    if disc.dropped:
        raise LineError(f"{disc.serial}: dropped; take the next serial")
    if disc.rejected:
        why = "it was rejected by eye" if disc.standing.by_eye else "its last writing failed, too"
        raise LineError(f"{disc.serial}: {why}; take another blank and the next serial (`batch amend --restore` takes it back)")


def before_writing(disc: Disc, side: str) -> str | None:
    """What comes before a failed side's next writing, if anything does. MasteringError when the side may be good as it is."""
    standing = disc.standing.sides[side]
    if standing.verdict in ("pass", "marginal"):
        why = "good" if standing.verdict == "pass" else "in doubt: read it again"
        raise MasteringError(f"{disc.serial}: side {side} is {why}; to write over it all the same say --again")
    if standing.verdict != "fail" or standing.spent:
        return None
    drive = disc.next_step.drives.get(side)
    again = f"read it in {drive} first" if drive else "read it again first"
    return f"{disc.serial}: side {side} failed; {again}, as it may be the reading"


def sides_to_write(disc: Disc) -> list[str]:
    """The sides of a disc that want a writing: all of a fresh one's, else those that failed or were never written."""
    standing = disc.standing.sides
    wanted = [side for side, each in standing.items() if each.verdict == "fail" or each.writing is None]
    return wanted or [side for side, each in standing.items() if each.verdict == "open" and not each.overtaken]


def images(
    master: Master, wanted: Sequence[tuple[Disc, str]], as_capture: bool, short: str | None = None, name: str | None = None
) -> list[Image]:
    """The stamped images of some discs' sides. `short`: the suffix of short names; `name`: that of the only one. MasteringError else."""
    made = []
    for disc, side in wanted:
        try:
            data = image(master.sides[side], disc.serial, as_capture)
        except ValueError as error:
            raise MasteringError(str(error)) from error
        file = name or (short_name(disc.number, side, short) if short else image_name(disc.serial, side, as_capture))
        made.append(Image(file, disc.serial, side, data, digest(data), master.sides[side].slot is not None))
    return made


def claim(writer: LogWriter, batch: Batch, made: Sequence[Image], stamp: Callable[[LogWriter], str]) -> None:
    """Enters that these images were made."""
    at = stamp(writer)
    for each in made:
        line: Mapping[str, object] = {
            "kind": "image", "batch": batch.name, "serial": each.serial, "side": each.side, "sha256": each.sha256,
            "file": each.file, "at": at,
        }  # fmt: skip
        writer.add(line)
