"""A disc by its serial alone, lists of discs, what proves one; and the morning screen."""

import json

import pytest
from table import Table, clock, one_side, said, two_sides

FIRST, SECOND, THIRD = "SM-004-0001-X", "SM-004-0002-V", "SM-004-0003-T"


@pytest.fixture
def table(tmp_path, monkeypatch) -> Table:
    table = Table(tmp_path, two_sides(), lots=("L-07", "L-09"), drives=("D1", "D2"))
    words = ("--lot", "L-07", "--wrote", "D1")
    with clock(monkeypatch, "2036-11-25T10:00:00Z"):
        for side in "AB":
            table.read(FIRST, side, "pass", *words, "--operator", "AN")
    with clock(monkeypatch, "2036-11-26T10:00:00Z"):
        table.read(SECOND, "A", "fail", "--lot", "L-09", "--wrote", "D2")
    table.done("batch", "reject", table.batch, THIRD, "--by-eye", "--lot", "L-07", "--reason", "mould")
    return table


def serials(table: Table, *words: object) -> list[str]:
    return [line["serial"] for line in table.done("disc", "list", *words, "--json").json]


def test_the_whole_history_of_a_disc_by_its_serial_or_its_number_alone(table):
    table.done("batch", "image", table.batch, "2", "--side", "B", "--out", table.folder / "images")
    for text in (SECOND, "2", "0002"):
        [line] = table.done("disc", "show", text, "--json").json
        assert (line["serial"], line["state"], line["verdict"], line["title"], line["revision"]) == (
            SECOND,
            "working",
            "fail",
            "Lamplighter",
            "1.2",
        )
    assert (line["batch"], line["lot"], line["inner"], line["order"], line["sides"]) == (
        "B-0001",
        "L-09",
        None,
        None,
        {"A": "fail", "B": None},
    )
    assert [(read["side"], read["verdict"], read["settles"], read["read_by"]) for read in line["reads"]] == [("A", "fail", True, "D2")]
    assert [event["kind"] for event in line["events"]] == ["serial", "writing", "writing", "image"]
    out = table.done("disc", "show", FIRST).out
    assert out[1].endswith("lot L-07; in-stock")
    assert sum("(AN)" in text for text in out) == 2


def test_an_unlike_serial_is_asked_about_and_never_guessed(table):
    assert f"did you mean {FIRST}?" in table.refused("disc", "show", "SM-004-0001-Y")
    table.open(one_side("SM-009", name="Undertow"))
    table.batch = "B-0002"
    table.hand_out(1)
    assert "give the whole serial" in table.refused("disc", "show", "1")
    assert table.done("disc", "show", "2").out[0].startswith(SECOND)


def test_discs_by_what_is_asked_of_them(table):
    assert serials(table) == [FIRST, SECOND, THIRD, "SM-004-0004-R"]
    for words, wanted in (
        (("--title", "lamplighter", "--revision", "1.2", "--lot", "L-09"), [SECOND]),
        (("--title", "SM-004", "--state", "rejected"), [THIRD]),
        (("--title", "Undertow"), []),
        (("--state", "in-stock"), [FIRST]),
        (("--state", "handed-out"), ["SM-004-0004-R"]),
        (("--verdict", "fail"), [SECOND, THIRD]),
        (("--wrote", "D2"), [SECOND]),
        (("--read", "D1"), [FIRST]),
        (("--failed-first",), [SECOND]),
        (("--from", "2036-11-26T00:00:00Z"), [SECOND]),
        (("--to", "2036-11-25T12:00:00Z", "--when", "read"), [FIRST]),
        (("--batch", "B-0001", "--lot", "L-07"), [FIRST, THIRD]),
        (("--order", "17"), []),
    ):
        assert serials(table, *words) == wanted, words
    assert table.done("disc", "list", "--orders", "--margin", "--lot", "L-09", "--json").json[0].keys() >= {"order", "margin"}
    assert "L-99" in table.refused("disc", "list", "--lot", "L-99")
    assert "no time" in table.refused("disc", "list", "--from", "yesterday")
    assert table.done("disc", "list", "--state", "shipped").err == ["no disc is like that"]


def test_a_finished_discs_proof(table):
    answer = table.done("disc", "proof", FIRST, "--json")
    [line] = answer.json
    assert (line["serial"], line["ok"]) == (FIRST, True)
    kinds = [each["what"] for each in line["lines"]]
    assert kinds == ["disc", "chain", "master", "serial", "writing", "writing", "read", "file", "read", "file"]
    chain = {row["chain"] for row in table.done("ledger", "export").json}
    assert all(each["digest"] in chain for each in line["lines"] if each["what"] in ("chain", "serial", "writing", "read"))
    table.file(f"{FIRST}-A.dump", table.on_a_day("A", "fail")[0])
    [line] = table.said("disc", "proof", FIRST, "--json").json
    assert (line["ok"], [each["what"] for each in line["lines"] if each["ok"] is False]) == (False, ["file"])
    (table.folder / f"{FIRST}-A.dump").unlink()
    assert table.done("disc", "proof", FIRST, "--json").json[0]["ok"] is True  # what is gone is not proved, and not wrong
    assert table.said("disc", "proof", SECOND).status == 1


