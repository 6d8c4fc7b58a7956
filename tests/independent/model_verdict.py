"""The verdict on a whole read-back: which side it is, its diagnosis, what the hands do next. Sentence by sentence, slow and literal."""

import statistics

from model_capture import SIGNATURE, BrokenCaptureError, parse_capture
from model_fields import fields_of, shape_of
from model_geometry import GEOMETRIES
from model_judge import Judged, bodies, cylinder_of, judge_bytes, judge_cells, one_value, with_looks
from model_sightings import read_track


class NoReadBackError(Exception):
    """The file is no read-back of this master."""


class Readback:
    """One read-back, judged against any side of any master when asked."""

    def __init__(self, data, report=None):
        self.data = data
        try:
            self.capture = parse_capture(data) if data.startswith(SIGNATURE) else None
        except BrokenCaptureError as error:
            raise NoReadBackError(str(error)) from error
        self.states = None if report is None else parse_report(report)
        self.evidence = "cells" if self.capture else "dump" if report is None else "report"
        self.known = {}

    def against(self, master, name):
        """Judge it against one side."""
        key = (id(master), name)
        if key not in self.known:
            if self.capture:
                self.known[key] = judge_cells(master, name, self.capture)
            else:
                self.known[key] = judge_bytes(master, name, self.data, self.states)
        return self.known[key]

    def fits(self, side):
        """A dump of the side's length; captures always fit."""
        return self.capture is not None or len(self.data) == len(side.dump)


STATES = ["good", "soft", "unread", "not-tried", "data-mark", "identity", "serial", "density", "block-check", "no-block",
          "identifier-check", "misplaced", "absent"]  # fmt: skip


def parse_report(text):
    """A sector report's rows."""
    lines = text.splitlines()
    if lines[0] != "track,head,sector,state,tries":
        raise NoReadBackError("header")
    out = {}
    for line in lines[1:]:
        track, head, sector, state, tries = line.split(",")
        key = (int(track), int(head), int(sector))
        if key in out or state not in STATES:
            raise NoReadBackError(line)
        out[key] = (state, int(tries) if tries else None)
    return out


def differing(one, other):
    """The sectors (of `other`'s dump order) in which two sides differ: all of them where geometry or length differ."""
    a, b = bodies(one), bodies(other)
    if one.geometry != other.geometry or len(a) != len(b):
        return list(range(len(b)))
    return [k for k in range(len(b)) if a[k] != b[k]]


def short_for(readback, master, name):
    """`short`: a dump of one sector or more that ends early at a sector's end and has no other side's length."""
    side, size = master.sides[name], len(readback.data)
    others = [other for key, other in master.sides.items() if key != name]
    early = 0 < size < len(side.dump) and size % GEOMETRIES[side.geometry].size == 0
    return readback.capture is None and early and all(size != len(other.dump) for other in others)


def choose_side(readback, master, believed):
    """(name or None): the side that this read-back is of."""
    names = list(master.sides)
    if believed:
        return believed
    if len(names) == 1:
        return names[0]
    if readback.capture is None:
        fitting = [name for name in names if readback.fits(master.sides[name])]
        if len(fitting) == 1:
            return fitting[0]
        if not fitting and not any(short_for(readback, master, name) for name in names):
            raise NoReadBackError("a length that no side of this master has")
    a, b = (master.sides[name] for name in names)
    if a.geometry == b.geometry and a.dump == b.dump:
        return "A"
    # READING: "the side with more sound and equal sectors": sectors with at least one sound sighting that is the master's.
    counts = [
        sum(readback.against(master, name).equal[k] for k in differing(other, mine))
        for name, mine, other in ((names[0], a, b), (names[1], b, a))
    ]
    return None if counts[0] == counts[1] else names[counts[0] < counts[1]]


def blank(readback, side):
    """Capture: no sound identifier of any declared geometry; dump: one byte value throughout, and the master is not."""
    if readback.capture:
        return not any(
            found.kind == "identifier" and found.sound
            for stretch in readback.capture.stretches
            if stretch.cells
            for shape in dict.fromkeys(map(shape_of, GEOMETRIES.values()))
            for found in fields_of(shape, stretch.cells, stretch.circular)
        )
    return len(readback.data) > 0 and one_value(readback.data) and not one_value(side.dump)


