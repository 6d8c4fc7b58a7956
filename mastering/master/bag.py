"""A master's folder as a bag (RFC 8493): its text files written, every file's digest proved. What the files mean is `master`'s."""

import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from formats.errors import Problem
from mastering.errors import MasteringError
from mastering.files import canonical_json, digest

_DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
MANIFEST, _TAGS = "manifest-sha256.txt", "tagmanifest-sha256.txt"
LARGEST_RECORD = 4 << 20  # of master.json: several times what the fullest disc's takes, and parsed in a moment
_LARGEST_PAYLOAD, _LARGEST_TAGS = 256 << 20, 1 << 20


class MasterError(MasteringError):
    """A folder that is no sound master."""


def bag(payload: Mapping[str, bytes], record: Mapping[str, Any]) -> dict[str, bytes]:
    """A bag's files by name."""
    data = {f"data/{name}": content for name, content in (*payload.items(), ("master.json", canonical_json(record)))}
    manifest = _listing(data)
    size = sum(map(len, data.values()))
    tags = {"bagit.txt": _DECLARATION, "bag-info.txt": f"Payload-Oxum: {size}.{len(data)}\n".encode(), MANIFEST: manifest}
    return data | tags | {_TAGS: _listing(tags)}


def _listing(files: Mapping[str, bytes]) -> bytes:
    return "".join(f"{digest(files[name])}  {name}\n" for name in sorted(files)).encode()


# Reading


class _UnreadableError(Exception):
    """A file of a bag that can't be taken; `problem.where` is its name in the bag, empty for the bag itself."""

    def __init__(self, where: str, what: str) -> None:
        super().__init__(what)
        self.problem = Problem(where, what)


def fixity(path: Path) -> list[Problem]:
    """What is wrong with a bag's files, by name; a bag that is none has one problem."""
    return proved(path)[0]


def read(path: Path) -> tuple[list[Problem], dict[str, bytes]]:
    """What is wrong with a bag's dumps and record, and their bytes with the manifest's; nothing else is looked at."""
    try:
        _refuse_elsewhere(path)
        manifest = _bytes(path, MANIFEST)
        entries = {name: wanted for name, wanted in _entries(manifest, MANIFEST).items() if name.endswith((".dump", "master.json"))}
    except _UnreadableError as error:
        return [error.problem], {}
    problems, files = _digested(path, entries)
    return problems, files | {MANIFEST: manifest}


def proved(path: Path) -> tuple[list[Problem], dict[str, bytes]]:
    """What is wrong with a bag's files, and the bytes of those that are as they were, captures left out."""
    try:
        _refuse_elsewhere(path)
        if _bytes(path, "bagit.txt") != _DECLARATION:
            return [Problem("bagit.txt", "not the declaration of a BagIt 1.0 bag in UTF-8")], {}
        listed = {name: _entries(_bytes(path, name), name) for name in (MANIFEST, _TAGS)}
    except _UnreadableError as error:
        return [error.problem], {}
    problems, files = _digested(path, listed[_TAGS])
    of_payload, payload = _digested(path, listed[MANIFEST])
    problems += of_payload
    problems += [Problem(name, "not in the manifest") for name in sorted(_present(path) - set(listed[MANIFEST]))]
    problems += [Problem(_TAGS, f"does not list {name}") for name in ("bagit.txt", MANIFEST) if name not in listed[_TAGS]]
    return problems, files | payload


def _refuse_elsewhere(path: Path) -> None:
    """Refuses a payload folder that is a link: what lies there may change without this folder, and a copy of the master would lack it."""
    if (path / "data").is_symlink():
        raise _UnreadableError("data", "a link that leads elsewhere; a master's files lie in its own folder")


def _digested(path: Path, entries: Mapping[str, str]) -> tuple[list[Problem], dict[str, bytes]]:
    """What is wrong with some files of a bag, and the bytes of those whose digest is the one listed, captures left out."""
    problems, files = [], {}
    for name, wanted in entries.items():
        try:
            data = _bytes(path, name)
        except _UnreadableError as error:
            problems.append(error.problem)
            continue
        if digest(data) != wanted:
            problems.append(Problem(name, "changed since the master was built (its SHA-256 is another)"))
        elif not name.endswith(".capture"):
            files[name] = data
    return problems, files


def _present(path: Path) -> set[str]:
    """The names of a bag's payload files as they lie there."""
    start = len(f"{path}/")
    return {f"{folder}/{name}"[start:].replace(os.sep, "/") for folder, _, names in os.walk(path / "data") for name in names}


def _entries(manifest: bytes, name: str) -> dict[str, str]:
    """The digests of a manifest by file."""
    entries: dict[str, str] = {}
    for number, line in enumerate(manifest.decode(errors="replace").splitlines(), 1):
        sha256, _, path = line.partition("  ")
        parts = path.split("/")
        if len(sha256) != 64 or not path or {"", ".", ".."} & set(parts) or path in entries:
            raise _UnreadableError(name, f"line {number}: not a digest and a file's name")
        entries[path] = sha256
    return entries


def _largest(name: str) -> int:
    """The most bytes that a file of a bag can have."""
    if name.endswith("master.json"):
        return LARGEST_RECORD
    return _LARGEST_PAYLOAD if name.startswith("data/") else _LARGEST_TAGS


def _bytes(path: Path, name: str) -> bytes:
    """A file's bytes. A file that leads elsewhere, or is larger than one of a master can be, is refused."""
    file = path / name
    try:
        status = file.lstat()
        if stat.S_ISREG(status.st_mode) and status.st_size <= _largest(name):
            return file.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        status = None
    except (OSError, ValueError) as error:
        raise _UnreadableError(name, f"can't be read: {getattr(error, 'strerror', None) or error}") from error
    if not path.is_dir():
        raise _UnreadableError("", "no such folder; a master is a folder that `obverse build` made")
    if status is not None and stat.S_ISREG(status.st_mode):
        raise _UnreadableError(name, f"{status.st_size:,} bytes, more than a master's file can have")
    if status is not None and stat.S_ISLNK(status.st_mode):
        raise _UnreadableError(name, "a link that leads elsewhere; a master's files lie in its own folder")
    if path.joinpath("bagit.txt").exists():
        raise _UnreadableError(name, "missing")
    raise _UnreadableError("", "no master: it has no bagit.txt")
