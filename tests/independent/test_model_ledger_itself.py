"""The model of section 8 proves itself on stories worked by hand from the text, before it judges anybody."""

import json

import pytest
from model_judge import check_character
from model_ledger import batch_lines, disc_line, newest_writing, rejected
from model_ledger_make import make_ledger
from model_ledger_rates import rates, wilson
from model_ledger_rows import replay, serial_of

ONE = {"A": "mfm-40x9x512"}
TWO = {"A": "mfm-40x9x512", "B": "mfm-40x9x512"}
AT = "2026-11-25T19:00:00Z"
FIRST = serial_of("SM-004", 1)


def opened(*, sides=ONE, lots=("L-07",), drives=("D1",), discs=1, **more):
    """A ledger with one batch and its serials; `more`: what batches of now say beside (verify, rewrites, accept, practice)."""
    lines = [{"kind": "lot", "name": name, "count": None} for name in lots]
    lines += [{"kind": "drive", "name": name, "tpi": 48, "heads": 1, "simulated": False} for name in drives]
    lines.append({"kind": "batch", "batch": "B-0001", "master": "Lamplighter 1.2", "catalogue": "SM-004", "digest": "d" * 64,
                  "sides": sides, "good": discs, "lots": list(lots), "drives": list(drives), "operator": None, "at": AT, **more})  # fmt: skip
    return lines + [{"kind": "serial", "batch": "B-0001", "serial": serial_of("SM-004", n + 1), "at": AT} for n in range(discs)]


def read(
    verdict, side="A", *, serial=FIRST, writing=1, lot="L-07", wrote="D1", by="D1", diagnosis=None, findings=None, simulated=False,
    number=0, evidence="cells", batch="B-0001", action="read-again",
):  # fmt: skip
    """A read as it stands in an export; a bad one has one sector that failed."""
    kind = {"pass": None, "marginal": "soft", "fail": "block-check"}[verdict]
    found = findings if findings is not None else [{"track": 17, "head": 0, "sector": 4, "kind": kind}] if kind else []
    return {"kind": "read", "read": number, "evidence": evidence, "action": action, "serial": serial, "batch": batch, "side": side, "verdict": verdict, "diagnosis": diagnosis, "writing": writing,
            "lot": lot, "wrote": wrote, "read_by": by, "findings": found, "simulated": simulated, "at": AT}  # fmt: skip


def wrote(side, number=1, drive=None, batch="B-0001", serial=FIRST):
    return {"kind": "writing", "batch": batch, "serial": serial, "side": side, "writing": number, "drive": drive, "at": AT}


def after(lines, serial=FIRST):
    """The disc's line after these."""
    led = replay(lines)
    return disc_line(led, led.discs[serial])


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
    return after(opened() + lines)


def rate(lines, by, group, role="wrote"):
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
        ("", "open", "write"),
        ("pass", "pass", "box"),
        ("marginal", "marginal", "read-again"),
        ("marginal pass", "marginal", "read-again"),
        ("marginal pass pass", "pass", "box"),
        ("fail", "fail", "read-again"),
        ("fail pass", "marginal", "read-again"),
        ("fail pass pass", "pass", "box"),
        ("fail pass marginal pass", "marginal", "read-again"),
        ("fail pass marginal pass pass", "pass", "box"),
        ("fail pass marginal pass marginal", "fail", "write-again"),
        ("fail pass marginal pass marginal pass pass", "fail", "write-again"),
        ("marginal pass pass marginal marginal marginal pass pass", "pass", "box"),
        ("marginal marginal marginal marginal", "marginal", "read-again"),
        ("marginal marginal marginal marginal marginal", "fail", "write-again"),
        ("fail pass fail pass pass", "fail", "write-again"),
        ("pass fail", "fail", "read-again"),
        ("pass marginal", "marginal", "read-again"),
        ("fail fail", "fail", "write-again"),
        ("fail fail pass pass pass", "fail", "write-again"),
        ("fail fail | pass", "pass", "box"),
        ("fail fail | fail", "fail", "read-again"),
        ("fail fail | fail fail", "fail", "reject"),
        ("fail fail | fail fail pass pass", "fail", "reject"),
        ("fail fail | fail pass", "marginal", "read-again"),
        ("fail | fail", "fail", "read-again"),
    ],
)
def test_a_disc_after_reads(reads, verdict, action):
    line = story(reads)
    assert (line["verdict"], line["action"]) == (verdict, action)
    assert line["rejected"] == (action == "reject")
    assert line["sides"] == {"A": None if verdict == "open" else verdict}


