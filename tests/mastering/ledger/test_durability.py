"""What was printed is in the ledger: after a kill at any moment, in a copy taken at any moment, with several recorders at work."""

import fcntl
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from pathlib import Path
from types import SimpleNamespace

import pytest
from table import Table, said, two_sides

from mastering import platform
from mastering.ledger.store import PATIENCE, Ledger


def campaign(seeds: range) -> list:
    """Seeds for long runs."""
    return [pytest.param(seed, marks=pytest.mark.campaign) for seed in seeds]


class Recorder:
    """`batch record` in a process of its own. `printed`: what it has acknowledged so far."""

    def __init__(self, table: Table, folder: Path, name: str) -> None:
        self.output = table.folder / f"{name}.jsonl"
        command = [sys.executable, "-m", "mastering.cli.main", "batch", "record", table.batch, folder, "--json", "--ledger", table.ledger]
        with self.output.open("wb") as out, (table.folder / f"{name}.err").open("wb") as err:
            self.process = subprocess.Popen(command, stdout=out, stderr=err)

    def __enter__(self) -> "Recorder":
        return self

    def __exit__(self, *error: object) -> None:
        self.process.kill()
        self.process.wait()

    @property
    def printed(self) -> list[dict]:
        """The read lines that it has printed to their ends."""
        whole = self.output.read_bytes().rpartition(b"\n")[0].splitlines()
        return [line for line in map(json.loads, whole) if "read" in line]

    def wait_for(self, count: int) -> None:
        """Waits until it has printed so many lines, or has ended."""
        while len(self.printed) < count and self.process.poll() is None:
            time.sleep(0.002)

    def stop(self) -> None:
        """Stops it where it is; returns when it stands still, or has ended."""
        if self.process.poll() is not None:
            return
        os.kill(self.process.pid, signal.SIGSTOP)  # not `send_signal`, which would take the status of one that has just ended
        os.waitid(os.P_PID, self.process.pid, os.WSTOPPED | os.WEXITED | os.WNOWAIT)


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides(), discs=8)


def copies(table: Table, name: str, serials: list[str], reads: int) -> Path:
    """A folder with so many good dumps of side B for each disc, and now and then a bad one."""
    folder = table.folder / name
    folder.mkdir()
    good, bad = (table.file(f"{name}-{day}", table.on_a_day("B", day)[0]) for day in ("pass", "fail"))
    for serial in serials:
        for number in range(reads):
            shutil.copy(bad if number % 3 == 1 else good, folder / f"{serial}-B-{name}{number}.dump")
    return folder


def acknowledged(lines: list[dict]) -> list[tuple[str, int, str]]:
    return sorted((line["serial"], line["read"], Path(line["readback"]).name) for line in lines)


def in_ledger(ledger: Path) -> list[tuple[str, int, str]]:
    """The reads in a ledger that passes its check."""
    assert said("ledger", "check", "--ledger", ledger).status == 0
    return acknowledged([row for row in said("ledger", "export", "--ledger", ledger).json if row["kind"] == "read"])


@pytest.mark.parametrize("seed", [1, 2, *campaign(range(3, 40))])
def test_after_a_kill_at_any_moment_every_line_that_was_printed_is_in_the_ledger(table, seed):
    rng, folder = random.Random(seed), copies(table, "n", table.serials, 5)
    for attempt in range(3):
        with Recorder(table, folder, f"attempt-{attempt}") as recorder:
            recorder.wait_for(rng.randint(1, 35))
            time.sleep(rng.uniform(0, 0.03))
            recorder.process.kill()
            recorder.process.wait()
            printed = recorder.printed
        assert set(acknowledged(printed)) <= set(in_ledger(table.ledger))
    last = table.record(folder)
    assert len(last.reads) == 40
    assert len(in_ledger(table.ledger)) == 40  # what was recorded before the kills is not recorded again
    assert not list(table.folder.glob("ledger.sqlite-journal"))


