"""The commands over batches: what they say to the helper at the table, and to programs."""

import re

import pytest
from bench import Copy, make_master, random_dump
from table import Table, clock, one_side, said, serials, two_sides

from formats import registry
from formats.containers import capture
from mastering.ledger.store import Ledger
from mastering.master.serial import is_serial

FIRST, SECOND, THIRD, FOURTH = serials(4)


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides())


# Open


def test_a_batch_has_the_next_name_and_its_masters_digest(table):
    answer = table.done("batch", "open", table.master.path, "--good", 5, *table.bench, "--operator", "AN", "--json")
    assert answer.json == [{"batch": "B-0002", "digest": table.master.digest}]
    row = table.rows()[-1]
    assert (row["kind"], row["operator"], row["good"], row["lots"], row["drives"]) == ("batch", "AN", 5, ["L-07"], ["D1"])


def test_the_same_revision_with_another_content_is_refused(table):
    said = table.refused("batch", "open", two_sides("1.2", 50).path, "--good", 5, *table.bench)
    assert "new revision" in said
    assert table.master.digest[:16] in said
    assert table.open(two_sides("1.3", 50)) == "B-0002"
    assert table.open(two_sides()) == "B-0003"


@pytest.mark.parametrize(("words", "told"), [
    (("--lot", "L-70", "--drive", "D1"), "did you mean L-07?"),
    (("--lot", "L-07", "--drive", "D2"), "did you mean D1?"),
    (("--lot", "L-07", "--lot", "L-07", "--drive", "D1"), "once"),
    (("--lot", "L-07", "--lot", "HD", "--drive", "D1"), "HD"),
])  # fmt: skip
def test_a_batch_needs_lots_and_drives_that_there_are(table, words, told):
    assert told in table.refused("batch", "open", table.master.path, "--good", 5, *words)


def test_blanks_that_can_not_be_enough_are_told(table):
    """Three of the lot's four blanks are left: one disc of it was read."""
    table.done("lot", "add", "L-30", "--count", 4)
    assert table.done("batch", "open", table.master.path, *table.bench, "--good", 1).err == [
        "obverse: side B of Lamplighter 1.2: no place for a serial, so two discs' sides can't be told apart: "
        "keep finished discs and blanks in separate piles"
    ]
    opening = ("batch", "open", table.master.path, "--lot", "L-30", "--drive", "D1", "--good")
    [batch] = table.done(*opening, 4, "--json").json
    assert len(table.said(*opening, 3).err) == 1
    disc = table.hand_out(1, batch["batch"])[0]
    table.said("batch", "reject", batch["batch"], disc, "--by-eye", "--reason", "mould")
    answer = table.done(*opening, 4)
    assert answer.err[0] == (
        "obverse: lot L-30: 3 blanks left of 4, where 4 good discs are wanted; `obverse need --good 4` says how many to load"
    )
    assert len(table.done("batch", "open", table.master.path, "--lot", "L-30", "--lot", "L-07", "--drive", "D1", "--good", 40).err) == 1


def test_no_lot_at_all_is_told_with_the_command_that_makes_one(tmp_path):
    ledger = ("--ledger", tmp_path / "ledger.sqlite")
    Ledger.open(tmp_path / "ledger.sqlite", create=True).__exit__()
    said("drive", "add", "D1", "--tpi", 48, "--heads", 1, *ledger)
    answer = said("batch", "open", two_sides().path, "--good", 1, "--lot", "L-07", "--drive", "D1", *ledger)
    assert answer.status == 2
    assert "lot add" in answer.err[0]


@pytest.mark.parametrize("words", [
    ("show", "B-0010"), ("serials", "B-0010"), ("close", "B-0010"), ("record", "B-0010", "x.dump"),
    ("reject", "B-0010", FIRST, "--by-eye", "--reason", "-"), ("amend", "B-0010", FIRST, "--lot", "L-07", "--reason", "-"),
])  # fmt: skip
def test_an_unknown_batch_is_told_with_the_nearest_one(table, words):
    assert "batch B-0010: not known; did you mean B-0001?" in table.refused("batch", *words)


