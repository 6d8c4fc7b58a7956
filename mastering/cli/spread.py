"""Work on many files by all processors: one forked process each, results in the order of the files."""

import gc
import marshal
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import BinaryIO, TypeVar

from mastering.errors import MasteringError

Item = TypeVar("Item")
Result = tuple[str, str]

BLOCK = 16  # items whose results travel together
LEAST = 3 * BLOCK  # fewer items are done here: a process costs more than they do


def in_order(items: Sequence[Item], work: Callable[[Item], Result]) -> Iterator[Result]:
    """`work` of each item, in order. Many items are shared out by blocks to processes forked now; what `work` keeps is each one's own."""
    count = min(_processors(), len(items) // LEAST + 1)
    if count < 2:
        yield from map(work, items)
        return
    yield work(items[0])  # before there are other processes: what it loads and learns, they have then too
    blocks = [items[first : first + BLOCK] for first in range(1, len(items), BLOCK)]
    sys.stdout.flush()
    sys.stderr.flush()
    gc.freeze()  # so that no process looks through what it shares with the others for dead objects, which would copy it
    workers = [_start(blocks[number::count], work) for number in range(count)]
    try:
        for number in range(len(blocks)):
            yield from _next(workers[number % count][1])
    finally:
        for process, _ in workers:
            os.kill(process, signal.SIGTERM)  # one that still works has a reader no more; one that has ended is not waited for yet
        for process, results in workers:
            results.close()
            os.waitpid(process, 0)


def _processors() -> int:
    """How many processes may run at a time; 1 where there is no fork."""
    if not hasattr(os, "fork"):
        return 1
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _start(blocks: Sequence[Sequence[Item]], work: Callable[[Item], Result]) -> tuple[int, BinaryIO]:
    """Forks a process that does some blocks; its number, and where its results come from."""
    reading, writing = os.pipe()
    process = os.fork()
    if process:
        os.close(writing)
        return process, os.fdopen(reading, "rb")
    status = 1
    try:
        os.close(reading)
        with os.fdopen(writing, "wb") as results:
            for block in blocks:
                marshal.dump([work(item) for item in block], results)
                results.flush()
        status = 0
    finally:
        os._exit(status)


def _next(results: BinaryIO) -> list[Result]:
    """The results of a process's next block."""
    try:
        made: list[Result] = marshal.load(results)
    except (EOFError, ValueError, TypeError) as error:
        raise MasteringError("a process that judged read-backs ended too soon; run the command again") from error
    return made