def is_candidates(readback, judged_side, master, name):
    """More than half of the sectors in which the candidate differs are sound and the candidate's: their share, or None."""
    candidate = master.sides[name]
    where = differing(judged_side, candidate)
    if not where:
        return None
    if readback.capture is None and len(readback.data) != len(candidate.dump) and len(readback.data) % GEOMETRIES[candidate.geometry].size:
        return None
    equal = readback.against(master, name).equal
    share = sum(equal[k] for k in where) / len(where)
    return share if share > 0.5 else None


def other_geometry(readback, master, name):
    """Captures: no sound field of this one, a tenth or more of the sectors of another declared one."""
    if readback.capture is None or readback.against(master, name).sound:
        return False
    own = master.sides[name].geometry
    for geo in GEOMETRIES.values():
        if geo.id == own:
            continue
        met = 0
        for stretch in readback.capture.stretches:
            cylinder = cylinder_of(geo, stretch, readback.capture.tpi)
            if not stretch.cells or cylinder is None or cylinder >= geo.cylinders or stretch.head >= geo.heads:
                continue
            reads = read_track(geo, cylinder, stretch.head, [stretch], readback.capture.rpm)
            met += sum(any(one.sound for one in found) for found in reads.sightings.values())
        if met * 10 >= len(geo.places()):
            return True
    return False


def diagnose(readback, master, name, judged, masters):
    """(diagnosis, matches): the first that holds."""
    side = master.sides[name]
    if blank(readback, side):
        return "blank", None
    for other in master.sides:
        if other != name and is_candidates(readback, side, master, other) is not None:
            return "other-side", [f"{master.name} {other}"]
    shares = []
    for candidate in masters:
        for other in candidate.sides:
            share = is_candidates(readback, side, candidate, other)
            if share is not None:
                shares.append((-share, f"{candidate.name} {other}"))
    if shares:
        return "other-master", [label for _, label in sorted(shares)]
    if other_geometry(readback, master, name):
        return "other-geometry", None
    differs = [f for f in judged.findings if f["kind"] == "differs"]
    shifted = [f for f in differs if f.get("looks") == "shifted"]
    # READING: "sectors past the end don't count": those whose place the read-back's shift puts behind the master's last sector.
    if shifted:
        want = bodies(side)
        order = {(track, head, sector): k for k, (_, head, track, sector) in enumerate(GEOMETRIES[side.geometry].places())}
        places = [order[f["track"], f["head"], f["sector"]] for f in shifted]
        steps = [next(s for s in range(1, 17) if want[k + s : k + s + 1] == [judged.content[k]]) for k in places]
        step = statistics.mode(steps)
        counted = [f for f in differs if order[f["track"], f["head"], f["sector"]] + step < len(want)]
        if len(shifted) >= 8 and len(shifted) * 2 > len(counted):
            return "shifted", None
    if lacks_the_end(readback, master, name):
        return "short", None
    return None, None


def lacks_the_end(readback, master, name):
    """`short`: a dump that ends early, or a capture that lacks the last cylinders."""
    if readback.capture is None:
        return short_for(readback, master, name)
    geo = GEOMETRIES[master.sides[name].geometry]
    step = 2 if readback.capture.tpi == 2 * geo.tpi else 1
    last = max((one.cylinder for one in readback.capture.stretches), default=-1)
    return last // step < geo.cylinders - 1


ACTIONS = {"other-side": "turn-over", "other-master": "ask", "other-geometry": "ask", "blank": "write-again", "shifted": "read-again",
           "short": "read-again"}  # fmt: skip


