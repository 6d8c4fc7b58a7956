"""The rules of a disc against the model's, for every disc of whole ledgers that were never the program's own; no process, no database."""

import pytest
from model_ledger import ACCEPTED, disc_line, fits, held, practice, rejected, settling, side_verdict, spent, waived
from model_ledger_make import make_ledger
from model_ledger_rates import decided, working
from model_ledger_rows import replay

from mastering.judging.actions import Drive, next_step
from mastering.judging.custody import disc_standing
from mastering.judging.standing import DiscRows, Hold, Read, Take, Writing
from mastering.judging.standing import settling as settling_reads


def rows_of(led, disc):
    """The model's disc, as the rules take one."""
    reads = tuple(
        Read(
            each.line["read"], each.line["side"], each.line["writing"], each.read_by, each.line["verdict"], each.line["diagnosis"], each.void,
            each.row, each.line["simulated"], each.line["action"], each.line["evidence"] in each.batch.get("accept", ACCEPTED),
            practice(led, each.batch),
        )
        for each in disc.reads
    )  # fmt: skip
    holds = tuple(Hold(line["drive"], after, row, line["serial"], line["side"]) for row, line, after in led.holds)
    writings = tuple(Writing(each.row, each.side, each.number, each.drive, each.bench, each.batch["batch"]) for each in disc.writings)
    return DiscRows(
        disc.serial, tuple(disc.sides), writings, reads, tuple(disc.rejects), tuple(disc.restores),
        tuple(Take(row, True, tuple(sides)) for row, sides in disc.reworks), holds, disc.batch.get("rewrites", 1), waived(disc),
    )  # fmt: skip


def drives_of(led, disc):
    """Its batch's drives, as the rules take them."""
    for name in disc.batch["drives"]:
        line = led.drives[name]
        serves = [
            frozenset(side for side, geo in disc.batch["sides"].items() if geo in (line.get(how) or [geo]) and fits(line, geo))
            for how in ("writes", "reads")
        ]
        yield Drive(name, *serves, held(led, name), name in led.retired)


def agree(lines):
    """Every disc of a ledger."""
    led = replay(lines)
    for disc in led.discs.values():
        rows = rows_of(led, disc)
        found = disc_standing(rows)
        told = {
            "batch": disc.batch["batch"], "serial": disc.serial, "verdict": found.verdict,
            "action": next_step(rows, found, list(drives_of(led, disc))).action, "rejected": found.rejected, "each_side": rows.each_side,
            "sides": {side: None if each.verdict == "open" else each.verdict for side, each in found.sides.items()},
        }  # fmt: skip
        assert told == disc_line(led, disc)
        assert (found.decided, found.working) == (decided(led, disc), working(led, disc)), disc.serial
        for writing, its in zip(disc.writings, rows.writings, strict=True):
            for holds in (True, False):
                counted = [(each.read.number, each.verdict) for each in settling_reads(rows, its, holds)]
                assert counted == [(read.line["read"], verdict) for read, verdict in settling(led, disc, writing, holds)]


@pytest.mark.parametrize("seed", range(10))
def test_the_rules_and_the_model_say_the_same_of_every_disc(seed):
    agree(make_ledger(seed, discs=30, earlier=seed % 5 == 4))


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(5000, 6000))
def test_of_many_more_discs(seed):
    agree(make_ledger(seed, discs=25, earlier=seed % 10 == 9))


def test_there_are_such_discs():
    """Discs of every verdict and action, and each rule decides some of them."""
    actions, rules = set(), set()
    for seed in range(60):
        lines = make_ledger(seed, discs=25)
        led = replay(lines)
        for disc in led.discs.values():
            actions.add(disc_line(led, disc)["action"])
            rules |= rules_of(led, disc)
    assert actions == {"box", "write", "turn-over", "read-again", "write-again", "ask", "reject", "clean-drive"}
    assert rules == {"by eye", "blank", "doubted", "held", "overtaken", "rejected", "restored", "reworked", "spent", "waived"}


def rules_of(led, disc):
    """The names of the rules that decide something of a disc."""
    verdicts = {side: side_verdict(led, disc, side) for side in disc.sides}
    reads = [each for writing in disc.writings for each in settling(led, disc, writing)]
    without = [each for writing in disc.writings for each in settling(led, disc, writing, holds=False)]
    of = {
        "by eye": disc.by_eye, "restored": bool(disc.restores) and not rejected(led, disc), "reworked": bool(disc.reworks),
        "waived": waived(disc), "rejected": rejected(led, disc) and not disc.by_eye, "held": len(reads) < len(without),
        "blank": any(w.bench and any(r.line["diagnosis"] == "blank" for r, _ in settling(led, disc, w)) for w in disc.writings),
        "doubted": any(read.line["diagnosis"] in ("other-master", "other-geometry") for read, _ in reads),
        "spent": any(spent(led, disc, writing) for writing in disc.writings) and not rejected(led, disc),
        "overtaken": any(verdict == "open" and settles(led, disc, side) for side, verdict in verdicts.items()),
    }  # fmt: skip
    return {name for name, holds in of.items() if holds}


def settles(led, disc, side):
    """Whether a side's newest writing has a settling read."""
    writings = [each for each in disc.writings if each.side == side]
    return bool(writings) and bool(settling(led, disc, max(writings, key=lambda each: each.number)))
