"""What is recorded of a disc, rule by rule: an evening at the table, told in short stories."""

import json
import os
import shutil
from pathlib import Path

import pytest
from bench import MARKER, Copy
from table import SLOT, Table, capture_of, one_side, said, serials, two_sides

from formats.containers import capture
from mastering.ledger.store import Ledger
from mastering.master.master import open_master

FIRST, SECOND, THIRD = serials(3)


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides())


@pytest.fixture
def two_drives(tmp_path) -> Table:
    return Table(tmp_path, two_sides(), lots=("L-07", "L-09"), drives=("D1", "D2"))


def stamped(table: Table, serial: str) -> bytes:
    """Side A's dump as it comes from the disc with this serial."""
    dump = table.master.sides["A"].dump
    return dump[:SLOT] + serial.ljust(len(MARKER)).encode() + dump[SLOT + len(MARKER) :]


def days(table: Table, side: str, story: str, disc: str = FIRST) -> list[str | None]:
    """The side's verdict after each read of a story; `|` stands for writing it again."""
    found, rewritten = [], ()
    for count, day in enumerate(story.split()):
        if day == "|":
            rewritten = ("--rewritten",)
            continue
        [line] = table.read(disc, side, day, *rewritten, tag=str(count)).discs
        found.append(line["sides"][side])
        rewritten = ()
    return found


# A side's verdict


@pytest.mark.parametrize(
    ("story", "verdicts"),
    [
        ("pass", ["pass"]),
        ("pass pass", ["pass", "pass"]),
        ("fail", ["fail"]),
        ("marginal", ["marginal"]),
        ("fail pass", ["fail", "marginal"]),
        ("fail pass pass", ["fail", "marginal", "pass"]),
        ("marginal pass pass", ["marginal", "marginal", "pass"]),
        ("pass fail pass pass", ["pass", "fail", "marginal", "pass"]),
        ("fail pass marginal pass pass", ["fail", "marginal", "marginal", "marginal", "pass"]),
        ("fail pass fail pass pass", ["fail", "marginal", "fail", "fail", "fail"]),
        ("marginal pass marginal pass pass", ["marginal"] * 4 + ["pass"]),
        ("fail fail | pass", ["fail", "fail", "pass"]),
        ("fail | pass", ["fail", "pass"]),
        ("pass | fail", ["pass", "fail"]),
        ("fail pass | marginal pass pass", ["fail", "marginal", "marginal", "marginal", "pass"]),
    ],
)
def test_the_newest_read_of_the_newest_writing_decides_and_a_doubt_needs_two_passes(table, story, verdicts):
    assert days(table, "A", story) == verdicts


@pytest.mark.parametrize("mistake", ["other-side", "short"])
def test_a_read_made_by_mistake_is_recorded_and_settles_nothing(table, mistake):
    answer = table.read(FIRST, "A", mistake, tag="first")
    assert answer.reads[0]["diagnosis"] == mistake
    assert answer.discs[0]["sides"]["A"] is None
    assert answer.status == 1
    assert days(table, "A", f"pass {mistake} pass") == ["pass"] * 3
    assert len(table.reads()) == 4


def test_a_mistake_between_does_not_break_the_two_passes_after_a_doubt(table):
    assert days(table, "A", "fail pass short pass") == ["fail", "marginal", "marginal", "pass"]


def test_a_blank_read_settles(table):
    assert days(table, "A", "blank") == ["fail"]


def test_a_mistake_as_the_first_read_of_a_new_writing_leaves_the_side_open(table):
    assert days(table, "A", "pass | short") == ["pass", None]


# A disc's verdict and action


def test_a_disc_is_open_until_both_sides_are_known(table):
    assert table.disc(FIRST) == {
        "batch": table.batch,
        "serial": FIRST,
        "verdict": "open",
        "action": "write",
        "rejected": False,
        "each_side": False,
        "sides": {"A": None, "B": None},
    }
    answer = table.read(FIRST, "A")
    assert (answer.status, answer.discs[0]["verdict"], answer.discs[0]["action"]) == (0, "open", "turn-over")
    answer = table.read(FIRST, "B")
    assert (answer.status, answer.discs[0]["verdict"], answer.discs[0]["action"]) == (0, "pass", "box")