# Serials


def test_serials_count_on_and_are_never_used_again(table):
    assert table.serials == serials(4)
    other = table.open(two_sides())
    assert table.hand_out(2, other) == serials(6)[4:]
    assert table.hand_out(1) == serials(7)[6:]
    assert all(is_serial(serial, "SM-004") for serial in table.serials)
    assert table.done("batch", "serials", table.batch, "--json").json == [{"serial": serials(8)[7]}]


def test_each_title_counts_its_own(table):
    assert table.hand_out(1, table.open(one_side("SM-009", name="Undertow"))) == serials(1, "SM-009")


@pytest.mark.parametrize("count", ["0", "-1", "10001", "x"])
def test_a_count_that_is_none(table, count):
    assert "--count" in table.refused("batch", "serials", table.batch, "--count", count)


# Record


def test_a_line_a_disc_that_a_helper_can_act_on(table):
    copies = table.folder / "copies"
    copies.mkdir()
    for serial, side, day in ((FIRST, "A", "pass"), (FIRST, "B", "pass"), (SECOND, "A", "pass"), (THIRD, "A", "fail")):
        (copies / f"{serial}-{side}.dump").write_bytes(table.on_a_day(side, day)[0])
    answer = table.said("batch", "record", table.batch, copies)
    assert answer.status == 1
    assert answer.out[-4:] == [
        f"{FIRST}  pass        box it",
        f"{SECOND}  unfinished  put it in label down: side B is still to be read",
        f"{THIRD}  fail        read side A again, label up",
        "batch B-0001: 1 good of 2 wanted",
    ]
    assert any(line.startswith(f"{THIRD}-A.dump: 1 of 560 sectors") for line in answer.out)


def test_what_to_do_names_the_side_and_the_drive(tmp_path):
    table = Table(tmp_path, two_sides(), drives=("D1", "D2"))
    table.read(FIRST, "B", "fail", "--wrote", "D1", tag="1")
    assert table.done("batch", "show", table.batch, FIRST).out[0] == f"{FIRST}  fail        read side B again in D2, label down"
    table.read(FIRST, "B", "fail", tag="2")
    assert table.done("batch", "show", table.batch, FIRST).out[0] == f"{FIRST}  fail        write side B again in D2, label down"


def test_each_side_that_needs_it_is_named_with_the_drives_that_have_not_read_it(tmp_path):
    table = Table(tmp_path, two_sides(), drives=("D1", "D2"))
    for side, drive in (("A", "D1"), ("B", "D2")):
        table.read(FIRST, side, "fail", "--wrote", "D1", "--read", drive)
    told = table.done("batch", "show", table.batch, FIRST).out[0]
    assert told == f"{FIRST}  fail        read side A again in D2, label up; then side B in D1, label down"


def test_of_two_bad_sides_only_those_that_need_it_are_written_again(table):
    for side, tag in (("A", "1"), ("A", "2"), ("B", "1")):
        table.read(FIRST, side, "fail", tag=tag)
    assert table.done("batch", "show", table.batch, FIRST).out[0] == f"{FIRST}  fail        write side A again, label up"


def test_a_blank_is_told_as_what_was_found_so_that_one_line_says_what_to_do(table):
    answer = table.said("batch", "record", table.batch, table.file(f"{FIRST}-B.dump", *table.on_a_day("B", "blank")))
    assert answer.out[:-1] == [
        f"{FIRST}-B.dump: nothing is recorded on it, or its reader met nothing",
        f"{FIRST}  fail        read side B again, label down",
    ]


def test_what_was_written_wrong_is_told_as_found_so_that_one_line_says_what_to_do(table):
    wrong = Copy(table.master, "B", dump=table.on_a_day("B", "fail")[0]).capture()
    answer = table.said("batch", "record", table.batch, table.file(f"{FIRST}-B.capture", capture.write(wrong)))
    assert answer.out[0] == f"{FIRST}-B.capture: 1 of 360 sectors is recorded, but not as the master's"
    assert answer.out[-2] == f"{FIRST}  fail        read side B again, label down"


