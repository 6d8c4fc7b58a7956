"""Section 8 a second time: what the lines of `ledger export` say of each side, disc and batch, and the rates. Slow and literal.

Lines stand in the order of the rows; that order, not the clock, says what is newest. Where the text can be read in two ways,
`READING` says which way was taken.
"""

from dataclasses import dataclass, field
from functools import cache

from model_geometry import GEOMETRIES
from model_judge import check_character
from scipy.stats import binomtest

UNSETTLING = ("other-side", "other-master", "other-geometry", "short")
STATES = ("pass", "marginal", "fail", "open")


def serial_of(catalogue, number):
    """The serial of a catalogue number's disc: CATALOGUE-NNNN-C."""
    before = f"{catalogue}-{number:04d}"
    return f"{before}-{check_character(before.replace('-', ''))}"


# --- what the rows say --------------------------------------------------------------------------------------------------------


@dataclass
class Writing:
    """One time that a side was written. `wrote`: the drive, as it was said last; `reads`: its read lines with their numbers."""

    wrote: str | None = None
    reads: list = field(default_factory=list)


@dataclass
class Disc:
    """One blank. `sides`: A to {number of the writing: Writing}; `reads`: every read line, as recorded; `void`: numbers of reads."""

    serial: str
    batch: dict
    lot: str | None = None
    rejected: bool = False
    sides: dict = field(default_factory=dict)
    reads: list = field(default_factory=list)
    void: set = field(default_factory=set)

    def settling(self, writing):
        """The reads of a writing that settle something, oldest first."""
        return [line for number, line in writing.reads if number not in self.void and settles(line)]

    def newest(self, side):
        """A side's newest writing; None when it was not written yet."""
        # READING: a writing stays one when none of its reads settles anything (short, void): the side is open until it is read.
        return self.sides[side][max(self.sides[side])] if self.sides[side] else None

    def newest_read(self, side):
        """The read that gives a side its verdict; None while there is none."""
        # READING: "newest settling read" is of the newest writing; what an overwritten writing held counts nowhere.
        reads = self.settling(self.newest(side)) if self.newest(side) else []
        return reads[-1] if reads else None


def settles(line):
    """A read with one of four diagnoses, or without a side, is recorded and settles nothing."""
    return line["side"] is not None and line["diagnosis"] not in UNSETTLING


@dataclass
class Ledger:
    """All of it, each in the order in which it was created. `rewrites`: how often a disc may be written again."""

    lots: list
    drives: list
    batches: dict
    discs: dict
    closed: set
    rewrites: int = 1


def only(names):
    """Where the batch has one it is the default."""
    return names[0] if len(names) == 1 else None


def replay(lines, rewrites=1):
    """What the rows say, taken one after the other."""
    led = Ledger([], [], {}, {}, set(), rewrites)
    for line in lines:
        kind = line["kind"]
        if kind in ("lot", "drive"):
            (led.lots if kind == "lot" else led.drives).append(line["name"])
        elif kind == "batch":
            led.batches[line["batch"]] = line
        elif kind == "close":
            led.closed.add(line["batch"])
        elif kind == "serial":
            batch = led.batches[line["batch"]]
            led.discs[line["serial"]] = Disc(line["serial"], batch, sides={side: {} for side in batch["sides"]})
        else:
            {"read": take_read, "reject": take_reject, "amend": take_amend}[kind](led.discs[line["serial"]], line)
    return led


def take_read(disc, line):
    """A read: its disc's lot, its writing and the drive that wrote that."""
    disc.reads.append(line)
    disc.lot = line["lot"] or disc.lot or only(disc.batch["lots"])
    if line["side"] is not None:
        writing = disc.sides[line["side"]].setdefault(line["writing"], Writing())
        writing.wrote = line["wrote"] or writing.wrote or only(disc.batch["drives"])
        writing.reads.append((len(disc.reads), line))


def take_reject(disc, line):
    """A reject by eye; it may be all that is known of a blank."""
    disc.rejected = True
    disc.lot = line["lot"] or disc.lot or only(disc.batch["lots"])


