"""Seeded shops that never were: legal ledgers as the lines of `ledger export`, with everything in them that section 8 speaks of.

What the text leaves open is left out: a blank without a lot, a drive or lot that isn't the batch's, anything but questions after `close`.
"""

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from model_ledger import disc_verdict, newest_writing, rejected, spent
from model_ledger_reads import judged
from model_ledger_rows import replay, serial_of

JOBS = [
    {"A": "gcr4to5-35z"},
    {"A": "mfm-40x9x512-2s"},
    {"A": "mfm-40x9x512", "B": "mfm-40x9x512"},
    {"A": "gcr6and2-35x16x256", "B": "gcr4to5-35z"},
]
TITLES = [("Lamplighter", "SM-004"), ("Tidewrack", "SM-011"), ("The Brass Orchard", "KP-7B-2")]
EVIDENCE = ["dump", "report", "cells", "flux", "sums"]


def make_ledger(seed, discs=40, earlier=False):
    """The lines of a whole ledger of about so many discs. `earlier`: one of before, which knows no more than reads, rejects, amends."""
    return Shop(random.Random(seed), discs, earlier).run()


@dataclass
class Blank:
    """What the shop knows of a disc. `wrote`: A to the drives that wrote it, one a writing; `failed`: sides whose last read failed."""

    serial: str
    batch: dict
    lot: str | None = None
    inner: int | None = None
    rejected: bool = False
    dropped: bool = False
    wrote: dict = field(default_factory=dict)
    failed: set = field(default_factory=set)
    reads: int = 0
    void: set = field(default_factory=set)
    simulated: bool = False

    def idle(self):
        """Nothing was done with it yet."""
        return not (self.reads or any(self.wrote.values()) or self.rejected)


def of(blank):
    """The keys of a line about a disc."""
    return {"batch": blank.batch["batch"], "serial": blank.serial}