@pytest.mark.parametrize(("day", "found"), [
    ("other-side", "it was the wrong way up: this is Lamplighter 1.2 A, so this read does not count"),
    ("short", "the reading ended early, so this read does not count"),
])  # fmt: skip
def test_a_good_disc_that_was_put_in_wrong_is_boxed_all_the_same(table, day, found):
    for side in "AB":
        table.read(FIRST, side)
    answer = table.said("batch", "record", table.batch, table.file(f"{FIRST}-B-2.dump", *table.on_a_day("B", day)))
    assert (answer.status, answer.out[:-1]) == (1, [f"{FIRST}-B-2.dump: {found}", f"{FIRST}  pass        box it"])


def test_another_titles_disc_is_told_as_one_to_put_aside(table):
    stranger = one_side("SM-009", name="Undertow")
    table.open(stranger)
    answer = table.said("batch", "record", table.batch, table.file(f"{FIRST}-B.dump", stranger.sides["A"].dump))
    assert answer.out[0] == f"{FIRST}-B.dump: it carries Undertow 1.0 A: put this one aside and ask where it came from"


def test_sectors_that_a_filler_could_have_made_are_told(tmp_path):
    geometry = registry.geometry("mfm-40x9x512")
    dump = random_dump(geometry, 3)[: -2 * geometry.size] + bytes(2 * geometry.size)
    table = Table(tmp_path, make_master({"A": (geometry.id, dump)}, catalogue="SM-004"))
    answer = table.said("batch", "record", table.batch, table.file(f"{FIRST}-A.dump", dump))
    assert answer.out[:-1] == [
        f"{FIRST}-A.dump: 2 sectors would look the same filled in by the reader",
        f"{FIRST}  pass        box it",
    ]


def test_a_side_in_doubt_is_told_beside_the_one_still_to_be_read(table):
    table.read(FIRST, "A", "marginal")
    assert table.done("batch", "show", table.batch, FIRST).out[0] == (
        f"{FIRST}  unfinished  put it in label down: side B is still to be read; side A is in doubt, read it again"
    )


def test_a_files_name_stays_on_one_line_and_gives_the_terminal_no_commands(table):
    copies = table.folder / "copies"
    copies.mkdir()
    for name in ("a\x1b[31m\nb.dump", f"{FIRST}-A-\x1b[2J.dump"):
        (copies / name).write_bytes(table.on_a_day("A", "fail")[0])
    for words in (("batch", "record", table.batch, copies), ("batch", "show", "B-\x1b[31m")):
        answer = table.said(*words)
        assert answer.status == 2
        assert len(answer.err) == 1
        assert "\x1b" not in "".join(answer.out + answer.err)
    answer = said("verify", table.master.path, copies / "none\x1b\n.dump")
    assert [line[:5] for line in answer.err] == ["error", "1 rea"]


def test_a_read_line_is_the_verify_line_and_more(table):
    [line] = table.read(FIRST, "A", "fail").reads
    [judged] = said("verify", table.master.path, table.folder / f"{FIRST}-A.dump", "--side", "A", "--json").json
    more = {"serial": FIRST, "on_disc": None, "batch": "B-0001", "read": 1, "writing": 1, "lot": "L-07", "wrote": "D1", "read_by": "D1"}
    more |= {"inner": None, "operator": None, "report_sha256": None}
    assert {key: value for key, value in line.items() if key not in ("at", "file_sha256")} == judged | more


@pytest.mark.parametrize(("days", "status"), [
    ("pass", 0), ("marginal", 1), ("fail", 1), ("short", 1), ("pass+nonsense", 2), ("fail+nonsense", 2),
])  # fmt: skip
def test_exit_status_is_the_worst_of_reads_discs_and_errors(table, days, status):
    files = [table.file("nonsense.dump", b"")] if days.endswith("+nonsense") else []
    files.append(table.file(f"{FIRST}-A.dump", *table.on_a_day("A", days.partition("+")[0])))
    assert table.record(*files).status == status


