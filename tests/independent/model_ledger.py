"""Section 8 a second time: what the lines of `ledger export` say of each side, disc and batch. Slow and literal.

A line's number in the export is its row; that order, not the clock, says what is newer. Every question looks through all of the disc's rows
again. Sentences of the text stand before the lines that say them; where it can be read in two ways, `READING` says which way was taken.
"""

from dataclasses import dataclass, field

from model_geometry import GEOMETRIES
from model_judge import check_character

UNSETTLING = ("other-side", "other-master", "other-geometry", "short")
STATES = ("pass", "marginal", "fail", "open")
ACCEPTED = ("dump", "report", "cells", "flux")


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


# --- which writings count -----------------------------------------------------------------------------------------------------


def first_number(disc, side):
    """The number of a side's first writing. "`--continue` counts on, `--rework` begins anew"."""
    if not disc.reworks:
        return 1
    row, to_write = disc.reworks[-1]
    before = [w.number for w in disc.writings if w.side == side and w.row < row]
    if side in to_write:
        return max(before, default=0) + 1
    # READING: a side that the rework left alone keeps what was written; that counts as its first writing.
    return max(before, default=1)


def newest_writing(disc, side):
    """A side's newest writing, None where there is none. What the master before was written as is none of a reworked side."""
    writings = [w for w in disc.writings if w.side == side and w.number >= first_number(disc, side)]
    return max(writings, key=lambda w: w.number, default=None)


def first_writing(disc, side):
    """A side's first writing, None where there is none."""
    return next((w for w in disc.writings if w.side == side and w.number == first_number(disc, side)), None)


# --- which reads settle -------------------------------------------------------------------------------------------------------


def practice(led, batch):
    """Whether simulated reads count. An earlier ledger's batches practise where all their drives are simulated."""
    if "practice" in batch:
        return batch["practice"]
    return all(led.drives[name]["simulated"] for name in batch["drives"])


def bare(led, read):
    """Whether a read settles something as far as it goes by itself: no hold, no read before it."""
    # "a void read settles nothing"
    if read.void:
        return False
    # "a read with the diagnosis ..., or without a side, is recorded and settles nothing"
    if read.line["side"] is None or read.line["diagnosis"] in UNSETTLING:
        return False
    return admitted(led, read)


def admitted(led, read):
    """Whether the batch takes this evidence, and simulated reads where this is one."""
    # "a read whose evidence isn't accepted settles nothing"
    if read.line["evidence"] not in read.batch.get("accept", ACCEPTED):
        return False
    # "A simulated read settles nothing unless the batch's row says `practice`"
    return not read.line["simulated"] or practice(led, read.batch)


def reads_of(disc, writing):
    """The reads of a writing, oldest first."""
    return [r for r in disc.reads if writing is not None and (r.line["side"], r.line["writing"]) == (writing.side, writing.number)]


def held_back(led, disc, read):
    """ "Reads by a drive in rows after its newest passing read and before its `hold` row settle nothing"."""
    for row, hold, after in led.holds:
        if hold["drive"] != read.read_by or not after < read.row < row:
            continue
        # "When the same writing fails in a second drive as well, the reader's hold ends, both reads settle"
        # READING: the same writing is the one that put the drive on hold, the newest one of that side at the time.
        if hold["serial"] == disc.serial:
            writings = [w for w in disc.writings if w.side == hold["side"] and w.row < row]
            writing = max(writings, key=lambda w: w.number, default=None)
            failed = [r for r in reads_of(disc, writing) if r.line["verdict"] == "fail" and bare(led, r)]
            if read in failed and any(r.read_by not in (None, read.read_by) for r in failed):
                continue
        return True
    return False


def settling(led, disc, writing, holds=True):
    """[(read, the verdict that it counts as)] of the settling reads of a writing, oldest first."""
    found = []
    for read in reads_of(disc, writing):
        if holds and held_back(led, disc, read):
            continue
        if bare(led, read):
            found.append((read, read.line["verdict"]))
        # "but on a writing of which a read has passed, `other-master` and `other-geometry` count as a `marginal` read does"
        # READING: has passed before this one, and settles.
        elif doubts_a_pass(led, read) and any(verdict == "pass" for _, verdict in found):
            found.append((read, "marginal"))
    return found


