"""Lines out of a ledger and into one; and whatever is changed behind its back is found by `ledger check`."""

import json
import re
import sqlite3
from contextlib import closing

import pytest
from table import Answer, Table, said, two_sides

from mastering.ledger.log_writer import START, chained
from mastering.ledger.store import Ledger

LOT = '{"kind":"lot","name":"L-01","count":10}'


@pytest.fixture(scope="module")
def grown(tmp_path_factory) -> Table:
    """A ledger that holds something in every table. No test writes to it."""
    table = Table(tmp_path_factory.mktemp("grown"), two_sides(), lots=("L-07", "L-09"), drives=("D1", "D2"))
    first, second, third, _ = table.serials
    for serial, side, day in ((first, "A", "fail"), (first, "B", "pass"), (second, "A", "marginal"), (third, "A", "pass")):
        assert table.read(serial, side, day, "--lot", "L-07", "--wrote", "D1").status < 2
    table.read(first, "A", "pass", "--rewritten", "--wrote", "D2", tag="2")
    table.done("batch", "amend", table.batch, first, "--read", 3, "--void", "--reason", "dust")
    table.done("batch", "reject", table.batch, third, "--by-eye", "--reason", "mould")
    table.done("batch", "close", table.open(table.master))
    return table


@pytest.fixture
def table(grown, tmp_path) -> Table:
    """A ledger of one's own with the same rows."""
    copy = Table.__new__(Table)
    copy.__dict__ |= grown.__dict__ | {"folder": tmp_path, "ledger": tmp_path / "ledger.sqlite"}
    copy.ledger.write_bytes(grown.ledger.read_bytes())
    return copy


def lines(table: Table) -> list[str]:
    """The rows as they stand in the log: an export without its chain."""
    return [re.sub(r',"chain":"[0-9a-f]{64}"\}$', "}", line) for line in table.done("ledger", "export").out]


def taken(table: Table, text: list[str], name: str = "other.sqlite") -> Answer:
    """What an import into another ledger says."""
    Ledger.open(table.folder / name, create=True).__exit__()
    file = table.folder / "rows.jsonl"
    file.write_text("".join(f"{line}\n" for line in text))
    return said("ledger", "import", file, "--ledger", table.folder / name)


# Export and import


def test_an_export_imported_is_the_same_ledger_byte_for_byte_in_its_rows(table):
    assert taken(table, lines(table)).status == 0
    other = ("--ledger", table.folder / "other.sqlite")
    assert said("ledger", "export", *other).out == table.done("ledger", "export").out
    assert said("ledger", "check", *other).status == 0
    for by in ("batch", "lot", "drive", "side", "track"):
        assert said("rates", "--by", by, "--json", *other).out == table.done("rates", "--by", by, "--json").out
    assert said("batch", "show", table.batch, "--json", *other).out == table.done("batch", "show", table.batch, "--json").out


def test_a_ledger_that_was_imported_is_gone_on_with(table):
    taken(table, lines(table))
    table.ledger = table.folder / "other.sqlite"
    assert table.read(table.serials[3], "A", "pass", "--lot", "L-09", "--wrote", "D2").reads[0]["read"] == 1
    assert table.read(table.serials[0], "B", "pass").reads[0]["again"] is True
    assert table.sound()


def test_keys_that_are_not_known_are_kept(table):
    line = '{"kind":"lot","name":"L-01","count":10,"colour":"ochre \\u00e9"}'
    assert taken(table, [line]).status == 0
    [exported] = said("ledger", "export", "--ledger", table.folder / "other.sqlite").out
    assert exported == line[:-1] + f',"chain":"{chained(START, line)}"' + "}"


def test_empty_lines_and_foreign_line_ends_are_passed_over(table):
    assert taken(table, ["", LOT + "\r", "  "]).status == 0
    assert len(said("ledger", "export", "--ledger", table.folder / "other.sqlite").out) == 1


def test_an_import_from_standard_input(table, monkeypatch):
    import io

    taken(table, [])
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(LOT.encode())))
    assert said("ledger", "import", "-", "--ledger", table.folder / "other.sqlite").err == ["1 row imported"]


def wrong_at(text: list[str], place: int, line: str) -> list[str]:
    return [*text[:place], line, *text[place:]]