def test_a_passing_read_of_a_disc_that_was_bad_ends_with_1(table):
    table.read(FIRST, "B", "fail")
    assert table.read(FIRST, "A", "pass").status == 1


def test_an_empty_folder_is_nothing_to_record(table):
    (table.folder / "copies").mkdir()
    answer = table.said("batch", "record", table.batch, table.folder / "copies")
    assert (answer.status, answer.out, answer.err) == (2, [], ["no read-back was found"])


def test_a_file_that_is_not_there_is_an_error_line_and_the_rest_goes_on(table):
    answer = table.record(table.folder / f"{SECOND}-A.dump", table.file(f"{FIRST}-A.dump", table.on_a_day("A", "pass")[0]))
    assert answer.status == 2
    assert [line["serial"] for line in answer.reads] == [FIRST]
    assert f"{SECOND}-A.dump" in answer.errors[0]


@pytest.mark.parametrize("data", [b"", b"x" * 1000, bytes.fromhex("8A 4F 42 56 0D 0A 1A 0A"), b"x" * 200_000])
def test_a_file_that_is_no_read_back_leaves_no_row(table, data):
    answer = table.record(table.file(f"{FIRST}-A.dump", data))
    assert (answer.status, len(answer.errors), table.reads()) == (2, 1, [])


def test_a_report_without_its_dump_is_an_error(table):
    alone = table.file(f"{FIRST}-A.report.csv", b"track,head,sector,state,tries\n")
    assert "without its dump" in table.record(alone).errors[0]


# Show, list


def test_a_batch_for_people_begins_with_how_many_good_ones_and_what_is_next(table):
    for side in "AB":
        table.read(FIRST, side)
    table.read(SECOND, "A", "marginal")
    table.done("batch", "reject", table.batch, THIRD, "--by-eye", "--reason", "mould")
    out = table.done("batch", "show", table.batch).out
    assert out[0] == "batch B-0001 (open), Lamplighter 1.2: 1 good of 2 wanted"
    assert f"  next: {FOURTH}" in out
    assert f"  {SECOND}  unfinished  put it in label down: side B is still to be read; side A is in doubt, read it again" in out
    assert f"  rejected: {THIRD}" in out


def test_a_batch_for_programs(table):
    table.read(FIRST, "A", "fail")
    batch, *discs = table.done("batch", "show", table.batch, "--json").json
    assert batch == {
        "batch": "B-0001", "state": "open", "master": "Lamplighter 1.2", "digest": table.master.digest,
        "discs": {"pass": 0, "marginal": 0, "fail": 1, "open": 3, "rejected": 0},
    }  # fmt: skip
    assert [disc["serial"] for disc in discs] == table.serials
    assert discs[0] == {"batch": "B-0001", "serial": FIRST, "verdict": "fail", "action": "read-again",
        "rejected": False, "each_side": False, "sides": {"A": "fail", "B": None},
    }  # fmt: skip


def test_when_all_serials_are_used_the_next_step_is_named(tmp_path):
    table = Table(tmp_path, one_side(), discs=1)
    table.read(FIRST, "A")
    assert any("batch serials B-0001" in line for line in table.done("batch", "show", table.batch).out)


def test_when_enough_are_good_the_next_step_is_to_close(table):
    for disc in (FIRST, SECOND):
        for side in "AB":
            table.read(disc, side)
    told = "  next: enough are good; `obverse batch close B-0001` closes it and backs the ledger up"
    assert told in table.done("batch", "show", table.batch).out
    table.read(THIRD, "A")
    assert table.done("batch", "show", table.batch).out[2:] == [
        told,
        f"  {THIRD}  unfinished  put it in label down: side B is still to be read",
    ]