def test_a_disc_in_doubt_is_never_boxed(table):
    table.read(FIRST, "A")
    answer = table.read(FIRST, "B", "marginal")
    assert (answer.status, answer.discs[0]["verdict"], answer.discs[0]["action"]) == (1, "marginal", "read-again")


def test_an_open_side_comes_before_a_doubt_and_a_bad_side_before_both(table):
    assert table.read(FIRST, "A", "marginal").discs[0]["verdict"] == "open"
    assert table.read(SECOND, "B", "fail").discs[0]["verdict"] == "fail"


def actions(table: Table, story: str, *words: object) -> list[str]:
    """What is to be done after each read of side A; `|` stands for writing it again, `@D` for reading it in a drive."""
    found, rewritten, reader = [], (), ()
    for count, day in enumerate(story.split()):
        if day == "|":
            rewritten = ("--rewritten",)
        elif day.startswith("@"):
            reader = ("--read", day[1:])
        else:
            found.append(table.read(FIRST, "A", day, *words, *rewritten, *reader, tag=str(count)).discs[0]["action"])
            rewritten = ()
    return found


def test_with_one_drive_two_failures_mean_writing_again_and_two_more_rejecting(table):
    assert actions(table, "fail fail | fail fail") == ["read-again", "write-again", "read-again", "reject"]


def test_failed_twice_means_writing_again_whichever_drive_reads(two_drives):
    words = ("--lot", "L-07", "--wrote", "D1")
    assert actions(two_drives, "fail @D2 fail", *words) == ["read-again", "write-again"]


def test_the_other_drive_counts_only_for_the_newest_writing(two_drives):
    words = ("--lot", "L-07", "--wrote", "D1")
    assert actions(two_drives, "fail @D2 fail | @D1 fail fail", *words) == ["read-again", "write-again", "read-again", "reject"]


def test_failures_that_are_struck_out_do_not_count_towards_rejecting(table):
    assert actions(table, "fail fail") == ["read-again", "write-again"]
    table.done("batch", "amend", table.batch, FIRST, "--read", 2, "--void", "--reason", "dust on the head")
    assert table.disc(FIRST)["action"] == "read-again"


def test_of_two_bad_sides_the_harder_action_counts(table):
    actions(table, "fail fail")
    assert table.read(FIRST, "B", "fail").discs[0]["action"] == "write-again"


# Reject by eye


def test_a_disc_rejected_by_eye_is_bad_whatever_its_reads_gave(table):
    table.read(FIRST, "A")
    table.read(FIRST, "B")
    [line] = table.done("batch", "reject", table.batch, FIRST, "--by-eye", "--reason", "scratched", "--json").json
    assert (line["verdict"], line["action"], line["sides"]) == ("fail", "reject", {"A": "pass", "B": "pass"})
    table.read(FIRST, "A", tag="2")
    assert table.disc(FIRST)["action"] == "reject"


def test_a_reject_asks_for_the_lot_where_nobody_knows_it(two_drives):
    words = ("batch", "reject", two_drives.batch, FIRST, "--by-eye", "--reason", "mould")
    assert "L-07, L-09" in two_drives.refused(*words)
    assert "L-08" in two_drives.refused(*words, "--lot", "L-08")
    two_drives.done(*words, "--lot", "L-09")
    assert two_drives.done("rates", "--by", "lot", "--json").json[0]["group"] == "L-09"


def test_a_disc_is_rejected_only_by_eye_in_so_many_words(table):
    assert "--by-eye" in table.refused("batch", "reject", table.batch, FIRST, "--reason", "scratched")


# Amend


def test_a_void_read_is_as_if_it_had_never_been_made(table):
    assert days(table, "A", "fail pass") == ["fail", "marginal"]
    table.done("batch", "amend", table.batch, FIRST, "--read", 1, "--void", "--reason", "the wrong disc was in the drive")
    assert table.disc(FIRST)["sides"]["A"] == "pass"
    table.done("batch", "amend", table.batch, FIRST, "--read", 2, "--void", "--reason", "and so it was here")
    assert table.disc(FIRST)["sides"]["A"] is None
    assert [row["kind"] for row in table.rows()][-4:] == ["read", "read", "amend", "amend"]


