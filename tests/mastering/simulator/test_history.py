"""Histories without cells: export lines of section 8 that tell the same as cells would, and rates that are as declared."""

import json
from collections import Counter, defaultdict
from dataclasses import dataclass, field

import pytest
from bench import make_master, random_dump
from scipy.stats import binomtest

from formats import registry
from formats.containers import capture
from mastering.judging.evidence import CaptureReadBack
from mastering.judging.verify import Verifier
from mastering.ledger.exchange import take
from mastering.ledger.store import memory
from mastering.master.serial import is_serial
from mastering.simulator.bench import Bench
from mastering.simulator.history import Hand, Shop, alternately, apart, history
from mastering.simulator.quality import Course, DriveQuality, LotQuality
from mastering.simulator.render import Renderer

GOOD = LotQuality(bad=Course(0))
SOUND = DriveQuality(failing_writes=Course(0), failing_reads=Course(0))
KEYS = {
    "lot": {"kind", "name", "count"},
    "drive": {"kind", "name", "tpi", "heads", "simulated"},
    "batch": {"kind", "batch", "master", "catalogue", "digest", "sides", "good", "lots", "drives", "operator", "at"},
    "serial": {"kind", "batch", "serial", "at"},
    "read": {
        "kind", "readback", "side", "serial", "on_disc", "evidence", "verdict", "diagnosis", "action", "sectors", "unproven", "simulated",
        "findings", "batch", "read", "writing", "lot", "wrote", "read_by", "at",
    },
    "close": {"kind", "batch", "at"},
}  # fmt: skip


def bench(lots=None, drives=None, seed=8):
    return Bench(seed, lots or {"L-07": GOOD}, drives or {"D1": SOUND})


def reads_of(lines):
    """The read lines of each disc."""
    made = defaultdict(list)
    for line in lines:
        if line["kind"] == "read":
            made[line["serial"]].append(line)
    return made


def is_bad(reads, sides=("A", "B")):
    """Whether a disc's last read of a side failed."""
    return any([line["verdict"] for line in reads if line["side"] == side][-1] == "fail" for side in sides)


def as_declared(count, of, share):
    return binomtest(count, of, share).pvalue > 0.001


# Lines


def test_lines_are_those_of_an_export_in_the_order_of_its_rows():
    poor = LotQuality(bad=Course(0.3), shedding=0.2)
    lines = list(history(bench({"L-07": GOOD, "L-09": poor}, {"D1": SOUND, "D2": DriveQuality(soiling=0.001)}), 100))
    for line in lines:
        assert line.keys() == KEYS[line["kind"]]
        assert json.loads(json.dumps(line)) == line
    kinds = [line["kind"] for line in lines]
    assert kinds[:6] == ["lot", "lot", "drive", "drive", "batch", "serial"]
    counts = Counter(kinds)
    assert counts.pop("read") >= 200
    assert counts == {"lot": 2, "drive": 2, "batch": 3, "serial": 100, "close": 3}
    assert [line["batch"] for line in lines if line["kind"] == "batch"] == ["B-0001", "B-0002", "B-0003"]
    assert [line["good"] for line in lines if line["kind"] == "batch"] == [40, 40, 20]
    times = [line["at"] for line in lines if "at" in line]
    assert times == sorted(times) and times[0] == "2026-11-25T18:00:00Z"


def test_everything_in_them_says_that_it_is_simulated():
    lines = list(history(bench(), 5))
    assert all(line["simulated"] is True for line in lines if line["kind"] in ("drive", "read"))


def test_serials_are_legal_and_handed_out_once_before_they_are_read():
    known = {}
    for line in history(bench(), 90):
        if line["kind"] == "serial":
            assert is_serial(line["serial"], "SM-004") and line["serial"] not in known
            known[line["serial"]] = line["batch"]
        if line["kind"] == "read":
            assert known[line["serial"]] == line["batch"]
            assert line["on_disc"] == (line["serial"] if line["side"] == "A" else None)
    assert len(known) == 90


def test_each_side_with_a_slot_carries_the_serial():
    lines = [line for line in history(bench(), 3, Shop(slots=("A", "B"))) if line["kind"] == "read"]
    assert len(lines) == 6 and all(line["on_disc"] == line["serial"] for line in lines)