def test_a_closed_batch_asks_for_nothing_any_more(table):
    table.read(FIRST, "A")
    for side, day in (("A", "pass"), ("B", "marginal")):
        table.read(SECOND, side, day)
    table.read(THIRD, "A", "fail")
    table.done("batch", "close", table.batch)
    out = table.done("batch", "show", table.batch).out
    assert out[2:] == [
        f"  {disc}  {verdict:10}  don't box it: its batch was closed before it was finished"
        for disc, verdict in ((FIRST, "unfinished"), (SECOND, "marginal"), (THIRD, "fail"))
    ]
    assert table.done("batch", "show", table.batch, FOURTH).out[0] == f"{FOURTH}  unused      no disc carries this serial"


def test_lists_are_the_export_lines(table):
    rows = table.rows()
    assert table.done("lot", "list", "--json").json == [row for row in rows if row["kind"] == "lot"]
    assert table.done("drive", "list", "--json").json == [row for row in rows if row["kind"] == "drive"]
    [batch] = table.done("batch", "list", "--json").json
    assert batch == next(row for row in rows if row["kind"] == "batch") | {
        "state": "open",
        "discs": {"pass": 0, "marginal": 0, "fail": 0, "open": 4, "rejected": 0},
    }


# What is said of a disc


@pytest.mark.parametrize("reason", ["", "   ", "\t\n"])
def test_a_reason_that_says_nothing_is_refused(table, reason):
    for words in (("reject", table.batch, FIRST, "--by-eye"), ("amend", table.batch, FIRST, "--lot", "L-07")):
        assert "--reason" in table.refused("batch", *words, "--reason", reason)


def test_a_second_reject_is_refused(table):
    rejecting = ("batch", "reject", table.batch, FIRST, "--by-eye", "--reason")
    table.done(*rejecting, "mould")
    assert f"{FIRST}: it was rejected by eye already" in table.refused(*rejecting, "a scratch")


def test_what_corrects_nothing_is_refused(tmp_path):
    table = Table(tmp_path, two_sides(), lots=("L-07", "L-09"))
    table.read(FIRST, "A", "pass", "--lot", "L-07")
    amending = ("batch", "amend", table.batch, FIRST, "--reason", "dust")
    assert "nothing to correct" in table.refused(*amending)
    assert "nothing to correct" in table.refused(*amending, "--read", 1)
    assert f"{FIRST}: the ledger says so already" in table.refused(*amending, "--lot", "L-07")
    table.done(*amending, "--read", 1, "--void")
    assert f"{FIRST}: the ledger says so already" in table.refused(*amending, "--read", 1, "--void")
    table.done(*amending, "--lot", "L-09")


def test_a_discs_story_tells_rejects_and_corrections_with_time_and_reason(tmp_path, monkeypatch):
    table = Table(tmp_path, two_sides(), lots=("L-07", "L-09"), drives=("D1", "D2"))
    table.read(FIRST, "A", "pass", "--lot", "L-07", "--wrote", "D1")
    table.read(SECOND, "A", "pass", "--lot", "L-07", "--wrote", "D1")
    amending = ("batch", "amend", table.batch)
    with clock(monkeypatch, "2036-11-25T20:00:00Z"):
        table.done(*amending, FIRST, "--lot", "L-09", "--wrote", "D2", "--reason", "the wrong box")
        table.done(*amending, FIRST, "--read", 1, "--void", "--reason", "dust")
        table.done(*amending, SECOND, "--lot", "L-09", "--reason", "another disc's")
    with clock(monkeypatch, "2036-11-25T21:00:00Z"):
        table.done("batch", "reject", table.batch, FIRST, "--by-eye", "--reason", "mould")
    told = [
        "  corrected 2036-11-25 20:00 UTC: from lot L-09, written by D2 (the wrong box)",
        "  corrected 2036-11-25 20:00 UTC: read 1 is void (dust)",
        "  rejected by eye 2036-11-25 21:00 UTC: mould",
    ]
    assert table.done("batch", "show", table.batch, FIRST).out[-3:] == told
    rows = table.file("rows.jsonl", "\n".join(table.done("ledger", "export").out).encode())
    other = ("--ledger", table.folder / "other.sqlite")
    Ledger.open(table.folder / "other.sqlite", create=True).__exit__()
    said("ledger", "import", rows, *other)
    assert said("batch", "show", table.batch, FIRST, *other).out[-3:] == told