class Shop:
    """Does one thing after another, as people do, and writes the line that it leaves."""

    def __init__(self, rng, discs, earlier):
        self.rng, self.discs, self.earlier = rng, discs, earlier
        self.lines, self.batches, self.blanks, self.masters, self.numbers = [], [], [], [], {}
        self.now = datetime(2026, 11, 25, 19)
        self.set_back = rng.random() < 0.2  # somebody's clock
        self.real = [f"D{n + 1}" for n in range(rng.randint(1, 3))]
        self.simulated = ["S1", "S2"] if rng.random() < 0.5 else []
        self.lots = ["L-07", "L-09", "L-11"][: rng.randint(1, 3)]
        self.retired = set()
        self.boxed = set() if earlier else {lot for lot in self.lots if rng.random() < 0.5}
        self.luck = {name: rng.choice((0.02, 0.1, 0.4)) for name in (*self.lots, *self.real, *self.simulated)}

    def run(self):
        """Everything."""
        for name in self.lots:
            self.put("lot", name=name, count=self.rng.choice((None, 100)), **({"inner_box": 10} if name in self.boxed else {}))
        for name in (*self.real, *self.simulated):
            self.put("drive", name=name, tpi=96, heads=2, simulated=name in self.simulated)
        while len(self.blanks) < self.discs:
            if not self.open_batches() or self.rng.random() < 0.1:
                self.open_batch()
            self.hand_out(self.rng.choice(self.open_batches()))
            for _ in range(self.rng.randint(0, 3 * len(self.blanks))):
                self.do_something()
            if self.rng.random() < 0.2:
                self.end(self.rng.choice(self.open_batches()))
        for _ in range(2 * self.discs):
            self.do_something()
        for batch in self.open_batches():
            if self.rng.random() < 0.5:
                self.end(batch)
        return self.lines

    def put(self, kind, **keys):
        """One line."""
        self.lines.append({"kind": kind, **keys})

    def at(self):
        """The time of the next row."""
        self.now += timedelta(seconds=self.rng.randint(0, 200))
        if self.set_back and self.rng.random() < 0.05:
            self.now -= timedelta(hours=1)
        return self.now.strftime("%Y-%m-%dT%H:%M:%SZ")

    def some(self, names):
        """One or more of them."""
        return sorted(self.rng.sample(names, self.rng.randint(1, len(names))))

    # --- batches ---

    def open_batches(self):
        """Those that take records."""
        return [batch for batch in self.batches if not batch["closed"]]

    def new_master(self, like=None):
        """A master that was not there before: of a new title, or a new revision of one that was."""
        name, catalogue = self.rng.choice(TITLES) if like is None else (like["master"].rpartition(" ")[0], like["catalogue"])
        sides = self.rng.choice(JOBS) if like is None else like["sides"]
        digest = f"{self.rng.getrandbits(256):064x}"
        made = {"master": f"{name} 1.{len(self.masters)}", "catalogue": catalogue, "digest": digest, "sides": sides}
        self.masters.append(made | {"slot": self.rng.choice([None, *sides])})
        return self.masters[-1]

    def open_batch(self, master=None, after=None, how=None):
        """A batch of a master that was there before, or of a new one; `after`: the batch whose discs it continues or reworks."""
        rng = self.rng
        if master is None:
            master = self.new_master() if not self.masters or rng.random() < 0.6 else rng.choice(self.masters)
        drives = self.some(self.simulated if self.simulated and rng.random() < 0.4 else self.real)
        lots = self.some(self.lots)
        if after:
            lots, drives = sorted({*lots, *after["lots"]}), after["drives"]
        keys = {"batch": f"B-{len(self.batches) + 1:04d}", **{k: master[k] for k in ("master", "catalogue", "digest", "sides")}}
        keys |= {"good": rng.randint(1, 60), "lots": lots, "drives": list(drives), "operator": rng.choice((None, "AN", "Brök"))}
        simulated = drives[0] in self.simulated
        if not self.earlier:
            accept = EVIDENCE[:4] if rng.random() < 0.5 else self.some(EVIDENCE)
            keys |= {
                "rewrites": rng.choice((0, 1, 1, 1, 2)), "verify": rng.choice(("after-turning-over",) * 2 + ("each-side",)),
                "accept": accept, "unserialled": [], "practice": simulated != (rng.random() < 0.2),
                "continues": after["batch"] if how == "continue" else None, "reworks": after["batch"] if how == "rework" else None,
            }  # fmt: skip
        self.put("batch", **keys, at=self.at())
        more = {"closed": False, "slot": master["slot"], "simulated": simulated, "bench": not self.earlier and rng.random() < 0.5}
        self.batches.append(keys | more)
        return self.batches[-1]

    def hand_out(self, batch):
        """The next serials of the catalogue number."""
        for _ in range(min(self.rng.randint(1, 15), self.discs - len(self.blanks))):
            catalogue = batch["catalogue"]
            self.numbers[catalogue] = self.numbers.get(catalogue, 0) + 1
            serial = serial_of(catalogue, self.numbers[catalogue])
            self.put("serial", batch=batch["batch"], serial=serial, at=self.at())
            simulated = batch["simulated"] or self.rng.random() < 0.05
            self.blanks.append(Blank(serial, batch, wrote={side: [] for side in batch["sides"]}, simulated=simulated))

    def end(self, batch):
        """No more of this one; perhaps another batch takes its discs over."""
        batch["closed"] = True
        self.put("close", batch=batch["batch"], **({} if self.earlier else {"counted": None}), at=self.at())
        roll = self.rng.random()
        if self.earlier or roll > 0.6:
            return
        led, how = replay(self.lines), "continue" if roll < 0.3 else "rework"
        master = next(one for one in self.masters if one["digest"] == batch["digest"])
        new = self.open_batch(master if how == "continue" else self.new_master(master), batch, how)
        changed = self.some(list(batch["sides"]))
        for blank in self.blanks:
            disc = led.discs[blank.serial]
            if blank.batch is not batch or blank.dropped or blank.idle() or rejected(led, disc) or self.rng.random() < 0.2:
                continue
            if how == "continue" and disc_verdict(led, disc) == "pass":
                continue
            sides = changed if how == "rework" else [side for side in batch["sides"] if not blank.wrote[side]]
            self.put("take", batch=new["batch"], serial=blank.serial, **{"from": batch["batch"]}, sides=sides, at=self.at())
            blank.batch = new
            for side in sides:
                blank.wrote[side] = [*blank.wrote[side], None] if how == "rework" else blank.wrote[side]

    # --- discs ---

    def do_something(self):
        """A read, mostly; now and then a reject, a correction, something with a drive."""
        blanks = [blank for blank in self.blanks if not (blank.batch["closed"] or blank.dropped)]
        blanks = [blank for blank in blanks if not blank.rejected or self.rng.random() < 0.1]
        if not blanks:
            return
        begun = [blank for blank in blanks if blank.reads]
        blank = self.rng.choice(begun if begun and self.rng.random() < 0.7 else blanks)
        roll = self.rng.random()
        if roll < 0.03 and (blank.reads or not blank.batch["simulated"]):
            self.reject(blank)
        elif roll < 0.09 and blank.reads:
            self.amend(blank)
        elif roll < 0.14 and not self.earlier:
            self.rng.choice((self.drop, self.image, self.hold, self.hold, self.check, self.change, self.restore, self.strike))(blank)
        else:
            self.read(blank)

    def reject(self, blank):
        """By eye, before or after it was written."""
        lot = self.rng.choice((None, blank.lot)) if blank.lot else self.rng.choice(blank.batch["lots"])
        blank.lot, blank.rejected = blank.lot or lot, True
        self.put("reject", **of(blank), lot=lot, reason=self.rng.choice(("hub ring", "a crease, §4")), at=self.at())

    def amend(self, blank):
        """Another lot or drive of the batch, a read that settles nothing, or that another drive made."""
        lots = [lot for lot in blank.batch["lots"] if lot != blank.lot]
        drives = blank.batch["drives"] if len(blank.batch["drives"]) > 1 else []
        reads = [number for number in range(1, blank.reads + 1) if number not in blank.void]
        once = [side for side, wrote in blank.wrote.items() if len(wrote) == 1]
        lot = self.rng.choice(lots) if lots and self.rng.random() < 0.6 else None
        read = self.rng.choice(reads) if reads and self.rng.random() < 0.6 else None
        wrote = self.rng.choice(drives) if drives and read is None and self.rng.random() < 0.6 and len(once) == len(blank.wrote) else None
        void = read is not None and (self.earlier or not drives or self.rng.random() < 0.6)
        read_by = self.rng.choice(drives) if read is not None and not void else None
        if not (lot or read or wrote):
            return
        if lot:
            blank.lot, blank.inner = lot, None
        blank.void |= {read} if void else set()
        for side in blank.wrote:
            if wrote:
                blank.wrote[side] = [wrote]
        more = {} if self.earlier else {"read_by": read_by, "restore": False, "since": None}
        self.put("amend", **of(blank), lot=lot, wrote=wrote, read=read, void=void, **more, reason="the wrong box", at=self.at())

    def restore(self, blank):
        """Takes a rejection back."""
        rejects = [one for one in self.blanks if one.batch is blank.batch and not one.dropped]
        led = replay(self.lines)
        for one in rejects:
            if rejected(led, led.discs[one.serial]):
                one.rejected = False
                keys = {"lot": None, "wrote": None, "read": None, "void": False, "read_by": None, "restore": True, "since": None}
                self.put("amend", **of(one), **keys, reason="looked at again", at=self.at())
                return

    def strike(self, blank):
        """All reads of a drive in this batch since a time."""
        since = (self.now - timedelta(seconds=self.rng.randint(0, 3000))).strftime("%Y-%m-%dT%H:%M:%SZ")
        keys = {"lot": None, "wrote": None, "read": None, "void": True, "read_by": self.rng.choice(blank.batch["drives"]), "restore": False}
        self.put("amend", batch=blank.batch["batch"], serial=None, **keys, since=since, reason="its head was dirty", at=self.at())

    def drop(self, blank):
        """Never written."""
        if blank.idle():
            blank.dropped = True
            self.put("drop", **of(blank), reason="the label was torn", at=self.at())

    def image(self, blank):
        """A claim."""
        self.put("image", **of(blank), side=self.rng.choice(list(blank.wrote)), sha256=f"{self.rng.getrandbits(256):064x}", at=self.at())

    def hold(self, blank):
        """A drive goes on hold by the first failed read of a side of this disc, or, as a machine may, without one."""
        drive = self.rng.choice(blank.batch["drives"])
        last = next((line for line in reversed(self.lines) if line["kind"] == "read" and line["verdict"] == "fail" and line["side"]), None)
        serial, side = blank.serial, self.rng.choice(list(blank.wrote))
        if last and self.rng.random() < 0.8:
            drive, serial, side = self.rng.choice((last["read_by"] or drive, last["wrote"])), last["serial"], last["side"]
        self.put("hold", drive=drive, serial=serial, side=side, why=self.rng.choice(("running", "share")), at=self.at())

    def check(self, blank):
        """A drive is checked, or something is noted of it."""
        drive = self.rng.choice(blank.batch["drives"])
        if self.rng.random() < 0.7 or drive in self.retired:
            self.put("drive-check", drive=drive, ok=self.rng.random() < 0.7, digest=None, at=self.at())
        else:
            what = self.rng.choice(("cleaned", "adjusted", "repaired", "retired") if drive != "D1" else ("cleaned", "adjusted", "repaired"))
            self.retired |= {drive} if what == "retired" else set()
            self.put("drive-log", drive=drive, what=what, note=None, at=self.at())

    def change(self, blank):
        """A batch gets another drive, or a drive serves other geometries."""
        batch, rng = blank.batch, self.rng
        more = [drive for drive in (self.simulated if batch["simulated"] else self.real) if drive not in batch["drives"]]
        if more and rng.random() < 0.6:
            batch["drives"] = [*batch["drives"], more[0]]
            self.put("change", of="batch", name=batch["batch"], drives=more[:1], reason="it is free", at=self.at())
        else:
            served = {rng.choice(("writes", "reads")): self.some(sorted({geometry for job in JOBS for geometry in job.values()}))}
            self.put("change", of="drive", name=rng.choice(batch["drives"]), **served, reason="its other head is worn", at=self.at())

    def write(self, blank, sides):
        """Writings of sides; the rows of one command, or of the bench, which knows the drive."""
        for side in sides:
            drive = self.rng.choice(blank.batch["drives"])
            blank.wrote[side] = [*blank.wrote[side], drive]
            if not self.earlier:
                told = drive if blank.batch["bench"] else None
                self.put("writing", **of(blank), side=side, writing=len(blank.wrote[side]), drive=told, at=self.at())
                blank.wrote[side][-1] = drive

    def to_write(self, blank):
        """The sides that must be written before anything is read: those that never were, or not with the master of now."""
        return [side for side, wrote in blank.wrote.items() if not wrote or wrote[-1] is None]

    def read(self, blank):
        """One read-back of a disc, written (again) before where need be."""
        rng = self.rng
        for side in self.to_write(blank):
            if blank.wrote[side]:  # reworked: the writing of now takes the next number, whatever stands there
                blank.wrote[side].pop()
        first = [side for side in blank.wrote if not blank.wrote[side]]
        disc = replay(self.lines).discs[blank.serial]
        stale = [side for side in blank.wrote if side not in first and newest_writing(disc, side) is None and not self.earlier]
        if self.earlier:
            side = rng.choice(first if first and rng.random() < 0.7 else list(blank.wrote))
            self.write(blank, [side] if side in first else [])
        else:
            self.write(blank, [*first, *stale])
            side = rng.choice(list(blank.wrote))
        if side in blank.failed and rng.random() < 0.4 and self.may_write(blank, side):
            self.write(blank, [side])
            blank.failed -= {side}
        self.read_line(blank, side)

    def may_write(self, blank, side):
        """Whether a side may be written again: `--rewritten` refuses a rejected disc."""
        led = replay(self.lines)
        disc = led.discs[blank.serial]
        if rejected(led, disc):
            return False
        writing = newest_writing(disc, side)
        return self.rng.random() < (0.9 if writing and spent(led, disc, writing) else 0.1)

    def read_line(self, blank, side):
        """The line of a read."""
        rng, batch = self.rng, blank.batch
        blank.lot = blank.lot or rng.choice(batch["lots"])
        if blank.lot in self.boxed and not blank.inner and rng.random() < 0.5:
            blank.inner = rng.randint(1, 3)
        wrote, number = blank.wrote[side][-1], len(blank.wrote[side])
        line = judged(rng, batch, side, self.luck[blank.lot] + self.luck[wrote])
        if self.earlier and line["evidence"] == "sums":
            line["evidence"] = "report"
        if line["side"] is None:  # no one can say of which writing
            number = None
            if self.earlier and not any(
                one["kind"] == "read" and one["serial"] == blank.serial and one["side"] == side for one in self.lines
            ):
                blank.wrote[side].pop()
        blank.failed = blank.failed - {side} | ({side} if line["verdict"] == "fail" else set())
        blank.reads += 1
        suffix = "dump" if line["evidence"] in ("dump", "report", "sums") else "capture"
        slot = side == batch["slot"] and line["verdict"] != "fail" and rng.random() < 0.9
        read_by = None if len(batch["drives"]) > 1 and rng.random() < 0.1 else rng.choice(batch["drives"])
        path = f"reads/{blank.serial}-{side}-{blank.reads}.{suffix}"
        line = {"readback": path, **line, **of(blank), "simulated": blank.simulated, "on_disc": blank.serial if slot else None}
        line |= {"read": blank.reads, "writing": number, "lot": blank.lot, "wrote": wrote, "read_by": read_by, "at": self.at()}
        self.put("read", **line, **({"inner": blank.inner} if blank.inner else {}))