@pytest.mark.parametrize("seed", [1, *campaign(range(2, 20))])
def test_a_copy_of_ledger_and_journal_taken_at_any_moment_opens_with_every_line_that_was_printed(table, seed):
    rng, folder = random.Random(seed), copies(table, "n", table.serials, 8)
    taken = []
    with Recorder(table, folder, "recorder") as recorder:
        recorder.wait_for(1)
        while recorder.process.poll() is None and len(taken) < 12:
            time.sleep(rng.uniform(0, 0.05))
            recorder.stop()
            copy = table.folder / f"copy-{len(taken)}.sqlite"
            shutil.copy(table.ledger, copy)
            journal = table.folder / "ledger.sqlite-journal"
            if journal.exists():
                shutil.copy(journal, f"{copy}-journal")
            taken.append((copy, recorder.printed))
            recorder.process.send_signal(signal.SIGCONT)
        assert recorder.process.wait(60) == 1  # some of the discs are bad
        assert acknowledged(recorder.printed) == in_ledger(table.ledger)
    assert len(taken) > 2
    for copy, printed in taken:
        assert set(acknowledged(printed)) <= set(in_ledger(copy))


def test_several_recorders_at_once_lose_nothing_and_no_two_reads_of_a_disc_have_one_number(table):
    names = ("n", "e", "s", "w")
    folders = {name: copies(table, name, [table.serials[k], table.serials[7]], 5) for k, name in enumerate(names)}
    recorders = [Recorder(table, folder, name) for name, folder in folders.items()]
    backups = []
    try:
        while any(each.process.poll() is None for each in recorders) and len(backups) < 5:
            before = [line for each in recorders for line in each.printed]
            backups.append((table.folder / f"backup-{len(backups)}.sqlite", before))
            assert said("ledger", "backup", backups[-1][0], "--ledger", table.ledger).status == 0
        assert [each.process.wait(120) for each in recorders] == [1] * 4
    finally:
        for each in recorders:
            each.__exit__()
    printed = [line for each in recorders for line in each.printed]
    assert len(printed) == 40
    assert acknowledged(printed) == in_ledger(table.ledger)
    assert [number for serial, number, _ in acknowledged(printed) if serial == table.serials[7]] == list(range(1, 21))
    for backup, before in backups:
        assert set(acknowledged(before)) <= set(in_ledger(backup))


def test_of_several_writers_each_gets_turns_while_the_others_want_theirs_and_no_reader_is_refused(table):
    """SQLite's own lock has no queue: one of four writers waited for 3 to 8 s, and one of 800 reads was refused."""
    turns: list[int] = []
    over = threading.Event()

    def wanted() -> bool:
        return min(turns.count(number) for number in range(4)) < 10 and len(turns) < 2_000

    def write(number: int) -> None:
        with Ledger.open(table.ledger) as ledger:
            for place in count():
                if not wanted():
                    break
                with ledger.write() as writer:
                    turns.append(number)
                    writer.add({"kind": "lot", "name": f"L-{number}-{place}", "count": 1})

    def look() -> None:
        with Ledger.open(table.ledger) as ledger:
            while not over.is_set():
                with ledger.read() as questions:
                    assert questions.rows() > 0

    with ThreadPoolExecutor(6) as pool:
        readers = [pool.submit(look) for _ in range(2)]
        writers = [pool.submit(write, number) for number in range(4)]
        try:
            for writer in writers:
                writer.result()
        finally:
            over.set()
        for reader in readers:
            reader.result()
    assert not wanted(), turns
    assert min(turns.count(number) for number in range(4)) >= 10, turns