# The bench


def test_a_lots_description_stays_in_its_column_whatever_it_begins_with(tmp_path):
    table = Table(tmp_path, one_side())
    table.done("lot", "add", "K-2", "--count", 1200, "--coercivity", 300, "--faces", 2)
    table.done("lot", "add", "K-3", "--faces", 1, "--condition", "new", "--supplier", "a dealer with a long name")
    assert table.done("lot", "list").out == [
        "lot   blanks  used  what they are",
        "L-07       ?     0",
        "K-2    1,200     0  300 Oe, 2 faces certified",
        "K-3        ?     0  1 face certified, new, from a dealer with a long name",
    ]


def test_batches_are_listed_in_the_words_that_show_has(table):
    assert re.split("  +", table.done("batch", "list").out[0]) == [
        "batch", "state", "master", "wanted", "good", "in doubt", "bad", "unfinished", "opened",
    ]  # fmt: skip


def test_an_empty_list_says_what_makes_one(tmp_path):
    ledger = ("--ledger", tmp_path / "ledger.sqlite")
    for name in ("ledger", "other"):
        Ledger.open(tmp_path / f"{name}.sqlite", create=True).__exit__()
    said("drive", "add", "D1", "--tpi", 48, "--heads", 1, *ledger)
    for what, maker in (("lot", "lot add"), ("batch", "batch open")):
        answer = said(what, "list", *ledger)
        assert (answer.status, answer.out, answer.err) == (0, [], [f"no {what} yet; `obverse {maker}` makes one"])
    other = ("--ledger", tmp_path / "other.sqlite")
    said("lot", "add", "L-07", *other)
    assert said("drive", "list", *other).err == ["no drive yet; `obverse drive add` makes one"]


def test_an_unusual_track_density_is_asked_about(table):
    """A job may declare a geometry with another one, so it is no error."""
    for tpi, asked in ((48, False), (96, False), (100, False), (50, True), (135, True)):
        answer = table.done("drive", "add", f"D-{tpi}", "--tpi", tpi, "--heads", 1)
        assert ("is that right?" in "".join(answer.err)) == asked
    for tpi in (0, "x"):
        table.refused("drive", "add", "D9", "--tpi", tpi, "--heads", 1)


def test_several_sides_are_called_sides(table):
    assert "this master has sides A and B" in table.refused("batch", "record", table.batch, "x", "--side", "C")
    for side in "AB":
        table.read(FIRST, side, "fail")
    assert (
        table.done("batch", "show", table.batch, FIRST).out[0]
        == f"{FIRST}  fail        read side A again, label up; then side B, label down"
    )


# Close


def test_closing_tells_what_is_left_unfinished(table):
    table.read(FIRST, "A")
    for side, day in (("A", "pass"), ("B", "marginal")):
        table.read(SECOND, side, day)
    table.done("batch", "reject", table.batch, FOURTH, "--by-eye", "--reason", "mould")
    assert table.done("batch", "close", table.batch).out == [
        "batch B-0001 is closed: 0 good, 1 in doubt, 1 bad, 1 unfinished; 2 good were wanted",
        f"  never finished, so don't box them (`batch open --continue B-0001` takes them over): {FIRST}, {SECOND}",
        f"  serials that were never read: {THIRD}",
    ]


def test_closing_a_finished_batch_leaves_nothing_to_tell(tmp_path):
    table = Table(tmp_path, one_side(), discs=2)
    for disc in table.serials:
        table.read(disc, "A")
    assert table.done("batch", "close", table.batch).out == [
        "batch B-0001 is closed: 2 good, 0 in doubt, 0 bad, 0 unfinished; 2 good were wanted"
    ]


def test_a_second_close_is_refused_with_the_reason(table):
    table.done("batch", "close", table.batch)
    assert table.refused("batch", "close", table.batch) == "obverse: batch B-0001 is closed already"