@pytest.mark.parametrize("line", ["{", "[]", "7", '{"kind": "lot"}', '{"kind": "lot", "name": "L-07", "count": true}', '{"kind": "lot", "name": "-L7", "count": 1}', "[" * 100_000, '{"kind": "lot", "name": "L-01", "count": 10, "price": NaN}', '{"kind": "lot", "name": "L-01", "count": 10, "coercivity": "high"}', '{"kind": "lot", "name": "L-01", "count": 10, "at": 3}', '{"kind": "lot", "name": "L-01", "count": 99999999999999999999}'])  # fmt: skip
@pytest.mark.parametrize("place", [0, 8])
def test_one_bad_line_leaves_an_empty_ledger_empty(table, line, place):
    answer = taken(table, wrong_at(lines(table), place, line))
    assert (answer.status, answer.out, len(answer.err)) == (2, [], 1)
    assert f"line {place + 1}:" in answer.err[0]
    assert "nothing was imported" in answer.err[0]
    assert sorted(path.name for path in table.folder.iterdir()) == ["ledger.sqlite", "other.sqlite", "rows.jsonl"]
    assert said("ledger", "export", "--ledger", table.folder / "other.sqlite").out == []


def test_one_bad_line_changes_nothing_in_a_ledger_that_there_is(table):
    before = table.ledger.read_bytes()
    assert taken(table, [LOT, LOT], "ledger.sqlite").status == 2
    assert table.ledger.read_bytes() == before


def test_what_is_there_already_is_not_taken_twice(table):
    before = lines(table)
    answer = taken(table, lines(table), "ledger.sqlite")
    assert (answer.status, len(answer.err)) == (2, 1)
    assert "there is one of that name already" in answer.err[0]
    assert lines(table) == before


@pytest.mark.parametrize(("change", "told"), [
    ({"verdict": "good"}, "verdict"), ({"evidence": "hearsay"}, "evidence"), ({"diagnosis": "sick"}, "diagnosis"), ({"side": "C"}, "side"),
    ({"writing": 0}, "writing"), ({"writing": None}, "writing"), ({"writing": 1}, "newest one is 2"), ({"read": 1}, "read 1 already"), ({"sectors": {}}, "sectors"), ({"findings": [{"track": 1, "head": 0, "sector": 1, "kind": "odd"}]}, "odd"), ({"lot": "L-99"}, "L-99"),
    ({"wrote": "D9"}, "D9"), ({"read_by": "D9"}, "D9"), ({"findings": [{}]}, "finding"), ({"findings": 3}, "findings"), ({"at": "noon"}, "noon"),
    ({"at": "0001-01-01T00:00:00+14:00"}, "time"), ({"on_disc": "SM-004-0002-V"}, "SM-004-0002-V"), ({"simulated": None}, "simulated"),
    ({"file_sha256": 3}, "file_sha256"), ({"verdict": ["pass"]}, "verdict"), ({"diagnosis": {}}, "diagnosis"), ({"side": []}, "side"),
    ({"lot": "L-09"}, "L-07"),
])  # fmt: skip
def test_a_read_that_contradicts_the_rest_is_refused(table, change, told):
    before = lines(table)
    read = next(json.loads(line) for line in before if '"kind":"read"' in line)
    read |= {"read": 9, "writing": 2, "file_sha256": "0" * 64}
    answer = taken(table, [json.dumps(read | change)], "ledger.sqlite")
    assert (answer.status, len(answer.err)) == (2, 1), answer
    assert told in answer.err[0]
    assert lines(table) == before


HEAD = {"track": 0, "head": 0, "sector": 0}


@pytest.mark.parametrize(("change", "told"), [
    ({"verdict": "pass"}, "verdict is pass"), ({"verdict": "marginal", "action": "read-again"}, "verdict is marginal"),
    ({"findings": []}, "make it pass"), ({"findings": [HEAD | {"kind": "soft"}]}, "make it marginal"),
    ({"sectors": {"expected": 560, "good": 561}}, "561 good of 560"), ({"sectors": {"expected": 560, "good": 560}}, "1 have findings"),
    ({"sectors": {"expected": 561, "good": 560}}, "has 560"), ({"sectors": None}, "without a side"),
    ({"action": "box"}, "action is"), ({"action": "burn"}, "action is"), ({"unproven": 561}, "unproven"),
    ({"findings": [HEAD | {"track": 35, "kind": "absent"}]}, "no sector 0 on track 35"), ({"findings": [HEAD | {"sector": 16, "kind": "absent"}]}, "no sector 16"),
    ({"findings": [HEAD | {"head": 1, "kind": "absent"}]}, "of head 1"),
    ({"findings": [HEAD | {"kind": "absent"}] * 2, "sectors": {"expected": 560, "good": 558}}, "two are about one sector"),
    ({"operator": "\ud800"}, "no text"), ({"readback": "a\udcff.dump"}, "readback is"),
])  # fmt: skip
def test_a_read_that_contradicts_itself_or_could_not_be_printed_again_is_refused(table, change, told):
    before = lines(table)
    read = next(json.loads(line) for line in before if '"kind":"read"' in line)
    read |= {"read": 9, "writing": 2, "file_sha256": "0" * 64}
    assert (read["sectors"], len(read["findings"])) == ({"expected": 560, "good": 559}, 1)
    answer = taken(table, [json.dumps(read | change)], "ledger.sqlite")
    assert (answer.status, len(answer.err)) == (2, 1), answer
    assert told in answer.err[0]
    assert lines(table) == before


