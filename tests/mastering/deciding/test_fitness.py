"""What goes together: a master's sides, drives and blanks."""

from dataclasses import replace

import pytest
from table import Table, done, one_side, said, two_sides

from formats import registry
from mastering.deciding.fitness import misfits
from mastering.ledger.store import Ledger

COARSE = registry.geometry("mfm-40x9x512")
BOTH_HEADS = registry.geometry("mfm-40x9x512-2s")
FINE = replace(COARSE, tpi=96)
HIGH = replace(COARSE, coercivity="600 Oe")


def lot(name="L-07", **facts):
    return {"name": name, **facts}


def drive(name="D1", tpi=48, heads=1, **facts):
    return {"name": name, "tpi": tpi, "heads": heads, **facts}


def told(sides, lots=None, drives=None) -> list[tuple[bool, str]]:
    """Whether refused, and why."""
    found = misfits(sides, [lot()] if lots is None else lots, [drive()] if drives is None else drives)
    return [(misfit.refused, misfit.what) for misfit in found]


def test_what_goes_together_is_passed_over_in_silence():
    assert told({"A": COARSE}, [lot(coercivity=300, faces=1, condition="new", hub_ring=True)]) == []
    assert told({"A": COARSE, "B": COARSE}, [lot(faces=2)], [drive(index="ignored")]) == []
    assert told({"A": BOTH_HEADS}, [lot(faces=2)], [drive(heads=2)]) == []


def test_two_heads_are_not_recorded_by_one():
    [(refused, why)] = told({"A": BOTH_HEADS})
    assert refused
    assert "2 heads" in why


def test_tracks_closer_than_the_drives_are_refused():
    [(refused, why)] = told({"A": FINE}, drives=[drive(tpi=48)])
    assert refused
    assert "96" in why
    assert "48" in why


def test_a_pitch_that_no_step_fits_is_refused():
    assert [refused for refused, _ in told({"A": COARSE}, drives=[drive(tpi=100)])] == [True]


def test_wide_tracks_by_a_narrow_head_are_warned_about_and_refused_on_used_blanks():
    [(refused, why)] = told({"A": COARSE}, drives=[drive(tpi=96)])
    assert not refused
    assert "half as wide" in why
    [(refused, why)] = told({"A": COARSE}, [lot(condition="new"), lot("L-08", condition="used")], [drive(tpi=96)])
    assert refused
    assert "L-08" in why


@pytest.mark.parametrize(
    ("geometry", "oersted", "refused"),
    [(COARSE, 300, False), (COARSE, 290, False), (COARSE, 600, True), (HIGH, 600, False), (HIGH, 650, False), (HIGH, 300, True)],
)
def test_blanks_of_another_coercivity_are_refused(geometry, oersted, refused):
    assert [misfit[0] for misfit in told({"A": geometry}, [lot(coercivity=oersted)])] == [True] * refused


@pytest.mark.parametrize(
    ("geometry", "ring", "doubt"), [(COARSE, True, None), (COARSE, False, "no hub ring"), (HIGH, False, None), (HIGH, True, "a hub ring")]
)
def test_a_hub_ring_is_a_hint_where_the_coercivity_is_not_known(geometry, ring, doubt):
    found = told({"A": geometry}, [lot(hub_ring=ring)])
    assert [refused for refused, _ in found] == [False] * (doubt is not None)
    assert all(doubt in why for _, why in found)
    assert told({"A": geometry}, [lot(hub_ring=ring, coercivity=int(geometry.coercivity.split()[0]))]) == []


def test_blanks_certified_for_one_face_are_warned_about_when_both_are_used():
    for sides, drives in (({"A": COARSE, "B": COARSE}, [drive()]), ({"A": BOTH_HEADS}, [drive(heads=2)])):
        [(refused, why)] = told(sides, [lot(faces=1)], drives)
        assert not refused
        assert "certified for one" in why


