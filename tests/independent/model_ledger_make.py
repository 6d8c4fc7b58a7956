"""Seeded shops that never were: legal ledgers as the lines of `ledger export`, with everything in them that section 8 speaks of.

What the text leaves open is left out: a blank without a lot, a drive or lot that isn't the batch's, anything after `close`.
"""

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from model_geometry import GEOMETRIES
from model_ledger import serial_of
from model_verdict import action_of

JOBS = [
    {"A": "gcr4to5-35z"},
    {"A": "mfm-40x9x512-2s"},
    {"A": "mfm-40x9x512", "B": "mfm-40x9x512"},
    {"A": "gcr6and2-35x16x256", "B": "gcr4to5-35z"},
]
TITLES = [("Lamplighter", "SM-004"), ("Tidewrack", "SM-011"), ("The Brass Orchard", "KP-7B-2")]
FROM_CELLS = ["differs", "identity", "density", "block-check", "no-block", "identifier-check", "misplaced", "absent", "soft"]
KINDS = {"dump": ["differs"], "report": [*FROM_CELLS, "unread", "not-tried"], "cells": FROM_CELLS, "flux": FROM_CELLS}
UNSETTLED = ["other-side", "other-master", "other-geometry", "short"]


def make_ledger(seed, discs=40):
    """The lines of a whole ledger of about so many discs."""
    return Shop(random.Random(seed), discs).run()


@dataclass
class Blank:
    """What the shop knows of a disc. `sides`: A to the drives that wrote it, one a writing; `failed`: sides whose last read failed."""

    serial: str
    batch: dict
    lot: str | None = None
    rejected: bool = False
    sides: dict = field(default_factory=dict)
    failed: set = field(default_factory=set)
    reads: int = 0
    void: set = field(default_factory=set)
    simulated: bool = False


