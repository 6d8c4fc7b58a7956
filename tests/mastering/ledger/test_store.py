"""The ledger's file: how it is kept, and one clear line for everything that can be wrong with it."""

import ctypes
import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing

import pytest
from table import Table, one_side, said, two_sides

from mastering.ledger import migrating, migrations, store
from mastering.ledger.log_writer import START, chained
from mastering.ledger.store import APPLICATION, Ledger, LedgerError
from mastering.ledger.tables import METADATA, VERSION

EXTRA = 3  # PRAGMA synchronous, as SQLite's documentation numbers it
LOT = {"kind": "lot", "name": "L-01", "count": 10}


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides())


def asked(ledger: Ledger, pragma: str):
    return ledger._connection.exec_driver_sql(f"PRAGMA {pragma}").scalar_one()


def told(table: Table, *words: object) -> str:
    """The one line of a command that can't be carried out."""
    answer = table.said(*words)
    assert (answer.status, answer.out, len(answer.err)) == (2, [], 1), answer
    return answer.err[0]


# How it is kept


@pytest.mark.parametrize("again", [False, True])
def test_journal_and_flushing_are_as_documented_on_the_open_connection(tmp_path, again):
    path = tmp_path / "ledger.sqlite"
    if again:
        Ledger.open(path, create=True).__exit__()
    with Ledger.open(path, create=True) as ledger:
        assert (asked(ledger, "journal_mode"), asked(ledger, "synchronous")) == ("delete", EXTRA)
        with ledger.write() as writer:
            assert (asked(ledger, "journal_mode"), asked(ledger, "synchronous")) == ("delete", EXTRA)
            writer.add(LOT)


def test_a_ledger_left_in_another_journal_mode_comes_back_to_its_own(table):
    with closing(sqlite3.connect(table.ledger)) as other:
        other.execute("PRAGMA journal_mode = WAL")
    table.read(table.serials[0], "A")
    assert sorted(path.name for path in table.folder.glob("ledger*")) == ["ledger.sqlite"]
    assert table.sound()


def test_when_nobody_writes_the_ledger_is_one_file(table):
    table.read(table.serials[0], "A")
    assert sorted(path.name for path in table.folder.glob("ledger*")) == ["ledger.sqlite"]
    shutil.copy(table.ledger, table.folder / "copy.sqlite")
    assert said("ledger", "export", "--ledger", table.folder / "copy.sqlite").json == table.done("ledger", "export").json


def test_a_transaction_that_fails_leaves_nothing(table):
    rows = table.rows()
    with Ledger.open(table.ledger) as ledger, pytest.raises(RuntimeError, match="half way"), ledger.write() as writer:
        writer.add(LOT)
        writer.flush()
        raise RuntimeError("half way")
    assert table.rows() == rows
    assert table.sound()


# Others at work


@pytest.mark.parametrize("lock", ["IMMEDIATE", "EXCLUSIVE"])
def test_a_ledger_that_another_program_holds_is_waited_for_and_then_told(table, monkeypatch, lock):
    monkeypatch.setattr(store, "PATIENCE", 0.1)
    file = table.file(f"{table.serials[0]}-A.dump", table.on_a_day("A", "pass")[0])
    with closing(sqlite3.connect(table.ledger, isolation_level=None)) as other:
        other.execute(f"BEGIN {lock}")
        assert "locked" in told(table, "lot", "add", "L-08")
        if lock == "IMMEDIATE":  # others may still read
            [error] = table.record(file).errors
        else:
            [error] = table.said("batch", "record", table.batch, file, "--json").err
        assert "locked" in error
    assert table.reads() == []
    assert table.record(file).status == 0


def test_it_waits_until_the_other_is_done(table):
    other = sqlite3.connect(table.ledger, isolation_level=None, check_same_thread=False)
    other.execute("BEGIN EXCLUSIVE")
    timer = threading.Timer(0.3, other.execute, ["COMMIT"])
    timer.start()
    try:
        assert table.said("lot", "add", "L-08").status == 0
    finally:
        timer.join()
        other.close()


# What is no ledger


def test_a_missing_ledger_and_a_missing_folder(table):
    assert "no such ledger" in said("lot", "list", "--ledger", table.folder / "none.sqlite").err[0]
    answer = said("lot", "add", "L-01", "--ledger", table.folder / "none" / "ledger.sqlite")
    assert (answer.status, len(answer.err)) == (2, 1)
    assert "obverse shop new" in answer.err[0]
    assert not (table.folder / "none").exists()


def test_a_folder_is_no_ledger(table):
    table.ledger.unlink()
    table.ledger.mkdir()
    for words in (("lot", "list"), ("lot", "add", "L-08"), ("ledger", "check")):
        assert "can't be opened" in told(table, *words)


