"""What the lines of `ledger export` say of lots, drives, batches and discs, taken one after the other. Slow and literal.

A line's number in the export is its row; that order, not the clock, says what is newer. Every question looks through all of the disc's rows
again. Sentences of the text stand before the lines that say them; where it can be read in two ways, `READING` says which way was taken.
"""

from dataclasses import dataclass, field

from model_judge import check_character


def serial_of(catalogue, number):
    """The serial of a catalogue number's disc: CATALOGUE-NNNN-C."""
    before = f"{catalogue}-{number:04d}"
    return f"{before}-{check_character(before.replace('-', ''))}"


# --- what the rows say --------------------------------------------------------------------------------------------------------


@dataclass
class Writing:
    """One time that a side was written. `drive`: as it was said last; `batch`: that of its row, a line."""

    row: int
    side: str
    number: int
    drive: str | None
    batch: dict
    bench: bool


@dataclass
class Read:
    """A read line with its row; `read_by` and `void` as they were corrected."""

    row: int
    line: dict
    batch: dict
    read_by: str | None
    void: bool = False


@dataclass
class Disc:
    """One blank. `batch`: the line of its newest batch; `batches`: those that it was of before, in order."""

    serial: str
    batch: dict
    lot: str | None = None
    inner: int | None = None
    dropped: bool = False
    writings: list = field(default_factory=list)
    reads: list = field(default_factory=list)
    by_eye: bool = False
    rejects: list = field(default_factory=list)  # rows
    restores: list = field(default_factory=list)  # rows
    reworks: list = field(default_factory=list)  # (row, sides to write)
    batches: list = field(default_factory=list)

    @property
    def sides(self):
        """The names of its sides."""
        return list(self.batch["sides"])


@dataclass
class Ledger:
    """All of it, each in the order in which it was created. `drives`: each one's newest line; `held`, `retired`: names of drives."""

    lots: list = field(default_factory=list)
    drives: dict = field(default_factory=dict)
    batches: dict = field(default_factory=dict)
    discs: dict = field(default_factory=dict)
    closed: set = field(default_factory=set)
    holds: list = field(default_factory=list)  # (row, line, row of the drive's newest passing read before)
    checks: list = field(default_factory=list)  # (row, line)
    retired: set = field(default_factory=set)


def only(names):
    """Where the batch has one it is the default."""
    return names[0] if len(names) == 1 else None


def replay(lines):
    """What the rows say, taken one after the other."""
    led = Ledger()
    for row, line in enumerate(lines, 1):
        TAKE[line["kind"]](led, row, line)
    return led


def take_lot(led, row, line):
    """A lot."""
    led.lots.append(line["name"])


def take_drive(led, row, line):
    """A drive."""
    led.drives[line["name"]] = dict(line)


def take_batch(led, row, line):
    """A batch."""
    led.batches[line["batch"]] = dict(line)


def take_serial(led, row, line):
    """A serial handed out stands for a disc of its batch."""
    batch = led.batches[line["batch"]]
    led.discs[line["serial"]] = Disc(line["serial"], batch, only(batch["lots"]))


def take_writing(led, row, line):
    """Every writing is a row. Its drive is null until a read tells it."""
    # READING: a row that names its drive was entered by the bench, which knows; a command's row has null.
    disc = led.discs[line["serial"]]
    disc.writings.append(
        Writing(row, line["side"], line["writing"], line["drive"], led.batches[line["batch"]], line.get("bench", line["drive"] is not None))
    )


def take_read(led, row, line):
    """A read: its disc's lot, its writing and the drive that wrote that."""
    disc = led.discs[line["serial"]]
    disc.lot = line["lot"] or disc.lot
    disc.inner = line.get("inner") or disc.inner
    if line["side"] is not None:
        known = [w for w in disc.writings if (w.side, w.number) == (line["side"], line["writing"])]
        if not known:  # in ledgers of before no row says that a side was written: the first read of it does
            disc.writings.append(Writing(row, line["side"], line["writing"], None, led.batches[line["batch"]], bench=False))
            known = disc.writings[-1:]
        known[0].drive = line["wrote"] or known[0].drive
    disc.reads.append(Read(row, line, led.batches[line["batch"]], line["read_by"]))


