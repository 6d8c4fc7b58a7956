"""Files written whole or not at all, digests, canonical JSON."""

import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from mastering.errors import MasteringError


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
    """Makes a file that did not exist, whole or not at all. MasteringError when it exists or can't be written."""
    refuse_existing(target)
    beside = target.absolute().with_name(f".{target.name}.{os.getpid()}")
    try:
        with beside.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.link(beside, target)  # unlike a rename it replaces nothing
    except OSError as error:
        raise MasteringError(f"{target}: can't be written: {error.strerror}") from error
    finally:
        beside.unlink(missing_ok=True)


def write_folder(target: Path, files: Mapping[str, bytes], durable: bool = True) -> None:
    """Makes a folder that did not exist, with these files by relative name; everything flushed before it gets its name.

    `durable` False leaves out the flushing, for what can be made again at any time.
    MasteringError when it exists or can't be written; then nothing of it is left.
    """
    refuse_existing(target)
    parent = target.absolute().parent
    try:
        handle = os.open(parent, os.O_RDONLY | os.O_DIRECTORY)  # before anything is made, so that its flush can't be refused after it
    except OSError as error:
        raise MasteringError(f"{target}: can't be made: {error.strerror}") from error
    try:
        _write_beside(target, files, durable)
        if durable:
            os.fsync(handle)
    finally:
        os.close(handle)


def _write_beside(target: Path, files: Mapping[str, bytes], durable: bool) -> None:
    import shutil  # here, as most commands write no folder, and should not wait for what only this one needs
    import tempfile

    try:
        beside = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.absolute().parent))
    except OSError as error:
        raise MasteringError(f"{target}: can't be made: {error.strerror}") from error
    try:
        _fill(beside, files, durable)
        os.rename(beside, target)  # noqa: PTH104  (Path.rename would replace an empty folder just as silently)
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
            _flush(inner)


def _flush(folder: Path) -> None:
    """Flushes a folder's own entries to the disk."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
