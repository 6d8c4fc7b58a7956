"""The order of the work at the bench, told by what the operator is asked to do and by what the drives are sent."""

import pytest
from benchfloor import Floor, Table

from mastering.bench import floor as f

BOTH = frozenset("AB")


def work(wanted: int, drives="D1", rules: f.Rules | None = None, sides=("A", "B"), begun=()) -> f.BatchWork:
    stations = tuple(f.Station(name, frozenset(sides), frozenset(sides)) for name in drives.split())
    return f.BatchWork("B-0001", sides, wanted, rules or f.Rules(), stations, begun)


def told(table: Table) -> list[str]:
    """What happened, a word or two each."""
    lines = []
    for each in table.log:
        if isinstance(each, f.Hands):
            lines.append(
                f"{each.action} {each.serial} {each.drive}" + (f" ({each.face} up)" if each.action in ("insert", "turn-over") else "")
            )
        elif isinstance(each, f.Command):
            lines.append(f"{each.what} {each.side} {each.drive}")
        elif isinstance(each, f.Guard):
            lines.append(f"! {each.kind}")
        elif isinstance(each, f.PrintLabel):
            lines.append(f"print {each.serial}")
    return lines


def test_a_good_disc_in_one_drive_is_written_turned_over_written_read_turned_over_and_read():
    assert told(Table(Floor(), [work(1)]).run()) == [
        "insert 0001 D1 (A up)", "probe A D1", "write A D1", "turn-over 0001 D1 (B up)", "probe B D1", "write B D1", "read B D1",
        "turn-over 0001 D1 (A up)", "read A D1", "take-out-good 0001 D1",
    ]  # fmt: skip


def test_side_by_side_a_side_is_read_before_the_disc_is_turned_over():
    assert told(Table(Floor(each_side=True), [work(1, rules=f.Rules(each_side=True, probe=False))]).run()) == [
        "insert 0001 D1 (A up)", "write A D1", "read A D1", "turn-over 0001 D1 (B up)", "write B D1", "read B D1", "take-out-good 0001 D1",
    ]  # fmt: skip


def test_the_label_is_stuck_before_the_last_look_which_proves_it():
    lines = told(Table(Floor(), [work(1, rules=f.Rules(label=True))]).run())
    assert lines[6:] == ["read B D1", "print 0001", "label 0001 D1", "read A D1", "take-out-good 0001 D1"]


def test_of_two_drives_one_writes_and_the_other_reads_and_at_half_the_batch_they_change_parts():
    table = Table(Floor(), [work(10, "D1 D2")]).run()
    wrote = [each.drive for each in table.log if isinstance(each, f.Command) and each.what == "write"]
    assert set(wrote[:8]) == {"D1"} and set(wrote[-8:]) == {"D2"}
    for sides in table.floor.discs.values():
        assert all(side.wrote != drive for side in sides.values() for _, drive, _ in side.reads)
    assert len(table.piles["good"]) == 10 and not table.drives


def failing(*wanted):
    """Fails these reads, each (serial, side, count): the first so many reads of that side."""
    left = {(serial, side): count for serial, side, count in wanted}

    def trouble(table, what):
        if isinstance(what, f.Command) and what.what == "read" and left.get((what.serial, what.side), 0):
            left[what.serial, what.side] -= 1
            table.floor.read(what.serial, what.side, what.drive, False)
            return f.WasRead(what.drive, "fail")
        return None

    return trouble


def test_a_side_that_failed_is_read_again_in_another_drive_then_written_again_on_another_then_rejected():
    table = Table(Floor(blanks=1), [work(1, "D1 D2")], failing(("0001", "B", 4))).run()
    assert [line for line in told(table) if " B " in line or line.startswith(("move", "take"))] == [
        "probe B D1", "write B D1", "move 0001 D2", "read B D2", "move 0001 D1", "read B D1",
        "move 0001 D2", "probe B D2", "write B D2", "move 0001 D1", "read B D1", "move 0001 D2", "read B D2", "take-out-bad 0001 D2",
    ]  # fmt: skip
    assert table.piles == {"good": [], "bad": ["0001"]}