def test_a_drive_that_needs_the_index_hole_is_warned_about_when_discs_are_turned_over():
    assert told({"A": COARSE}, drives=[drive(index="needed")]) == []
    [(refused, why)] = told({"A": COARSE, "B": COARSE}, drives=[drive(index="needed")])
    assert not refused
    assert "second index window" in why


def test_every_side_lot_and_drive_is_looked_at():
    found = told(
        {"A": COARSE, "B": COARSE}, [lot("L-07", coercivity=600), lot("L-09", coercivity=650)], [drive("D1", tpi=100), drive("D2", tpi=100)]
    )
    assert len(found) == 8


# At the table


def test_a_batch_that_does_not_fit_is_refused_with_every_reason_and_is_not_there(tmp_path):
    table = Table(tmp_path, two_sides())
    table.done("lot", "add", "HD", "--coercivity", 600)
    table.done("drive", "add", "D96", "--tpi", 100, "--heads", 1)
    rows = table.rows()
    answer = table.said("batch", "open", two_sides().path, "--good", 1, "--lot", "HD", "--drive", "D96")
    assert (answer.status, answer.out, len(answer.err)) == (2, [], 4)
    assert table.rows() == rows


def test_a_warning_does_not_hold_a_batch_up(tmp_path):
    table = Table(tmp_path, two_sides())
    table.done("lot", "add", "OLD", "--faces", 1)
    answer = table.done("batch", "open", two_sides().path, "--good", 1, "--lot", "OLD", "--drive", "D1", "--json")
    assert answer.json[0]["batch"] == "B-0002"
    assert "OLD" in answer.err[0]


def test_what_a_lot_and_a_drive_are_is_kept_and_listed(tmp_path):
    Ledger.open(tmp_path / "ledger.sqlite", create=True).__exit__()
    ledger = ("--ledger", tmp_path / "ledger.sqlite")
    facts = (
        "--count",
        100,
        "--coercivity",
        300,
        "--faces",
        1,
        "--condition",
        "erased",
        "--no-hub-ring",
        "--inner-box",
        10,
        "--price",
        0.4,
        "--supplier",
        "Quay Street",
    )
    done("lot", "add", "L-07", *facts, *ledger)
    done("drive", "add", "D1", "--tpi", 48, "--heads", 2, "--index", "needed", *ledger)
    [kept] = done("lot", "list", "--json", *ledger).json
    assert {key: kept[key] for key in ("count", "coercivity", "faces", "condition", "hub_ring", "inner_box", "price", "supplier")} == {
        "count": 100, "coercivity": 300, "faces": 1, "condition": "erased", "hub_ring": False, "inner_box": 10, "price": 0.4, "supplier": "Quay Street",
    }  # fmt: skip
    listed = done("lot", "list", *ledger).out[1]
    for fact in ("100", "300 Oe", "erased", "no hub ring", "boxes of 10", "Quay Street"):
        assert fact in listed
    assert done("drive", "list", "--json", *ledger).json[0]["index"] == "needed"


@pytest.mark.parametrize("price", ["nan", "inf", "-1", "1e400"])
def test_a_price_that_is_none_is_refused(tmp_path, price):
    table = Table(tmp_path, one_side())
    assert "price" in table.refused("lot", "add", "L-08", "--price", price)
    assert table.done("lot", "list").status == 0


@pytest.mark.parametrize(
    "words",
    [
        ("lot", "add", "L7 "),
        ("lot", "add", "-"),
        ("lot", "add", ""),
        ("lot", "add", "x" * 65),
        ("drive", "add", "D1/2", "--tpi", 48, "--heads", 1),
    ],
)
def test_a_name_that_no_command_line_could_hold_is_refused(tmp_path, words):
    answer = said(*words, "--ledger", tmp_path / "ledger.sqlite")
    assert (answer.status, answer.out, len(answer.err)) == (2, [], 1)
    assert not (tmp_path / "ledger.sqlite").exists()


def test_one_name_is_given_once(tmp_path):
    table = Table(tmp_path, one_side())
    assert "there is one" in table.refused("lot", "add", "L-07")
    assert "there is one" in table.refused("drive", "add", "D1", "--tpi", 96, "--heads", 1)