@pytest.mark.parametrize("data", [b"not a database at all\n" * 100, b"xy"])
def test_what_is_no_database_is_left_as_it_is(table, data):
    table.ledger.write_bytes(data)
    for words in (("lot", "list"), ("lot", "add", "L-08"), ("ledger", "check"), ("ledger", "export")):
        assert "no database" in told(table, *words)
    assert table.ledger.read_bytes() == data


@pytest.mark.parametrize("mark", ["PRAGMA user_version = 0", f"PRAGMA user_version = {VERSION}", "PRAGMA application_id = 7"])
def test_another_programs_database_is_left_as_it_is(table, mark):
    table.ledger.unlink()
    with closing(sqlite3.connect(table.ledger)) as other:
        other.execute("CREATE TABLE recipes (name TEXT)")
        other.execute(mark)
        other.commit()
    before = table.ledger.read_bytes()
    for words in (("lot", "list"), ("lot", "add", "L-08"), ("ledger", "check")):
        assert "no ledger of this program" in told(table, *words)
    assert table.ledger.read_bytes() == before


def test_a_newer_programs_ledger_is_left_as_it_is(table):
    with closing(sqlite3.connect(table.ledger)) as other:
        other.execute(f"PRAGMA user_version = {VERSION + 1}")
    before = table.ledger.read_bytes()
    for words in (("lot", "list"), ("lot", "add", "L-08"), ("ledger", "check"), ("ledger", "backup", table.folder / "copy")):
        assert "newer version" in told(table, *words)
    assert table.ledger.read_bytes() == before
    assert not (table.folder / "copy").exists()


def test_an_empty_file_becomes_a_ledger_only_where_one_may_begin(tmp_path):
    (tmp_path / "ledger.sqlite").touch()
    for words in (("lot", "list"), ("rates",), ("ledger", "check"), ("batch", "close", "B-0001")):
        answer = said(*words, "--ledger", tmp_path / "ledger.sqlite")
        assert (answer.status, answer.out, len(answer.err)) == (2, [], 1)
        assert "empty" in answer.err[0]
    assert (tmp_path / "ledger.sqlite").stat().st_size == 0
    Ledger.open(tmp_path / "ledger.sqlite", create=True).__exit__()
    assert said("ledger", "check", "--ledger", tmp_path / "ledger.sqlite").status == 0


# Damage


@pytest.fixture
def grown(tmp_path) -> Table:
    """A ledger of many pages."""
    table = Table(tmp_path, one_side(), discs=4)
    table.hand_out(400)
    return table


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.99])
def test_a_ledger_that_ends_early_is_told(grown, share):
    data = grown.ledger.read_bytes()
    grown.ledger.write_bytes(data[: int(len(data) * share)])
    answer = grown.said("ledger", "check")
    assert answer.status in (1, 2)
    assert answer.status == 2 or any(line.startswith("BAD") for line in answer.out)
    if share > 0.9:
        return  # what the last page held is missed only by those who ask for it
    for words in (("lot", "add", "L-08"), ("batch", "serials", grown.batch)):
        answer = grown.said(*words)
        assert (answer.status, len(answer.err)) == (2, 1)
        assert "damaged" in answer.err[0]