def test_verdict_action_and_counts_of_a_line_agree_with_its_findings():
    poor = LotQuality(bad=Course(0.5))
    for turns in (1, 3):
        for line in history(bench({"L": poor}), 100, Shop(turns=turns)):
            if line["kind"] == "read":
                kinds = [each["kind"] for each in line["findings"]]
                hard = sum(kind != "soft" for kind in kinds)
                assert line["verdict"] == ("fail" if hard else "marginal" if kinds else "pass")
                assert line["action"] == ("box" if line["verdict"] == "pass" else "read-again")
                expected = {"A": 683, "B": 560}[line["side"]]
                assert line["sectors"] == {"expected": expected, "good": expected - hard}
                assert turns > 1 or "soft" not in kinds


def test_a_ledger_takes_a_history_and_gives_it_back():
    poor = LotQuality(bad=Course(0.3), shedding=0.2)
    texts = [json.dumps(line) for line in history(bench({"L-07": GOOD, "L-09": poor}, {"D1": SOUND, "D2": DriveQuality()}), 50)]
    with memory() as ledger:
        assert take(ledger, texts, "history") == len(texts)
        assert [json.loads(text) for _, text, _ in ledger.texts()] == [json.loads(text) for text in texts]


def test_the_same_seed_gives_the_same_history():
    def lines(seed):
        return list(history(bench({"L": LotQuality(bad=Course(0.2), shedding=0.2)}, {"D": DriveQuality()}, seed), 60))

    assert lines(1) == lines(1) != lines(2)


# What is done with a disc


@pytest.mark.parametrize(
    ("lot", "drive", "expected"),
    [
        (GOOD, SOUND, {("B", 1, "pass"): 1, ("A", 1, "pass"): 1}),
        (  # nothing helps a scratched disc: two writings, each read twice
            LotQuality(bad=Course(1), weak=0, both=1),
            SOUND,
            {(side, writing, "fail"): 2 for side in "BA" for writing in (1, 2)},
        ),
        (  # bad at every write: the same, whatever the disc
            GOOD,
            DriveQuality(failing_writes=Course(1), failing_reads=Course(0)),
            {(side, writing, "fail"): 2 for side in "BA" for writing in (1, 2)},
        ),
        (  # the drive wrote both sides badly and is sound from its third use on: written again, all is well
            GOOD,
            DriveQuality(failing_writes=Course(1, 0, since=2), failing_reads=Course(0)),
            {(side, 1, "fail"): 2 for side in "BA"} | {(side, 2, "pass"): 1 for side in "BA"},
        ),
        (  # one bad read: the writing was sound, and passes when it is read twice more
            GOOD,
            DriveQuality(failing_writes=Course(0), failing_reads=Course(1, 0, since=3)),
            {("B", 1, "fail"): 1, ("B", 1, "pass"): 2, ("A", 1, "pass"): 1},
        ),
    ],
    ids=["sound", "scratched", "never writes", "wrote badly once", "read badly once"],
)
def test_what_is_done_with_a_disc(lot, drive, expected):
    lines = reads_of(history(bench({"L": lot}, {"D": drive}), 1))["SM-004-0001-X"]
    assert Counter((line["side"], line["writing"], line["verdict"]) for line in lines) == expected
    assert [line["read"] for line in lines] == list(range(1, len(lines) + 1))
    assert [line["side"] for line in lines] == sorted((line["side"] for line in lines), reverse=True)


def test_a_weak_disc_read_in_many_turns_stays_marginal():
    lot = LotQuality(bad=Course(1), scratched=0, both=1)
    lines = reads_of(history(bench({"L": lot}), 1, Shop(turns=4)))["SM-004-0001-X"]
    assert Counter((line["side"], line["writing"], line["verdict"]) for line in lines) == {(side, 1, "marginal"): 4 for side in "BA"}


def test_a_drive_that_is_cleaned_often_stays_clean():
    shedding = {"L": LotQuality(bad=Course(0.1), scratched=0, weak=0, shedding=1, shed=0.05)}

    def failing(every):
        reads = reads_of(history(bench(shedding), 300, Shop(clean_every=every)))
        return sum(is_bad(each) for each in reads.values())

    assert as_declared(failing(1), 300, 0.1)
    assert failing(0) > 200 > failing(10)


# Who gets what


def test_inner_boxes_are_dealt_alternately_to_all_drives():
    made = bench({"L-07": GOOD, "L-09": GOOD}, {"D1": SOUND, "D2": SOUND})
    hands = [alternately(made)(number) for number in range(1, 41)]
    assert [hand.blank for hand in hands] == [*range(1, 11), *range(1, 11), *range(11, 21), *range(11, 21)]
    assert [hand.lot for hand in hands] == ["L-07"] * 10 + ["L-09"] * 10 + ["L-07"] * 10 + ["L-09"] * 10
    assert Counter((hand.lot, hand.wrote) for hand in hands) == dict.fromkeys([(x, y) for x in ("L-07", "L-09") for y in ("D1", "D2")], 10)
    lots = {line["name"]: line["count"] for line in history(made, 40) if line["kind"] == "lot"}
    assert lots == {"L-07": 20, "L-09": 20}