def test_an_amended_lot_takes_the_disc_to_the_other_lots_rates(two_drives):
    for count in range(4):
        rewritten = ("--rewritten",) if count == 2 else ()
        two_drives.read(FIRST, "A", "fail", "--lot", "L-07", "--wrote", "D1", *rewritten, tag=str(count))
    two_drives.done("batch", "amend", two_drives.batch, FIRST, "--lot", "L-09", "--reason", "boxes mixed up")
    assert [line["group"] for line in two_drives.done("rates", "--by", "lot", "--json").json] == ["L-09"]
    assert "L-09" in two_drives.read(FIRST, "A", "pass", "--lot", "L-07", tag="9").errors[0]


def test_an_amended_drive_is_that_of_each_sides_newest_writing(two_drives):
    for side in "AB":
        two_drives.read(FIRST, side, "fail", "--lot", "L-07", "--wrote", "D1")
    two_drives.read(FIRST, "A", "fail", "--rewritten", "--wrote", "D1", tag="2")
    two_drives.done("batch", "amend", two_drives.batch, FIRST, "--wrote", "D2", "--reason", "cables were swapped")
    rates = two_drives.done("rates", "--by", "drive", "--json").json
    assert [(line["group"], line["discs"], line["rescues"]) for line in rates] == [("D1", 1, 0), ("D2", 1, 1)]
    story = two_drives.done("batch", "show", two_drives.batch, FIRST).out
    assert ["by D1" in line.partition("read by")[0] for line in story[2:-1]] == [True, False, False]


def test_an_amended_drive_with_a_read_is_that_of_the_writing_that_was_read(two_drives):
    two_drives.read(FIRST, "A", "fail", "--lot", "L-07", "--wrote", "D1")
    two_drives.read(FIRST, "B", "fail", "--wrote", "D1")
    two_drives.done("batch", "amend", two_drives.batch, FIRST, "--wrote", "D2", "--read", 2, "--reason", "side B was done next door")
    rates = two_drives.done("rates", "--by", "drive", "--json").json
    assert [(line["group"], line["discs"]) for line in rates] == [("D1", 1), ("D2", 1)]


def test_what_an_amendment_can_not_be(two_drives):
    words = ("batch", "amend", two_drives.batch, FIRST, "--reason", "-")
    assert "nothing to correct" in two_drives.refused(*words)
    assert "its reads: none" in two_drives.refused(*words, "--read", 1, "--void")
    assert "no writing" in two_drives.refused(*words, "--wrote", "D1")
    two_drives.read(FIRST, "A", "fail", "--lot", "L-07", "--wrote", "D1")
    assert "its reads: 1" in two_drives.refused(*words, "--read", 7, "--void")
    assert "--read" in two_drives.refused(*words, "--void")
    assert "D9" in two_drives.refused(*words, "--wrote", "D9")


# Lots and drives


def test_the_only_lot_and_drive_of_a_batch_need_not_be_said(table):
    [line] = table.read(FIRST, "A").reads
    assert (line["lot"], line["wrote"], line["read_by"]) == ("L-07", "D1", "D1")


def test_of_several_lots_and_drives_the_right_one_must_be_said_once(two_drives):
    [told] = two_drives.read(FIRST, "A").errors
    assert "--lot" in told
    assert "--wrote" in told
    assert "--wrote" in two_drives.read(FIRST, "A", "pass", "--lot", "L-09").errors[0]
    assert "--lot" in two_drives.read(FIRST, "A", "pass", "--wrote", "D2").errors[0]
    assert two_drives.reads() == []
    [line] = two_drives.read(FIRST, "A", "pass", "--lot", "L-09", "--wrote", "D2").reads
    assert (line["lot"], line["wrote"], line["read_by"]) == ("L-09", "D2", "D2")
    [line] = two_drives.read(FIRST, "A", "pass", "--read", "D1", tag="2").reads
    assert (line["lot"], line["wrote"], line["read_by"]) == ("L-09", "D2", "D1")


