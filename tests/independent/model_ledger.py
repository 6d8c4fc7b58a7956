"""Section 8 a second time: how each side, disc and batch of a ledger stands. Slow and literal.

Every question looks through all of the disc's rows again. Sentences of the text stand before the lines that say them; where it can be read
in two ways, `READING` says which way was taken. `model_ledger_rows` says what the rows are.
"""

from model_geometry import GEOMETRIES

UNSETTLING = ("other-side", "other-master", "other-geometry", "short")
STATES = ("pass", "marginal", "fail", "open")
ACCEPTED = ("dump", "report", "cells", "flux")


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
