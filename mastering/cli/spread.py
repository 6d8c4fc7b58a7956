"""Work on many files by all processors: one worker process each, results in the order of the files."""

import gc
import marshal
import pickle
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import BinaryIO, TypeVar

from mastering.errors import MasteringError
from mastering.platform import Worker, start_worker, workers_at_once

Item = TypeVar("Item")
Result = tuple[str, str]

BLOCK = 16  # items whose results travel together
LEAST = 3 * BLOCK  # fewer items are done here: a process costs more than they do


def in_order(items: Sequence[Item], work: Callable[[Item], Result]) -> Iterator[Result]:
    """`work` of each item, in order. Many items are shared out by blocks to processes forked now; what `work` keeps is each one's own.

    Whatever `work` raises is raised here, in whichever process it happened. MasteringError when a process ended before its work was done.
    """
    count = min(workers_at_once(), len(items) // LEAST + 1)
    if count < 2:
        yield from map(work, items)
        return
    yield work(items[0])  # before there are other processes: what it loads and learns, they have then too
    blocks = [items[first : first + BLOCK] for first in range(1, len(items), BLOCK)]
    sys.stdout.flush()
    sys.stderr.flush()
    gc.freeze()  # so that no process looks through what it shares with the others for dead objects, which would copy it
    workers = [start_worker(partial(_do, blocks[number::count], work)) for number in range(count)]
    try:
        for number in range(len(blocks)):
            yield from _next(workers[number % count])
    finally:
        for worker in workers:
            worker.stop()
        for worker in workers:
            worker.close()


def _do(blocks: Sequence[Sequence[Item]], work: Callable[[Item], Result], results: BinaryIO) -> None:
    """What a worker does: the results of each block into the pipe, or, as the last thing, the exception that ended its work."""
    try:
        for block in blocks:
            marshal.dump([work(item) for item in block], results)
            results.flush()
    except Exception as error:
        marshal.dump(_packed(error), results)


def _packed(error: Exception) -> bytes:
    """An exception that can travel to another process; of one that can't be rebuilt there (its class takes other arguments) the text."""
    error.add_note("".join(traceback.format_exception(error)))
    try:
        packed = pickle.dumps(error)
        pickle.loads(packed)
    except Exception:
        return pickle.dumps(
            MasteringError(str(error)) if isinstance(error, MasteringError) else RuntimeError(f"{type(error).__name__}: {error}")
        )
    return packed


def _next(worker: Worker) -> list[Result]:
    """The results of a worker's next block."""
    try:
        block: list[Result] | bytes = marshal.load(worker.results)
    except (EOFError, ValueError, TypeError) as error:
        raise MasteringError(f"a process that judged read-backs ended too soon ({_ending(worker)}); run the command again") from error
    if isinstance(block, bytes):
        raise pickle.loads(block)
    return block


def _ending(worker: Worker) -> str:
    """How a worker ended, in words for people."""
    status = worker.wait()
    return f"exit status {status}" if status >= 0 else f"signal {-status}; with signal 9 the system may have been short of memory"
