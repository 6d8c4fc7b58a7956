"""The model of section 8 proves itself on stories worked by hand from the text, before it judges anybody."""

import json

import pytest
from model_judge import check_character
from model_ledger import batch_lines, disc_line, rates, replay, serial_of, wilson
from model_ledger_make import make_ledger

ONE = {"A": "mfm-40x9x512"}
TWO = {"A": "mfm-40x9x512", "B": "mfm-40x9x512"}
AT = "2026-11-25T19:00:00Z"
FIRST = serial_of("SM-004", 1)


def opened(*, sides=ONE, lots=("L-07",), drives=("D1",), discs=1):
    """A ledger with one batch and its serials."""
    lines = [{"kind": "lot", "name": name, "count": None} for name in lots]
    lines += [{"kind": "drive", "name": name, "tpi": 48, "heads": 1, "simulated": False} for name in drives]
    lines.append({"kind": "batch", "batch": "B-0001", "master": "Lamplighter 1.2", "catalogue": "SM-004", "digest": "d" * 64,
                  "sides": sides, "good": discs, "lots": list(lots), "drives": list(drives), "operator": None, "at": AT})  # fmt: skip
    return lines + [{"kind": "serial", "batch": "B-0001", "serial": serial_of("SM-004", n + 1), "at": AT} for n in range(discs)]


def read(verdict, side="A", *, serial=FIRST, writing=1, lot="L-07", wrote="D1", by="D1", diagnosis=None, findings=None, simulated=False):
    """A read as it stands in an export; a bad one has one sector that failed."""
    kind = {"pass": None, "marginal": "soft", "fail": "block-check"}[verdict]
    found = findings if findings is not None else [{"track": 17, "head": 0, "sector": 4, "kind": kind}] if kind else []
    return {"kind": "read", "serial": serial, "batch": "B-0001", "side": side, "verdict": verdict, "diagnosis": diagnosis, "writing": writing,
            "lot": lot, "wrote": wrote, "read_by": by, "findings": found, "simulated": simulated, "at": AT}  # fmt: skip


def reject(serial=FIRST, lot=None):
    return {"kind": "reject", "batch": "B-0001", "serial": serial, "lot": lot, "reason": "hub ring", "at": AT}


def amend(serial=FIRST, lot=None, wrote=None, void=None):
    return {"kind": "amend", "batch": "B-0001", "serial": serial, "lot": lot, "wrote": wrote, "read": void, "void": void is not None,
            "reason": "wrong box", "at": AT}  # fmt: skip


def story(verdicts, **kept):
    """What becomes of a one-sided disc after reads like "pass fail pass"; `|` begins a new writing."""
    lines, writing = [], 1
    for word in verdicts.split():
        if word == "|":
            writing += 1
        else:
            lines.append(read(word, writing=writing, **kept))
    return disc_line(replay(opened() + lines).discs[FIRST])


def rate(lines, by, group, role="write"):
    return next((line for line in rates(replay(lines), by, role) if line["group"] == group), None)


# --- serials ------------------------------------------------------------------------------------------------------------------


def test_the_check_character_of_the_text():
    assert FIRST == "SM-004-0001-" + check_character("SM0040001")
    assert serial_of("SM-004", 7) == "SM-004-0007-L"


def test_a_published_check_character():
    assert check_character("A12425GABC1234002") == "M"  # the example of MOD 37,36 in the documentation of python-stdnum


@pytest.mark.parametrize("number", [1, 7, 40, 9999, 10000])
def test_every_single_mistyped_character_is_caught(number):
    text = serial_of("SM-004", number).replace("-", "")
    for k, right in enumerate(text):
        for other in set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ") - {right}:
            wrong = text[:k] + other + text[k + 1 :]
            assert check_character(wrong[:-1]) != wrong[-1]


