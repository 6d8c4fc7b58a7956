"""Files written whole or not at all, digests, canonical JSON."""

import hashlib
import json
import os
import re
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from typing import Any

from mastering.errors import MasteringError
from mastering.platform import flush_folder, flushing, give_folder_name, give_name


def digest(data: bytes) -> str:
    """SHA-256, in lower-case hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def canonical_json(value: Any) -> bytes:
    """The one spelling of a JSON value: keys sorted, two spaces a level, ASCII, a line end behind it."""
    return (json.dumps(value, indent=1, sort_keys=True, ensure_ascii=True) + "\n").encode("ascii")


def refuse_existing(target: Path) -> None:
    """MasteringError when something has this name already."""
    if os.path.lexists(target):
        raise MasteringError(f"{target}: exists already; name a folder that does not")


def write_file(target: Path, data: bytes) -> None:
    """Makes a file that did not exist, whole or not at all, flushed with its name. MasteringError when it exists or can't be written."""
    with new_file(target) as beside, beside.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


@contextmanager
def new_file(target: Path) -> Iterator[Path]:
    """A name beside a file that is to be made, which the block makes whole and flushes; then it gets its own name, flushed too.

    Nothing is ever replaced, whatever came to be there meanwhile, and nothing is left of a block that fails.
    MasteringError when the file exists or can't be written.
    """
    refuse_existing(target)
    parent = target.absolute().parent
    try:
        with flushing(parent):
            sweep(parent)
            beside = parent / f".{target.name}.{os.getpid()}{UNFINISHED}"
            try:
                yield beside
                give_name(beside, target)
            finally:
                beside.unlink(missing_ok=True)
    except FileExistsError as error:
        raise MasteringError(f"{target}: exists already; name a file that does not") from error
    except OSError as error:
        raise MasteringError(f"{target}: can't be written: {error.strerror}") from error


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Makes several files that did not exist in a folder that may, each whole, all flushed. MasteringError when one exists."""
    for name in files:
        refuse_existing(folder / name)
    try:
        folder.mkdir(exist_ok=True)
        with flushing(folder.absolute().parent), flushing(folder):
            sweep(folder)
            for name, data in files.items():
                _write_flushed(folder, name, data, give_name)
    except FileExistsError as error:
        raise MasteringError(f"{folder / name}: exists already; name a folder that holds no such file") from error
    except OSError as error:
        raise MasteringError(f"{folder}: can't be written: {error.strerror}") from error


def replace_file(target: Path, data: bytes) -> None:
    """Makes a file or replaces it, whole or not at all, flushed with its name. MasteringError when it can't be written."""
    try:
        with flushing(target.absolute().parent):
            _write_flushed(target.absolute().parent, target.name, data, Path.replace)
    except OSError as error:
        raise MasteringError(f"{target}: can't be written: {error.strerror}") from error


def _write_flushed(folder: Path, name: str, data: bytes, give: Callable[[Path, Path], object]) -> None:
    beside = folder / f".{name}.{os.getpid()}{UNFINISHED}"
    try:
        with beside.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        give(beside, folder / name)
    finally:
        beside.unlink(missing_ok=True)


UNFINISHED = ".unfinished"
_KIND = re.compile(rf"\..+\.\w+{re.escape(UNFINISHED)}(-journal)?")
_OLD = 3600  # seconds after which a command that was writing has surely ended


def sweep(folder: Path) -> None:
    """Removes what commands left unfinished that were killed: only what this module named, and only when nobody wrote to it for an hour."""
    before = time.time() - _OLD
    with os.scandir(folder) as entries:
        left = [entry for entry in entries if entry.name.endswith((UNFINISHED, f"{UNFINISHED}-journal")) and _KIND.fullmatch(entry.name)]
    for entry in left:
        with suppress(OSError):  # another command may have swept it, or it is not ours to remove
            if entry.stat(follow_symlinks=False).st_mtime < before:
                _remove(entry)


def _remove(entry: "os.DirEntry[str]") -> None:
    if entry.is_dir(follow_symlinks=False):
        import shutil

        shutil.rmtree(entry.path, ignore_errors=True)
    else:
        Path(entry.path).unlink()


def write_folder(target: Path, files: Mapping[str, bytes], durable: bool = True) -> None:
    """Makes a folder that did not exist, with these files by relative name; everything flushed before it gets its name.

    `durable` False leaves out the flushing, for what can be made again at any time.
    MasteringError when it exists or can't be written; then nothing of it is left.
    """
    refuse_existing(target)
    try:
        with flushing(target.absolute().parent) if durable else nullcontext():
            sweep(target.absolute().parent)
            _write_beside(target, files, durable)
    except OSError as error:
        raise MasteringError(f"{target}: can't be made: {error.strerror}") from error


def _write_beside(target: Path, files: Mapping[str, bytes], durable: bool) -> None:
    import shutil  # here, as most commands write no folder, and should not wait for what only this one needs
    import tempfile

    beside = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=UNFINISHED, dir=target.absolute().parent))
    try:
        _fill(beside, files, durable)
        give_folder_name(beside, target)
    except OSError as error:
        raise MasteringError(f"{target}: can't be written: {error.strerror}; nothing was left of it") from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _fill(folder: Path, files: Mapping[str, bytes], durable: bool) -> None:
    folder.chmod(0o755)
    for name, data in files.items():
        path = folder / name
        for inner in reversed(path.relative_to(folder).parents[:-1]):
            (folder / inner).mkdir(exist_ok=True)
            (folder / inner).chmod(0o755)
        with path.open("xb") as file:
            file.write(data)
            if durable:
                file.flush()
                os.fsync(file.fileno())
        path.chmod(0o644)
    if durable:
        for inner in (folder, *(path for path in folder.rglob("*") if path.is_dir())):
            flush_folder(inner)
