"""What only some systems have, and what is done where it is missing."""

import importlib.util
import os
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from mastering import platform


@pytest.fixture(params=["as it is", "without"])
def system(request, monkeypatch):
    """The module on this system, and on one that has none of this."""
    if request.param == "without":
        for name in ("O_NONBLOCK", "O_DIRECTORY", "O_CLOEXEC", "fork", "sched_getaffinity", "link", "killpg"):
            monkeypatch.delattr(os, name)
        monkeypatch.setitem(sys.modules, "fcntl", None)
    spec = importlib.util.find_spec("mastering.platform")
    fresh = importlib.util.module_from_spec(spec)  # an instance of its own: what others imported from theirs stays theirs
    spec.loader.exec_module(fresh)
    return fresh


def test_a_regular_file_is_opened_with_its_state(system, tmp_path):
    (tmp_path / "disc.dump").write_bytes(b"\r\n\x1a")
    handle, state = system.open_regular(str(tmp_path / "disc.dump"))
    assert (os.read(handle, 9), state.st_size) == (b"\r\n\x1a", 3)
    os.close(handle)


def test_a_pipe_is_not_waited_for_and_a_folder_not_opened(system, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for name, kind in (("pipe", stat.S_ISFIFO), (".", stat.S_ISDIR), ("/dev/null", stat.S_ISCHR)):
        with pytest.raises(system.IrregularFileError) as caught:
            system.open_regular(str(tmp_path / name))
        assert kind(caught.value.mode)
    with pytest.raises(FileNotFoundError):
        system.open_regular(str(tmp_path / "nothing"))


def test_nothing_is_left_open(system, tmp_path):
    before = os.listdir("/dev/fd")
    for path in (tmp_path, tmp_path / "nothing"):
        with pytest.raises(OSError):
            system.open_regular(str(path))
    with system.flushing(tmp_path), system.first_in_queue(tmp_path, 1):
        pass
    assert os.listdir("/dev/fd") == before


def test_a_finished_file_gets_its_name_only_where_nothing_has_it(system, tmp_path):
    (tmp_path / "made").write_bytes(b"new")
    (tmp_path / "old").write_bytes(b"old")
    with pytest.raises(FileExistsError):
        system.give_name(tmp_path / "made", tmp_path / "old")
    system.give_name(tmp_path / "made", tmp_path / "name")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"old": b"old", "name": b"new"}


def test_a_finished_folder_gets_its_name_only_where_nothing_has_it(system, tmp_path):
    for name in ("made", "empty"):
        (tmp_path / name).mkdir()
    (tmp_path / "made" / "file").write_bytes(b"new")
    with pytest.raises(FileExistsError):
        system.give_folder_name(tmp_path / "made", tmp_path / "empty")
    system.give_folder_name(tmp_path / "made", tmp_path / "name")
    assert sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*")) == ["empty", "name", "name/file"]


def test_a_folder_that_is_not_there_can_not_be_flushed(system, tmp_path):
    with pytest.raises(NotADirectoryError), system.flushing(tmp_path / "nothing"):
        raise AssertionError("the block must not begin")
    system.flush_folder(tmp_path)


def test_workers_are_forked_only_where_that_is_safe(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda process: {0, 3, 5})
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    assert platform.workers_at_once() == 3
    monkeypatch.setattr(threading, "active_count", lambda: 2)
    assert platform.workers_at_once() == 1  # a lock that another thread holds would never be released
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    monkeypatch.delattr(os, "sched_getaffinity")
    monkeypatch.setattr(os, "cpu_count", lambda: 7)
    assert platform.workers_at_once() == 7
    monkeypatch.setattr(sys, "platform", "darwin")
    assert platform.workers_at_once() == 1
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.delattr(os, "fork")
    assert platform.workers_at_once() == 1


def test_a_program_is_ended_with_its_children(tmp_path):
    words = "import subprocess, sys, time; print(subprocess.Popen(['sleep', '60']).pid, flush=True); time.sleep(60)"
    process = subprocess.Popen([sys.executable, "-c", words], stdout=subprocess.PIPE, **platform.process_group_flags())
    with process.stdout:
        child = int(process.stdout.readline())
    platform.end_process_group(process)
    assert process.wait() < 0
    over = time.monotonic() + 10
    while _runs(child) and time.monotonic() < over:
        time.sleep(0.01)
    assert not _runs(child)


def _runs(process):
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False
