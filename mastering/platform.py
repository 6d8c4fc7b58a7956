"""What only some systems have, each with its fallback: no other module asks which system it runs on.

Files that are opened without waiting, flushed folders, names that are given but never taken away, queues of processes, worker
processes, groups of processes. What a system lacks is asked for by name when it is needed, so that a test can take it away.
"""

import os
import signal
import stat
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
    import subprocess

_FOLDER = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0)
_NO_WAITING = getattr(os, "O_NONBLOCK", 0)
_READ = os.O_RDONLY | _NO_WAITING | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)


class QueueTimeoutError(TimeoutError):
    """Another process kept a queue's first place for too long."""


class IrregularFileError(OSError):
    """A regular file was to be read, and something else has its name. `mode`: the kind, as `stat` gives it."""

    def __init__(self, mode: int) -> None:
        super().__init__(0, "no regular file")
        self.mode = mode


def open_regular(path: str) -> tuple[int, os.stat_result]:
    """A regular file opened to be read as bytes: its handle, which the caller closes, and its state. It never waits for a pipe's writer.

    IrregularFileError for anything else than a regular file, OSError where it can't be opened.
    """
    if not _NO_WAITING:  # a pipe would be waited for, and some systems open no folder: looked at first
        _refuse_irregular(os.stat(path))  # noqa: PTH116  (a Path for each of 10,000 files costs more than comparing them)
    handle = os.open(path, _READ)
    try:
        state = os.fstat(handle)
        _refuse_irregular(state)
    except OSError:
        os.close(handle)
        raise
    return handle, state


def _refuse_irregular(state: os.stat_result) -> None:
    if not stat.S_ISREG(state.st_mode):
        raise IrregularFileError(state.st_mode)


@contextmanager
def flushing(folder: Path) -> Iterator[None]:
    """Flushes a folder's own entries to the disk when the block has ended well.

    OSError before the block when the folder can't be opened, so that its flush can't be refused after something was made in it.
    Where a folder can't be opened at all (some systems), its entries are the system's to keep.
    """
    if not folder.is_dir():
        raise NotADirectoryError(20, "its folder is not there", str(folder))
    try:
        handle = os.open(folder, _FOLDER)
    except PermissionError:
        if hasattr(os, "O_DIRECTORY"):
            raise
        handle = -1
    try:
        yield
        if handle >= 0:
            os.fsync(handle)
    finally:
        if handle >= 0:
            os.close(handle)


def flush_folder(folder: Path) -> None:
    """Flushes a folder's own entries to the disk. OSError when that fails."""
    with flushing(folder):
        pass