class Shop:
    """Does one thing after another, as people do, and writes the line that it leaves."""

    def __init__(self, rng, discs):
        self.rng, self.discs = rng, discs
        self.lines, self.batches, self.blanks, self.masters, self.numbers = [], [], [], [], {}
        self.now = datetime(2026, 11, 25, 19)
        self.set_back = rng.random() < 0.2  # somebody's clock
        self.real = [f"D{n + 1}" for n in range(rng.randint(1, 3))]
        self.simulated = ["S1", "S2"] if rng.random() < 0.5 else []
        self.lots = ["L-07", "L-09", "L-11"][: rng.randint(1, 3)]
        self.luck = {name: rng.choice((0.02, 0.1, 0.4)) for name in (*self.lots, *self.real, *self.simulated)}

    def run(self):
        """Everything."""
        for name in self.lots:
            self.put("lot", name=name, count=self.rng.choice((None, 10, 100)))
        for name in (*self.real, *self.simulated):
            self.put("drive", name=name, tpi=48, heads=2, simulated=name in self.simulated)
        while len(self.blanks) < self.discs:
            if not self.open_batches() or self.rng.random() < 0.1:
                self.open_batch()
            self.hand_out(self.rng.choice(self.open_batches()))
            for _ in range(self.rng.randint(0, 3 * len(self.blanks))):
                self.do_something()
            if self.rng.random() < 0.15:
                self.close(self.rng.choice(self.open_batches()))
        for _ in range(self.discs):
            self.do_something()
        for batch in self.open_batches():
            if self.rng.random() < 0.5:
                self.close(batch)
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

    def open_batch(self):
        """A batch of a master that was there before, or of a new one."""
        rng = self.rng
        if not self.masters or rng.random() < 0.6:
            name, catalogue = rng.choice(TITLES)
            revision = f"1.{len(self.masters)}"
            sides = rng.choice(JOBS)
            made = {"master": f"{name} {revision}", "catalogue": catalogue, "digest": f"{rng.getrandbits(256):064x}", "sides": sides}
            self.masters.append(made | {"slot": rng.choice([None, *sides])})
        master = rng.choice(self.masters)
        drives = self.some(self.simulated if self.simulated and rng.random() < 0.5 else self.real)
        keys = {key: master[key] for key in ("master", "catalogue", "digest", "sides")}
        keys = {
            "batch": f"B-{len(self.batches) + 1:04d}",
            **keys,
            "good": rng.randint(1, 60),
            "lots": self.some(self.lots),
            "drives": drives,
        }
        keys |= {"operator": rng.choice((None, "AN", "Brök")), "at": self.at()}
        self.put("batch", **keys)
        self.batches.append(keys | {"closed": False, "slot": master["slot"], "simulated": drives[0] in self.simulated})

    def hand_out(self, batch):
        """The next serials of the catalogue number."""
        for _ in range(min(self.rng.randint(1, 15), self.discs - len(self.blanks))):
            catalogue = batch["catalogue"]
            self.numbers[catalogue] = self.numbers.get(catalogue, 0) + 1
            serial = serial_of(catalogue, self.numbers[catalogue])
            self.put("serial", batch=batch["batch"], serial=serial, at=self.at())
            simulated = batch["simulated"] or self.rng.random() < 0.05
            self.blanks.append(Blank(serial, batch, sides={side: [] for side in batch["sides"]}, simulated=simulated))

    def close(self, batch):
        """No more of this one."""
        batch["closed"] = True
        self.put("close", batch=batch["batch"], at=self.at())

    # --- discs ---

    def do_something(self):
        """A read, mostly; now and then a reject or a correction."""
        blanks = [blank for blank in self.blanks if not blank.batch["closed"] and (not blank.rejected or self.rng.random() < 0.1)]
        if not blanks:
            return
        unfinished = [blank for blank in blanks if not all(blank.sides.values())]
        blank = self.rng.choice(unfinished if unfinished and self.rng.random() < 0.6 else blanks)
        roll = self.rng.random()
        if roll < 0.03 and (blank.reads or not blank.batch["simulated"]):
            self.reject(blank)
        elif roll < 0.09 and blank.reads:
            self.amend(blank)
        else:
            self.read(blank)

    def reject(self, blank):
        """By eye, before or after it was written."""
        lot = self.rng.choice((None, blank.lot)) if blank.lot else self.rng.choice(blank.batch["lots"])
        blank.lot, blank.rejected = blank.lot or lot, True
        self.put(
            "reject",
            batch=blank.batch["batch"],
            serial=blank.serial,
            lot=lot,
            reason=self.rng.choice(("hub ring", "a crease, §4")),
            at=self.at(),
        )

    def amend(self, blank):
        """Another lot or drive of the batch, or a read that settles nothing."""
        lots = [lot for lot in blank.batch["lots"] if lot != blank.lot]
        drives = blank.batch["drives"] if any(blank.sides.values()) and len(blank.batch["drives"]) > 1 else []
        reads = [number for number in range(1, blank.reads + 1) if number not in blank.void]
        lot = self.rng.choice(lots) if lots and self.rng.random() < 0.6 else None
        read = self.rng.choice(reads) if reads and self.rng.random() < 0.6 else None
        wrote = self.rng.choice(drives) if drives and read is None and self.rng.random() < 0.6 else None
        if not (lot or read or wrote):
            return
        blank.lot = lot or blank.lot
        blank.void |= {read} - {None}
        for wrote_it in blank.sides.values():
            if wrote and wrote_it:
                wrote_it[-1] = wrote
        self.put(
            "amend", batch=blank.batch["batch"], serial=blank.serial, lot=lot, wrote=wrote, read=read, void=read is not None,
            reason="the wrong box", at=self.at(),
        )  # fmt: skip

    def read(self, blank):
        """One read-back of a disc, written (again) before where need be."""
        rng, batch = self.rng, blank.batch
        unread = [side for side, wrote_it in blank.sides.items() if not wrote_it]
        side = rng.choice(unread if unread and rng.random() < 0.7 else list(blank.sides))
        blank.lot = blank.lot or rng.choice(batch["lots"])
        written = not blank.sides[side] or rng.random() < (0.3 if side in blank.failed else 0.02)
        if written:
            blank.sides[side].append(rng.choice(batch["drives"]))
        wrote, number = blank.sides[side][-1], len(blank.sides[side])
        judged = self.judged(batch, side, self.luck[blank.lot] + self.luck[wrote])
        if judged["side"] is None:  # no one can say of which writing
            number = None
            if written:
                blank.sides[side].pop()
        blank.failed = blank.failed - {side} | ({side} if judged["verdict"] == "fail" else set())
        blank.reads += 1
        suffix = "dump" if judged["evidence"] in ("dump", "report") else "capture"
        slot = side == batch["slot"] and judged["verdict"] != "fail" and rng.random() < 0.9
        read_by = None if len(batch["drives"]) > 1 and rng.random() < 0.1 else rng.choice(batch["drives"])
        line = {
            "readback": f"reads/{blank.serial}-{side}-{blank.reads}.{suffix}",
            **judged,
            "serial": blank.serial,
            "simulated": blank.simulated,
        }
        line |= {
            "on_disc": blank.serial if slot else None,
            "batch": batch["batch"],
            "read": blank.reads,
            "writing": number,
            "lot": blank.lot,
            "wrote": wrote,
        }
        self.put("read", **line, read_by=read_by, at=self.at())

    # --- verdicts ---

    def judged(self, batch, side, bad):
        """What `verify` could say of a read-back of this side."""
        rng = self.rng
        places = [(track, head, sector) for _, head, track, sector in GEOMETRIES[batch["sides"][side]].places()]
        roll, evidence, matches = rng.random(), rng.choice(list(KINDS)), None
        diagnosis, findings = None, []
        if roll < 0.07:
            diagnosis = rng.choice([one for one in UNSETTLED if one != "other-side" or len(batch["sides"]) > 1])
        elif roll < 0.10:
            diagnosis = rng.choice(("blank", "shifted"))
        if diagnosis:
            evidence, findings = self.diagnosed(diagnosis, places)
            other = next((name for name in batch["sides"] if name != side), None)
            matches = {"other-side": [f"{batch['master']} {other}"], "other-master": ["Saltmarsh Sampler 2 A"]}.get(diagnosis)
        elif roll < 0.12 and len(batch["sides"]) > 1:
            side = None
        elif roll < 0.12 + min(bad, 0.6):
            findings = self.failures(evidence, places, batch["sides"][side], side == batch["slot"])
        elif roll < 0.22 + min(bad, 0.6) and evidence != "dump":
            findings = self.listed({place: "soft" for place in rng.sample(places, rng.randint(1, 3))}, places)
        hard = sum(finding["kind"] != "soft" for finding in findings)
        good = len(places) - hard
        out = {"side": side, "evidence": evidence, "verdict": "fail" if hard or side is None else "marginal" if findings else "pass"}
        out |= {"diagnosis": diagnosis, "sectors": None if side is None else {"expected": len(places), "good": good}, "findings": findings}
        out |= {"unproven": rng.randint(0, good) if evidence == "dump" and side and rng.random() < 0.3 else 0}
        return out | {"action": action_of(out)} | ({"matches": matches} if matches else {})

    def failures(self, evidence, places, geometry, slot):
        """Findings of a read that failed for no reason that has a name: single sectors, a scratch over neighbours, tracks that nobody read."""
        rng, found = self.rng, {}
        kinds = KINDS[evidence] + (["data-mark"] if geometry.startswith("mfm") and evidence != "dump" else [])
        for _ in range(rng.randint(1, 3)):
            at, width = rng.randrange(len(places)), rng.choice((1, 1, 1, 4, 20))
            kind = rng.choice(kinds)
            found |= {place: kind for place in places[at : at + width]}
        if evidence != "dump" and rng.random() < 0.15:  # never the last cylinder: without that a capture is short
            track = rng.choice(places)[:2]
            if track[0] != places[-1][0]:
                found |= {place: "not-tried" for place in places if place[:2] == track}
        if slot and rng.random() < 0.1:
            found[places[101]] = "serial"
        if all(kind == "soft" for kind in found.values()):
            found[rng.choice(places)] = rng.choice([kind for kind in kinds if kind != "soft"])
        return self.listed(found, places)

    def diagnosed(self, diagnosis, places):
        """(evidence, findings) of a read-back with a diagnosis."""
        rng = self.rng
        evidence = rng.choice(
            {"other-geometry": ["cells", "flux"], "shifted": ["dump", "report"]}.get(diagnosis, ["dump", "cells", "flux"])
        )
        if diagnosis == "short":
            cylinders = sorted({place[0] for place in places})
            keep = rng.randrange(1, len(cylinders))
            start = rng.randrange(1, len(places)) if evidence == "dump" else [place[0] for place in places].index(cylinders[keep])
            return evidence, self.listed({place: "not-tried" for place in places[start:]}, places)
        if diagnosis == "shifted":
            start = rng.randrange(len(places) - 40)
            return evidence, self.listed({place: "differs" for place in places[start:]}, places, "shifted")
        if diagnosis in ("other-side", "other-master"):
            return evidence, self.listed(dict.fromkeys(places, "differs"), places)
        kind = "differs" if evidence == "dump" else "absent"
        return evidence, self.listed(dict.fromkeys(places, kind), places, "filled" if kind == "differs" else None)

    @staticmethod
    def listed(found, places, looks=None):
        """Findings in dump order."""
        extra = {"looks": looks} if looks else {}
        return [{"track": p[0], "head": p[1], "sector": p[2], "kind": found[p], **extra} for p in places if p in found]