# --- a side and a one-sided disc ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reads", "verdict", "action"),
    [
        ("", "open", "turn-over"),
        ("pass", "pass", "box"),
        ("marginal", "marginal", "read-again"),
        ("marginal pass", "marginal", "read-again"),
        ("marginal pass pass", "pass", "box"),
        ("fail", "fail", "read-again"),
        ("fail pass", "marginal", "read-again"),
        ("fail pass pass", "pass", "box"),
        ("fail pass marginal pass", "marginal", "read-again"),
        ("fail pass fail pass pass", "pass", "box"),
        ("pass fail", "fail", "read-again"),
        ("pass marginal", "marginal", "read-again"),
        ("fail fail", "fail", "write-again"),
        ("fail pass fail", "fail", "write-again"),
        ("fail fail | pass", "pass", "box"),
        ("fail fail | fail", "fail", "read-again"),
        ("fail fail | fail fail", "fail", "reject"),
        ("fail fail | fail pass", "marginal", "read-again"),
    ],
)
def test_a_disc_after_reads(reads, verdict, action):
    line = story(reads)
    assert (line["verdict"], line["action"]) == (verdict, action)
    assert line["sides"] == {"A": None if verdict == "open" else verdict}


@pytest.mark.parametrize("diagnosis", ["other-side", "other-master", "other-geometry", "short"])
def test_a_read_of_something_else_settles_nothing(diagnosis):
    led = replay([*opened(), read("pass"), read("fail", diagnosis=diagnosis)])
    assert disc_line(led.discs[FIRST])["verdict"] == "pass"
    assert disc_line(replay([*opened(), read("fail", diagnosis=diagnosis)]).discs[FIRST])["sides"] == {"A": None}


@pytest.mark.parametrize("diagnosis", ["blank", "shifted"])
def test_a_blank_or_shifted_read_settles(diagnosis):
    assert disc_line(replay([*opened(), read("fail", diagnosis=diagnosis)]).discs[FIRST])["verdict"] == "fail"


def test_a_read_without_a_side_settles_nothing():
    led = replay([*opened(sides=TWO), read("fail", side=None, writing=None)])
    assert disc_line(led.discs[FIRST]) == {
        "batch": "B-0001",
        "serial": FIRST,
        "verdict": "open",
        "action": "turn-over",
        "sides": {"A": None, "B": None},
    }


def test_a_new_writing_of_which_nothing_was_settled_leaves_the_side_open():
    led = replay([*opened(), read("fail"), read("fail"), read("fail", writing=2, diagnosis="short")])
    assert disc_line(led.discs[FIRST])["verdict"] == "open"


def test_a_void_read_is_as_if_it_settled_nothing():
    led = replay([*opened(), read("fail"), read("pass"), amend(void=1)])
    assert disc_line(led.discs[FIRST])["verdict"] == "pass"
    led = replay([*opened(), read("pass"), read("fail"), amend(void=2), read("marginal")])
    assert disc_line(led.discs[FIRST])["verdict"] == "marginal"


def test_a_drive_that_has_not_read_the_writing_is_tried_before_it_is_written_again():
    two = opened(drives=("D1", "D2"))
    assert disc_line(replay([*two, read("fail"), read("fail")]).discs[FIRST])["action"] == "other-drive"
    assert disc_line(replay([*two, read("fail"), read("fail", by="D2")]).discs[FIRST])["action"] == "write-again"
    assert disc_line(replay([*two, read("fail"), read("fail"), read("fail", by="D2")]).discs[FIRST])["action"] == "write-again"
    last = [read("fail", writing=2), read("fail", writing=2)]
    assert disc_line(replay([*two, *last]).discs[FIRST])["action"] == "reject"


def test_more_writings_are_allowed_where_the_bench_says_so():
    lines = [*opened(), read("fail", writing=2), read("fail", writing=2)]
    assert disc_line(replay(lines, rewrites=2).discs[FIRST], 2)["action"] == "write-again"


# --- discs with two sides -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("a", "b", "verdict", "action"),
    [
        ("pass", None, "open", "turn-over"),
        ("marginal", None, "open", "turn-over"),
        ("fail", None, "fail", "read-again"),
        ("pass", "pass", "pass", "box"),
        ("pass", "marginal", "marginal", "read-again"),
        ("marginal", "fail", "fail", "read-again"),
    ],
)
def test_a_disc_is_what_its_sides_are(a, b, verdict, action):
    reads = [read(one, side) for side, one in (("A", a), ("B", b)) if one]
    line = disc_line(replay(opened(sides=TWO) + reads).discs[FIRST])
    assert line == {"batch": "B-0001", "serial": FIRST, "verdict": verdict, "action": action, "sides": {"A": a, "B": b}}