def give_name(path: Path, name: Path) -> None:
    """Gives a finished file its name, and takes its old one away. FileExistsError when something has it: nothing is ever replaced."""
    if hasattr(os, "link"):
        os.link(path, name)
        path.unlink()
    else:  # where a file has one name only: claimed first, so that of two commands one is refused
        os.close(os.open(name, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        path.replace(name)


def give_folder_name(path: Path, name: Path) -> None:
    """Gives a finished folder its name. FileExistsError when something has that name: nothing is ever replaced.

    A plain rename would replace an empty folder, so the name is claimed first, which fails where it is taken.
    """
    name.mkdir()
    try:
        if os.name == "nt":  # renames onto no folder at all
            name.rmdir()
        path.rename(name)
    except OSError:
        with suppress(OSError):
            name.rmdir()
        raise


@contextmanager
def first_in_queue(folder: Path, patience: float) -> Iterator[None]:
    """Runs the block as the first of all processes that queue at this folder, in the order in which they came.

    A lock on the folder itself, which leaves no file behind. QueueTimeoutError after `patience` seconds. Where the system or the
    folder's medium has no such lock the block runs at once.
    """
    handle = _queue_up(folder, patience)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _queue_up(folder: Path, patience: float) -> int | None:
    """An open handle that holds the folder's lock, None where there is no such lock."""
    fcntl = _locks()
    if fcntl is None:  # no queue: the database's own lock has to do
        return None
    try:
        handle = os.open(folder, _FOLDER)
    except OSError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return _wait(fcntl, handle, patience)
    except OSError:  # a medium without such locks
        os.close(handle)
        return None
    return handle


def _locks() -> Any:
    """The standard library's module of file locks, None on systems without it."""
    try:
        import fcntl
    except ImportError:
        return None
    return fcntl


def _wait(fcntl: Any, handle: int, patience: float) -> int:
    """Waits in a thread, as the system's fair lock knows no time limit: a thread that is late lets go of the lock as soon as it has it."""
    import threading

    over = threading.Lock()
    state = {"held": False, "given up": False}

    def lock() -> None:
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX)
        with over:
            state["held"] = True
            if state["given up"]:
                os.close(handle)

    waiting = threading.Thread(target=lock, daemon=True)
    waiting.start()
    waiting.join(patience)
    with over:
        if not state["held"]:
            state["given up"] = True
            raise QueueTimeoutError
    return handle


class Worker:
    """A process that was forked to do a share of some work. `results`: where the bytes that it writes arrive."""

    def __init__(self, process: int, results: BinaryIO) -> None:
        self.results = results
        self._process = process
        self._status: int | None = None

    def wait(self) -> int:
        """Waits until the process has ended: its exit status, or minus the number of the signal that ended it."""
        if self._status is None:
            self._status = os.waitstatus_to_exitcode(os.waitpid(self._process, 0)[1])
        return self._status

    def stop(self) -> None:
        """Asks the process to end, as one that still works would block on its pipe, which nobody reads any more."""
        if self._status is None:
            os.kill(self._process, signal.SIGTERM)  # one that has ended by itself keeps its number until it is waited for

    def close(self) -> None:
        """Closes the pipe and waits for the end. To be called when all workers were stopped: they inherit each other's pipes."""
        self.results.close()
        self.wait()


def workers_at_once() -> int:
    """How many workers may be at work at a time; 1 where no process can be forked, or not safely, and all is done by this one.

    It is unsafe on darwin, whose own libraries may not be used after it, and while threads run, whose locks nobody would release.
    """
    threading = sys.modules.get("threading")
    if not hasattr(os, "fork") or sys.platform == "darwin" or (threading and threading.active_count() > 1):
        return 1
    allowed: Callable[[int], set[int]] | None = getattr(os, "sched_getaffinity", None)
    return len(allowed(0)) if allowed else os.cpu_count() or 1


def start_worker(work: Callable[[BinaryIO], None]) -> Worker:
    """Forks a process that calls `work` with the pipe for its results, and ends. Only where `workers_at_once` is more than 1."""
    fork: Callable[[], int] | None = getattr(os, "fork", None)
    assert fork is not None, "workers_at_once was not asked"
    reading, writing = os.pipe()
    process = fork()
    if process:
        os.close(writing)
        return Worker(process, os.fdopen(reading, "rb"))
    status = 1
    try:
        os.close(reading)
        with os.fdopen(writing, "wb") as results:
            work(results)
        status = 0
    finally:
        os._exit(status)


def process_group_flags() -> dict[str, Any]:
    """Arguments of `subprocess.Popen` that put a program into a group of its own, so that its children can be ended with it."""
    if hasattr(os, "killpg"):
        return {"start_new_session": True}
    return {"creationflags": 0x00000200}  # CREATE_NEW_PROCESS_GROUP: keeps the keyboard's interrupt from the program


def end_process_group(process: "subprocess.Popen[bytes]", grace: float = 0.5) -> None:
    """Ends a program that was started with `process_group_flags`, and all its children; it has `grace` seconds to stop a motor.

    Where the system has no groups that can be ended, its children are left to themselves.
    """
    end_group: Callable[[int, int], None] | None = getattr(os, "killpg", None)
    if end_group is None:
        if process.poll() is None:
            process.kill()
        return
    with suppress(ProcessLookupError, PermissionError):
        if process.poll() is None:
            end_group(process.pid, signal.SIGTERM)
            over = time.monotonic() + grace
            while process.poll() is None and time.monotonic() < over:
                time.sleep(0.01)
        end_group(process.pid, 9)  # SIGKILL, by number, as not every system has the name


@contextmanager
def raw_keyboard(handle: int) -> Iterator[None]:
    """Gives each key as it is pressed, without showing it, while the block runs. OSError on a system without such terminals."""
    termios = _terminals()
    before = termios.tcgetattr(handle)
    changed = termios.tcgetattr(handle)
    changed[3] &= ~(termios.ICANON | termios.ECHO)
    termios.tcsetattr(handle, termios.TCSADRAIN, changed)
    try:
        yield
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)


def _terminals() -> Any:
    """The standard library's module of terminals. OSError on a system without it."""
    try:
        import termios
    except ImportError as error:
        raise OSError("this system's terminal gives no single keys; use --auto, or a system that has termios") from error
    return termios
