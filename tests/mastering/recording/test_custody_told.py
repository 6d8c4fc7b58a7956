"""What was decided of a disc stays decided, told by the commands: the rules themselves stand in the tests of `standing`."""

import pytest
from table import Table, clock, two_sides

FIRST, SECOND, THIRD = "SM-004-0001-X", "SM-004-0002-V", "SM-004-0003-T"
REASON = ("--reason", "dust")


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides(), drives=("D1", "D2"))


def days(table: Table, side: str, story: str, *words: object, disc: str = FIRST) -> list[str | None]:
    found, more = [], ("--wrote", "D1") if not any(read["side"] == side for read in table.reads()) else ()  # once for each side
    for day in story.split():
        if day == "|":
            more = ("--rewritten", "--wrote", "D1")
            continue
        count = len(table.reads())
        found.append(table.read(disc, side, day, *more, *words, tag=str(count)).discs[0]["sides"][side])
        more = ()
    return found


def test_a_disc_told_to_be_rejected_does_not_come_back_by_lucky_reads(table):
    days(table, "A", "fail fail | fail fail")
    assert table.disc(FIRST)["action"] == "reject"
    assert days(table, "A", "pass pass pass") == ["fail"] * 3
    assert table.disc(FIRST)["rejected"] is True
    path = table.file(f"{FIRST}-A-new.dump", table.on_a_day("A", "pass")[0])
    assert "its last writing failed, too" in table.refused("batch", "record", table.batch, path, "--rewritten", "--wrote", "D1")
    table.done("batch", "amend", table.batch, FIRST, "--restore", *REASON)
    assert table.record(path, "--rewritten", "--wrote", "D1").discs[0]["sides"]["A"] == "pass"


def test_a_good_side_over_whose_other_side_was_written_is_looked_at_again(table):
    """Side A passed, side B was written over and over, and nobody looked at A again."""
    days(table, "A", "pass")
    days(table, "B", "fail fail | pass")
    line = table.disc(FIRST)
    assert (line["sides"], line["action"]) == ({"A": None, "B": "pass"}, "turn-over")
    assert "label up" in table.done("batch", "show", table.batch, FIRST).out[0]
    assert days(table, "A", "pass") == ["pass"]
    assert table.disc(FIRST)["action"] == "box"


def test_each_side_by_itself_is_said_of_the_batch_and_of_its_discs(tmp_path):
    table = Table(tmp_path, two_sides(), drives=("D1", "D2"), rules=("--each-side",))
    days(table, "A", "pass")
    days(table, "B", "fail fail | pass")
    assert (table.disc(FIRST)["verdict"], table.disc(FIRST)["each_side"]) == ("pass", True)


def test_all_sides_are_written_before_the_first_is_read(table):
    table.read(FIRST, "B", "pass", "--wrote", "D1")
    rows = [row for row in table.rows() if row["kind"] in ("writing", "read")]
    assert [(row["kind"], row["side"], row["writing"]) for row in rows] == [("writing", "A", 1), ("writing", "B", 1), ("read", "B", 1)]
    assert [row["drive"] for row in rows[:2]] == [None, None]  # rows do not change: the first read of a side tells its drive
    assert "--wrote (D1, D2)" in table.read(FIRST, "A").errors[0]  # side A may be another drive's


def test_a_commands_writings_come_before_its_reads(table):
    for side in "AB":
        table.read(FIRST, side, "fail", "--wrote", "D1")
    folder = table.folder / "again"
    folder.mkdir()
    for serial, side in ((FIRST, "A"), (FIRST, "B"), (SECOND, "A")):
        (folder / f"{serial}-{side}-2.dump").write_bytes(table.on_a_day(side, "pass")[0])
    (folder / f"{THIRD}-A.dump").write_bytes(b"no dump of this master")
    before = len(table.rows())
    table.record(folder, "--rewritten", "--wrote", "D2")
    new = [(row["kind"], row["serial"], row["side"], row["writing"]) for row in table.rows()[before:]]
    assert [row[0] for row in new] == ["writing"] * 4 + ["read"] * 3  # nothing of the disc whose file was none
    assert {row[1:] for row in new if row[0] == "writing"} == {(FIRST, "A", 2), (FIRST, "B", 2), (SECOND, "A", 1), (SECOND, "B", 1)}