def test_closing_backs_the_ledger_up_unasked(table):
    table.read(FIRST, "A")
    answer = table.done("batch", "close", table.batch, "--json")
    assert answer.json[0]["state"] == "closed"
    backup = table.folder / "backups" / "ledger-B-0001.sqlite"
    assert str(backup) in answer.err[0]
    assert said("ledger", "check", "--ledger", backup).status == 0
    assert said("ledger", "export", "--ledger", backup).json == table.done("ledger", "export").json


def test_a_backup_of_that_name_is_kept_and_another_one_made(table):
    (table.folder / "backups").mkdir()
    kept = table.folder / "backups" / "ledger-B-0001.sqlite"
    kept.write_text("of another year")
    assert "ledger-B-0001-2.sqlite" in table.done("batch", "close", table.batch).err[0]
    assert kept.read_text() == "of another year"


def test_a_close_that_was_killed_before_its_backup_is_finished_by_the_next_one(table):
    table.done("batch", "close", table.batch)
    [backup] = (table.folder / "backups").iterdir()
    backup.unlink()
    other = table.folder / "backups" / "ledger-B-0001.sqlite"
    other.write_bytes(b"of another ledger")
    rows = table.rows()
    assert "ledger-B-0001-2.sqlite" in table.done("batch", "close", table.batch).err[0]
    assert table.rows() == rows
    assert other.read_bytes() == b"of another ledger"
    assert said("ledger", "export", "--ledger", other.with_name("ledger-B-0001-2.sqlite")).json == table.done("ledger", "export").json
    assert table.refused("batch", "close", table.batch) == "obverse: batch B-0001 is closed already"


def test_a_backup_that_can_not_be_made_is_told_and_the_batch_is_closed_all_the_same(table):
    (table.folder / "backups").write_text("no folder")
    answer = table.said("batch", "close", table.batch, "--json")
    assert (answer.status, answer.json[0]["state"], len(answer.err)) == (2, "closed", 1)
    assert "is closed, but the ledger was not copied" in answer.err[0]


# Rates


def test_rates_count_decided_discs_and_tell_those_that_are_being_worked_on(table):
    assert table.said("rates").out == []
    for count in range(4):
        table.read(FIRST, "A", "fail", *(("--rewritten",) if count == 2 else ()), tag=str(count))
    table.read(SECOND, "A")
    [line] = table.done("rates", "--by", "lot", "--json").json
    counts = ("group", "discs", "bad", "working", "abandoned", "rewritten", "first_read", "first_bad", "simulated")
    assert tuple(line[key] for key in counts) == ("L-07", 1, 1, 1, 0, 1, 1, 1, False)
    sides = {row["group"]: (row["discs"], row["bad"], row["lost"]) for row in table.done("rates", "--by", "side", "--json").json}
    assert sides == {"A": (2, 1, 1)}


def test_a_closed_batches_unfinished_discs_are_abandoned_until_another_takes_them_over(table):
    table.read(FIRST, "A")
    table.read(SECOND, "A", "fail")
    for side in "AB":
        table.read(THIRD, side)
    table.done("batch", "close", table.batch)
    counts = ("discs", "bad", "working", "abandoned")
    [line] = table.done("rates", "--by", "lot", "--json").json
    assert tuple(line[key] for key in counts) == (2, 1, 0, 1)  # the one that failed was never finished, and is bad
    opening = ("batch", "open", table.master.path, "--good", 2, *table.bench, "--continue", "B-0001", "--json")
    batch = table.done(*opening).json[0]["batch"]
    assert [row["serial"] for row in table.rows() if row["kind"] == "take"] == [FIRST, SECOND]
    [line] = table.done("rates", "--by", "lot", "--json").json
    assert tuple(line[key] for key in counts) == (1, 0, 2, 0)
    table.batch = batch
    answer = table.read(FIRST, "B")
    assert (answer.discs[0]["verdict"], answer.discs[0]["batch"]) == ("pass", batch)
    assert table.sound()


