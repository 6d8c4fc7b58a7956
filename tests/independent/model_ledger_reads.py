"""What `verify` could say of read-backs that never were, from a seed: evidence, findings, diagnosis, verdict and action."""

from model_geometry import GEOMETRIES
from model_verdict import action_of

FROM_CELLS = ["differs", "identity", "block-check", "no-block", "identifier-check", "misplaced", "absent", "soft"]
KINDS = {
    "dump": ["differs"], "report": [*FROM_CELLS, "unread", "not-tried"], "cells": FROM_CELLS, "flux": FROM_CELLS, "sums": ["unread"],
}  # fmt: skip
UNSETTLED = ["other-side", "other-master", "other-geometry", "short"]


def judged(rng, batch, side, bad):
    """What `verify` could say of a read-back of this side."""
    places = [(track, head, sector) for _, head, track, sector in GEOMETRIES[batch["sides"][side]].places()]
    roll, evidence, matches = rng.random(), rng.choice(list(KINDS)), None
    diagnosis, findings = None, []
    if roll < 0.07:
        diagnosis = rng.choice([one for one in UNSETTLED if one != "other-side" or len(batch["sides"]) > 1])
    elif roll < 0.10:
        diagnosis = rng.choice(("blank", "shifted"))
    if diagnosis:
        evidence, findings = diagnosed(rng, diagnosis, places)
        other = next((name for name in batch["sides"] if name != side), None)
        matches = {"other-side": [f"{batch['master']} {other}"], "other-master": ["Saltmarsh Sampler 2 A"]}.get(diagnosis)
    elif roll < 0.12 and len(batch["sides"]) > 1:
        side = None
    elif roll < 0.12 + min(bad, 0.6):
        findings = failures(rng, evidence, places, batch["sides"][side], side == batch["slot"])
    elif roll < 0.22 + min(bad, 0.6) and evidence != "dump":
        findings = listed({place: "soft" for place in rng.sample(places, rng.randint(1, 3))}, places)
    hard = sum(finding["kind"] != "soft" for finding in findings)
    good = len(places) - hard
    out = {"side": side, "evidence": evidence, "verdict": "fail" if hard or side is None else "marginal" if findings else "pass"}
    out |= {"diagnosis": diagnosis, "sectors": None if side is None else {"expected": len(places), "good": good}, "findings": findings}
    out |= {"unproven": rng.randint(0, good) if evidence == "dump" and side and rng.random() < 0.3 else 0}
    return out | {"action": action_of(out)} | ({"matches": matches} if matches else {})


def failures(rng, evidence, places, geometry, slot):
    """Findings of a read that failed for no reason that has a name: single sectors, a scratch over neighbours, tracks that nobody read."""
    found = {}
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
    return listed(found, places)


def diagnosed(rng, diagnosis, places):
    """(evidence, findings) of a read-back with a diagnosis."""
    evidence = rng.choice({"other-geometry": ["cells", "flux"], "shifted": ["dump", "report"]}.get(diagnosis, ["dump", "cells", "flux"]))
    if diagnosis == "short":
        cylinders = sorted({place[0] for place in places})
        keep = rng.randrange(1, len(cylinders))
        start = rng.randrange(1, len(places)) if evidence == "dump" else [place[0] for place in places].index(cylinders[keep])
        return evidence, listed({place: "not-tried" for place in places[start:]}, places)
    if diagnosis == "shifted":
        start = rng.randrange(len(places) - 40)
        return evidence, listed({place: "differs" for place in places[start:]}, places, "shifted")
    if diagnosis in ("other-side", "other-master"):
        return evidence, listed(dict.fromkeys(places, "differs"), places)
    kind = "differs" if evidence == "dump" else "absent"
    return evidence, listed(dict.fromkeys(places, kind), places, "filled" if kind == "differs" else None)


def listed(found, places, looks=None):
    """Findings in dump order."""
    extra = {"looks": looks} if looks else {}
    return [{"track": p[0], "head": p[1], "sector": p[2], "kind": found[p], **extra} for p in places if p in found]
