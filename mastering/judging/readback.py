"""Read-backs as files: which there are, and what each one is."""

import os
import re
import stat
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from formats.bounds import LARGEST_CAPTURE, SIGNATURE
from mastering.errors import MasteringError
from mastering.platform import IrregularFileError, open_regular

REPORT = ".report.csv"
WRITE_LIST = "to-write.csv"  # beside stamped images: which file is for which disc and side
NAMED = re.compile(r"(?P<serial>[A-Z0-9-]+-\d{4,18}-[0-9A-Z])-(?P<side>[AB])(?:-[^.]*)?\.[^/]+")  # how a disc's read-backs are named


class ReadBackError(MasteringError):
    """A file that can't be taken as a read-back."""


@dataclass(frozen=True)
class Source:
    """A read-back's file, its sector report's where it has one, and whether it was found in a folder rather than named."""

    path: str
    report: str | None = None
    found: bool = False


def report_path(path: str) -> str:
    """Where a dump's sector report lies: `NAME.report.csv`, which replaces the last suffix."""
    folder, name = os.path.split(path)
    stem = name[: name.rindex(".")] if "." in name[1:] else name
    return os.path.join(folder, stem + REPORT)


def sources(paths: Sequence[str]) -> Iterator[Source]:
    """The read-backs named, folders by their files in the order of their names (hidden ones and lists of images are left out).

    A report whose dump is among them is part of it; alone it stands as a source of its own, which `load` refuses.
    """
    singles = [path for path in paths if not os.path.isdir(path)]
    reports = {path: _report_of(path, os.path.lexists) for path in singles if not path.endswith(REPORT)}
    owned = set(reports.values())
    for path in paths:
        if path in reports or path.endswith(REPORT):
            yield from _sources([path], reports, owned)
        else:
            yield from (replace(source, found=True) for source in _folder(path))


def _folder(folder: str) -> Iterator[Source]:
    names = sorted(os.path.join(folder, name) for name in os.listdir(folder) if not name.startswith(".") and name != WRITE_LIST)
    present = set(names)
    reports = {path: _report_of(path, present.__contains__) for path in names if not path.endswith(REPORT)}
    return _sources(names, reports, set(reports.values()))


def _report_of(path: str, exists: Callable[[str], bool]) -> str | None:
    report = report_path(path)
    return report if exists(report) and not is_capture(path) else None


def _sources(paths: Sequence[str], reports: Mapping[str, str | None], owned: Set[str | None]) -> Iterator[Source]:
    """The sources among some paths. `reports` holds the report of each read-back that may own one, `owned` is all of them."""
    for path in paths:
        if path in reports:
            yield Source(path, reports[path])
        elif path not in owned:
            yield Source(path)


def is_capture(path: str) -> bool:
    """Whether a file begins with the capture's signature; False when it can't be read."""
    try:
        return read_bounded(path, LARGEST_CAPTURE, len(SIGNATURE)) == SIGNATURE
    except ReadBackError:
        return False


def read_bounded(path: str, largest: int, count: int = -1) -> bytes:
    """A regular file's bytes, or its first `count`. ReadBackError when it can't be read, is no regular file, or is larger."""
    try:
        handle, state = open_regular(path)
        try:
            if state.st_size > largest:
                raise ReadBackError(f"{path}: {state.st_size:,} bytes, more than the {largest:,} that such a file may have")
            return _read_all(handle, state.st_size if count < 0 else count)
        finally:
            os.close(handle)
    except IrregularFileError as error:
        hint = "; folders in folders are not looked into" if stat.S_ISDIR(error.mode) else ""
        raise ReadBackError(f"{path}: a {_kind(error.mode)}, where a file was expected{hint}") from error
    except OSError as error:
        raise ReadBackError(f"{path}: can't be read: {error.strerror or error}") from error


def _read_all(handle: int, size: int) -> bytes:
    """`size` bytes, or as many as the file still has."""
    parts = []
    while size > 0 and (part := os.read(handle, size)):
        parts.append(part)
        size -= len(part)
    return b"".join(parts)


def _kind(mode: int) -> str:
    names = (
        (stat.S_ISDIR, "folder"),
        (stat.S_ISFIFO, "pipe"),
        (stat.S_ISSOCK, "socket"),
        (stat.S_ISCHR, "device"),
        (stat.S_ISBLK, "device"),
    )
    return next((name for test, name in names if test(mode)), "special file")
