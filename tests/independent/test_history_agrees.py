"""The columns that advice is computed from, against the model's discs: who wrote what, what failed, in which order it was judged."""

import json

import pytest
from model_geometry import GEOMETRIES
from model_ledger import newest_writing, rejected, replay, settling
from model_ledger_make import make_ledger
from model_ledger_rates import decided, first_ones, left_bad

from mastering.ledger.exchange import take_anew
from mastering.ledger.outcomes import history
from mastering.ledger.store import Ledger


def judged(lines):
    """Every decided disc of a known lot, the one whose newest read came first first: its lot, batch, whether it is bad, its surfaces."""
    handed_out = {line["serial"]: number for number, line in enumerate(lines, 1) if line["kind"] == "serial"}
    found = []
    led = replay(lines)
    for disc in led.discs.values():
        if disc.dropped or disc.lot is None or not (decided(led, disc) or left_bad(led, disc)):
            continue
        settled = [settling(led, disc, newest_writing(disc, side)) for side in disc.sides if newest_writing(disc, side)]
        newest = max((reads[-1][0].row for reads in settled if reads), default=handed_out[disc.serial])
        surfaces = [surface for side in sorted(disc.sides) for surface in surfaces_of(led, disc, side)]
        bad = rejected(led, disc) or left_bad(led, disc)
        found.append((newest, disc.lot, disc.batch["batch"], bad, surfaces))
    return [rest for _, *rest in sorted(found, key=lambda each: each[0])]


def surfaces_of(led, disc, side):
    """Side, head, drive that wrote, drive that read, whether it failed, its bad tracks: of a side's first writing, head by head."""
    firsts = [writing for writing in first_ones(led, disc) if writing.side == side and settling(led, disc, writing)]
    if not firsts or firsts[-1].drive is None:
        return
    first = firsts[-1]  # of a reworked side the newest one
    reads = [read for read, _ in settling(led, disc, first)]
    heads = sorted({place[1] for place in GEOMETRIES[first.batch["sides"][side]].places()})
    bad = {head: set() for head in heads}
    for finding in reads[0].line["findings"]:
        if finding["kind"] not in ("soft", "not-tried"):
            bad[finding["head"]].add(finding["track"])
    for head in heads:
        failed = reads[0].line["verdict"] == "fail" and (len(heads) == 1 or bool(bad[head]) or not any(bad.values()))
        yield side, head, first.drive, reads[0].read_by or first.drive, failed, sorted(bad[head]) if failed else []


def told(columns):
    """The same of the program's columns."""
    surfaces = [[] for _ in range(len(columns))]
    for place in range(len(columns.disc)):
        at = columns.surfaces[columns.surface[place]]
        drives = columns.drives[columns.wrote[place]], columns.drives[columns.read[place]]
        tracks = columns.track[columns.at == place].tolist()
        surfaces[columns.disc[place]].append((at.side, at.head, *drives, bool(columns.failed[place]), tracks))
    rows = zip(columns.lot, columns.batch, columns.bad, surfaces, strict=True)
    return [[columns.lots[lot], columns.batches[batch], bool(bad), each] for lot, batch, bad, each in rows]


def agree(folder, lines):
    """Whether the program's columns say what the model says."""
    take_anew(folder / "ledger.sqlite", map(json.dumps, lines), "here")
    with Ledger.open(folder / "ledger.sqlite") as ledger, ledger.read() as known:
        assert told(history(known)) == judged(lines)


@pytest.mark.parametrize("seed", range(300, 308))
def test_advice_sees_what_the_model_sees(tmp_path, seed):
    agree(tmp_path, make_ledger(seed, earlier=seed % 2 == 0))


@pytest.mark.parametrize("seed", range(300, 308))
def test_a_disc_that_fails_without_a_finding_fails_on_all_heads(tmp_path, seed):
    lines = make_ledger(seed, earlier=True)
    for line in lines:
        if line["kind"] == "read" and line["verdict"] == "fail" and line["side"] and line["read"] % 2:
            expected = line["sectors"]["expected"]
            line |= {"findings": [], "sectors": {"expected": expected, "good": expected}, "diagnosis": line["diagnosis"] or "blank"}
    agree(tmp_path, lines)


def test_there_are_such_discs():
    """A side with two heads of which a read without findings failed."""
    found = [line for seed in range(300, 308) for line in make_ledger(seed, earlier=True)]
    two_heads = {line["batch"] for line in found if line["kind"] == "batch" and line["sides"] == {"A": "mfm-40x9x512-2s"}}
    failed = [line for line in found if line["kind"] == "read" and line["batch"] in two_heads and line["verdict"] == "fail"]
    assert sum(line["read"] % 2 for line in failed) > 10