@pytest.mark.parametrize("diagnosis", ["other-side", "other-master", "other-geometry", "short"])
def test_a_read_of_something_else_settles_nothing(diagnosis):
    assert after([*opened(), read("fail", diagnosis=diagnosis), read("pass")])["verdict"] == "pass"
    assert after([*opened(), read("fail", diagnosis=diagnosis)])["sides"] == {"A": None}
    doubted = after([*opened(), read("pass"), read("fail", diagnosis=diagnosis)])["verdict"]
    assert doubted == ("marginal" if diagnosis in ("other-master", "other-geometry") else "pass")


@pytest.mark.parametrize("diagnosis", ["blank", "shifted"])
def test_a_blank_or_shifted_read_settles(diagnosis):
    assert after([*opened(), read("fail", diagnosis=diagnosis)])["verdict"] == "fail"


def test_nothing_on_a_side_that_the_bench_wrote_spends_it_at_once():
    blank = read("fail", diagnosis="blank")
    assert after([*opened(), wrote("A", drive="D1"), blank])["action"] == "write-again"
    assert after([*opened(), wrote("A"), blank])["action"] == "read-again"


def test_an_open_discs_action_is_that_of_a_newer_read_that_settled_nothing():
    short, other = read("fail", diagnosis="short"), read("fail", diagnosis="other-side", action="turn-over")
    assert after([*opened(), other])["action"] == "turn-over"
    assert after([*opened(), other, short])["action"] == "read-again"
    assert after([*opened(), read("pass", evidence="sums", action="box")])["action"] == "read-again"
    assert after([*opened(sides=TWO), wrote("A"), wrote("B"), other, wrote("A", 2), wrote("B", 2)])["action"] == "write"


def test_a_read_without_a_side_settles_nothing():
    line = after([*opened(sides=TWO), read("fail", side=None, writing=None)])
    assert line == {
        "batch": "B-0001", "serial": FIRST, "verdict": "open", "action": "write", "rejected": False, "each_side": True,
        "sides": {"A": None, "B": None},
    }  # fmt: skip


def test_a_new_writing_of_which_nothing_was_settled_leaves_the_side_open():
    assert after([*opened(), read("fail"), read("fail"), read("fail", writing=2, diagnosis="short")])["verdict"] == "open"


def test_a_void_read_is_as_if_it_settled_nothing():
    assert after([*opened(), read("fail", number=1), read("pass", number=2), amend(void=1)])["verdict"] == "pass"
    lines = [*opened(), read("pass", number=1), read("fail", number=2), amend(void=2), read("marginal", number=3)]
    assert after(lines)["verdict"] == "marginal"


def test_all_reads_of_a_drive_since_a_time_are_struck_out():
    since = {"kind": "amend", "batch": "B-0001", "serial": None, "lot": None, "wrote": None, "read": None, "void": True, "read_by": "D1",
             "since": AT, "restore": False, "reason": "dirt", "at": AT}  # fmt: skip
    two = opened(drives=("D1", "D2"))
    assert after([*two, read("pass", by="D2"), read("fail"), since])["verdict"] == "pass"
    assert after([*two, read("pass", by="D2"), since, read("fail")])["verdict"] == "fail"
    assert after([*two, read("pass", by="D2"), read("fail"), since | {"since": "2026-11-25T19:00:01Z"}])["verdict"] == "fail"


def test_more_writings_are_allowed_where_the_batch_says_so():
    lines = [read("fail", writing=2), read("fail", writing=2)]
    assert [after([*opened(rewrites=n), *lines])["action"] for n in (0, 1, 2)] == ["reject", "reject", "write-again"]


def test_evidence_and_simulated_reads_count_where_the_batch_says_so():
    sums, simulated = read("pass", evidence="sums"), read("pass", simulated=True)
    assert after([*opened(), sums])["verdict"] == "open"
    assert after([*opened(accept=["sums"]), sums])["verdict"] == "pass"
    assert [after([*opened(practice=flag), simulated])["verdict"] for flag in (False, True)] == ["open", "pass"]
    assert after([*opened(), simulated])["verdict"] == "open"