def test_a_writer_that_has_to_wait_stands_in_the_systems_queue_and_asks_no_second_time(table, monkeypatch):
    """Who asks again and again has no place in a queue: whoever asks at the right moment is first."""
    asked: list[tuple[int, bool]] = []  # by which thread; whether it stays until it has the lock
    got: list[int] = []

    def flock(handle: int, how: int) -> None:
        if threading.current_thread() is not threading.main_thread():
            asked.append((threading.get_ident(), not how & fcntl.LOCK_NB))
        fcntl.flock(handle, how)

    def write(number: int) -> None:
        with Ledger.open(table.ledger) as ledger, ledger.write() as writer:
            writer.add({"kind": "lot", "name": f"L-{number}", "count": 1})
            got.append(number)

    ours = SimpleNamespace(flock=flock, LOCK_EX=fcntl.LOCK_EX, LOCK_NB=fcntl.LOCK_NB)
    monkeypatch.setattr(platform, "_locks", lambda: ours)
    with ThreadPoolExecutor(3) as pool:
        with Ledger.open(table.ledger) as ledger, ledger.write():
            writers = [pool.submit(write, number) for number in range(3)]
            over = time.monotonic() + PATIENCE
            while sum(stays for _, stays in asked) < 3 and time.monotonic() < over:
                time.sleep(0.002)
            first = list(asked)
        for writer in writers:
            writer.result()
    assert sorted(stays for _, stays in first) == [False] * 3 + [True] * 3  # each tried once, then took its place
    assert sum(stays for _, stays in asked) <= sum(not stays for _, stays in asked)  # and never again
    assert sorted(got) == [0, 1, 2]


def test_serials_handed_out_by_several_at_once_are_all_different(table):
    command = [sys.executable, "-m", "mastering.cli.main", "batch", "serials", table.batch, "--count", "5", "--ledger", table.ledger]
    handing = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(4)]
    out = [each.communicate(timeout=120)[0].split() for each in handing]
    handed = [serial for each in out for serial in each]
    assert len(set(handed)) == 20
    assert not set(handed) & set(table.serials)
    assert table.sound()


def test_a_ledger_that_another_begins_while_this_one_looks_is_that_ledger(tmp_path, monkeypatch):
    """What the file is was asked in three questions; a ledger that was begun between two of them was taken for another program's."""
    path = tmp_path / "ledger.sqlite"
    path.touch()
    ask = Ledger._pragma
    other = threading.Thread(target=lambda: Ledger.open(path, create=True).__exit__())

    def asked(self, name):
        answer = ask(self, name)
        if name == "application_id" and not other.ident:
            other.start()
            other.join(0.5)  # it has begun the ledger by then, or waits until this one has looked
        return answer

    monkeypatch.setattr(Ledger, "_pragma", asked)
    with Ledger.open(path, create=True) as ledger, ledger.read() as questions:
        assert questions.rows() == 0
    other.join()


def test_a_ledger_that_several_begin_at_once_is_one_ledger(tmp_path):
    ledger = tmp_path / "ledger.sqlite"
    ledger.touch()
    beginning = [threading.Thread(target=lambda: Ledger.open(ledger, create=True).__exit__()) for _ in range(4)]
    for thread in beginning:
        thread.start()
    for thread in beginning:
        thread.join()
    command = [sys.executable, "-m", "mastering.cli.main", "lot", "add", "--ledger", ledger]
    adding = [subprocess.Popen([*command, f"L-{number}"], stderr=subprocess.PIPE, text=True) for number in range(5)]
    assert [(each.communicate(timeout=120)[1], each.returncode) for each in adding] == [("", 0)] * 5
    assert sorted(line["name"] for line in said("lot", "list", "--json", "--ledger", ledger).json) == [f"L-{n}" for n in range(5)]
    assert said("ledger", "check", "--ledger", ledger).status == 0


def test_an_import_that_is_killed_leaves_all_or_nothing(table):
    lot = '{{"kind":"lot","name":"L-{}","count":1}}\n'
    rows = table.folder / "rows.jsonl"
    rows.write_text("".join(lot.format(n) for n in range(100, 20_100)))
    before, rng = table.done("ledger", "export").out, random.Random(1)
    command = [sys.executable, "-m", "mastering.cli.main", "ledger", "import", rows, "--ledger", table.ledger]
    for _ in range(3):
        importing = subprocess.Popen(command, stderr=subprocess.PIPE)
        time.sleep(rng.uniform(0.3, 1.5))
        importing.kill()
        importing.communicate()
        assert len(table.done("ledger", "export").out) in (len(before), len(before) + 20_000)
        assert table.sound()