def test_evidence_that_the_batch_does_not_accept_settles_nothing(tmp_path):
    table = Table(tmp_path, two_sides())
    (tmp_path / "shop.toml").write_text('accept = ["cells", "flux"]\n')
    table.batch = table.open(table.master)
    [serial] = table.hand_out(1)
    answer = table.read(serial, "A")
    assert (answer.discs[0]["sides"]["A"], answer.discs[0]["action"]) == (None, "read-again")
    assert "does not accept such evidence" in table.done("batch", "show", table.batch, serial).out[0]
    (tmp_path / "shop.toml").unlink()  # pinned when the batch was opened
    assert table.read(serial, "A", tag="2").discs[0]["sides"]["A"] is None


def test_all_reads_of_a_drive_since_a_time_are_struck_out(table, monkeypatch):
    for hour, (serial, drive) in enumerate([(FIRST, "D1"), (SECOND, "D2"), (SECOND, "D1"), (THIRD, "D2")]):
        with clock(monkeypatch, f"2036-11-25T1{hour}:00:00Z"):
            table.read(serial, "B", "pass", *(() if hour == 2 else ("--wrote", "D1")), "--read", drive, tag=str(hour))
    striking = ("batch", "amend", table.batch, "--read-by", "D2", "--void", *REASON, "--since")
    assert [line["serial"] for line in table.done(*striking, "2036-11-25T12:00:00Z", "--json").json] == [THIRD]
    assert (table.disc(SECOND)["sides"]["B"], table.disc(THIRD)["sides"]["B"]) == ("pass", None)
    assert "made no read" in table.refused(*striking, "2036-11-25T12:00:00Z")
    table.done(*striking, "2036-11-25T11:00:00Z")
    assert table.sound()
    assert table.read(THIRD, "B", "pass", "--read", "D2", tag="9").discs[0]["sides"]["B"] == "pass"


def test_which_drive_is_meant_is_asked_where_several_wrote(table):
    table.read(FIRST, "A", "fail", "--wrote", "D1")
    table.read(FIRST, "B", "pass", "--wrote", "D1")
    table.read(FIRST, "A", "pass", "--rewritten", "--wrote", "D2", tag="2")
    assert "say with --read" in table.refused("batch", "amend", table.batch, FIRST, "--wrote", "D1", *REASON)
    table.done("batch", "amend", table.batch, FIRST, "--wrote", "D1", "--read", 3, *REASON)


def test_a_dropped_serial_counts_nowhere_and_is_not_used_again(table):
    table.done("batch", "drop", table.batch, "2", *REASON)
    assert SECOND not in [line.get("serial") for line in table.done("batch", "show", table.batch, "--json").json]
    assert table.done("batch", "show", table.batch, "--json").json[0]["discs"]["open"] == 3
    assert "dropped" in table.read(SECOND, "A", "pass", "--wrote", "D1").errors[0]
    assert table.hand_out(1) == ["SM-004-0005-P"]
    table.read(FIRST, "A", "pass", "--wrote", "D1")
    assert "can't be dropped" in table.refused("batch", "drop", table.batch, "1", *REASON)