def test_a_side_has_one_drive_until_it_is_written_again(two_drives):
    words = ("--lot", "L-07", "--wrote", "D1")
    two_drives.read(FIRST, "A", "fail", *words)
    assert "--rewritten" in two_drives.read(FIRST, "A", "fail", "--wrote", "D2", tag="2").errors[0]
    [line] = two_drives.read(FIRST, "A", "pass", "--wrote", "D2", "--rewritten", tag="2").reads
    assert (line["writing"], line["wrote"]) == (2, "D2")


def test_a_disc_read_in_a_drive_of_another_batch_is_fine_and_in_an_unknown_one_not(table):
    table.done("drive", "add", "D5", "--tpi", 48, "--heads", 2)
    assert table.read(FIRST, "A", "pass", "--read", "D5").reads[0]["read_by"] == "D5"
    assert "D5" in table.refused("batch", "record", table.batch, "x", "--wrote", "D5")
    assert "did you mean D5?" in table.refused("batch", "record", table.batch, "x", "--read", "D55")


# Writings


def test_rewritten_begins_one_new_writing_for_each_disc_and_side_of_the_command(table):
    for side in "AB":
        table.read(FIRST, side, "fail")
    files = [table.file(f"{FIRST}-{side}-{count}.dump", table.on_a_day(side, "pass")[0]) for side in "AB" for count in (2, 3)]
    files.append(table.file(f"{SECOND}-A.dump", table.on_a_day("A", "pass")[0]))
    lines = table.record(*files, "--rewritten").reads
    assert [(line["serial"], line["side"], line["writing"]) for line in lines] == [
        (FIRST, "A", 2), (FIRST, "A", 2), (FIRST, "B", 2), (FIRST, "B", 2), (SECOND, "A", 1)
    ]  # fmt: skip
    assert table.disc(FIRST)["verdict"] == "pass"


def test_rewriting_one_side_leaves_the_other_as_it_was(table):
    for side in "AB":
        table.read(FIRST, side, "fail")
    assert table.read(FIRST, "A", "pass", "--rewritten", tag="2").discs[0]["sides"] == {"A": "pass", "B": "fail"}


# Which disc and side a file is of


def test_a_files_name_says_disc_and_side(table):
    [line] = table.read(FIRST, "B", tag="second try, other drive").reads
    assert (line["serial"], line["side"], line["on_disc"]) == (FIRST, "B", None)


def test_disc_and_side_speak_for_a_file_named_otherwise(table):
    file = table.file("holiday.bin", table.on_a_day("B", "pass")[0])
    [told] = table.record(file).errors
    assert "SERIAL-SIDE.SUFFIX" in told
    assert f"{FIRST}-A.dump" in told
    [line] = table.record(file, "--disc", FIRST, "--side", "B").reads
    assert (line["serial"], line["side"]) == (FIRST, "B")


def test_a_files_name_may_be_in_no_encoding_at_all(table):
    file = table.file(os.fsdecode(b"\xe9t\xe9.bin"), table.on_a_day("B", "pass")[0])
    for again in (None, True):
        [line] = table.record(file, "--disc", FIRST, "--side", "B").reads
        assert (line["verdict"], line.get("again")) == ("pass", again)
    assert "pass" in table.done("batch", "show", table.batch, FIRST).out[-1]
    assert table.sound()


def test_without_a_side_it_is_told_from_the_bytes(table):
    [line] = table.record(table.file("holiday.bin", table.on_a_day("B", "pass")[0]), "--disc", FIRST).reads
    assert line["side"] == "B"


def test_a_capture_on_which_nothing_is_recorded_has_no_side_and_settles_nothing(table):
    copy = Copy(table.master, "A")
    for cells in copy.cells.values():
        cells[:] = 0
    [line] = table.record(table.file("it.capture", capture.write(copy.capture())), "--disc", FIRST).reads
    assert (line["side"], line["writing"], line["sectors"], line["diagnosis"]) == (None, None, None, "blank")
    assert table.disc(FIRST)["verdict"] == "open"


@pytest.mark.parametrize(
    ("words", "told"), [(("--disc", SECOND), SECOND), (("--side", "B"), "side A"), (("--disc", FIRST, "--side", "B"), "side A")]
)
def test_a_name_and_what_is_said_may_not_contradict_each_other(table, words, told):
    answer = table.read(FIRST, "A", "pass", *words)
    assert answer.status == 2
    assert told in answer.errors[0]
    assert table.reads() == []