def take_amend(disc, line):
    """A correction."""
    disc.lot = line["lot"] or disc.lot
    if line["wrote"]:
        # READING: the drive is corrected for the newest writing of each side, as it stands when the correction is made.
        for side in disc.sides:
            if disc.newest(side):
                disc.newest(side).wrote = line["wrote"]
    if line["void"]:
        # READING: N counts the disc's reads from 1 as they were recorded, both sides together.
        disc.void.add(line["read"])


# --- verdicts and actions -----------------------------------------------------------------------------------------------------


def side_verdict(disc, side):
    """That of the newest read of its newest writing; marginal until two passes follow the last that did not."""
    writing = disc.newest(side)
    verdicts = [line["verdict"] for line in disc.settling(writing)] if writing else []
    if not verdicts:
        return "open"
    if verdicts[-1] != "pass":
        return verdicts[-1]
    running = 0
    while running < len(verdicts) and verdicts[-1 - running] == "pass":
        running += 1
    return "pass" if running == len(verdicts) or running >= 2 else "marginal"


def joined(verdicts, rejected=False):
    """A disc's verdict from those of its sides."""
    if "fail" in verdicts or rejected:
        return "fail"
    return next((state for state in ("open", "marginal") if state in verdicts), "pass")


def disc_verdict(disc):
    """A disc's verdict."""
    return joined([side_verdict(disc, side) for side in disc.sides], disc.rejected)


def side_action(disc, side, rewrites):
    """What a failing side asks for."""
    writing, number = disc.newest(side), max(disc.sides[side])
    reads = disc.settling(writing)
    failed = sum(line["verdict"] == "fail" for line in reads)
    if failed < 2:
        return "read-again"
    if number >= 1 + rewrites:
        return "reject"
    # READING: a drive has read a writing when it gave a read of it that settles something.
    readers = {line["read_by"] for line in reads}
    return "other-drive" if any(drive not in readers for drive in disc.batch["drives"]) else "write-again"


def disc_action(disc, rewrites):
    """What the hands do with a disc; no drive is held."""
    verdict = disc_verdict(disc)
    if verdict != "fail":
        return {"pass": "box", "open": "turn-over", "marginal": "read-again"}[verdict]
    if disc.rejected:
        return "reject"
    asked = {side_action(disc, side, rewrites) for side in disc.sides if side_verdict(disc, side) == "fail"}
    # READING: where both sides fail, what can't be taken back by the other side's action comes first.
    return next(action for action in ("reject", "write-again", "other-drive", "read-again") if action in asked)


def disc_line(disc, rewrites=1):
    """The disc line of `record --json` and `batch show --json`."""
    sides = {side: side_verdict(disc, side) for side in disc.sides}
    return {
        "batch": disc.batch["batch"], "serial": disc.serial, "verdict": disc_verdict(disc), "action": disc_action(disc, rewrites),
        "sides": {side: None if verdict == "open" else verdict for side, verdict in sides.items()},
    }  # fmt: skip


def batch_lines(led, name):
    """The lines of `batch show --json`: the batch's, then its discs' as they were handed out."""
    batch = led.batches[name]
    discs = [disc for disc in led.discs.values() if disc.batch["batch"] == name]
    verdicts = [disc_verdict(disc) for disc in discs]
    head = {
        "batch": name, "state": "closed" if name in led.closed else "open", "master": batch["master"], "digest": batch["digest"],
        "discs": {state: verdicts.count(state) for state in STATES},
    }  # fmt: skip
    return [head, *(disc_line(disc, led.rewrites) for disc in discs)]


# --- rates --------------------------------------------------------------------------------------------------------------------


def wilson(bad, discs):
    """Wilson's score interval at 95 %, from scipy."""
    found = binomtest(bad, discs).proportion_ci(confidence_level=0.95, method="wilson")
    return float(found.low), float(found.high)


