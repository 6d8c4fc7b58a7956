"""What is checked of a read before it is taken: that it can be of its disc, and that it is not another disc's."""

from mastering.judging.verdict import sides_text
from mastering.ledger.bench_lookup import UnknownError
from mastering.ledger.entities import Disc, File
from mastering.ledger.geometries import UnknownTracksError, first_sector_of, zones_of
from mastering.ledger.lines import Line, LineError
from mastering.ledger.lookup import Lookup


def check_read(lookup: Lookup, disc: Disc, line: Line) -> None:
    """LineError for a read that contradicts the rows before it, or is of another disc."""
    side, writing, newest = line["side"], line["writing"], disc.newest_writing(line["side"] or "")
    if side is not None and side not in disc.batch.sides:
        raise LineError(f"{disc.serial}: side {side}, where its batch has {sides_text(tuple(disc.batch.sides))} only")
    if (side is None) != (writing is None) or (writing is not None and writing < max(1, newest)):
        raise LineError(f"{disc.serial}: writing {writing} of side {side}, whose newest one is {newest}")
    if line["read"] in disc.files:
        raise LineError(f"{disc.serial}: it has a read {line['read']} already")
    if line["wrote"] is not None and line["wrote"] not in disc.batch.drives:
        raise UnknownError("drive", line["wrote"], disc.batch.drives, f" in batch {disc.batch.name}")
    check_same_disc(lookup, disc, line["on_disc"], File.of(line))
    if side is not None:
        _check_places(disc, line)


def check_same_disc(lookup: Lookup, disc: Disc, on_disc: str | None, file: File) -> None:
    """LineError when the serial on the disc is another disc's, or the file is byte for byte a capture that was recorded for another."""
    if on_disc not in (None, disc.serial):
        raise LineError(f"{_stranger(lookup, str(on_disc))}, where {disc.serial} was expected; nothing was recorded")
    owner = lookup.owner_of_capture(file.sha256) if file.capture and file.sha256 else None
    if owner not in (None, disc.serial):
        raise LineError(
            f"byte for byte the capture of {owner}; no two reads are alike: read {disc.serial} itself "
            "(or, if that capture went to the wrong disc, make that read void with `batch amend`)"
        )


def _check_places(disc: Disc, line: Line) -> None:
    """LineError for a finding in a sector that the disc does not have, and for another number of sectors than it has."""
    try:
        zones, first = zones_of(disc.batch, line["side"]), first_sector_of(disc.batch, line["side"])
    except UnknownTracksError:  # of a program that knew more geometries: its word is taken
        return
    expected = sum((last - begin + 1) * sectors for _, begin, last, sectors in zones)
    if line["sectors"]["expected"] != expected:
        raise LineError(f"sectors: {line['sectors']['expected']} expected, where side {line['side']} has {expected}")
    for finding in line["findings"]:
        head, track, sector = finding["head"], finding["track"], finding["sector"]
        sectors = next((count for of, begin, last, count in zones if of == head and begin <= track <= last), 0)
        if sectors == 0 or (first is not None and not first <= sector < first + sectors):
            raise LineError(f"findings: side {line['side']} has no sector {sector} on track {track} of head {head}")


def _stranger(lookup: Lookup, serial: str) -> str:
    """Which disc that is in the drive, and what the ledger knows of it."""
    disc = lookup.find(serial)
    if disc is None:
        return f"the disc carries {serial}, a serial that this ledger never handed out"
    words = {"pass": "a good disc", "marginal": "in doubt", "fail": "a bad disc", "open": "not finished" if disc.reads else "not read yet"}
    state = "rejected by eye" if disc.standing.by_eye else words[disc.verdict]
    return f"the disc carries {serial} (batch {disc.batch.name}, {state})"


def lot_for(disc: Disc, lot: str) -> str:
    """The lot of a disc that is said to be from one. LineError when its batch has no such lot, or it is from another."""
    if lot not in disc.batch.lots:
        raise UnknownError("lot", lot, disc.batch.lots, f" in batch {disc.batch.name}")
    if disc.lot not in (None, lot):
        raise LineError(f"{disc.serial}: it is from lot {disc.lot}, not {lot}; correct it with `batch amend` if that is wrong")
    return lot


def inner_for(lookup: Lookup, disc: Disc, line: Line) -> int | None:
    """The inner box of a disc that a line may name one of. LineError when its lot has no such box, or it is from another."""
    inner = line.get("inner")
    if inner is None:
        return disc.inner
    lot = None if disc.lot is None else lookup.lot(disc.lot)
    per_box = None if lot is None else lot.get("inner_box")
    if lot is None or not per_box:
        raise LineError(
            f"{disc.serial}: lot {disc.lot or 'not known'} has no inner boxes; say how many lie in one with `lot change --inner-box`"
        )
    boxes = None if lot["count"] is None else -(-lot["count"] // per_box)
    if inner < 1 or (boxes is not None and inner > boxes):
        raise LineError(f"{disc.serial}: inner box {inner}, where lot {disc.lot} has {boxes if boxes is not None else 'them from 1'}")
    if disc.inner not in (None, inner):
        raise LineError(f"{disc.serial}: it is from inner box {disc.inner}, not {inner}; correct it with `batch amend` if that is wrong")
    return int(inner)
