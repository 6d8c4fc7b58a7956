"""A drive that spoils one disc after the other stops itself."""

from mastering.bench.holds import HoldWatch


def line(serial, verdict="fail", wrote="D1", read_by="D2", side="A", diagnosis=None, tracks=1):
    findings = [{"track": track, "head": 0, "sector": 1, "kind": "block-check"} for track in range(tracks)] if verdict == "fail" else []
    return {
        "serial": serial, "side": side, "writing": 1, "verdict": verdict, "diagnosis": diagnosis, "wrote": wrote, "read_by": read_by,
        "findings": findings,
    }  # fmt: skip


def run(watch, *lines):
    return [watch.after(each, 40) for each in lines]


def test_three_discs_running_put_the_drive_that_read_and_the_one_that_wrote_on_hold():
    assert run(HoldWatch(3), *map(line, "123")) == [{}, {}, {"D2": "running", "D1": "running"}]


def test_a_good_disc_in_between_begins_the_count_anew():
    assert run(HoldWatch(3), line("1"), line("2"), line("3", "pass"), line("4"), line("5")) == [{}] * 5


def test_two_sides_of_one_disc_are_one_disc_and_a_second_read_of_a_side_counts_for_nothing():
    assert run(HoldWatch(2), line("1"), line("1", side="B"), line("1")) == [{}] * 3
    watch = HoldWatch(2)
    assert run(watch, line("1"), line("1", "pass"), line("2")) == [{}, {}, {"D2": "running", "D1": "running"}]


def test_what_one_drive_wrote_and_another_read_counts_for_each():
    assert run(HoldWatch(2), line("1", wrote="D1"), line("2", wrote="D3")) == [{}, {"D2": "running"}]


def test_one_read_with_bad_sectors_on_a_quarter_of_its_tracks_is_enough():
    assert HoldWatch(3).after(line("1", tracks=10), 40) == {}
    assert HoldWatch(3).after(line("1", tracks=11), 40) == {"D2": "share"}


def test_a_wrong_disc_says_nothing_of_the_drive_and_a_stopped_lot_neither():
    assert run(HoldWatch(1), line("1", diagnosis="other-side"), line("2", diagnosis="other-master")) == [{}, {}]
    assert HoldWatch(1).after(line("1"), 40, stopped_lot=True) == {}


def test_a_soft_read_neither_counts_nor_clears():
    assert run(HoldWatch(2), line("1"), line("2", "marginal"), line("3")) == [{}, {}, {"D2": "running", "D1": "running"}]