def test_saying_what_the_name_says_is_fine(table):
    assert table.read(FIRST, "A", "pass", "--disc", FIRST, "--side", "A").status == 0


def test_a_side_that_the_master_lacks(tmp_path):
    table = Table(tmp_path, one_side())
    file = table.file(f"{FIRST}-B.dump", table.master.sides["A"].dump)
    assert "side A" in table.record(file).errors[0]
    assert "side A" in table.refused("batch", "record", table.batch, file, "--side", "B")


def test_a_job_with_one_side_needs_no_side(tmp_path):
    table = Table(tmp_path, one_side())
    answer = table.record(table.file("it.bin", table.master.sides["A"].dump), "--disc", FIRST)
    assert answer.discs[0] == {"batch": table.batch, "serial": FIRST, "verdict": "pass", "action": "box",
        "rejected": False, "each_side": False, "sides": {"A": "pass"},
    }  # fmt: skip


def test_what_is_refused_in_the_middle_of_its_row_holds_up_nothing_behind_it(table):
    data = capture_of(table.master, "B")
    files = [table.file(f"{serial}-B.capture", data) for serial in (FIRST, SECOND)]
    answer = table.record(*files, table.file(f"{THIRD}-B.dump", table.on_a_day("B", "pass")[0]))
    assert [line["serial"] for line in answer.reads] == [FIRST, THIRD]
    assert len(answer.errors) == 1


@pytest.mark.parametrize("name", ["notes.txt", f"{FIRST}-a.dump", f"{FIRST.lower()}-A.dump", f"{FIRST}.dump"])
def test_in_a_folder_another_name_is_an_error_whatever_disc_and_side_are_said(table, name):
    copies = table.folder / "copies"
    copies.mkdir()
    (copies / name).write_bytes(table.on_a_day("A", "pass")[0])
    (copies / f"{FIRST}-A-good.dump").write_bytes(table.on_a_day("A", "pass")[0])
    answer = table.record(copies, "--disc", FIRST, "--side", "A")
    assert answer.status == 2
    assert [line["readback"] for line in answer.reads] == [str(copies / f"{FIRST}-A-good.dump")]
    [error] = answer.errors
    assert error.startswith(f"{copies / name}: ") and "name the file itself with --disc and --side" in error
    assert table.record(copies / name, "--disc", FIRST, "--side", "A").status == 0


def test_a_name_that_says_nothing_and_names_nothing_is_told_as_no_file(table):
    for words in ((), ("--disc", FIRST, "--side", "A")):
        assert table.record("nosuch", *words).errors == ["nosuch: no such file"]


def test_in_a_folder_another_name_is_an_error_and_the_rest_goes_on(table):
    copies = table.folder / "copies"
    copies.mkdir()
    for name in (f"{FIRST}-A.dump", "notes.txt", f"{SECOND}-A.dump"):
        (copies / name).write_bytes(table.on_a_day("A", "pass")[0])
    answer = table.record(copies)
    assert answer.status == 2
    assert [line["serial"] for line in answer.reads] == [FIRST, SECOND]
    assert "notes.txt" in answer.errors[0]
    assert len(answer.discs) == 2


# Which serial


def test_a_mistyped_serial_is_caught_and_the_nearest_known_one_offered(table):
    mistyped = FIRST[:-1] + ("Q" if FIRST[-1] != "Q" else "R")
    file = table.file(f"{mistyped}-A.dump", table.on_a_day("A", "pass")[0])
    [told] = table.record(file).errors
    assert "mistyped" in told
    assert f"did you mean {FIRST}?" in told
    assert f"did you mean {FIRST}?" in table.refused("batch", "reject", table.batch, mistyped, "--by-eye", "--reason", "-")
    swapped = FIRST.replace("0001", "0010")
    assert "mistyped" in table.refused("batch", "show", table.batch, swapped)