def test_a_restore_takes_a_rejection_back_and_allows_one_more_writing():
    restore = amend() | {"restore": True}
    spent = [*opened(), *[read("fail", writing=n) for n in (1, 1, 2, 2)]]
    assert after([*spent, restore])["action"] == "write-again"
    assert after([*spent, restore, read("fail", writing=3), read("fail", writing=3)])["action"] == "reject"
    assert after([*opened(), read("pass"), reject(), restore])["verdict"] == "pass"


def hold(drive="D1", serial=FIRST, side="A"):
    return {"kind": "hold", "drive": drive, "serial": serial, "side": side, "why": "running", "at": AT}


def test_a_hold_unsettles_what_its_drive_read_since_its_last_good_read():
    two = opened(drives=("D1", "D2", "D3"), discs=2)
    second = serial_of("SM-004", 2)
    assert after([*two, read("fail"), hold()])["verdict"] == "open"
    assert after([*two, read("fail"), read("pass", serial=second), hold()])["verdict"] == "fail"
    assert after([*two, read("fail", by="D2"), hold()])["verdict"] == "fail"
    assert after([*two, read("fail"), hold(), read("fail", by="D2")])["action"] == "write-again"
    assert after([*two, read("fail"), hold(serial=second), read("fail", by="D2")])["action"] == "read-again"


def test_a_drive_is_cleaned_where_every_one_that_serves_the_side_is_held():
    check = {"kind": "drive-check", "drive": "D1", "ok": True, "digest": None, "at": AT}
    assert after([*opened(), read("fail"), hold()])["action"] == "clean-drive"
    assert after([*opened(), read("fail"), hold(), check | {"ok": False}])["action"] == "clean-drive"
    assert after([*opened(), read("fail"), hold(), check])["action"] == "read-again"
    assert after([*opened(drives=("D1", "D2")), read("fail"), hold()])["action"] == "read-again"
    other = {"kind": "change", "of": "drive", "name": "D2", "reads": ["gcr4to5-35z"], "reason": "-", "at": AT}
    assert after([*opened(drives=("D1", "D2")), other, read("fail"), hold()])["action"] == "clean-drive"


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
    line = after(opened(sides=TWO) + reads)
    assert (line["verdict"], line["action"], line["sides"]) == (verdict, action, {"A": a, "B": b})


def test_a_disc_rejected_by_eye_fails_whatever_was_read():
    line = after([*opened(sides=TWO), read("pass"), read("pass", "B"), reject()])
    assert (line["verdict"], line["action"], line["sides"]) == ("fail", "reject", {"A": "pass", "B": "pass"})


def test_a_writing_of_one_side_asks_for_another_look_at_the_other():
    turned = {"verify": "after-turning-over"}
    lines = [wrote("A"), wrote("B"), read("pass"), read("pass", "B"), wrote("B", 2), read("pass", "B", writing=2)]
    line = after([*opened(sides=TWO, **turned), *lines])
    assert (line["verdict"], line["action"], line["sides"], line["each_side"]) == ("open", "turn-over", {"A": None, "B": "pass"}, False)
    assert after([*opened(sides=TWO, **turned), *lines, read("pass")])["verdict"] == "pass"
    assert after([*opened(sides=TWO, verify="each-side"), *lines])["verdict"] == "pass"
    assert after([*opened(sides=TWO), *lines])["each_side"] is True
    doubted = [wrote("A"), wrote("B"), read("marginal"), read("pass"), wrote("B", 2), read("pass", "B", writing=2), read("pass")]
    assert after([*opened(sides=TWO, **turned), *doubted])["verdict"] == "pass"


def taken(how, *sides):
    """The disc's batch is closed, and another one takes it over."""
    batch = opened(sides=TWO, **{how: "B-0001"})[2] | {"batch": "B-0002"}
    take = {"kind": "take", "batch": "B-0002", "serial": FIRST, "from": "B-0001", "sides": list(sides), "at": AT}
    return [{"kind": "close", "batch": "B-0001", "at": AT}, batch, take]


def test_a_disc_that_is_taken_over_counts_on_or_begins_anew():
    good, bad = [read("pass"), read("pass", "B")], [read("fail", "B"), read("fail", "B")]
    spent = [read("fail", "B", writing=2, batch="B-0002"), read("fail", "B", writing=2, batch="B-0002")]
    assert after([*opened(sides=TWO), read("pass"), *bad, *taken("continues"), *spent])["action"] == "reject"
    assert after([*opened(sides=TWO), *good, *taken("reworks", "B")])["sides"] == {"A": "pass", "B": None}
    assert after([*opened(sides=TWO), *good, *taken("reworks", "B"), *spent])["action"] == "write-again"
    third = [read("fail", "B", writing=3, batch="B-0002"), read("fail", "B", writing=3, batch="B-0002")]
    assert after([*opened(sides=TWO), *good, *taken("reworks", "B"), *spent, *third])["action"] == "reject"