@pytest.mark.parametrize("line", [LOT[:-1] + ',"price":1e999}', LOT[:-1] + ',"price":-1e400}', LOT[:-1] + f',"note":"{"x" * (4 << 20)}"' + "}", LOT[:-1] + f',"price":{"9" * 5000}' + "}"], ids=["infinite", "minus infinite", "longer than any line", "too many digits"])  # fmt: skip
def test_a_number_that_no_ledger_can_keep_and_a_line_without_end(table, line):
    answer = taken(table, [LOT.replace("L-01", "L-02"), line])
    assert (answer.status, len(answer.err)) == (2, 1)
    assert "line 2:" in answer.err[0]
    assert len(answer.err[0]) < 300


def test_a_name_in_no_encoding_comes_back_from_an_export(tmp_path):
    import os

    table = Table(tmp_path, two_sides())
    file = table.file(os.fsdecode(b"b\xe9ta.dump"), table.on_a_day("B", "pass")[0])
    assert table.record(file, "--disc", table.serials[0], "--side", "B").status == 0
    assert taken(table, lines(table)).status == 0
    assert said("ledger", "export", "--ledger", tmp_path / "other.sqlite").out == table.done("ledger", "export").out


def test_a_master_in_a_folder_of_no_encoding_opens_a_batch_whose_export_can_be_taken(tmp_path):
    import os
    import shutil

    table = Table(tmp_path, two_sides())
    folder = tmp_path / os.fsdecode(b"b\xe9ta")
    shutil.copytree(table.master.path, folder / "master")
    answer = table.said("batch", "open", folder / "master", "--good", 1, *table.bench, "--json")
    assert (answer.status, answer.json[0]["batch"]) == (0, "B-0002")
    assert taken(table, lines(table)).status == 0


@pytest.mark.parametrize(("change", "told"), [
    ({"lots": []}, "lot"), ({"drives": []}, "drive"), ({"lots": ["L-99"]}, "L-99"), ({"lots": [7]}, "7"), ({"lots": [["L-07"]]}, "L-07"), ({"sides": {}}, "sides"),
    ({"sides": {"C": "mfm-40x9x512"}}, "sides"), ({"sides": {"A": 3}}, "sides"), ({"digest": "0" * 64}, "new revision"), ({"batch": "B9 "}, "name"),
    ({"zones": {"A": 3}}, "zones"), ({"zones": {"A": [[0, 0, "x", 9]]}}, "zones"), ({"path": 3}, "path"),
    ({"revision": 3}, "revision"), ({"catalogue": ""}, "catalogue"),
])  # fmt: skip
def test_a_batch_that_can_not_be_is_refused(table, change, told):
    before = lines(table)
    batch = next(json.loads(line) for line in before if '"kind":"batch"' in line)
    answer = taken(table, [json.dumps(batch | {"batch": "B-0099"} | change)], "ledger.sqlite")
    assert (answer.status, len(answer.err)) == (2, 1), answer
    assert told in answer.err[0]
    assert lines(table) == before


@pytest.mark.parametrize(("data", "told"), [(b"\xff\xfe", "not UTF-8"), (None, "can't be read")])
def test_a_file_that_is_no_text_or_not_there(tmp_path, data, told):
    if data is not None:
        (tmp_path / "rows.jsonl").write_bytes(data)
    Ledger.open(tmp_path / "ledger.sqlite", create=True).__exit__()
    answer = said("ledger", "import", tmp_path / "rows.jsonl", "--ledger", tmp_path / "ledger.sqlite")
    assert (answer.status, len(answer.err)) == (2, 1)
    assert told in answer.err[0]