def test_a_number_alone_names_the_disc_in_its_batch(table):
    for text in ("3", "0003"):
        assert table.done("batch", "show", table.batch, text, "--json").json[0]["serial"] == THIRD
    file = table.file("it.bin", table.on_a_day("B", "pass")[0])
    assert table.record(file, "--disc", "3", "--side", "B").reads[0]["serial"] == THIRD
    assert table.done("batch", "reject", table.batch, "3", "--by-eye", "--reason", "mould", "--json").json[0]["serial"] == THIRD
    assert "not handed out" in table.refused("batch", "show", table.batch, "99")


def test_a_serial_of_another_title_is_named_as_one(table):
    other = serials(1, "SM-009")[0]
    [told] = table.record(table.file(f"{other}-A.dump", table.on_a_day("A", "pass")[0])).errors
    assert "SM-009" in told
    assert "SM-004" in told


def test_a_serial_that_was_not_handed_out(table):
    [told] = table.record(table.file(f"{serials(9)[-1]}-A.dump", table.on_a_day("A", "pass")[0])).errors
    assert "not handed out" in told


def test_a_disc_of_another_batch_is_refused_with_that_batchs_name(table):
    other = table.open(table.master)
    [serial] = table.hand_out(1, other)
    [told] = table.record(table.file(f"{serial}-A.dump", table.on_a_day("A", "pass")[0])).errors
    assert other in told


def typed_wrong(serial: str, at: int, to: str) -> str:
    return serial[:at] + to + serial[at + 1 :]


@pytest.mark.parametrize("wrong", [
    typed_wrong(FIRST, -1, "Q"), typed_wrong(FIRST, 3, "5"), typed_wrong(FIRST, 7, "4"), f"{FIRST[:9]}10-{FIRST[-1]}", f"SM-005-0001-{FIRST[-1]}",
])  # fmt: skip
def test_a_guess_shares_the_number_or_is_one_slip_away(table, wrong):
    assert table.refused("batch", "show", table.batch, wrong).endswith(f"; did you mean {FIRST}?")


@pytest.mark.parametrize("wrong", ["SM-004-0099-X", "SM-004-0100-Q", "SM-004-0511-X", "lamplighter", ""])
def test_no_guess_is_better_than_a_wrong_one(tmp_path, wrong):
    table = Table(tmp_path, two_sides(), discs=50)
    assert "did you mean" not in table.refused("batch", "show", table.batch, wrong)


def test_each_error_names_its_file(two_drives):
    data = two_drives.on_a_day("B", "pass")[0]
    strange = [f"{serials(9)[-1]}-B.dump", f"{FIRST[:-1]}Q-B.dump", f"{FIRST}-B.dump"]
    for name in strange:
        [error] = two_drives.record(two_drives.file(name, data)).errors
        assert error.startswith(f"{two_drives.folder / name}: {name[:13]}: ")


@pytest.mark.parametrize(("words", "told"), [
    ((), "B-0001 has several lots and drives; say with --lot (L-07, L-09) and --wrote (D1, D2) which it was"),
    (("--wrote", "D1"), "B-0001 has several lots; say with --lot (L-07, L-09) which it was"),
    (("--lot", "L-07"), "B-0001 has several drives; say with --wrote (D1, D2) which it was"),
])  # fmt: skip
def test_what_a_batch_has_several_of_is_named(two_drives, words, told):
    assert two_drives.read(FIRST, "B", "pass", *words).errors[0].endswith(told)


# The serial that is on the disc


def test_the_serial_on_the_disc_is_told(table):
    [line] = table.record(table.file(f"{FIRST}-A.dump", stamped(table, FIRST))).reads
    assert (line["serial"], line["on_disc"], line["verdict"]) == (FIRST, FIRST, "pass")


def test_a_disc_with_another_discs_serial_is_refused(table):
    [told] = table.record(table.file(f"{FIRST}-A.dump", stamped(table, SECOND))).errors
    assert SECOND in told
    assert FIRST in told
    assert table.reads() == []


def test_what_is_no_serial_is_kept_in_the_row_and_said_in_words(table):
    path = table.file(f"{FIRST}-A.dump", stamped(table, "SM-004-0001-A"))
    [line] = table.record(path).reads
    assert (line["verdict"], line["on_disc"], line["slot"]) == ("fail", None, ["SM-004-0001-A       "])
    [again] = table.record(path).reads
    assert again == line | {"again": True}
    assert table.reads()[0]["slot"] == line["slot"]
    told = table.said("batch", "record", table.batch, table.file(f"{FIRST}-A-2.dump", stamped(table, "SM-004-0001-A"))).out
    assert told[0].endswith("1 of 560 sectors is recorded, but not as the master's")
    assert told[1].endswith(
        "no serial of this title in its place: it holds SM-004-0001-A: mistyped: its last character does not fit the others"
    )