def doubts_a_pass(led, read):
    """Whether a read begins a doubt of a writing that was read well, though it would settle nothing of another."""
    return not read.void and admitted(led, read) and read.line["diagnosis"] in ("other-master", "other-geometry")


def unsettled(led, disc, read):
    """Whether a read settled nothing."""
    return all(read is not r for writing in disc.writings for r, _ in settling(led, disc, writing))


# --- verdicts -----------------------------------------------------------------------------------------------------------------


def spent(led, disc, writing):
    """Whether only a new writing, or striking reads out, changes that it is bad."""
    reads = settling(led, disc, writing)
    # "A `blank` read of a writing that the bench made spends that writing at once."
    if writing.bench and any(read.line["diagnosis"] == "blank" for read, _ in reads):
        return True
    verdicts = [verdict for _, verdict in reads]
    # "a writing of which two settling reads failed"
    if verdicts.count("fail") >= 2:
        return True
    # "or whose doubt is not over with its fifth settling read (the read that began it is the first; two passing reads running end it; a
    # later doubt counts anew)"
    place = 0
    while place < len(verdicts):
        if verdicts[place] == "pass":
            place += 1
            continue
        end = place
        while end < len(verdicts) and verdicts[end - 1 : end + 1] != ["pass", "pass"]:
            end += 1
            if end - place == 5:
                return True
        place = end + 1
    return False


def side_verdict(led, disc, side):
    """ "A side's verdict is that of the newest settling read of its newest writing, but for three rules"."""
    writing = newest_writing(disc, side)
    reads = settling(led, disc, writing) if writing else []
    if not reads:
        return "open"  # "A side without a settling read is `open`."
    if spent(led, disc, writing):
        return "fail"
    verdicts = [verdict for _, verdict in reads]
    # "after a read of this writing that did not pass, a passing read makes it `marginal` only, until two passing reads follow the last
    # that did not pass"
    if verdicts[-1] == "pass" and any(verdict != "pass" for verdict in verdicts) and verdicts[-2] != "pass":
        return "marginal"
    # "a side's pass counts only while no writing of the other side is newer than that read [...] A side so overtaken is `open`"
    # "A batch with "verify": "each-side", and one without the key (of earlier ledgers), waives the rule"
    if verdicts[-1] == "pass" and not waived(disc) and any(w.side != side and w.row > reads[-1][0].row for w in disc.writings):
        return "open"
    return verdicts[-1]


def waived(disc):
    """Whether a side's pass counts although the other side was written since."""
    return disc.batch.get("verify", "each-side") == "each-side"


def spent_for_good(led, disc, side):
    """Whether the last allowed writing of a side is spent."""
    # "`rewrites` of its newest batch, 1 unless that says otherwise"; each --restore "allows one more writing of each side"
    since = disc.reworks[-1][0] if disc.reworks else 0
    allowed = 1 + disc.batch.get("rewrites", 1) + sum(row > since for row in disc.restores)
    last = first_number(disc, side) + allowed - 1
    # READING: a writing beyond the last allowed one, which no command enters, doesn't take the rejection back.
    return any(w.side == side and w.number >= last and spent(led, disc, w) for w in disc.writings)


def rejected(led, disc):
    """ "A disc is rejected when it was by eye, or when the last allowed writing of a side is spent"."""
    return disc.by_eye or any(spent_for_good(led, disc, side) for side in disc.sides)


def disc_verdict(led, disc):
    """ "Else it is `fail` when a side is, else `open` while a side is, else `marginal` when a side is, else `pass`." """
    verdicts = [side_verdict(led, disc, side) for side in disc.sides]
    if rejected(led, disc) or "fail" in verdicts:
        return "fail"
    return next((state for state in ("open", "marginal") if state in verdicts), "pass")


# --- actions ------------------------------------------------------------------------------------------------------------------


def held(led, drive):
    """Whether a drive is on hold now."""
    for row, hold, _ in led.holds:
        # "a passing check ends a hold"
        if hold["drive"] != drive or any(check["drive"] == drive and check["ok"] and at > row for at, check in led.checks):
            continue
        # "When the same writing fails in a second drive as well, the reader's hold ends"
        disc = led.discs[hold["serial"]]
        writings = [w for w in disc.writings if w.side == hold["side"] and w.row < row]
        writing = max(writings, key=lambda w: w.number, default=None)
        failed = {r.read_by for r in reads_of(disc, writing) if r.line["verdict"] == "fail" and bare(led, r)}
        if drive in failed and failed - {drive, None}:
            continue
        return True
    return False