@pytest.mark.parametrize("count", [8, pytest.param(10**6, marks=pytest.mark.campaign)])
def test_a_page_of_garbage_is_found(grown, count):
    """The first, the last and some others; all of them take a tenth of a second each."""
    data, size = grown.ledger.read_bytes(), 4096
    pages = range(1, len(data) // size)
    for page in {pages[0], pages[-1], *random.Random(len(data)).sample(pages, min(count, len(pages)))}:
        grown.ledger.write_bytes(data[: page * size] + b"\xa5" * size + data[(page + 1) * size :])
        assert grown.said("ledger", "check").status in (1, 2), page


def test_a_backup_of_a_damaged_ledger_is_not_called_good(grown):
    data = grown.ledger.read_bytes()
    grown.ledger.write_bytes(data[: len(data) // 2])
    assert grown.said("ledger", "backup", grown.folder / "copy").status == 2
    assert not (grown.folder / "copy").exists()


# What can't be written


def opened_with(monkeypatch, change):
    """Every ledger is opened by a connection that was changed first."""
    connect = sqlite3.connect

    def changed(*arguments, **keys):
        made = connect(*arguments, **keys)
        change(made)
        return made

    monkeypatch.setattr(store.sqlite3, "connect", changed)


def test_a_ledger_that_can_only_be_read_is_read_and_not_written(table, monkeypatch):
    connect = sqlite3.connect
    with monkeypatch.context() as patched:  # as root every file can be written: SQLite itself is told that this one can't
        patched.setattr(store.sqlite3, "connect", lambda name, **keys: connect(name.replace("mode=rw", "mode=ro"), **keys))
        file = table.file(f"{table.serials[0]}-A.dump", table.on_a_day("A", "pass")[0])
        assert table.said("batch", "show", table.batch).status == 0
        assert "read-only" in told(table, "lot", "add", "L-08")
        assert "read-only" in table.record(file).errors[0]
    assert table.reads() == []
    assert table.sound()


def give_up_root() -> None:
    """Takes from root what lets it write files that say they can't be written: prctl(PR_CAPBSET_DROP, CAP_DAC_OVERRIDE)."""
    if os.getuid() == 0:
        assert ctypes.CDLL(None).prctl(24, 1, 0, 0, 0) == 0


def as_a_guest(table: Table, *words: object) -> tuple[int, list[str]]:
    """Status and messages of a command run by someone whom a file's mode holds off."""
    command = [sys.executable, "-m", "mastering.cli.main", *map(str, words), "--ledger", table.ledger]
    done = subprocess.run(command, capture_output=True, text=True, check=False, preexec_fn=give_up_root)
    assert "Traceback" not in done.stderr
    return done.returncode, done.stderr.splitlines()


@pytest.mark.parametrize("what", ["file", "folder"])
def test_a_read_only_file_or_folder_is_read_and_not_written(table, what):
    place = table.ledger if what == "file" else table.folder
    place.chmod(0o444 if what == "file" else 0o555)
    before = table.ledger.read_bytes()
    try:
        assert as_a_guest(table, "batch", "show", table.batch) == (0, [])
        status, [told] = as_a_guest(table, "lot", "add", "L-08")
        assert status == 2
        assert "can't be" in told
        assert table.ledger.read_bytes() == before
    finally:
        place.chmod(0o755)
    assert table.sound()


def test_a_full_disk_is_told_and_nothing_is_half_done(table, monkeypatch):
    rows, pages = table.rows(), table.ledger.stat().st_size // 4096
    with monkeypatch.context() as patched:
        opened_with(patched, lambda made: made.execute(f"PRAGMA max_page_count = {pages}"))
        assert "disk is full" in told(table, "batch", "serials", table.batch, "--count", 1000)
        copies = table.folder / "copies"
        copies.mkdir()
        for serial in table.serials:
            (copies / f"{serial}-A.dump").write_bytes(bytes(512) * 280)
        answer = table.record(copies)
        assert answer.status == 2
        assert all("disk is full" in error for error in answer.errors)
        kept = len(answer.reads)
        assert kept < len(table.serials)
    assert len(table.rows()) == len(rows) + kept
    assert table.sound()


def test_no_room_for_a_new_ledger_leaves_no_ledger(tmp_path, monkeypatch):
    opened_with(monkeypatch, lambda made: made.execute("PRAGMA max_page_count = 3"))
    with pytest.raises(LedgerError, match="disk is full"):
        Ledger.open(tmp_path / "ledger.sqlite", create=True)
    monkeypatch.undo()
    Ledger.open(tmp_path / "ledger.sqlite", create=True).__exit__()


# Backups


def test_a_backup_is_the_whole_ledger_and_replaces_nothing(table):
    copy = table.folder / "copy.sqlite"
    table.done("ledger", "backup", copy)
    assert said("ledger", "export", "--ledger", copy).json == table.done("ledger", "export").json
    before = copy.read_bytes()
    assert "exists already" in told(table, "ledger", "backup", copy)
    assert copy.read_bytes() == before


def test_a_backup_into_no_folder_is_told(table):
    for target in (table.folder / "none" / "copy", table.ledger / "copy"):
        assert told(table, "ledger", "backup", target) == f"obverse: {target}: can't be written: its folder is not there"
    assert "exists already" in told(table, "ledger", "backup", table.folder)


def test_a_backup_while_another_writes_holds_what_was_acknowledged(table):
    with closing(sqlite3.connect(table.ledger, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE batches SET open = 0")
        table.done("ledger", "backup", table.folder / "copy")
        other.execute("ROLLBACK")
    assert said("ledger", "check", "--ledger", table.folder / "copy").status == 0


# Schema


def schema(connection) -> dict[str, object]:
    """Columns with types, keys and whether they may be null; uniques; what points where; indexes: of every table."""
    from sqlalchemy import inspect

    found = inspect(connection)
    return {
        name: (
            [(c["name"], str(c["type"]), c["nullable"]) for c in found.get_columns(name)],
            found.get_pk_constraint(name)["constrained_columns"],
            sorted(tuple(u["column_names"]) for u in found.get_unique_constraints(name)),
            sorted(
                (tuple(f["constrained_columns"]), f["referred_table"], tuple(f["referred_columns"])) for f in found.get_foreign_keys(name)
            ),
            sorted((i["name"], tuple(i["column_names"])) for i in found.get_indexes(name)),
        )
        for name in found.get_table_names()
    }


def test_the_migrated_schema_is_the_one_that_the_program_declares(tmp_path):
    from sqlalchemy import create_engine

    declared = create_engine("sqlite://")
    METADATA.create_all(declared)
    with Ledger.open(tmp_path / "ledger.sqlite", create=True) as ledger, declared.connect() as wanted:
        assert schema(ledger._connection) == schema(wanted)
        made, text = (
            {
                row.name: " ".join(row.sql.lower().replace("without rowid", "~").split())
                for row in each.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'table' AND sql IS NOT NULL")
            }
            for each in (ledger._connection, wanted)
        )
        assert {name: ("~" in sql, "autoincrement" in sql) for name, sql in made.items()} == {
            name: ("~" in sql, "autoincrement" in sql) for name, sql in text.items()
        }


def test_the_steps_are_numbered_without_a_gap_up_to_the_programs_version(tmp_path):
    assert [version for version, _ in migrations.steps(0)] == list(range(1, VERSION + 1))
    assert migrations.steps(VERSION) == []
    with Ledger.open(tmp_path / "ledger.sqlite", create=True) as ledger:
        assert (asked(ledger, "user_version"), asked(ledger, "application_id")) == (VERSION, APPLICATION)


def as_logged(path, lines: list[str]) -> None:
    """Puts rows into the log of a ledger of before, whose other tables nobody fills any more: they are taken anew from it."""
    with closing(sqlite3.connect(path)) as other:
        before = START
        for number, text in enumerate(lines, 1):
            before = chained(before, text)
            other.execute("INSERT INTO log VALUES (?, ?, ?)", (number, text, before))
        other.commit()


def test_a_ledger_of_each_earlier_version_is_brought_up_to_date(table, tmp_path, monkeypatch):
    """Its rows are the same, and its schema is that of a new one."""
    lines = [json.dumps(row, separators=(",", ":")) for row in table.rows()]
    with Ledger.open(table.ledger) as ledger:
        wanted = schema(ledger._connection)
    for earlier in range(1, VERSION):
        path = tmp_path / f"{earlier}.sqlite"
        with monkeypatch.context() as patched:
            known = [step for step in migrations.steps(0) if step[0] <= earlier]
            patched.setattr(store, "VERSION", earlier)
            patched.setattr(migrating, "steps", lambda since, known=known: [step for step in known if step[0] > since])
            patched.setattr(migrating, "replays", lambda since: False)
            Ledger.open(path, create=True).__exit__()
        as_logged(path, lines)
        assert said("ledger", "check", "--ledger", path).status == 0
        assert said("ledger", "export", "--ledger", path).json == table.done("ledger", "export").json
        with Ledger.open(path) as ledger:
            assert asked(ledger, "user_version") == VERSION
            assert schema(ledger._connection) == wanted


def second_step(monkeypatch, *statements: str) -> None:
    """Makes up a next version of the program."""
    first = migrations.steps(0)
    made = [*first, (VERSION + 1, statements)]
    monkeypatch.setattr(store, "VERSION", VERSION + 1)
    monkeypatch.setattr(migrating, "steps", lambda since: [step for step in made if step[0] > since])


def test_a_next_step_is_taken_when_the_ledger_is_opened(table, monkeypatch):
    rows = table.rows()
    second_step(monkeypatch, "ALTER TABLE lots ADD COLUMN colour TEXT")
    with Ledger.open(table.ledger) as ledger:
        assert asked(ledger, "user_version") == VERSION + 1
        assert "colour" in str(schema(ledger._connection)["lots"])
    assert table.rows() == rows


def test_a_step_that_fails_leaves_the_version_before_untouched(table, monkeypatch):
    before = table.ledger.read_bytes()
    with monkeypatch.context() as patched:
        second_step(patched, "ALTER TABLE lots ADD COLUMN colour TEXT", "UPDATE drives SET name = 'D'", "INSERT INTO nowhere VALUES (1)")
        with pytest.raises(LedgerError, match="nowhere"):
            Ledger.open(table.ledger)
    assert table.ledger.read_bytes() == before
    with Ledger.open(table.ledger) as ledger:
        assert asked(ledger, "user_version") == VERSION
    assert table.sound()