def test_the_masters_marker_is_a_finding_unless_the_batch_is_unserialled(table, tmp_path):
    """What was written from the master itself, not from a stamped image, could be any disc's."""
    strict = Table.__new__(Table)
    strict.__dict__ |= table.__dict__
    strict.batch = table.done("batch", "open", table.master.path, "--good", 1, "--lot", "L-07", "--drive", "D1", "--json").json[0]["batch"]
    [serial] = strict.hand_out(1)
    marker = table.file(f"{serial}-A.dump", table.master.sides["A"].dump)
    [line] = strict.record(marker).reads
    slot = table.master.sides["A"].slot
    assert (line["verdict"], line["action"], line["on_disc"]) == ("fail", "write-again", None)
    assert line["findings"] == [{"track": slot.track, "head": slot.head, "sector": slot.sector, "kind": "serial"}]
    assert line["sectors"]["good"] == line["sectors"]["expected"] - 1
    right = table.file(f"{serial}-A-2.dump", stamped(table, serial))
    assert strict.record(right).reads[0]["verdict"] == "pass"
    assert table.record(table.file(f"{FIRST}-A.dump", table.master.sides["A"].dump)).reads[0]["verdict"] == "pass"
    assert said("verify", table.master.path, marker).out[0].endswith("It carries the master's marker, no serial.")


def test_a_row_whose_slot_holds_no_texts_is_none(table):
    table.record(table.file(f"{FIRST}-A.dump", stamped(table, "SM-004-0001-A")))
    rows = [row | {"slot": [7]} if row["kind"] == "read" else row for row in table.rows()]
    (table.folder / "rows.jsonl").write_text("".join(f"{json.dumps(row)}\n" for row in rows))
    Ledger.open(table.folder / "other.sqlite", create=True).__exit__()
    answer = said("ledger", "import", table.folder / "rows.jsonl", "--ledger", table.folder / "other.sqlite")
    assert answer.status == 2 and "slot is [7], where a list of texts was expected" in answer.err[0]


# Files recorded before


def test_the_same_file_twice_is_no_new_read(table):
    first = table.read(FIRST, "A", "fail")
    second = table.read(FIRST, "A", "fail")
    assert second.reads[0] == first.reads[0] | {"again": True}
    assert second.discs == first.discs
    assert len(table.reads()) == 1


def test_the_same_bytes_of_a_dump_under_another_name_are_another_read(table):
    table.read(FIRST, "A", "fail")
    assert table.read(FIRST, "A", "fail", tag="2").reads[0]["read"] == 2


def test_the_same_name_with_other_bytes_is_another_read(table):
    table.read(FIRST, "A", "fail")
    assert table.read(FIRST, "A").reads[0]["read"] == 2


def test_a_report_belongs_to_its_dumps_bytes(table):
    table.read(FIRST, "A")
    assert table.read(FIRST, "A", "marginal").reads[0]["read"] == 2
    assert table.read(FIRST, "A", "marginal").reads[0]["again"] is True


def test_a_capture_is_known_by_its_bytes_whatever_its_name(table):
    data = capture_of(table.master, "B")
    table.record(table.file(f"{FIRST}-B.capture", data))
    answer = table.record(table.file(f"{FIRST}-B-again.capture", data), "--rewritten")
    assert answer.reads[0]["again"] is True
    assert answer.reads[0]["writing"] == 1
    assert len(table.reads()) == 1
    assert table.record(table.file(f"{FIRST}-B-third.capture", capture_of(table.master, "B", "later"))).reads[0]["read"] == 2


def test_two_discs_can_not_have_one_capture(table):
    data = capture_of(table.master, "B")
    table.record(table.file(f"{FIRST}-B.capture", data))
    [told] = table.record(table.file(f"{SECOND}-B.capture", data)).errors
    assert FIRST in told
    assert SECOND in told
    assert len(table.reads()) == 1