def test_a_geometry_that_this_program_does_not_know_keeps_no_ledger_from_being_used(table):
    batch = next(json.loads(line) for line in lines(table) if '"kind":"batch"' in line)
    known = batch.pop("zones")
    for name, more in (("unknown.sqlite", {}), ("told.sqlite", {"zones": known})):
        made = [line for line in lines(table) if '"kind":"lot"' in line or '"kind":"drive"' in line]
        made.append(json.dumps(batch | {"sides": {"A": "no-such-geometry"}} | more))
        made += [line for line in lines(table) if '"serial"' in line and '"side":"B"' not in line and '"on_disc":"' not in line]
        made = [line for line in made if '"batch":"B-0002"' not in line]
        assert taken(table, made, name).status == 0
        other = ("--ledger", table.folder / name)
        assert said("rates", "--by", "lot", "--json", *other).json[0]["discs"] > 0
        answer = said("rates", "--by", "track", *other)
        assert answer.status == (0 if more else 2)
        assert more or "no-such-geometry" in answer.err[0]


@pytest.mark.parametrize("name", ["none/ledger.sqlite", "other.sqlite"])
def test_no_import_begins_a_ledger(table, name):
    file = table.file("rows.jsonl", LOT.encode())
    answer = said("ledger", "import", file, "--ledger", table.folder / name)
    assert (answer.status, len(answer.err)) == (2, 1)
    assert "obverse shop new" in answer.err[0]
    assert not (table.folder / name).exists()


# Check


def test_a_sound_ledger_passes_each_check(table):
    answer = table.said("ledger", "check", "--json")
    assert answer.status == 0
    *checks, end = answer.json
    assert checks == [{"check": name, "ok": True, "problems": []} for name in ("database", "chain", "tables")]
    last = table.done("ledger", "export").json[-1]
    assert (end["rows"], end["digest"]) == (len(table.rows()), last["chain"])
    assert table.said("ledger", "check").out[-1] == f"{end['rows']} rows, the last with the digest {end['digest']}"


def test_a_digest_that_was_written_down_says_later_whether_its_row_is_still_there(table):
    early = table.done("ledger", "export").json[7]["chain"]
    assert table.done("ledger", "check", "--digest", early).out[3] == "good   digest"
    answer = table.said("ledger", "check", "--digest", "0" * 64, "--json")
    assert (answer.status, [line["check"] for line in answer.json if not line["ok"]]) == (1, ["digest"])


def test_an_export_that_was_changed_in_one_byte_is_refused_and_one_that_was_not_keeps_its_digests(table):
    exported = table.done("ledger", "export").out
    assert taken(table, exported).status == 0
    assert said("ledger", "export", "--ledger", table.folder / "other.sqlite").out == exported
    for number, (old, new) in enumerate([("mould", "would"), ('"void":true', '"void":false'), ("L-09", "L-07")]):
        place = next(place for place, line in enumerate(exported) if old in line)
        changed = [line.replace(old, new) if at == place else line for at, line in enumerate(exported)]
        answer = taken(table, changed, f"changed-{number}.sqlite")
        assert answer.status == 2
        assert f"line {place + 1}: it is not what was exported" in answer.err[0]
    for part in (
        exported[1:],
        exported[:3] + exported[4:],
        [*exported[:3], lines(table)[3], *exported[4:]],
        [lines(table)[0], *exported[1:]],
    ):
        assert "chain" in taken(table, part, "part.sqlite").err[0]


def test_recorded_files_that_are_still_there_are_proved(tmp_path):
    table = Table(tmp_path, two_sides())
    for serial, day in zip(table.serials, ("pass", "marginal", "pass"), strict=False):
        table.read(serial, "B", day)
    table.done("ledger", "check", "--reads")
    (table.folder / f"{table.serials[0]}-B.dump").unlink()  # gone is nobody's fault
    table.done("ledger", "check", "--reads")
    report = table.folder / f"{table.serials[1]}-B.report.csv"
    report.write_text(report.read_text().replace("soft", "good"))
    table.file(f"{table.serials[2]}-B.dump", table.on_a_day("B", "fail")[0])
    answer = table.said("ledger", "check", "--reads", "--json")
    [checked] = [line for line in answer.json if line["check"] == "reads"]
    assert (answer.status, len(checked["problems"])) == (1, 2)