def rates(led, by, role="write"):
    """The lines of `rates --json`."""
    groups = {"batch": list(led.batches), "lot": led.lots, "drive": led.drives, "side": ["A", "B"], "track": tracks(led)}[by]
    lines = []
    for group in groups:
        members = [found for found in (member(disc, by, group, role) for disc in led.discs.values()) if found]
        if members:
            lines.append(line_of(by, group, members))
    return lines


def line_of(by, group, members):
    """One line from a group's discs."""
    discs, bad = len(members), sum(one["bad"] for one in members)
    low, high = wilson(bad, discs)
    return {
        "by": by, "group": group, "discs": discs, "bad": bad, "rate": bad / discs, "low": low, "high": high, "confidence": 0.95,
        "method": "wilson", "marginal": sum(one["marginal"] for one in members), "rewritten": sum(one["rewritten"] for one in members),
        "first_bad": sum(one["first_bad"] for one in members), "simulated": any(one["simulated"] for one in members),
    }  # fmt: skip


def member(disc, by, group, role):
    """What a disc adds to a group; None when it isn't one of the group's discs or, as far as the group goes, still open."""
    if by in ("batch", "lot"):
        if (disc.batch["batch"] if by == "batch" else disc.lot) != group:
            return None
        sides, verdict = list(disc.sides), disc_verdict(disc)
    else:
        # "In groups by drive, side and track all counts look only at the sides (reads) that belong to the group": `open` too.
        sides = [side for side in disc.sides if belongs(disc, side, by, group, role)]
        verdict = joined([side_verdict(disc, side) for side in sides]) if sides else "open"
    if verdict == "open":
        return None
    # READING: by track only `bad` is told from the track; the other counts are those of the side. A side that is marginal can't be bad.
    bad = verdict == "fail" if by != "track" else bad_there(disc, group)
    return {
        "bad": bad,
        "marginal": verdict == "marginal",
        "rewritten": any(max(disc.sides[side], default=0) > 1 for side in sides),
        "first_bad": any(first_bad(disc, side) for side in sides),
        # READING: a group is simulated when a read of one of its discs (on the group's sides) is.
        "simulated": any(line["simulated"] for line in disc.reads if line["side"] in sides),
    }


def belongs(disc, side, by, group, role):
    """Whether one side of a disc is of a group by side, drive or track."""
    if by == "side":
        return side == group
    if by == "drive" and role == "write":
        return disc.newest(side) is not None and disc.newest(side).wrote == group
    read = disc.newest_read(side)
    if by == "drive":
        return read is not None and read["read_by"] == group
    name, head, track = group.split("/")
    return side == name and read is not None and covers(read, disc.batch["sides"][side], int(head), int(track))


def first_bad(disc, side):
    """The first read that settles of the first writing did not pass."""
    reads = disc.settling(disc.sides[side][1]) if 1 in disc.sides[side] else []
    return bool(reads) and reads[0]["verdict"] != "pass"


@cache
def sectors_of(geometry):
    """{(head, track): its sectors} of a geometry, with the identifiers' numbers."""
    found = {}
    for _, head, track, sector in GEOMETRIES[geometry].places():
        found.setdefault((head, track), set()).add(sector)
    return found


def covers(read, geometry, head, track):
    """Whether a read holds anything of a track."""
    # READING: a track is covered unless each of its sectors is `not-tried`.
    missing = {f["sector"] for f in read["findings"] if (f["head"], f["track"], f["kind"]) == (head, track, "not-tried")}
    return bool(sectors_of(geometry).get((head, track), set()) - missing)


def bad_there(disc, group):
    """A finding other than `soft` on the group's track."""
    side, head, track = group.split("/")
    findings = disc.newest_read(side)["findings"]
    return any((f["head"], f["track"]) == (int(head), int(track)) and f["kind"] != "soft" for f in findings)


def tracks(led):
    """The names of all track groups, ascending: side, head, track."""
    named = {(side, *place) for batch in led.batches.values() for side, geo in batch["sides"].items() for place in sectors_of(geo)}
    return [f"{side}/{head}/{track}" for side, head, track in sorted(named)]