def test_a_failed_side_a_is_not_turned_over():
    table = Table(Floor(each_side=True), [work(1, rules=f.Rules(each_side=True))], failing(("0001", "A", 1))).run()
    lines = told(table)
    assert lines.index("turn-over 0001 D1 (B up)") > [place for place, line in enumerate(lines) if line == "read A D1"][1]


def test_writing_b_again_asks_for_the_last_look_at_a_again():
    table = Table(Floor(), [work(1)], failing(("0001", "B", 2))).run()
    assert [line for line in told(table) if line.startswith(("write", "read"))] == [
        "write A D1", "write B D1", "read B D1", "read B D1", "write B D1", "read B D1", "read A D1",
    ]  # fmt: skip


def test_a_rejected_disc_is_replaced_by_a_new_one_until_the_batch_has_its_good_ones():
    table = Table(Floor(), [work(3)], failing(("0002", "A", 4))).run()
    assert table.piles == {"good": ["0001", "0003", "0004"], "bad": ["0002"]}
    assert isinstance(table.log[-1], f.BatchDone) and table.loop.over


def once(kind, of, event):
    """One thing goes wrong at the first instruction of a kind."""
    done = []

    def trouble(table, what):
        if isinstance(what, kind) and of(what) and not done:
            done.append(what)
            return event(table, what)
        return None

    return trouble


def test_a_disc_that_was_not_turned_over_is_found_before_side_b_is_written():
    def leave(table, hands):
        return f.HandsDone()

    table = Table(Floor(), [work(1)], once(f.Hands, lambda hands: hands.action == "turn-over", leave)).run()
    assert told(table)[3:8] == ["turn-over 0001 D1 (B up)", "probe B D1", "! not-turned-over", "turn-over 0001 D1 (B up)", "probe B D1"]
    assert table.piles["good"] == ["0001"]


@pytest.mark.parametrize("stranger", ["finished-disc", "rejected-disc", "other-title", "returned-disc", "wrong-drive"])
def test_a_stranger_is_taken_out_and_the_disc_put_in(stranger):
    def meet(table, command):
        return f.Probed(command.drive, stranger=stranger)

    meet_once = once(f.Command, lambda command: command.what == "probe", meet)

    def trouble(table, what):
        event = meet_once(table, what)
        if isinstance(what, f.Hands) and what.action == "insert" and table.aside:
            table.drives[what.drive] = table.aside.pop(what.serial)
            return f.HandsDone()
        return event

    table = Table(Floor(), [work(1)], trouble).run()
    assert told(table)[1:5] == ["probe A D1", f"! {stranger}", "take-out 0001 D1", "insert 0001 D1 (A up)"]
    assert table.piles["good"] == ["0001"]


@pytest.mark.parametrize("kind", ["too-fast", "stale-file", "written-file", "command-failed", "nothing-done", "not-ready"])
def test_a_command_that_stopped_at_a_guard_is_tried_again_with_the_disc_reseated(kind):
    stop = once(f.Command, lambda command: command.what == "read", lambda table, command: f.Guarded(command.drive, kind))
    table = Table(Floor(), [work(1)], stop).run()
    lines = told(table)
    place = lines.index(f"! {kind}")
    assert lines[place - 1 : place + 3] == ["read B D1", f"! {kind}", "reseat 0001 D1", "read B D1"]
    assert table.piles["good"] == ["0001"]


