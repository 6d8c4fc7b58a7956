"""The one place that prints: JSON Lines and nothing else on standard output, or text for people; messages on standard error."""

import json
import os
import sys
from collections.abc import Iterable, Iterator, Sized
from contextlib import nullcontext, suppress
from time import monotonic
from typing import TYPE_CHECKING, Any, TextIO, TypeVar

if TYPE_CHECKING:
    from mastering.words.layout import Block

Item = TypeVar("Item")

_WAIT = 1.0  # seconds before a wait is shown


def json_lines(values: Iterable[Any]) -> None:
    """Each value on a line of its own, on standard output."""
    for value in values:
        write(json.dumps(value, allow_nan=False) + "\n")


def lines(blocks: "Iterable[Block]") -> None:
    """Sentences and tables on standard output, in as many columns as there are."""
    write(text_of(blocks))


def text_of(blocks: "Iterable[Block]") -> str:
    """What `lines` prints, with its line ends."""
    from mastering.words.layout import rendered

    return "".join(f"{line}\n" for line in rendered(blocks, columns(sys.stdout)))


def message(text: str) -> None:
    """A message on standard error, one line unless that is a terminal, where it wraps."""
    from mastering.words.layout import escaped, rendered

    flush()  # so that what was printed before stands before it
    told = rendered([text], columns(sys.stderr)) if sys.stderr.isatty() else [escaped(text)]
    write("".join(f"{line}\n" for line in told), sys.stderr)


def warning(text: str) -> None:
    """A message that begins with the program's name, as errors do."""
    message(f"obverse: {text}")


def columns(stream: TextIO) -> int:
    """How many columns a stream has: as COLUMNS says, else as its terminal says, else 80."""
    given = os.environ.get("COLUMNS", "")
    if given.isdecimal() and int(given[:6]) > 0:
        return int(given[:6])
    with suppress(OSError, ValueError, AttributeError):
        if stream.isatty() and (size := os.get_terminal_size(stream.fileno()).columns) > 0:
            return size
    return 80


def write(text: str, stream: TextIO | None = None) -> None:
    """Writes a text that is ready to be printed. Where nobody reads on (`| head`) the rest of the output goes nowhere: the work goes on.

    So a command's exit status is that of the whole work. OSError when the output can't be written for another reason.
    """
    stream = sys.stdout if stream is None else stream
    with _bar_aside():
        try:
            stream.write(text)
            if "tqdm" in sys.modules:
                stream.flush()
        except BrokenPipeError:
            to_nowhere(stream)


def flush() -> None:
    """Writes what standard output still holds back. OSError when it can't be written."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except BrokenPipeError:
        to_nowhere(sys.stdout)


def to_nowhere(stream: TextIO | None) -> None:
    """Lets a stream's output vanish, also what it still holds back."""
    if stream is None:
        return
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def progress(items: Iterable[Item], unit: str, total: int | None = None) -> Iterator[Item]:
    """The items as they are asked for. When they take longer than a second, a bar on the terminal says how many are done.

    Where standard error is no terminal nothing is shown. `unit`: what an item is called, in the plural; `total`: how many there are.
    """
    if not sys.stderr.isatty():
        yield from items
        return
    total = len(items) if total is None and isinstance(items, Sized) else total
    begun, bar = monotonic(), None
    try:
        for count, item in enumerate(items):
            if bar is not None:
                bar.update()
            elif monotonic() - begun > _WAIT:
                from tqdm import tqdm

                width = columns(sys.stderr) - 1  # given, as some terminals say that they have no columns and no rows
                bar = tqdm(total=total, initial=count, unit=f" {unit}", leave=False, file=sys.stderr, ncols=width, nrows=20)
            yield item
    finally:
        if bar is not None:
            bar.close()


def _bar_aside() -> Any:
    """Takes the bar off the screen while something is printed, where there is one."""
    module = sys.modules.get("tqdm")
    return nullcontext() if module is None else module.tqdm.external_write_mode(sys.stdout)