def edited(table: Table, *statements: str) -> Answer:
    """What the check says after someone was at the file with a program for databases."""
    with closing(sqlite3.connect(table.ledger, isolation_level=None)) as other:
        for statement in statements:
            assert other.execute(statement).rowcount != 0, f"{statement}: changed nothing"
    return table.said("ledger", "check", "--json")


def bad(answer: Answer) -> list[str]:
    """The checks that failed, each with a problem."""
    assert answer.status == (0 if all(line["ok"] for line in answer.json) else 1)
    assert all(line["ok"] != bool(line["problems"]) for line in answer.json)
    return [line["check"] for line in answer.json if not line["ok"]]


@pytest.mark.parametrize("statement", [
    "UPDATE log SET text = replace(text, '\"fail\"', '\"pass\"') WHERE text LIKE '%\"kind\":\"read\"%' AND text LIKE '%\"fail\"%'",
    "UPDATE log SET text = replace(text, 'mould', 'mould ') WHERE text LIKE '%mould%'",
    "UPDATE log SET digest = upper(digest) WHERE number = 5",
    "UPDATE log SET digest = (SELECT digest FROM log WHERE number = 4) WHERE number = 5",
    "DELETE FROM log WHERE number = (SELECT max(number) FROM log)",
    "UPDATE log SET number = number + 100 WHERE number = (SELECT max(number) FROM log)",
    "UPDATE log SET text = CAST(text AS BLOB) WHERE number = 1",
])  # fmt: skip
def test_an_edited_log_is_found(table, statement):
    assert "chain" in bad(edited(table, statement))


def test_the_first_row_that_was_changed_is_named(table):
    answer = edited(table, "UPDATE log SET text = replace(text, 'L-07', 'L-70') WHERE number IN (1, 7)")
    assert "row 1 " in answer.json[1]["problems"][0]


def test_a_row_chained_on_by_hand_over_the_end_is_found_when_it_can_not_be(table):
    """Who forges a whole chain is found only by a backup; who adds a row that contradicts the others is found at once."""
    with closing(sqlite3.connect(table.ledger, isolation_level=None)) as other:
        number, digest = other.execute("SELECT number, digest FROM log ORDER BY number DESC").fetchone()
        text = '{"kind":"lot","name":"L-07","count":1}'
        other.execute("INSERT INTO log VALUES (?, ?, ?)", (number + 1, text, chained(digest, text)))
    assert bad(table.said("ledger", "check", "--json")) == ["tables"]


@pytest.mark.parametrize("statement", [
    "UPDATE discs SET verdict = 0 WHERE verdict = 3",
    "UPDATE discs SET counts = 2 WHERE counts = 3",
    "UPDATE writings SET reader = (SELECT max(line) FROM drives) WHERE reader IS NOT NULL",
    "UPDATE sides SET verdict = 0",
    "UPDATE reads SET void = 0 WHERE void",
    "UPDATE reads SET verdict = 'pass' WHERE verdict = 'fail'",
    "UPDATE reads SET sha256 = NULL",
    "UPDATE writings SET drive = NULL",
    "UPDATE batches SET open = 1 WHERE NOT open",
    "UPDATE lots SET name = 'L-70' WHERE name = 'L-07'",
    "UPDATE drives SET name = 'D7' WHERE name = 'D1'",
    "UPDATE findings SET bad = 0 WHERE bad > 0",
    "DELETE FROM findings",
    "DELETE FROM sides WHERE disc = (SELECT max(disc) FROM sides)",
    "DELETE FROM reads WHERE line = (SELECT max(line) FROM reads)",
    "INSERT INTO findings SELECT line, 0, 39, 1, 0, 0 FROM reads WHERE verdict = 'pass' LIMIT 1",
    "INSERT INTO discs SELECT 1, 'SM-004-9999-X', catalogue, batch, 9999, lot, inner_box, dropped, imaged, verdict, state, counts, rewritten, first_read, first_bad, simulated, at FROM discs LIMIT 1",
])  # fmt: skip
def test_an_edited_table_is_found(table, statement):
    assert "tables" in bad(edited(table, statement))


def test_a_table_that_is_gone_is_found(table):
    with closing(sqlite3.connect(table.ledger, isolation_level=None)) as other:
        other.execute("DROP TABLE findings")
    answer = table.said("ledger", "check")
    assert answer.status in (1, 2)
    assert any("findings" in line for line in answer.out + answer.err)