def take_image(led, row, line):
    """A claim: what is to be written. It is no writing."""


def take_reject(led, row, line):
    """A reject by eye; it may be all that is known of a blank."""
    disc = led.discs[line["serial"]]
    disc.by_eye = True
    disc.rejects.append(row)
    disc.lot = line["lot"] or disc.lot
    disc.inner = line.get("inner") or disc.inner


def take_amend(led, row, line):
    """A correction is a new row."""
    if line.get("since"):
        # "all reads of a drive in this batch since then, in rows before this one"
        for disc in led.discs.values():
            for read in disc.reads:
                if read.batch["batch"] == line["batch"] and read.read_by == line["read_by"] and read.line["at"] >= line["since"]:
                    read.void = True
        return
    disc = led.discs[line["serial"]]
    disc.lot = line["lot"] or disc.lot
    # READING: from which inner box of another lot it is, nobody said.
    disc.inner = line.get("inner") or (None if line["lot"] else disc.inner)
    if line.get("restore"):
        # "--restore takes back any rejection and allows one more writing of each side"
        disc.by_eye = False
        disc.restores.append(row)
    for read in disc.reads:
        if read.line["read"] == line["read"]:
            read.void = read.void or line["void"]
            read.read_by = line.get("read_by") or read.read_by
    if line["wrote"]:
        # READING: with --read the writing that was read, else the newest writing of each side.
        asked = [r.line for r in disc.reads if r.line["read"] == line["read"]]
        for writing in disc.writings:
            newest = max(w.number for w in disc.writings if w.side == writing.side)
            if asked:
                if (writing.side, writing.number) == (asked[0]["side"], asked[0]["writing"]):
                    writing.drive = line["wrote"]
            elif writing.number == newest:
                writing.drive = line["wrote"]


def take_drop(led, row, line):
    """Never written: the disc counts nowhere."""
    led.discs[line["serial"]].dropped = True


def take_take(led, row, line):
    """A disc that `--continue` or `--rework` took over."""
    disc, batch = led.discs[line["serial"]], led.batches[line["batch"]]
    disc.batches.append(disc.batch)
    disc.batch = batch
    if batch.get("reworks"):
        disc.reworks.append((row, list(line["sides"])))


def take_hold(led, row, line):
    """A drive is put on hold. "Reads by a drive in rows after its newest passing read and before its `hold` row settle nothing"."""
    # READING: its newest passing read as the ledger stands at that row, of whatever disc; one that was struck out by then is none.
    reads = [r for disc in led.discs.values() for r in disc.reads]
    passing = [r.row for r in reads if r.read_by == line["drive"] and r.line["verdict"] == "pass" and not r.void]
    led.holds.append((row, line, max(passing, default=0)))


def take_check(led, row, line):
    """A passing check ends a hold."""
    led.checks.append((row, line))


def take_log(led, row, line):
    """A drive's log; it ends no hold."""
    if line["what"] == "retired":
        led.retired.add(line["drive"])


def take_change(led, row, line):
    """Lots and drives are added to a batch; of a drive it is said anew which geometries it serves."""
    if line["of"] == "batch":
        batch = led.batches[line["name"]]
        for key in ("lots", "drives"):
            batch[key] = [*batch[key], *(name for name in line.get(key) or [] if name not in batch[key])]
        batch["good"] = line.get("good") or batch["good"]
    if line["of"] == "drive":
        led.drives[line["name"]] |= {key: line[key] for key in ("writes", "reads") if key in line}


def take_close(led, row, line):
    """A closed batch takes no records."""
    led.closed.add(line["batch"])


TAKE = {
    "lot": take_lot, "drive": take_drive, "batch": take_batch, "serial": take_serial, "writing": take_writing, "read": take_read,
    "image": take_image, "reject": take_reject, "amend": take_amend, "drop": take_drop, "take": take_take, "hold": take_hold,
    "drive-check": take_check, "drive-log": take_log, "change": take_change, "close": take_close,
}  # fmt: skip
