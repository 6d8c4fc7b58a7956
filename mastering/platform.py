"""What only some systems have: flushed folders, names that are given but never taken away, queues of processes. Each with its fallback."""

import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

HAS_QUEUES = sys.platform != "win32"  # elsewhere the database's own lock has to do

_FOLDER = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0)


class QueueTimeoutError(TimeoutError):
    """Another process kept a queue's first place for too long."""


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
    if sys.platform == "win32" or not HAS_QUEUES:
        return None
    import fcntl

    try:
        handle = os.open(folder, _FOLDER)
    except OSError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return _wait(lambda: fcntl.flock(handle, fcntl.LOCK_EX), handle, patience)
    except OSError:  # a medium without such locks
        os.close(handle)
        return None
    return handle


def _wait(take: Callable[[], None], handle: int, patience: float) -> int:
    """Waits in a thread, as the system's fair lock knows no time limit: a thread that is late lets go of the lock as soon as it has it."""
    over = threading.Lock()
    state = {"held": False, "given up": False}

    def lock() -> None:
        with suppress(OSError):
            take()
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