def test_the_batch_counts_its_discs_in_the_order_handed_out_and_leaves_out_those_that_were_never_used():
    used = [read("pass", serial=serial_of("SM-004", 2)), read("fail", serial=serial_of("SM-004", 1))]
    led = replay([*opened(discs=3), *used, {"kind": "close", "batch": "B-0001", "at": AT}])
    head, *discs = batch_lines(led, "B-0001")
    assert head == {"batch": "B-0001", "state": "closed", "master": "Lamplighter 1.2", "digest": "d" * 64,
                    "discs": {"pass": 1, "marginal": 0, "fail": 1, "open": 0, "rejected": 0}}  # fmt: skip
    assert [line["serial"] for line in discs] == [serial_of("SM-004", n) for n in (1, 2)]


# --- rates --------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bad", "discs", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0, 0.1611), (1, 29, 0.0061, 0.1718)]
)
def test_wilson_as_published(bad, discs, low, high):
    assert [round(limit, 4) for limit in wilson(bad, discs)] == [low, high]  # Newcombe (1998), table I


def test_the_line_of_the_text():
    assert [round(limit, 4) for limit in wilson(9, 120)] == [0.04, 0.1364]


def test_undecided_discs_are_not_counted_and_rejects_count_for_lot_and_batch_only():
    s = [serial_of("SM-004", n) for n in range(1, 6)]
    lines = [*opened(discs=5), read("pass", serial=s[0]), reject(s[1], "L-07"), read("pass", serial=s[2]), reject(s[2])]
    lines.append(read("fail", serial=s[3]))
    for by, group, discs, bad in (
        ("batch", "B-0001", 3, 2),
        ("lot", "L-07", 3, 2),
        ("drive", "D1", 3, 1),
        ("side", "A", 3, 1),
        ("track", "A/0/17", 3, 1),
    ):
        line = rate(lines, by, group)
        assert (line["discs"], line["bad"]) == (discs, bad), by
    line = rate(lines, "lot", "L-07")
    assert (line["working"], line["abandoned"], line["first_read"], line["first_bad"]) == (1, 0, 3, 1)


def test_what_nobody_finished_is_abandoned_or_bad():
    s = [serial_of("SM-004", n) for n in range(1, 5)]
    lines = [*opened(sides=TWO, discs=4), read("pass", serial=s[0]), read("pass", "B", serial=s[0])]
    lines += [read("pass", serial=s[1]), read("fail", serial=s[2]), {"kind": "close", "batch": "B-0001", "at": AT}]
    line = rate(lines, "batch", "B-0001")
    assert (line["discs"], line["bad"], line["working"], line["abandoned"]) == (2, 1, 0, 1)


def test_first_bad_is_told_from_the_first_writing_alone():
    lines = [read("fail", diagnosis="short", number=1), read("pass", number=2), read("fail", number=3), read("fail", number=4)]
    lines = [*opened(discs=1), *lines, read("pass", writing=2, number=5)]
    line = rate(lines, "lot", "L-07")
    assert (line["first_read"], line["first_bad"], line["rewritten"], line["bad"]) == (1, 0, 1, 0)
    assert rate([*lines, amend(void=2)], "lot", "L-07")["first_bad"] == 1


def test_a_first_read_is_there_when_every_side_was_read_or_one_was_bad():
    lines = opened(sides=TWO, discs=3)
    s = [serial_of("SM-004", n) for n in (1, 2, 3)]
    lines += [read("pass", serial=s[0]), read("fail", serial=s[1]), read("pass", serial=s[2]), read("pass", "B", serial=s[2])]
    line = rate(lines, "lot", "L-07")
    assert (line["discs"], line["working"], line["first_read"], line["first_bad"]) == (1, 2, 2, 1)