def test_lots_that_are_kept_apart_meet_one_drive_each():
    made = bench({"L-07": GOOD, "L-09": GOOD}, {"D1": SOUND, "D2": SOUND})
    hands = [apart(made)(number) for number in range(1, 41)]
    assert Counter((hand.lot, hand.wrote, hand.read_by) for hand in hands) == {("L-07", "D1", "D1"): 20, ("L-09", "D2", "D2"): 20}
    assert len({(hand.lot, hand.blank) for hand in hands}) == 40


def test_an_own_deal_says_which_drive_reads():
    made = bench(drives={"D1": SOUND, "D2": SOUND})
    reads = reads_of(history(made, 5, deal=lambda number: Hand("L-07", number, "D1", "D2")))
    assert {(line["wrote"], line["read_by"]) for each in reads.values() for line in each} == {("D1", "D2")}


# Rates


def test_rates_by_lot_are_those_that_were_declared():
    lots = {"L-07": LotQuality(bad=Course(0.03), weak=0), "L-09": LotQuality(bad=Course(0.15), clumped=0.0, weak=0)}
    bad = Counter()
    for reads in reads_of(history(bench(lots, {"D1": SOUND, "D2": SOUND}), 4000)).values():
        bad[reads[0]["lot"]] += is_bad(reads)
    assert as_declared(bad["L-07"], 2000, 0.03) and as_declared(bad["L-09"], 2000, 0.15)


def test_the_first_pass_rate_by_drive_is_the_one_that_was_declared():
    drives = {"D1": DriveQuality(Course(0.02), Course(0)), "D2": DriveQuality(Course(0.02, 0.30, since=4000), Course(0))}
    first = Counter()
    lines = reads_of(history(bench(drives=drives), 4000))
    for number, reads in enumerate(lines.values()):
        firsts = {line["side"]: line["verdict"] for line in reversed(reads)}
        first[reads[0]["wrote"], number >= 2500] += list(firsts.values()).count("fail")
    assert as_declared(first["D1", False], 2500, 0.02) and as_declared(first["D1", True], 1500, 0.02)
    assert as_declared(first["D2", True], 1500, 0.30)  # its 4000th use lies before disc 2500


def test_every_track_that_defects_reach_fails_as_often_as_any_other_of_its_kind():
    lines = reads_of(history(bench({"L": LotQuality(bad=Course(1), weak=0)}), 1500))
    hit = Counter((line["side"], track) for each in lines.values() for line in each[:1] for track in {f["track"] for f in line["findings"]})
    inner = [hit["B", track] for track in range(8, 27)]  # a scratch of up to 8 tracks reaches these as often
    assert min(inner) > 0.75 * max(inner)
    assert min(hit["B", track] for track in range(35)) > 0


# The same as with cells


@dataclass
class Recording(Bench):
    """A bench that keeps its reads."""

    reads: list = field(default_factory=list)

    def read(self, drive, writing):
        self.reads.append(super().read(drive, writing))
        return self.reads[-1]


def test_a_history_tells_what_the_verifier_finds_in_the_cells_of_its_discs():
    a, b = (random_dump(registry.geometry(name), seed) for seed, name in enumerate(Shop().sides.values()))
    master = make_master({"A": (Shop().sides["A"], a), "B": (Shop().sides["B"], b)})
    made = Renderer(master)
    lots = {"L-07": LotQuality(bad=Course(0.2), weak=0), "L-09": LotQuality(bad=Course(0.4), clumped=0.5, weak=0, shedding=0.3)}
    setup = Recording(4, lots, {"D1": DriveQuality(soiling=0.001), "D2": DriveQuality(Course(0.1), Course(0.1))})
    lines = [line for line in history(setup, 30) if line["kind"] == "read"]
    assert {"fail", "pass"} == {line["verdict"] for line in lines}
    for line, read in zip(lines, setup.reads, strict=True):
        if read.spots:
            back = made.read_back(read)
            verdict = Verifier(master, line["side"]).judge(CaptureReadBack("x", capture.read(back.data, "x")))
            assert verdict.verdict == line["verdict"] == read.truth
            told = {(each["track"], each["head"], each["sector"]) for each in line["findings"]}
            found = {(each.track, each.head, each.sector) for each in verdict.findings}
            assert found <= told and {place[:2] for place in found} == {place[:2] for place in told}