def action_of(verdict):
    """What the hands do next."""
    if verdict["diagnosis"] == "shifted" and verdict["evidence"] in ("cells", "flux"):
        return "write-again"
    if verdict["diagnosis"]:
        return ACTIONS[verdict["diagnosis"]]
    if verdict["side"] is None:
        return "ask"
    if verdict["verdict"] == "pass":
        return "box"
    if verdict["verdict"] == "marginal":
        return "read-again"
    kinds = {finding["kind"] for finding in verdict["findings"]}
    # "more than half of the sectors `differs`, with better evidence than `dump`: `ask`"
    differ = sum(finding["kind"] == "differs" for finding in verdict["findings"])
    if verdict["evidence"] != "dump" and differ > verdict["sectors"]["expected"] / 2:
        return "ask"
    # "only `differs`, all in sectors of `volatile` files (`looks`: `volatile`, before the others): `ask`"
    if kinds == {"differs"} and all(finding.get("looks") == "volatile" for finding in verdict["findings"]):
        return "ask"
    again = kinds & {"data-mark", "identity", "serial", "density"} or ("differs" in kinds and verdict["evidence"] != "dump")
    return "write-again" if again else "read-again"


def unproven_of(side, judged):
    """The passing sectors that a reader's filler could equal, judged on the master."""
    want = bodies(side)
    found = {(f["track"], f["head"], f["sector"]) for f in judged.findings}
    places = GEOMETRIES[side.geometry].places()
    return sum(
        (track, head, sector) not in found and (one_value(want[k]) or (k > 0 and want[k] == want[k - 1]))
        for k, (_, head, track, sector) in enumerate(places)
    )


def judge(master, data, report=None, side=None, masters=()):
    """The verdict line (without the file's name) of one read-back. Raises `NoReadBackError`."""
    readback = Readback(data, report)
    name = choose_side(readback, master, side)
    out = {
        "side": name, "serial": None, "evidence": readback.evidence, "verdict": "fail", "diagnosis": None, "action": None, "sectors": None,
        "unproven": 0, "simulated": bool(readback.capture and readback.capture.simulated), "findings": [],
    }  # fmt: skip
    if name is None:
        every = [diagnose(readback, master, one, readback.against(master, one), masters) for one in master.sides]
        if len({diagnosis for diagnosis, _ in every}) == 1:
            out["diagnosis"] = every[0][0]
        out["action"] = action_of(out)
        return out
    chosen = master.sides[name]
    judged = readback.against(master, name)
    if not readback.fits(chosen) and not short_for(readback, master, name):
        # "A dump of the wrong length for the side that is believed: all not-tried, diagnosis other-side when that holds, else an error."
        others = [one for one in master.sides if one != name and is_candidates(readback, chosen, master, one) is not None]
        if not others:
            raise NoReadBackError("a length that this side does not have")
        count = len(bodies(chosen))
        judged = Judged(with_looks(chosen, ["not-tried"] * count, []), [False] * count, None)
        out["diagnosis"], matches = "other-side", [f"{master.name} {others[0]}"]
    else:
        # "A sector ... that the geometry lacks ... is an error": that of the side judged.
        listed = {place[1:2] + place[2:] for place in GEOMETRIES[chosen.geometry].places()}
        if readback.states and any((head, track, sector) not in listed for track, head, sector in readback.states):
            raise NoReadBackError("the report lists a sector that the geometry lacks")
        out["diagnosis"], matches = diagnose(readback, master, name, judged, masters)
        # "A dump of the wrong length for the side that is believed: diagnosis `other-side` when that holds (all `not-tried`)": a short one, too.
        if out["diagnosis"] == "other-side" and not readback.fits(chosen):
            count = len(bodies(chosen))
            judged = Judged(with_looks(chosen, ["not-tried"] * count, []), [False] * count, None)
    faults = [f for f in judged.findings if f["kind"] != "soft"]
    expected = len(bodies(chosen))
    out["verdict"] = "fail" if faults or out["diagnosis"] else "marginal" if judged.findings else "pass"
    out["sectors"] = {"expected": expected, "good": expected - len(faults)}
    out["findings"], out["serial"] = judged.findings, judged.serial
    out["unproven"] = unproven_of(chosen, judged) if readback.evidence == "dump" else 0
    out["action"] = action_of(out)
    if matches and out["diagnosis"] in ("other-side", "other-master"):
        out["matches"] = matches
    return out