def test_by_drive_first_writings_count_for_the_drive_that_wrote_them_and_their_first_reads_for_the_drive_that_read():
    two = opened(sides=TWO, drives=("D1", "D2"))
    lines = [*two, read("pass", "A", wrote="D1", by="D2"), read("fail", "B", wrote="D2", by="D2"), read("fail", "B", wrote="D2", by="D1")]
    lines.append(read("pass", "B", writing=2, wrote="D1", by="D1"))
    told = [(x["group"], x["discs"], x["bad"], x["saved"], x["lost"], x["rescues"], x["rescued"]) for x in rates(replay(lines), "drive")]
    assert told == [("D1", 1, 0, 0, 0, 1, 1), ("D2", 1, 1, 1, 0, 0, 0)]
    assert [(x["group"], x["discs"], x["bad"], x["denied"]) for x in rates(replay(lines), "drive", "read")] == [("D2", 2, 1, 0)]
    more = [*two, read("fail", "A", wrote="D1", by="D2"), read("pass", "A", wrote="D1"), read("pass", "A", wrote="D1")]
    assert [x["denied"] for x in rates(replay(more), "drive", "read")] == [1]


def test_what_a_side_cost_its_disc():
    bad = [read("fail", "B", writing=n) for n in (1, 1, 2, 2)]
    lines = [*opened(sides=TWO), read("fail"), *bad]
    assert [(x["group"], x["bad"], x["lost"]) for x in rates(replay(lines), "side")] == [("A", 1, 0), ("B", 1, 1)]


def test_a_hold_changes_no_rate_by_drive():
    lines = [*opened(), read("fail"), hold()]
    assert rate(lines, "drive", "D1")["bad"] == 1
    assert rate(lines, "track", "A/0/17") is None


def test_a_reworked_sides_first_writing_is_a_first_writing():
    lines = [*opened(sides=TWO), read("pass"), read("pass", "B"), *taken("reworks", "B"), read("fail", "B", writing=2, batch="B-0002")]
    assert (rate(lines, "drive", "D1")["discs"], rate(lines, "drive", "D1")["bad"], rate(lines, "drive", "D1")["rescues"]) == (3, 1, 0)
    assert rate(lines, "batch", "B-0001") is None


def test_a_corrected_lot_moves_the_disc():
    lines = [*opened(lots=("L-07", "L-09")), read("pass"), amend(lot="L-09")]
    assert [(x["group"], x["discs"]) for x in rates(replay(lines), "lot")] == [("L-09", 1)]


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
    assert rate([*opened(practice=True), read("pass", simulated=True)], "side", "A")["simulated"]
    assert not rate([*opened(), read("pass")], "side", "A")["simulated"]


def test_lines_are_plain_json():
    assert json.loads(json.dumps(rates(replay([*opened(), read("pass")]), "batch")))


# --- the random shops ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shops():
    return [make_ledger(seed, 30, earlier=seed % 6 == 0) for seed in range(24)]


def test_the_shops_meet_everything_that_the_text_speaks_of(shops):
    reads = [line for shop in shops for line in shop if line["kind"] == "read"]
    assert {line["evidence"] for line in reads} == {"dump", "report", "cells", "flux", "sums"}
    assert {line["diagnosis"] for line in reads} == {None, "blank", "shifted", "short", "other-side", "other-master", "other-geometry"}
    assert any(line["side"] is None for line in reads)
    kinds = {line["kind"] for shop in shops for line in shop}
    assert kinds == {
        "lot", "drive", "batch", "serial", "writing", "image", "read", "reject", "amend", "drop", "take", "hold", "drive-check",
        "drive-log", "change", "close",
    }  # fmt: skip
    amends = [line for shop in shops for line in shop if line["kind"] == "amend"]
    assert all(any(line.get(key) for line in amends) for key in ("lot", "wrote", "void", "read_by", "restore", "since"))
    batches = [line for shop in shops for line in shop if line["kind"] == "batch"]
    assert all(any(line.get(key) for line in batches) for key in ("continues", "reworks", "practice", "rewrites"))
    assert {line.get("verify") for line in batches} == {None, "each-side", "after-turning-over"}


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
    for shop in shops[:6]:
        for n, line in enumerate(shop):
            if line["kind"] == "read" and line["side"] and n % 5 == 0:
                disc = replay(shop[: n + 1]).discs[line["serial"]]
                writing = newest_writing(disc, line["side"])
                assert (disc.lot, writing.drive, writing.number) == (line["lot"], line["wrote"], line["writing"])


def test_nothing_is_written_on_a_rejected_disc(shops):
    for shop in shops[:6]:
        for n, line in enumerate(shop):
            if line["kind"] == "writing" and line["writing"] > 1:
                led = replay(shop[:n])
                assert not rejected(led, led.discs[line["serial"]]), n
