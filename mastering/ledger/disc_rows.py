"""What lines about a disc do in the ledger: its serial, images, writings, reads, rejections, corrections, and who takes it over."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from mastering.clock import moment
from mastering.judging.standing import Read, Take, Writing
from mastering.judging.verdict import sides_text
from mastering.ledger.bench_lookup import UnknownError
from mastering.ledger.bench_rows import Apply, open_batch
from mastering.ledger.checks import check_read, inner_for, lot_for
from mastering.ledger.entities import Disc, File
from mastering.ledger.lines import Line, LineError
from mastering.ledger.tables import DRIVES, EVENTS, IMAGES, READS
from mastering.master.serial import is_serial, number_of, why_no_serial

if TYPE_CHECKING:
    from mastering.ledger.log_writer import LogWriter


def _serial(writer: "LogWriter", number: int, line: Line) -> None:
    batch, serial = open_batch(writer, line["batch"]), line["serial"]
    catalogue = batch.catalogue
    if not is_serial(serial, catalogue):
        raise LineError(f"{serial}: {why_no_serial(serial, catalogue)}")
    count = number_of(serial)
    if count <= writer.highest_number(catalogue) and writer.find(serial) is not None:
        raise LineError(f"{serial}: handed out already; a serial is never used again")
    writer.handed_out(catalogue, count)
    disc = Disc(number, serial, count, batch)
    writer.keep_disc(disc)
    writer.changed(disc, new=True)


def _image(writer: "LogWriter", number: int, line: Line) -> None:
    disc = _disc(writer, line)
    _check_side(disc, line["side"])
    writer.rows.row(IMAGES, number, disc=disc.id, side=line["side"], sha256=line["sha256"])
    disc.imaged = True
    writer.changed(disc)


def _writing(writer: "LogWriter", number: int, line: Line) -> None:
    disc, side = _disc(writer, line), line["side"]
    _check_side(disc, side)
    if line["writing"] != disc.newest_writing(side) + 1:
        raise LineError(f"{disc.serial}: writing {line['writing']} of side {side}, whose newest one is {disc.newest_writing(side)}")
    if line["drive"] is not None:
        _of_batch(disc, "drive", line["drive"], disc.batch.drives)
    by_bench = line.get("bench", line["drive"] is not None)  # a command enters no drive: the read that follows tells it
    _begin(writer, number, disc, side, line["writing"], line["drive"], by_bench)
    writer.changed(disc)


def _read(writer: "LogWriter", number: int, line: Line) -> None:
    disc = _disc(writer, line)
    check_read(writer, disc, line)
    disc.lot = lot_for(disc, line["lot"])
    disc.inner = inner_for(writer, disc, line)
    side, writing = line["side"], line["writing"]
    if side is not None and (side, writing) not in disc.writings:
        _begin(writer, number, disc, side, writing, line["wrote"], False)  # rows of earlier ledgers: a read begins a writing
    elif side is not None and line["wrote"] is not None and disc.writings[side, writing].drive is None:
        _set_drive(writer, disc, (side, writing), line["wrote"])
    batch = disc.batch
    read = Read(
        line["read"], side, writing, line["read_by"], line["verdict"], line["diagnosis"], False, number, line["simulated"], line["action"],
        batch.accepts(line["evidence"]), batch.practice,
    )  # fmt: skip
    file = File.of(line)
    disc.reads.append(read)
    disc.files[read.number], disc.operators[read.number], disc.times[read.number] = file, line.get("operator"), line["at"]
    drive = None if read.read_by is None else writer.id_of(DRIVES, "drive", read.read_by)
    writer.rows.row(
        READS, number, disc=disc.id, number=read.number, side=side, writing=writing, drive=drive, verdict=read.verdict,
        diagnosis=read.diagnosis, action=read.action, accepted=read.accepted, practice=read.practice, void=False, simulated=read.simulated,
        at=line["at"], operator=line.get("operator"), file=file.name, sha256=file.sha256, report=file.report, capture=file.capture,
        identity=line.get("file"), margin=(line.get("margin") or {}).get("plain"),
    )  # fmt: skip
    if file.capture and file.sha256:
        writer.remember_capture(file.sha256, disc.serial)
    if side is not None:
        writer.rows.findings(number, line["findings"])
    writer.give_holds(disc)
    writer.changed(disc)


def _reject(writer: "LogWriter", number: int, line: Line) -> None:
    disc = _disc(writer, line, may_be_closed=True)
    lot = line["lot"] or disc.lot or (disc.batch.lots[0] if len(disc.batch.lots) == 1 else None)
    if lot is not None:
        disc.lot = lot_for(disc, lot)
    disc.inner = inner_for(writer, disc, line)
    disc.rejects.append(number)
    _event(writer, number, line, disc)


def _amend(writer: "LogWriter", number: int, line: Line) -> None:
    if line["serial"] is None:
        _void_reads_of_a_drive(writer, number, line)
        return
    disc = _disc(writer, line, may_be_closed=True)
    read = _amended_read(disc, line)
    if line["lot"] is not None:
        _of_batch(disc, "lot", line["lot"], disc.batch.lots)
        disc.lot, disc.inner = line["lot"], disc.inner if line["lot"] == disc.lot else None
    if line.get("inner") is not None:
        disc.inner = inner_for(writer, replace(disc, inner=None), line)
    if line["wrote"] is not None:
        _amend_drive(writer, disc, line["wrote"], read)
    if read is not None and line.get("read_by") is not None:
        drive = writer.id_of(DRIVES, "drive", line["read_by"])
        read = _replaced(disc, read, replace(read, read_by=line["read_by"]))
        writer.rows.change(READS, read.row, drive=drive)
        writer.give_holds(disc)
    if read is not None and line["void"]:
        _void(writer, disc, read)
    if line.get("restore"):
        disc.restores.append(number)
    _event(writer, number, line, disc)


def _amended_read(disc: Disc, line: Line) -> Read | None:
    count = line["read"]
    read = next((each for each in disc.reads if each.number == count), None)
    if count is not None and read is None:
        known = ", ".join(str(each.number) for each in disc.reads) or "none"
        raise LineError(f"{disc.serial}: it has no read {count} (its reads: {known})")
    if read is None and (line["void"] or line.get("read_by") is not None):
        raise LineError(f"{disc.serial}: say with --read which read is meant")
    if line.get("restore") and not disc.rejected:
        raise LineError(f"{disc.serial}: it is not rejected, so there is nothing to restore")
    return read


def _void_reads_of_a_drive(writer: "LogWriter", number: int, line: Line) -> None:
    """Strikes out every read of a drive in a batch since a time, in rows before this one."""
    if not line["void"] or line.get("read_by") is None or line.get("since") is None:
        raise LineError("an amend line without a serial strikes out the reads of a drive: it needs read_by, since and void")
    batch, since = writer.batch(line["batch"]), moment(line["since"], "since")
    drive = writer.id_of(DRIVES, "drive", line["read_by"])
    writer.flush()
    for disc in writer.discs_read_by(drive, 0):
        for read in tuple(disc.reads):
            made_since = read.read_by == line["read_by"] and not read.void and moment(disc.times[read.number], "at") >= since
            if made_since and writer.line(read.row)["batch"] == batch.name:  # a disc that was taken over has reads of several
                _void(writer, disc, read)
        writer.changed(disc)
    writer.rows.row(EVENTS, number, kind="amend", what=None, name=None, disc=None, drive=drive, lot=None, batch=batch.id)


def _drop(writer: "LogWriter", number: int, line: Line) -> None:
    disc = _disc(writer, line)
    if disc.begun or disc.rejects:
        raise LineError(f"{disc.serial}: it was written or read already, so it can't be dropped; reject it, if it is no good")
    disc.dropped = True
    _event(writer, number, line, disc)


def _take(writer: "LogWriter", number: int, line: Line) -> None:
    batch, source = open_batch(writer, line["batch"]), writer.batch(line["from"])
    disc = writer.disc(line["serial"], source)
    rework = batch.line.get("reworks") == source.name
    if not rework and batch.line.get("continues") != source.name:
        raise LineError(f"batch {batch.name} neither continues nor reworks batch {source.name}")
    if not set(line["sides"]) <= set(batch.sides):
        raise LineError(f"sides is {line['sides']!r}, where {sides_text(tuple(batch.sides))} were expected")
    disc.batch = batch
    disc.takes.append(Take(number, rework, tuple(line["sides"])))
    _event(writer, number, line, disc)


def _after_the_bench(writer: "LogWriter", number: int, line: Line) -> None:
    disc = writer.known_disc(line["serial"])
    disc.life.append(line["what"])
    writer.changed(disc)
    writer.rows.row(EVENTS, number, kind="disc", what=line["what"], name=line.get("order"), disc=disc.id, drive=None, lot=None, batch=None)


def _event(writer: "LogWriter", number: int, line: Line, disc: Disc) -> None:
    writer.rows.row(EVENTS, number, kind=line["kind"], what=None, name=None, disc=disc.id, drive=None, lot=None, batch=disc.batch.id)
    writer.changed(disc)


def _disc(writer: "LogWriter", line: Line, may_be_closed: bool = False) -> Disc:
    batch = open_batch(writer, line["batch"], may_be_closed)
    disc = writer.disc(line["serial"], batch)
    if disc.dropped:
        raise LineError(f"{disc.serial}: dropped, so no disc carries it; take the next serial")
    return disc


def _check_side(disc: Disc, side: str) -> None:
    if side not in disc.batch.sides:
        raise LineError(f"{disc.serial}: side {side}, where its batch has {sides_text(tuple(disc.batch.sides))} only")


def _of_batch(disc: Disc, what: str, name: str, known: Sequence[str]) -> None:
    if name not in known:
        raise UnknownError(what, name, known, f" in batch {disc.batch.name}")


def _begin(writer: "LogWriter", number: int, disc: Disc, side: str, writing: int, drive: str | None, bench: bool) -> None:
    disc.writings[side, writing] = Writing(number, side, writing, drive, bench, disc.batch.name)
    if drive is not None:
        writer.id_of(DRIVES, "drive", drive)


def _set_drive(writer: "LogWriter", disc: Disc, key: tuple[str, int], drive: str) -> None:
    writer.id_of(DRIVES, "drive", drive)
    disc.writings[key] = replace(disc.writings[key], drive=drive)


def _amend_drive(writer: "LogWriter", disc: Disc, wrote: str, read: Read | None) -> None:
    """The drive of the writing that a read looked at, or of each side's newest one."""
    _of_batch(disc, "drive", wrote, disc.batch.drives)
    if read is not None:
        keys = [(read.side, read.writing)] if read.side and read.writing else []
    else:
        keys = [(side, disc.newest_writing(side)) for side in disc.batch.sides if disc.newest_writing(side)]
    if not keys:
        raise LineError(f"{disc.serial}: no writing of it is known, so no drive wrote it")
    for side, number in keys:
        _set_drive(writer, disc, (str(side), int(number)), wrote)


def _void(writer: "LogWriter", disc: Disc, read: Read) -> None:
    _replaced(disc, read, replace(read, void=True))
    writer.rows.change(READS, read.row, void=True)


def _replaced(disc: Disc, read: Read, amended: Read) -> Read:
    disc.reads[disc.reads.index(read)] = amended
    return amended


APPLY: Mapping[str, Apply] = {
    "serial": _serial,
    "image": _image,
    "writing": _writing,
    "read": _read,
    "reject": _reject,
    "amend": _amend,
    "drop": _drop,
    "take": _take,
    "disc": _after_the_bench,
}
