"""A shop of several titles and revisions: whatever disc is put in instead of the one whose turn it is, `batch record` catches it."""

from itertools import permutations

import pytest
from titles import Disc, Shop

from formats.errors import ContainerError
from mastering.errors import MasteringError
from mastering.ledger.lines import LineError
from mastering.master.serial import serial


@pytest.fixture
def shop(tmp_path) -> Shop:
    return Shop(tmp_path, titles=4, revisions=2, discs=5)


def refusal(shop: Shop, told: Disc, data: bytes, report: bytes | None = None) -> str:
    with pytest.raises(LineError) as refused:
        shop.put_in_as(told, data, report)
    return str(refused.value)


def assert_caught(shop: Shop, told: Disc, wrong: Disc, data: bytes, report: bytes | None = None) -> str:
    """How it was caught: refused by the serial, refused by its length, or named as the master that it is."""
    try:
        line = shop.put_in_as(told, data, report)
    except LineError as refused:
        assert f"the disc carries {wrong.serial} " in str(refused) and f"where {told.serial} was expected" in str(refused)
        return "serial"
    except (MasteringError, ContainerError) as refused:
        assert told.side.geometry_id != wrong.side.geometry_id, refused
        return "length"
    if line["diagnosis"] in ("other-side", "other-geometry"):
        assert told.master.catalogue != wrong.master.catalogue
    else:
        assert line["diagnosis"] == "other-master" and wrong.label in line["matches"]
    assert line["verdict"] == "fail" and line["action"] in ("ask", "turn-over")
    return line["diagnosis"]


def test_every_disc_put_in_as_any_other_is_caught(shop):
    assert len({disc.serial for disc in shop.discs}) == 40
    ways = {assert_caught(shop, told, wrong, wrong.dump) for told, wrong in permutations(shop.discs, 2)}
    assert ways >= {"serial", "other-master"}
    assert {shop.standing(disc) for disc in shop.discs} == {"open"}
    for disc in shop.discs:  # and each as itself passes
        line = shop.put_in_as(disc, disc.dump)
        assert (line["verdict"], line["on_disc"]) == ("pass", disc.serial)


@pytest.mark.campaign
def test_the_same_of_400_discs_of_20_masters(tmp_path):
    shop = Shop(tmp_path, titles=5, revisions=4, discs=20)
    shop.forget()
    for wrong in shop.discs:
        dump = wrong.dump
        assert shop.put_in_as(wrong, dump)["verdict"] == "pass"
        for told in shop.discs:
            if told is not wrong:
                assert_caught(shop, told, wrong, dump)


@pytest.mark.parametrize("kind", ["capture", "report"])
def test_no_kind_of_read_back_lets_one_slip(shop, kind):
    for number, told in enumerate(shop.discs):
        for step in (1, 5, 15):  # the next of its batch or the first of the next one, its twin in another revision, one of another title
            wrong = shop.discs[(number + step) % len(shop.discs)]
            assert_caught(shop, told, wrong, *((wrong.dump, wrong.report) if kind == "report" else (wrong.capture,)))
    assert {shop.standing(disc) for disc in shop.discs} == {"open"}


def test_another_revisions_disc_is_named_by_its_serial_where_its_place_did_not_move(shop):
    for told, wrong in permutations(shop.discs, 2):
        if told.master.catalogue == wrong.master.catalogue:
            assert assert_caught(shop, told, wrong, wrong.dump) == "serial"


@pytest.mark.parametrize("kind", ["dump", "capture"])
def test_a_finished_disc_that_is_put_in_again_is_told_as_such(shop, kind):
    finished, other_revision = shop.discs[20], shop.discs[25]  # of the title whose sides both carry the serial
    for side in finished.master.sides.values():
        line = shop.put_in_as(finished, side.stamped(finished.serial), side=side.name)
        assert line["verdict"] == "pass"
    assert shop.standing(finished) == "pass"
    for told in (shop.discs[21], other_revision):
        said = refusal(shop, told, getattr(finished, kind))
        assert f"the disc carries {finished.serial} (batch B-0005, a good disc), where {told.serial} was expected" in said
    assert shop.standing(shop.discs[21]) == "open"


def test_a_finished_disc_is_caught_on_each_side_that_carries_the_serial(shop):
    finished, told = shop.discs[20:22]
    for side in finished.master.sides.values():
        with pytest.raises(LineError, match=finished.serial):
            shop.put_in_as(told, side.stamped(finished.serial), side=side.name)


def test_what_is_known_of_a_disc_that_is_put_in_again_is_said(shop):
    other, told = shop.discs[20:22]
    sides = other.master.sides
    bad = bytes(sides["A"].size) + sides["A"].stamped(other.serial)[sides["A"].size :]
    for side, data, known in (
        ("A", sides["A"].stamped(other.serial), "not finished"),
        ("B", sides["B"].stamped(other.serial), "in doubt"),
        ("A", bad, "a bad disc"),
    ):
        if known == "in doubt":  # read badly, then well once
            shop.put_in_as(other, bytes(sides["B"].size) + data[sides["B"].size :], side=side)
        shop.put_in_as(other, data, side=side)
        assert f"{other.serial} (batch B-0005, {known})" in refusal(shop, told, other.dump)


def test_the_old_serial_of_a_rejected_disc_is_told_as_such(shop):
    rejected = shop.discs[0]
    shop.reject(rejected)
    for told in shop.discs[1:10]:
        assert f"{rejected.serial} (batch B-0001, rejected by eye)" in refusal(shop, told, rejected.dump)


def test_a_serial_that_was_never_handed_out_is_told_as_such(shop):
    stranger = Disc(shop.discs[0].master, serial("SM-100", 99))
    assert f"{stranger.serial}, a serial that this ledger never handed out" in refusal(shop, shop.discs[0], stranger.dump)
    assert shop.standing(shop.discs[0]) == "open"


def test_a_disc_with_the_masters_own_marker_was_not_written_from_its_stamped_image(shop):
    for disc in shop.discs[::5]:
        line = shop.put_in_as(disc, disc.side.dump)
        assert (line["verdict"], line["on_disc"], line["action"]) == ("fail", None, "write-again")
        assert [finding["kind"] for finding in line["findings"]] == ["serial"]