def test_the_third_guard_of_a_kind_puts_the_disc_aside_and_a_drive_that_did_it_to_two_discs_is_left_alone():
    def trouble(table, what):
        return f.Guarded(what.drive, "command-failed") if isinstance(what, f.Command) and what.what == "write" else None

    table = Table(Floor(), [work(2)], trouble).run()
    assert told(table).count("! command-failed") == 6 and sorted(table.aside) == ["0001", "0002"] and not any(table.piles.values())
    assert len(table.floor.discs) == 2 and not table.piles["good"] and table.loop.over


def test_a_wrong_label_is_printed_and_stuck_again():
    stick = once(f.Hands, lambda hands: hands.action == "label", lambda table, hands: f.HandsDone("0009"))
    lines = told(Table(Floor(), [work(1, rules=f.Rules(label=True))], stick).run())
    assert lines[7:12] == ["print 0001", "label 0001 D1", "! wrong-label", "print 0001", "label 0001 D1"]


def test_a_drive_that_was_put_on_hold_gets_no_disc_and_the_disc_that_did_it_goes_into_no_other():
    def trouble(table, what):
        if isinstance(what, f.Command) and what.what == "read" and what.serial == "0002" and not table.floor.on_hold:
            table.floor.read(what.serial, what.side, what.drive, False)
            table.floor.on_hold.add(what.drive)
            return f.WasRead(what.drive, "fail", held=(what.drive,), again=(("0001", "B"),))
        return None

    table = Table(Floor(), [work(3, "D1 D2 D3")], trouble).run()
    held = next(iter(table.floor.on_hold))
    lines = told(table)
    after = lines.index("look 0002 " + held)
    assert lines.index(f"take-out 0002 {held}") > after and "0002" not in table.piles["good"]
    assert not any(line.startswith(("probe", "write", "read", "insert")) and held in line for line in lines[after:])
    again = [
        each for each in table.log if isinstance(each, f.Command) and each.what == "read" and (each.serial, each.side) == ("0001", "B")
    ]
    assert len(again) == 2 and again[-1].drive != held


def test_discs_that_were_begun_before_are_finished_first():
    floor = Floor()
    for _ in range(2):
        floor.hand_out("B-0001")
    floor.wrote("0001", "A", "D1")
    table = Table(floor, [work(3, begun=("0001", "0002"))])
    from benchfloor import Medium

    table.aside = {"0001": Medium({"A": "0001", "B": None}), "0002": Medium({"A": None, "B": None})}
    lines = told(table.run())
    assert lines[:5] == ["insert 0001 D1 (A up)", "turn-over 0001 D1 (B up)", "probe B D1", "write B D1", "read B D1"]
    assert table.piles["good"] == ["0001", "0002", "0003"]


def test_a_batch_whose_blanks_are_used_up_ends_with_less():
    table = Table(Floor(blanks=2), [work(5)]).run()
    assert table.piles["good"] == ["0001", "0002"] and isinstance(table.log[-1], f.BatchDone)


def test_a_stopped_batch_ends_after_the_disc_in_the_drive():
    def trouble(table, what):
        table.floor.stop = table.floor.stop or (isinstance(what, f.Command) and what.serial == "0002")

    assert Table(Floor(), [work(5)], trouble).run().piles["good"] == ["0001", "0002"]


def test_one_kind_of_drive_for_each_side():
    stations = (f.Station("D1", frozenset("A"), frozenset("A")), f.Station("D2", frozenset("B"), frozenset("B")))
    table = Table(Floor(), [f.BatchWork("B-0001", ("A", "B"), 4, f.Rules(), stations)]).run()
    assert sorted(table.piles["good"]) == ["0001", "0002", "0003", "0004"]


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_drives_work_beside_each_other(count):
    """The bound of the issue: 1.2 times the largest of hand time, the work shared by all drives, and the longest sum at one drive."""
    table = Table(Floor(), [work(20 * count, " ".join(f"D{number}" for number in range(count)))]).run()
    shared = (sum(table.busy.values())) / count
    bound = max(table.hand_time, shared, *table.busy.values())
    assert table.now <= 1.2 * bound, (table.now, bound)
