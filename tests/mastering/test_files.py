"""Files appear whole, under a name that was free, flushed with their folder; what a killed command left is cleared by a later one."""

import os
import threading
import time
from pathlib import Path

import pytest

from mastering import platform
from mastering.errors import MasteringError
from mastering.files import new_file, sweep, write_file, write_folder
from mastering.platform import QueueTimeoutError, first_in_queue


@pytest.fixture
def flushed(monkeypatch) -> list[str]:
    """The paths that were flushed, in their order."""
    paths: list[str] = []
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (paths.append(str(Path(f"/proc/self/fd/{handle}").readlink())), real(handle))[1])
    return paths


def test_a_file_is_flushed_and_then_the_folder_that_names_it(tmp_path, flushed):
    write_file(tmp_path / "image.dump", b"data")
    assert flushed[-1] == str(tmp_path)
    assert len(flushed) == 2


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_came_to_be_meanwhile_is_not_replaced(tmp_path, monkeypatch, links):
    if not links:
        monkeypatch.delattr(os, "link")
    target = tmp_path / "copy.sqlite"
    with pytest.raises(MasteringError, match="exists already"), new_file(target) as beside:
        beside.write_bytes(b"ours")
        target.write_bytes(b"theirs")
    assert target.read_bytes() == b"theirs"
    assert [path.name for path in tmp_path.iterdir()] == ["copy.sqlite"]


@pytest.mark.parametrize("links", [True, False])
def test_a_file_gets_its_name_whole_on_every_system(tmp_path, monkeypatch, links):
    if not links:
        monkeypatch.delattr(os, "link")
    write_file(tmp_path / "image.dump", b"data")
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("image.dump", b"data")]


def test_a_folder_that_came_to_be_meanwhile_is_not_replaced_though_it_is_empty(tmp_path, monkeypatch):
    target = tmp_path / "master"
    real = platform.give_folder_name

    def late(path, name):
        target.mkdir()
        real(path, name)

    monkeypatch.setattr("mastering.files.give_folder_name", late)
    with pytest.raises(MasteringError):
        write_folder(target, {"a": b"x"})
    assert list(target.iterdir()) == []
    assert [path.name for path in tmp_path.iterdir()] == ["master"]


def test_only_the_programs_own_old_leftovers_are_swept(tmp_path):
    old, new = time.time() - 7200, time.time() - 60
    names = {
        ".ledger-B-0001.sqlite.4711.unfinished": True, ".ledger-B-0001.sqlite.4711.unfinished-journal": True, ".master.k3x_9.unfinished": True,
        ".notes.4711": False, "mine.unfinished": False, ".unfinished": False, "ledger.sqlite-journal": False,
    }  # fmt: skip
    for name in names:
        (tmp_path / name).write_bytes(b"x")
        os.utime(tmp_path / name, (old, old))
    (tmp_path / ".demo.9.unfinished").mkdir()
    (tmp_path / ".demo.9.unfinished" / "a").write_bytes(b"x")
    os.utime(tmp_path / ".demo.9.unfinished", (old, old))
    (tmp_path / ".busy.5.unfinished").write_bytes(b"x")
    os.utime(tmp_path / ".busy.5.unfinished", (new, new))
    sweep(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {name for name, ours in names.items() if not ours} | {".busy.5.unfinished"}


def test_the_next_command_sweeps_where_it_writes(tmp_path):
    left = tmp_path / ".image.dump.4711.unfinished"
    left.write_bytes(b"half")
    os.utime(left, (0, 0))
    write_file(tmp_path / "other.dump", b"data")
    assert [path.name for path in tmp_path.iterdir()] == ["other.dump"]


# Queues


def test_who_queues_first_is_served_first(tmp_path):
    served: list[int] = []

    def wait(number: int) -> None:
        with first_in_queue(tmp_path, 10):
            served.append(number)

    waiting = []
    with first_in_queue(tmp_path, 10):
        for number in range(5):
            waiting.append(threading.Thread(target=wait, args=(number,)))
            waiting[-1].start()
            time.sleep(0.05)
        assert served == []
    for thread in waiting:
        thread.join()
    assert served == [0, 1, 2, 3, 4]
    assert list(tmp_path.iterdir()) == []


def test_a_queue_that_does_not_move_is_left_and_keeps_nobody_out_later(tmp_path):
    with first_in_queue(tmp_path, 10), pytest.raises(QueueTimeoutError), first_in_queue(tmp_path, 0.05):
        pass
    with first_in_queue(tmp_path, 10):
        pass


def test_without_such_locks_everyone_is_let_in(tmp_path, monkeypatch):
    monkeypatch.setattr(platform, "_locks", lambda: None)
    with first_in_queue(tmp_path, 0), first_in_queue(tmp_path, 0):
        pass
    with first_in_queue(tmp_path / "none", 0):
        pass