def test_a_capture_under_the_wrong_name_can_be_recorded_for_the_right_disc_once_it_is_void(table):
    data = capture_of(table.master, "B")
    table.record(table.file(f"{FIRST}-B.capture", data))
    table.done("batch", "amend", table.batch, FIRST, "--read", 1, "--void", "--reason", "it was the next disc")
    [line] = table.record(table.file(f"{SECOND}-B.capture", data)).reads
    assert (line["serial"], line["verdict"]) == (SECOND, "pass")


def test_two_discs_may_well_have_the_same_dump(table):
    table.read(FIRST, "B")
    assert table.read(SECOND, "B").status == 0


# The master


def test_a_disc_of_another_master_is_named_when_that_one_is_at_hand(table):
    older = two_sides("1.1", 50)
    file = table.file(f"{FIRST}-B.dump", older.sides["B"].dump)
    shelf = table.folder / "shelf"
    shutil.copytree(older.path, shelf / "lamplighter-1.1")
    [line] = table.record(file, "--masters", shelf).reads
    assert (line["diagnosis"], line["matches"], line["action"]) == ("other-master", ["Lamplighter 1.1 B"], "ask")
    assert table.disc(FIRST)["verdict"] == "open"


def test_the_ledgers_own_masters_are_at_hand(table):
    older = two_sides("1.1", 50)
    table.open(older)
    [line] = table.record(table.file(f"{FIRST}-B.dump", older.sides["B"].dump)).reads
    assert (line["diagnosis"], line["matches"]) == ("other-master", ["Lamplighter 1.1 B"])


def moved(tmp_path) -> tuple[Table, Path]:
    """A table whose master was moved to the folder `attic` after its batch was opened; and a good file."""
    (tmp_path / "desk").mkdir()
    shutil.copytree(two_sides().path, tmp_path / "desk" / "lamplighter")
    table = Table(tmp_path, open_master(tmp_path / "desk" / "lamplighter"))
    file = table.file(f"{FIRST}-B.dump", table.on_a_day("B", "pass")[0])
    (tmp_path / "desk").rename(tmp_path / "attic")
    return table, file


def test_a_moved_master_is_missed_with_its_digest_and_found_with_masters(tmp_path):
    table, file = moved(tmp_path)
    assert table.master.digest in table.refused("batch", "record", table.batch, file)
    assert table.record(file, "--masters", tmp_path / "attic").status == 0


def test_a_moved_master_is_found_where_the_shop_keeps_its_masters(tmp_path):
    table, file = moved(tmp_path)
    (tmp_path / "shop.toml").write_text('masters = "attic"\n')
    assert table.record(file).status == 0


def test_a_master_that_was_changed_on_disk_is_not_the_batchs(tmp_path):
    table, file = moved(tmp_path)
    (tmp_path / "attic").rename(tmp_path / "desk")
    dump = tmp_path / "desk" / "lamplighter" / "data" / "side-B.dump"
    dump.chmod(0o644)
    dump.write_bytes(bytes(512) + dump.read_bytes()[512:])
    assert "side-B.dump" in table.refused("batch", "record", table.batch, file)


def test_another_master_where_the_batchs_was_is_not_taken_for_it(tmp_path):
    table, file = moved(tmp_path)
    shutil.copytree(two_sides("1.1", 50).path, tmp_path / "desk" / "lamplighter")
    assert table.master.digest in table.refused("batch", "record", table.batch, file)


# Closed


def test_a_closed_batch_takes_no_records_and_no_serials_but_corrections(table):
    table.read(FIRST, "A")
    table.done("batch", "close", table.batch)
    files = [table.file(f"{serial}-A.dump", table.on_a_day("A", "pass")[0]) for serial in (SECOND, THIRD)]
    for words in (("record", table.batch, *files), ("serials", table.batch), ("close", table.batch)):
        assert "closed" in table.refused("batch", *words)
    table.done("batch", "amend", table.batch, FIRST, "--read", 1, "--void", "--reason", "seen later")
    table.done("batch", "reject", table.batch, SECOND, "--by-eye", "--reason", "seen later")
    assert table.sound()