def test_by_drive_the_one_that_wrote_or_the_one_that_read(table):
    table.done("drive", "add", "D2", "--tpi", 48, "--heads", 1)
    table.read(FIRST, "A", "fail", "--read", "D2")
    for role, drive in (("wrote", "D1"), ("read", "D2")):
        assert [row["group"] for row in table.done("rates", "--by", "drive", "--role", role, "--json").json] == [drive]


def test_a_simulated_drive_marks_what_it_wrote_and_proves_nothing_of_real_discs(table):
    table.done("drive", "add", "S1", "--tpi", 48, "--heads", 1, "--simulated")
    table.read(FIRST, "A", "fail", "--read", "S1")
    assert table.reads()[0]["simulated"] is True
    assert table.disc(FIRST)["sides"]["A"] is None
    table.done("batch", "reject", table.batch, FIRST, "--by-eye", "--reason", "mould")
    assert table.done("rates", "--by", "lot", "--json").json[0]["simulated"] is False  # no read of it counts


def test_a_disc_that_was_rejected_unread_has_no_first_pass(table):
    table.done("batch", "reject", table.batch, FIRST, "--by-eye", "--reason", "mould")
    assert table.done("rates").out[1].split()[:8] == ["L-07", "1", "1", "100.0", "%", "20.7", "to", "100.0"]
    assert table.done("rates").out[1].count("100.0 %") == 2  # the rate and its upper limit
    for side in "AB":
        table.read(SECOND, side)
    table.read(THIRD, "A", "fail")
    for by in ("lot", "batch"):
        assert " 50.0 % " in table.done("rates", "--by", by).out[1]


@pytest.mark.parametrize("by", ["lot", "batch"])
def test_a_writing_whose_reads_are_void_has_no_first_pass(tmp_path, by):
    """Of the first disc nothing is left of its first writing; the second one passed."""
    table = Table(tmp_path, one_side())
    table.read(FIRST, "A")
    table.done("batch", "amend", table.batch, FIRST, "--read", 1, "--void", "--reason", "dust")
    table.read(FIRST, "A", "pass", "--rewritten", tag="2")
    table.read(SECOND, "A")
    [rate] = table.done("rates", "--by", by, "--json").json
    assert (rate["discs"], rate["rewritten"], rate["first_read"], rate["first_bad"]) == (2, 1, 1, 0)


@pytest.mark.parametrize("by", ["batch", "lot", "side", "track"])
def test_a_role_is_a_drives(table, by):
    table.read(FIRST, "A")
    assert "--role read" in table.refused("rates", "--by", by, "--role", "read")
    assert table.done("rates", "--by", by, "--role", "wrote").out == table.done("rates", "--by", by).out


def test_the_bar_is_explained_below_its_table(table):
    table.done("batch", "reject", table.batch, FIRST, "--by-eye", "--reason", "mould")
    assert table.done("rates").out[-1] == "bar: # the rate, - between its limits, + both"


# The clock


def test_a_clock_that_was_set_back_is_told_and_the_row_is_kept(table, monkeypatch):
    with clock(monkeypatch, "2026-11-25T20:00:00Z"):
        table.done("lot", "add", "L-08")
    with clock(monkeypatch, "2026-11-25T19:00:00Z"):
        answer = table.done("lot", "add", "L-09")
        assert "2026-11-25T19:00:00Z" in answer.err[0]
        read = table.read(FIRST, "A")
        assert read.status == 0
    assert [row["at"] for row in table.rows()[-2:]] == ["2026-11-25T19:00:00Z"] * 2
    assert table.sound()


def test_a_clock_that_was_set_back_before_a_record_is_told(table, monkeypatch):
    with clock(monkeypatch, "2036-11-25T20:00:00Z"):
        table.done("lot", "add", "L-08")
    answer = table.read(FIRST, "A")
    assert answer.status == 0
    assert len(answer.err) == 1
    assert "2036-11-25T20:00:00Z" in answer.err[0]


def test_a_clock_that_is_no_clock_is_told(table, monkeypatch):
    monkeypatch.setenv("OBVERSE_NOW", "noon")
    assert "OBVERSE_NOW" in table.refused("lot", "add", "L-08")