def test_a_lost_index_is_no_lost_row(table):
    answer = edited(table, "DROP INDEX discs_by_batch")
    assert bad(answer) == ["database"]
    assert answer.json[0]["problems"] == ["index discs_by_batch is missing"]


@pytest.mark.parametrize(("statement", "told"), [
    ("CREATE TRIGGER later AFTER INSERT ON reads BEGIN UPDATE discs SET verdict = 0; END", "trigger later is not this program's"),
    ("CREATE VIEW good AS SELECT * FROM discs WHERE verdict = 0", "view good is not this program's"),
    ("CREATE TABLE notes (text)", "table notes is not this program's"),
])  # fmt: skip
def test_what_someone_put_into_the_database_is_told(table, statement, told):
    answer = edited(table, statement)
    assert bad(answer) == ["database"]
    assert answer.json[0]["problems"] == [told]


COMMANDS = [
    ("ledger", "check"), ("ledger", "export"), ("lot", "list"), ("drive", "list"), ("batch", "list"), ("batch", "show", "B-0001"),
    ("batch", "show", "B-0001", "SM-004-0001-X"), ("rates", "--by", "lot"), ("rates", "--by", "track"), ("lot", "add", "L-77"),
]  # fmt: skip


def mutants(data: bytes, count: int, seed: int = 1):
    """Copies of a ledger with some bytes changed: any byte, or one of a text that is there."""
    import random

    rng = random.Random(seed)
    words = [b'"verdict":"', b'"kind":"', b'"lots":[', b'"good":', b'"at":"', b"CREATE TABLE ", b'"sides":{']
    for number in range(count):
        made = bytearray(data)
        for _ in range(rng.choice((1, 1, 4, 40))):
            place = rng.randrange(100, len(made))
            if number % 2 and (word := made.find(rng.choice(words), place)) >= 0:
                place = word + rng.randrange(24)
            made[place] = rng.choice((rng.randrange(256), rng.choice(b'"{}[]0a')))
        yield bytes(made)


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.campaign) for seed in range(2, 60))])
def test_a_damaged_ledger_gives_one_line_and_never_a_traceback(table, seed):
    data = table.ledger.read_bytes()
    for number, made in enumerate(mutants(data, 30, seed)):
        for words in COMMANDS:
            table.ledger.write_bytes(made)
            for left in table.folder.glob("*-journal"):
                left.unlink()
            answer = table.said(*words)
            assert answer.status in ((0, 1, 2) if words[1] == "check" else (0, 2)), (number, words, answer)
            assert answer.status == 0 or words[1] == "check" or len(answer.err) == 1, (number, words, answer)


def test_the_whole_log_emptied_is_found(table):
    assert "chain" in bad(edited(table, "DELETE FROM log"))


def test_people_are_told_which_check_failed_and_where(table):
    edited(table, "UPDATE discs SET verdict = 0 WHERE verdict = 3")
    answer = table.said("ledger", "check")
    out = answer.out
    assert out[:3] == ["good   database", "good   chain", "BAD    tables"]
    assert re.fullmatch(r" {7}table discs: holds line \d+, verdict 0, where the log gives line \d+, verdict 3", out[3])
    assert len(answer.err) == 1 and "ledger export" in answer.err[0] and "ledger import" in answer.err[0]
    edited(table, "DELETE FROM log WHERE number = (SELECT max(number) FROM log)")
    [advice] = table.said("ledger", "check").err
    assert "go on with the newest backup" in advice and "ledger export" not in advice


def test_a_sound_ledger_needs_no_advice(table):
    assert table.done("ledger", "check").err == []


@pytest.mark.parametrize("text", ["", "\n\r\n"])
def test_importing_nothing_is_told(table, text):
    """What a ledger without rows exports can be imported like any other."""
    file = table.file("rows.jsonl", text.encode())
    rows = table.rows()
    assert table.done("ledger", "import", file).err == [f"0 rows imported: {file} has no line"]
    assert table.rows() == rows


def test_each_digest_is_over_the_one_before_and_the_rows_text(table):
    import hashlib

    with closing(sqlite3.connect(table.ledger)) as other:
        before = START
        for text, digest in other.execute("SELECT text, digest FROM log ORDER BY number"):
            before = hashlib.sha256(f"{before}{text}".encode()).hexdigest()
            assert digest == before
