"""Lists of intervals, CSV or .npy, as a reader's own program leaves them, to the times of a capture and back.

A row is a transition: `cylinder`, `head`, and `interval` (ticks) or `interval_ns`, since the transition before it (the first: since the
start of the read). Of these columns may be more: `read`, a new number for each further read of the same track; `turn`, a number that
changes where the index hole passed; `index` (`index_ns`), the time of an index mark since the start of the read, in a row of its own
whose interval is empty or 0. A .npy file holds an array with these fields, or the intervals of one read without any.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from formats.containers.shared.times import Times, pack
from formats.errors import ContainerError

Floats = npt.NDArray[np.float64]

_COLUMNS = ("cylinder", "head", "read", "turn", "interval", "interval_ns", "index", "index_ns")
_NS = 1_000_000_000
_LONGEST = 2**32 - 1


def read(data: bytes, name: str, ticks: int | None, cylinder: int = 0, head: int = 0) -> tuple[Times, ...]:
    """The times in a list. ContainerError when it is none.

    `ticks`: how many a second has, where intervals are ticks; `cylinder`, `head`: of the track, where the list doesn't name it.
    """
    table = _npy(data, name) if data.startswith(b"\x93NUMPY") else _csv(data, name)
    if unknown := table.keys() - set(_COLUMNS):
        raise ContainerError(f"{name}: a column {sorted(unknown)[0]!r}; known are {', '.join(_COLUMNS)}")
    in_ns = "interval_ns" in table
    if in_ns == ("interval" in table):
        raise ContainerError(f"{name}: one column interval (ticks) or interval_ns was expected")
    if not in_ns and ticks is None:
        raise ContainerError(f"{name}: its intervals are ticks; say with --ticks how many a second has")
    scale = _NS if in_ns or ticks is None else ticks
    interval = table["interval_ns" if in_ns else "interval"]
    count = len(interval)
    place = np.stack([table.get(key, np.full(count, left)) for key, left in (("cylinder", cylinder), ("head", head), ("read", 0))])
    edges = np.flatnonzero((np.diff(place, axis=1) != 0).any(axis=0)) + 1
    index = table.get("index_ns" if in_ns else "index", np.zeros(count))
    turn = table.get("turn", np.zeros(count))
    return tuple(
        _one(place[:, at[0]], interval[at], index[at], turn[at], scale, name) for at in np.split(np.arange(count), edges) if len(at)
    )


def _one(place: Floats, interval: Floats, index: Floats, turn: Floats, scale: int, name: str) -> Times:
    """One read of a track."""
    where = f"{name}: cylinder {place[0]:g}, head {place[1]:g}"
    if not (0 <= place[0] <= 95 and place[1] in (0, 1) and place[0] == int(place[0])):
        raise ContainerError(f"{where}: a cylinder of 0 to 95 and a head 0 or 1 were expected")
    passed = interval > 0
    if not np.isfinite(interval).all() or (interval < 0).any() or (~passed & ~(index > 0)).any():
        raise ContainerError(f"{where}: an interval that is no number above 0")
    at = np.rint(np.cumsum(interval[passed])).astype(np.int64)  # rounded in all, so that parts of a tick don't add up
    gaps = np.diff(at, prepend=0)
    if (gaps <= 0).any() or (gaps > _LONGEST).any():
        raise ContainerError(f"{where}: an interval below 1 tick or above {_LONGEST:,}")
    new = np.flatnonzero(np.diff(turn[passed])) + 1
    marks = np.concatenate((np.rint(index[~passed]).astype(np.int64), at[new - 1] if len(new) else np.zeros(0, np.int64)))
    if len(marks) > 64 or (marks > _LONGEST).any():
        raise ContainerError(f"{where}: more than 64 index marks, or one behind tick {_LONGEST:,}")
    return pack(int(place[0]), int(place[1]), scale, gaps, tuple(np.unique(marks).tolist()))


def _npy(data: bytes, name: str) -> dict[str, Floats]:
    try:
        array = np.load(io.BytesIO(data), allow_pickle=False)
    except (ValueError, EOFError, OSError) as error:
        raise ContainerError(f"{name}: no array can be read from it ({error})") from error
    if array.ndim != 1 or (array.dtype.names is None and array.dtype.kind not in "uif"):
        raise ContainerError(f"{name}: an array of one dimension was expected, of numbers or with the fields of a list")
    if array.dtype.names is None:
        return {"interval": array.astype(np.float64)}
    return {key: array[key].astype(np.float64) for key in array.dtype.names}


def _csv(data: bytes, name: str) -> dict[str, Floats]:
    try:
        rows = csv.reader(io.StringIO(data.decode("utf-8-sig")))
        head = next(rows, [])
        columns: list[list[float]] = [[] for _ in head]
        for row in rows:
            if row:
                for column, text in zip(columns, row, strict=True):
                    column.append(float(text or 0))
    except UnicodeDecodeError as error:
        raise ContainerError(f"{name}: byte {error.start}: neither a .npy array nor a text in UTF-8") from error
    except ValueError as error:
        raise ContainerError(f"{name}: line {rows.line_num}: {len(head)} numbers were expected ({error})") from error
    return {key.strip(): np.array(column, np.float64) for key, column in zip(head, columns, strict=True)}


def write(times: Sequence[Times]) -> Iterator[str]:
    """The lines of a CSV list of a capture's times, in ns."""
    yield "cylinder,head,read,interval_ns,index_ns\n"
    for number, each in enumerate(times):
        start = f"{each.cylinder},{each.head},{number}"
        unit = _NS / each.ticks
        yield from (f"{start},,{mark * unit:.10g}\n" for mark in each.marks if mark)
        for some in each.intervals():
            yield "".join(f"{start},{value:.10g},\n" for value in (some * unit).tolist())


def columns(times: Iterable[Times]) -> npt.NDArray[Any]:
    """A capture's times as an array with the fields of a list, in ns."""
    kinds = [("cylinder", "u1"), ("head", "u1"), ("read", "u4"), ("interval_ns", "f8"), ("index_ns", "f8")]
    made = []
    for number, each in enumerate(times):
        gaps = np.concatenate([*each.nanoseconds(), np.zeros(0)])
        marks = np.array([mark for mark in each.marks if mark], np.float64) * (_NS / each.ticks)
        rows = np.zeros(len(gaps) + len(marks), kinds)
        rows["cylinder"], rows["head"], rows["read"] = each.cylinder, each.head, number
        rows["index_ns"][: len(marks)], rows["interval_ns"][len(marks) :] = marks, gaps
        made.append(rows)
    return np.concatenate([*made, np.zeros(0, kinds)])