def test_the_morning_screen(table, monkeypatch):
    out = table.done("today").out
    assert out[0] == "Lamplighter 1.2, batch B-0001: 1 good of 2; 1 more wanted"
    assert out[1].startswith(f"  {SECOND}")
    assert out[-1] == "no backup yet: `obverse ledger backup FILE`"
    [line] = table.done("today", "--json").json
    assert [(each["batch"], each["wanted"], len(each["waiting"])) for each in line["batches"]] == [("B-0001", 1, 1)]
    rows = [
        {"kind": "lot-stop", "lot": "L-09", "inner": None, "reason": "six of ten failed", "at": "2036-11-26T11:00:00Z"},
        {"kind": "hold", "drive": "D2", "serial": SECOND, "side": "A", "why": "running", "at": "2036-11-26T11:00:00Z"},
    ]
    file = table.file("rows.jsonl", "\n".join(map(json.dumps, rows)).encode())
    table.done("ledger", "import", file)
    out = table.done("today").out
    assert out[0] == "drive D2 is on hold: clean it, then `obverse drive check D2`"
    assert out[1] == "lot L-09 is stopped: six of ten failed"
    table.done("batch", "close", table.batch)
    assert table.done("today").out[-2:] == ["no batch is open", "the newest backup is 0 hours old: ledger-B-0001.sqlite"]


def test_a_drive_that_is_held_unsettles_its_reads_and_is_named_no_more(table):
    rows = [{"kind": "hold", "drive": "D2", "serial": SECOND, "side": "A", "why": "running", "at": "2036-11-26T11:00:00Z"}]
    table.done("ledger", "import", table.file("rows.jsonl", json.dumps(rows[0]).encode()))
    assert table.disc(SECOND)["sides"]["A"] is None
    assert table.sound()
    [line] = table.done("rates", "--by", "drive", "--json").json[1:]
    assert (line["group"], line["discs"], line["bad"]) == ("D2", 1, 1)  # by drive it still counts
    check = {"kind": "drive-check", "drive": "D2", "ok": True, "digest": None, "at": "2036-11-26T12:00:00Z"}
    table.done("ledger", "import", table.file("rows.jsonl", json.dumps(check).encode()))
    assert table.done("today", "--json").json[0]["held"] == []
    assert table.sound()


def test_a_held_or_superseded_master_opens_no_batch(table):
    digest = table.master.digest
    opening = ("batch", "open", table.master.path, "--good", 1, *table.bench)

    def decide(what: str) -> None:
        row = {"kind": "master", "digest": digest, "what": what, "at": "2036-11-26T11:00:00Z"}
        table.done("ledger", "import", table.file("rows.jsonl", json.dumps(row).encode()))

    decide("hold")
    assert "is held" in table.refused(*opening)
    assert "is held" in table.refused(*opening, "--older")
    decide("release")
    decide("supersede")
    assert "--older" in table.refused(*opening)
    table.done(*opening, "--older")


def test_rows_of_later_steps_are_kept_and_printed_again(table):
    rows = [
        {"kind": "disc", "serial": FIRST, "what": "box", "at": "2036-11-27T10:00:00Z"},
        {"kind": "order", "order": "17", "what": "add", "items": [], "at": "2036-11-27T10:00:00Z"},
        {"kind": "label", "batch": "B-0001", "serial": FIRST, "at": "2036-11-27T10:00:00Z"},
        {"kind": "drive-log", "drive": "D1", "what": "cleaned", "note": None, "at": "2036-11-27T10:00:00Z"},
        {"kind": "lot-discard", "lot": "L-07", "inner": None, "count": 2, "reason": "bent", "at": "2036-11-27T10:00:00Z"},
    ]  # fmt: skip
    table.done("ledger", "import", table.file("rows.jsonl", "\n".join(map(json.dumps, rows)).encode()))
    assert table.rows()[-5:] == rows
    assert serials(table, "--state", "boxed") == [FIRST]
    assert table.sound()
    refused = {"kind": "fortune", "at": "2036-11-27T10:00:00Z"}
    assert (
        "'fortune' is none of"
        in said("ledger", "import", table.file("r.jsonl", json.dumps(refused).encode()), "--ledger", table.ledger).err[0]
    )


def test_the_list_is_a_table_of_80_columns_and_a_history_names_the_drive_that_wrote(table, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    table.read(table.serials[0], "A")
    head, *rows = table.done("disc", "list").out
    assert head.split() == ["serial", "state", "verdict", "title", "batch", "lot", "written"] and all(len(row) <= 80 for row in rows)
    assert len(rows) == len(table.serials)
    assert any("side A written, time 1, by D1" in line for line in table.done("disc", "show", table.serials[0]).out)