def test_a_batch_is_changed_while_it_runs(table):
    table.done("lot", "add", "L-09")
    table.done("drive", "add", "D3", "--tpi", 48, "--heads", 1)
    table.done("batch", "change", table.batch, "--good", 9, "--lot", "L-09", "--drive", "D3", "--reason", "more orders")
    [line] = table.done("batch", "list", "--json").json
    assert (line["good"], line["lots"], line["drives"]) == (9, ["L-07", "L-09"], ["D1", "D2", "D3"])
    assert table.read(FIRST, "A", "pass", "--lot", "L-09", "--wrote", "D3").reads[0]["lot"] == "L-09"
    assert "already" in table.refused("batch", "change", table.batch, "--lot", "L-09", *REASON)
    assert "nothing to change" in table.refused("batch", "change", table.batch, *REASON)
    table.done("batch", "close", table.batch)
    assert "closed" in table.refused("batch", "change", table.batch, "--good", 2, *REASON)
    assert table.sound()


def test_a_drive_serves_the_sides_that_it_is_said_to(tmp_path):
    """D1 writes and reads side A's geometry, D2 side B's, R1 reads both and writes none: nobody has to say which drive it was."""
    table = Table(tmp_path, two_sides(), drives=("D1",))
    table.done("drive", "change", "D1", "--writes", "gcr6and2-35x16x256", "--reads", "gcr6and2-35x16x256", *REASON)
    table.done("drive", "add", "D2", "--tpi", 48, "--heads", 1, "--writes", "mfm-40x9x512", "--reads", "none")
    table.done("drive", "add", "R1", "--tpi", 48, "--heads", 1, "--writes", "none", "--reads", "mfm-40x9x512")
    opening = ("batch", "open", table.master.path, "--good", 1, "--unserialled", "both", "--lot", "L-07")
    assert "none of the drives D1 writes it" in "".join(table.said(*opening, "--drive", "D1").err)
    drives = ("--drive", "D1", "--drive", "D2", "--drive", "R1", "--json")
    table.batch = table.done(*opening, *drives).json[0]["batch"]
    [serial] = table.hand_out(1)
    [a], [b] = (table.read(serial, side).reads for side in "AB")
    assert (a["wrote"], a["read_by"], b["wrote"], b["read_by"]) == ("D1", "D1", "D2", "R1")


def test_inner_boxes_are_kept_and_counted(table):
    assert "no inner boxes" in table.read(FIRST, "A", "pass", "--wrote", "D1", "--inner", 3).errors[0]
    table.done("lot", "change", "L-07", "--inner-box", 10, "--count", 40, "--reason", "counted")
    assert table.read(FIRST, "A", "pass", "--wrote", "D1", "--inner", 3).reads[0]["inner"] == 3
    assert "has 4" in table.read(SECOND, "A", "pass", "--wrote", "D1", "--inner", 5).errors[0]
    table.read(FIRST, "B", "pass", "--wrote", "D1")
    table.done("batch", "reject", table.batch, SECOND, "--by-eye", "--inner", 3, "--reason", "mould")
    [line] = table.done("rates", "--by", "inner", "--json").json
    assert (line["group"], line["discs"], line["bad"]) == ("L-07/3", 2, 1)


def test_operators_stand_on_every_read(table):
    assert table.read(FIRST, "A", "pass", "--wrote", "D1", "--operator", "AN").reads[0]["operator"] == "AN"
    assert table.read(FIRST, "B", "pass", "--wrote", "D1").reads[0]["operator"] is None


def test_what_lies_on_the_table_is_counted_when_a_batch_is_closed(table):
    for side in "AB":
        table.read(FIRST, side, "pass", "--wrote", "D1")
    closing = ("batch", "close", table.batch, "--counted")
    assert "unused: 2 on the table, 3 by the ledger" in table.refused(*closing, "good=1,unused=2")
    assert "expected such as" in table.refused(*closing, "bad=1")
    answer = table.done(*closing, "good=1,rejected=0,unused=2", "--reason", "one was never found")
    digest = table.done("ledger", "export").json[-1]["chain"]
    assert f"the last with the digest {digest}" in answer.err[-1]
    assert table.rows()[-1]["counted"] == {"good": 1, "rejected": 0, "unused": 2}