def test_a_disc_rejected_by_eye_fails_whatever_was_read():
    line = disc_line(replay([*opened(sides=TWO), read("pass"), read("pass", "B"), reject()]).discs[FIRST])
    assert (line["verdict"], line["action"], line["sides"]) == ("fail", "reject", {"A": "pass", "B": "pass"})


def test_the_batch_counts_its_discs_in_the_order_handed_out():
    led = replay([*opened(discs=3), read("pass", serial=serial_of("SM-004", 2)), {"kind": "close", "batch": "B-0001", "at": AT}])
    head, *discs = batch_lines(led, "B-0001")
    assert head == {"batch": "B-0001", "state": "closed", "master": "Lamplighter 1.2", "digest": "d" * 64,
                    "discs": {"pass": 1, "marginal": 0, "fail": 0, "open": 2}}  # fmt: skip
    assert [line["serial"] for line in discs] == [serial_of("SM-004", n) for n in (1, 2, 3)]


# --- rates --------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bad", "discs", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0, 0.1611), (1, 29, 0.0061, 0.1718)]
)
def test_wilson_as_published(bad, discs, low, high):
    assert [round(limit, 4) for limit in wilson(bad, discs)] == [low, high]  # Newcombe (1998), table I


def test_the_line_of_the_text():
    assert [round(limit, 4) for limit in wilson(9, 120)] == [0.04, 0.1364]


def test_open_discs_are_not_counted_and_rejects_count_for_lot_and_batch_only():
    s = [serial_of("SM-004", n) for n in range(1, 5)]
    lines = [*opened(discs=4), read("pass", serial=s[0]), reject(s[1], "L-07"), read("pass", serial=s[2]), reject(s[2])]
    for by, group, discs, bad in (
        ("batch", "B-0001", 3, 2),
        ("lot", "L-07", 3, 2),
        ("drive", "D1", 2, 0),
        ("side", "A", 2, 0),
        ("track", "A/0/0", 2, 0),
    ):
        line = rate(lines, by, group)
        assert (line["discs"], line["bad"]) == (discs, bad), by


def test_first_bad_is_told_from_the_first_writing_alone():
    lines = [*opened(discs=1), read("fail", diagnosis="short"), read("pass"), read("fail"), read("fail"), read("marginal", writing=2)]
    line = rate(lines, "lot", "L-07")
    assert (line["first_bad"], line["rewritten"], line["marginal"], line["bad"]) == (0, 1, 1, 0)
    line = rate([*lines, amend(void=2)], "lot", "L-07")
    assert line["first_bad"] == 1


def test_by_drive_each_side_counts_for_the_drive_that_wrote_it_last():
    lines = [*opened(sides=TWO, drives=("D1", "D2")), read("pass", "A", wrote="D1", by="D2"), read("fail", "B", wrote="D2", by="D2")]
    assert [(x["group"], x["discs"], x["bad"]) for x in rates(replay(lines), "drive")] == [("D1", 1, 0), ("D2", 1, 1)]
    assert [(x["group"], x["discs"], x["bad"]) for x in rates(replay(lines), "drive", "read")] == [("D2", 1, 1)]
    lines.append(amend(wrote="D1"))
    assert [(x["group"], x["discs"], x["bad"]) for x in rates(replay(lines), "drive")] == [("D1", 1, 1)]


def test_a_corrected_lot_moves_the_disc():
    lines = [*opened(lots=("L-07", "L-09")), read("fail"), amend(lot="L-09")]
    assert [(x["group"], x["bad"]) for x in rates(replay(lines), "lot")] == [("L-09", 1)]


def test_by_side_a_disc_counts_where_that_side_is_settled():
    lines = [*opened(sides=TWO), read("pass", "A")]
    assert [(x["group"], x["discs"]) for x in rates(replay(lines), "side")] == [("A", 1)]
    assert rates(replay(lines), "lot") == []