def serving(led, disc, side, how):
    """The batch's drives that serve a side: without lists a drive serves all that its tracks and heads allow."""
    # READING: "every drive that serves the side" is every one of the batch's, which are those that it is made on.
    geometry = disc.batch["sides"][side]
    drives = [led.drives[name] for name in disc.batch["drives"] if name not in led.retired]
    return [drive["name"] for drive in drives if geometry in (drive.get(how) or [geometry]) and fits(drive, geometry)]


def fits(drive, geometry):
    """Whether a drive's tracks and heads allow a geometry."""
    heads = {head for _, head, _, _ in GEOMETRIES[geometry].places()}
    return drive["heads"] >= len(heads)


def disc_action(led, disc):
    """What the hands do with a disc."""
    action, sides = wanted(led, disc)
    how = {"write": "writes", "write-again": "writes", "turn-over": "reads", "read-again": "reads"}.get(action)
    # "`clean-drive` where every drive that serves the side is held"
    if how and sides and all(serving(led, disc, s, how) and all(held(led, d) for d in serving(led, disc, s, how)) for s in sides):
        return "clean-drive"
    return action


def wanted(led, disc):
    """(action, the sides that it is about), whatever the drives are like."""
    verdicts = {side: side_verdict(led, disc, side) for side in disc.sides}
    of = {state: [side for side in disc.sides if verdicts[side] == state] for state in STATES}
    verdict = disc_verdict(led, disc)
    if rejected(led, disc):
        return "reject", []
    if verdict == "pass":
        return "box", []
    if verdict == "marginal":
        return "read-again", of["marginal"]
    if verdict == "fail":
        # "`write-again` when a side is spent, else `read-again`"
        again = [side for side in of["fail"] if spent(led, disc, newest_writing(disc, side))]
        return ("write-again", again) if again else ("read-again", of["fail"])
    # "where the newest read of an open side settled nothing, and no writing is newer, that read-back's own action (`read-again` in place
    # of `box`)"
    # READING: where that is so of both sides, the newer read's.
    newest = [max((r for r in disc.reads if r.line["side"] == side), key=lambda r: r.row, default=None) for side in of["open"]]
    idle = [r for r in newest if r and unsettled(led, disc, r) and not any(w.row > r.row for w in disc.writings)]
    if idle:
        last = max(idle, key=lambda r: r.row)
        return {"box": "read-again"}.get(last.line["action"], last.line["action"]), [last.line["side"]]
    # "else `turn-over` when the newest writing of a side has a settling read, else `write`"
    begun = any(newest_writing(disc, side) and settling(led, disc, newest_writing(disc, side)) for side in disc.sides)
    return ("turn-over" if begun else "write"), of["open"]


# --- lines --------------------------------------------------------------------------------------------------------------------


def disc_line(led, disc):
    """The disc line of `record --json` and `batch show --json`."""
    sides = {side: side_verdict(led, disc, side) for side in disc.sides}
    return {
        "batch": disc.batch["batch"], "serial": disc.serial, "verdict": disc_verdict(led, disc), "action": disc_action(led, disc),
        "rejected": rejected(led, disc), "each_side": waived(disc),
        "sides": {side: None if verdict == "open" else verdict for side, verdict in sides.items()},
    }  # fmt: skip


def unused(led, disc):
    """ "dropped and unused ones have no disc line and are in no count"; unused: closed without a writing or a read."""
    # READING: one that was rejected by eye is not unused, not even when that was taken back.
    nothing = not disc.writings and not disc.reads and not disc.rejects
    return disc.dropped or (disc.batch["batch"] in led.closed and nothing)


def batch_lines(led, name):
    """The lines of `batch show --json`: the batch's, then its discs' as they were handed out."""
    batch = led.batches[name]
    discs = [disc for disc in led.discs.values() if disc.batch["batch"] == name and not unused(led, disc)]
    verdicts = [disc_verdict(led, disc) for disc in discs]
    head = {
        "batch": name, "state": "closed" if name in led.closed else "open", "master": batch["master"], "digest": batch["digest"],
        "discs": {state: verdicts.count(state) for state in STATES} | {"rejected": sum(rejected(led, disc) for disc in discs)},
    }  # fmt: skip
    return [head, *(disc_line(led, disc) for disc in discs)]
