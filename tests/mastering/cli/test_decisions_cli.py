"""`need`, `plan` and `advise` as they are asked at the bench, over ledgers that the simulator made."""

import json
from datetime import datetime, timedelta

import pytest
from table import said

from mastering.deciding.schedule import DEFAULTS
from mastering.ledger.exchange import take_anew
from mastering.simulator.bench import Bench
from mastering.simulator.history import Shop, alternately, history
from mastering.simulator.quality import Course, DriveQuality, LotQuality


@pytest.fixture
def lines():
    """A hundred discs of two lots on two drives; the second lot is bad."""
    lots = {"L-07": LotQuality(Course(0.02)), "L-23": LotQuality(Course(0.3))}
    bench = Bench(3, lots, {"D1": DriveQuality(), "D2": DriveQuality()})
    return list(history(bench, 100, Shop(per_batch=50), alternately(bench)))


def asked(folder, lines, *words):
    """What a command says of a ledger with these lines."""
    path = folder / "ledger.sqlite"
    take_anew(path, map(json.dumps, lines), "here")
    return said(*words, "--ledger", path, folder=folder)


def test_a_ledger_kept_while_discs_were_made_gives_its_own_step_times(tmp_path, lines):
    [line] = asked(tmp_path, lines, "plan", "--json").json
    assert line["steps"] == dict.fromkeys(DEFAULTS, "ledger") | {"pack": "default"}
    assert line["seconds"]["read"] != DEFAULTS["read"]


def test_a_ledger_recorded_in_one_go_says_nothing_of_step_times(tmp_path, lines):
    """Reads a second apart: nobody turned a disc over in that time."""
    at = datetime.fromisoformat("2026-11-25T18:00:00+00:00")
    for number, line in enumerate(lines):
        if "at" in line:
            line["at"] = (at + timedelta(seconds=number)).strftime("%Y-%m-%dT%H:%M:%SZ")
    [line] = asked(tmp_path, lines, "plan", "--json").json
    assert set(line["steps"].values()) == {"default"}
    assert line["seconds"] == DEFAULTS


def test_every_day_of_such_a_ledger_ends(tmp_path, lines):
    path = tmp_path / "ledger.sqlite"
    take_anew(path, map(json.dumps, lines), "here")
    for boxes in (20, 37, 300):
        for drives in (1, 2, 4):
            assert said("plan", "--boxes", boxes, "--drives", drives, "--ledger", path).status == 0


def test_what_a_lot_has_left_is_told(tmp_path, lines):
    for line in lines:
        if line["kind"] == "lot":
            line["count"] = 60
    answer = asked(tmp_path, lines, "need", "--good", 60, "--lot", "L-23", "--json")
    [line] = answer.json
    assert (line["lot"], line["left"], line["basis"]) == ("L-23", 10, "lot")
    out = said("need", "--good", 60, "--lot", "L-23", "--ledger", tmp_path / "ledger.sqlite").out
    assert out[1] == f"Lot L-23 has 10 left: take {line['load'] - 10} more of another one."


@pytest.mark.parametrize("price", ["nan", "inf", "1e308"])
def test_a_price_that_is_none_gives_one_line(tmp_path, price):
    answer = said("need", "--good", 3, "--blank-price", price, "--disc-price", 1, "--json", folder=tmp_path)
    assert (answer.status, answer.out, len(answer.err)) == (2, [], 1)


def test_advice_with_its_figures_is_in_words(tmp_path, lines):
    for line in lines:
        if line["kind"] == "lot":
            line["count"] = 100
    out = asked(tmp_path, lines, "advise", "--why").out
    assert out[0].startswith("STOP  Lot L-23: set the rest aside; ")
    assert any(line.startswith("      A lot that can be tolerated is ever stopped with a chance of 2.0 %.") for line in out)
    assert not any("_" in line or "{" in line for line in out)


def test_lot_list_tells_what_a_good_disc_costs(tmp_path, lines):
    for line in lines:
        if line["kind"] == "lot":
            line["price"], line["supplier"] = (1.0 if line["name"] == "L-07" else 0.5), "Kit"
    out = asked(tmp_path, lines, "lot", "list").out
    assert not any("costs" in line for line in out)
    out = said("lot", "list", "--disc-price", 2, "--ledger", tmp_path / "ledger.sqlite").out
    assert any("a good disc costs" in line for line in out)
    assert [line.split()[0] for line in out[-3:]] == ["L-07", "L-23", "all"]


def test_a_plan_counts_no_drive_that_can_not_work(tmp_path, lines):
    for line in lines:
        if line["kind"] == "lot":
            line["count"] = 200
    answer = asked(tmp_path, lines, "plan", "--json").json[0]
    assert answer["drives"] == 2
    at = {"at": "2026-11-25T20:00:00Z"}
    lines += [
        {"kind": "drive-log", "drive": "D2", "what": "retired", "note": None, **at},
        {"kind": "lot-stop", "lot": "L-23", "inner": None, "reason": "it sheds", **at},
    ]
    folder = tmp_path / "later"
    folder.mkdir()
    assert asked(folder, lines, "plan", "--json").json[0]["drives"] == 1
    levels = {(each["about"], each["name"]): each["level"] for each in asked_again(folder, "advise", "--json").json}
    assert levels["lot", "L-23"] == "wait"
    assert ("drive", "D2") not in levels


def asked_again(folder, *arguments):
    return said(*arguments, "--ledger", folder / "ledger.sqlite")