def test_by_track_a_finding_is_bad_where_it_is_and_soft_is_not():
    lines = [
        *opened(),
        read(
            "fail", findings=[{"track": 3, "head": 0, "sector": 1, "kind": "soft"}, {"track": 4, "head": 0, "sector": 1, "kind": "absent"}]
        ),
    ]
    found = rates(replay(lines), "track")
    assert len(found) == 40 and [x["group"] for x in found] == [f"A/0/{t}" for t in range(40)]
    assert [x["group"] for x in found if x["bad"]] == ["A/0/4"]


def test_a_track_that_no_sector_was_tried_of_is_not_covered():
    holes = [{"track": 5, "head": 0, "sector": s, "kind": "not-tried"} for s in range(1, 10)]
    part = [{"track": 6, "head": 0, "sector": 1, "kind": "not-tried"}]
    lines = [*opened(), read("fail", findings=holes + part)]
    assert rate(lines, "track", "A/0/5") is None
    assert (rate(lines, "track", "A/0/6")["bad"], rate(lines, "track", "A/0/7")["bad"]) == (1, 0)


def test_simulated_reads_mark_their_groups():
    assert rate([*opened(), read("pass", simulated=True)], "side", "A")["simulated"]
    assert not rate([*opened(), read("pass")], "side", "A")["simulated"]


def test_lines_are_plain_json():
    assert json.loads(json.dumps(rates(replay([*opened(), read("fail")]), "batch")))


# --- the random shops ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shops():
    return [make_ledger(seed, 30) for seed in range(12)]


def test_the_shops_meet_everything_that_the_text_speaks_of(shops):
    reads = [line for shop in shops for line in shop if line["kind"] == "read"]
    assert {line["evidence"] for line in reads} == {"dump", "report", "cells", "flux"}
    assert {line["diagnosis"] for line in reads} == {None, "blank", "shifted", "short", "other-side", "other-master", "other-geometry"}
    assert any(line["side"] is None for line in reads)
    assert {line["kind"] for shop in shops for line in shop} == {"lot", "drive", "batch", "serial", "read", "reject", "amend", "close"}
    amends = [line for shop in shops for line in shop if line["kind"] == "amend"]
    assert all(any(line[key] for line in amends) for key in ("lot", "wrote", "void"))
    discs = [disc_line(disc) for shop in shops for disc in replay(shop).discs.values()]
    asked = {(line["verdict"], line["action"]) for line in discs}
    assert asked == {("pass", "box"), ("open", "turn-over"), ("marginal", "read-again")} | {
        ("fail", action) for action in ("reject", "read-again", "write-again", "other-drive")
    }


def test_the_shops_hand_out_serials_in_order_and_never_twice(shops):
    for shop in shops:
        batches = {line["batch"]: line for line in shop if line["kind"] == "batch"}
        handed = {}
        for line in shop:
            if line["kind"] == "serial":
                handed.setdefault(batches[line["batch"]]["catalogue"], []).append(line["serial"])
        for catalogue, serials in handed.items():
            assert serials == [serial_of(catalogue, n + 1) for n in range(len(serials))]


def test_the_shops_reads_hold_together(shops):
    for line in (line for shop in shops for line in shop if line["kind"] == "read"):
        hard = [finding for finding in line["findings"] if finding["kind"] != "soft"]
        if line["side"] is None:
            assert (line["sectors"], line["findings"], line["verdict"]) == (None, [], "fail")
        else:
            assert line["sectors"]["good"] == line["sectors"]["expected"] - len(hard)
            assert line["verdict"] == ("fail" if hard else "marginal" if line["findings"] else "pass")


def test_a_disc_has_one_lot_and_a_writing_one_drive_until_they_are_corrected(shops):
    for shop in shops:
        for n, line in enumerate(shop):
            if line["kind"] == "read" and line["side"]:
                disc = replay(shop[: n + 1]).discs[line["serial"]]
                assert (disc.lot, disc.newest(line["side"]).wrote) == (line["lot"], line["wrote"])
                assert line["writing"] == max(disc.sides[line["side"]]) == len(disc.sides[line["side"]])
