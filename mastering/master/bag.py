"""A master's folder as a bag (RFC 8493): its text files made, every file's digest proved. What the files mean is `master`'s."""

import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from mastering.errors import MasteringError
from mastering.files import canonical_json, digest

_DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
MANIFEST, _TAGS = "manifest-sha256.txt", "tagmanifest-sha256.txt"
_LARGEST = {"data": 256 << 20, "tags": 1 << 20}

Problems = list[tuple[str, str]]  # a file's name ("": the bag), and what is wrong with it


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


def fixity(path: Path) -> Problems:
    """What is wrong with a bag's files; a bag that is none has one problem."""
    return proved(path)[0]


def read(path: Path) -> tuple[Problems, dict[str, bytes]]:
    """What is wrong with a bag's dumps and record, and their bytes with the manifest's; nothing else is looked at."""
    try:
        manifest = _bytes(path, MANIFEST, "tags")
        entries = {name: wanted for name, wanted in _entries(manifest, MANIFEST).items() if name.endswith((".dump", "master.json"))}
    except (MasterError, ValueError) as error:
        return [("", str(error).removeprefix(f"{path}: "))], {}
    problems, files = _digested(path, "data", entries)
    return problems, files | {MANIFEST: manifest}


def proved(path: Path) -> tuple[Problems, dict[str, bytes]]:
    """What is wrong with a bag's files, and the bytes of those that are as they were, captures left out."""
    try:
        if _bytes(path, "bagit.txt", "tags") != _DECLARATION:
            return [("bagit.txt", "not the declaration of a BagIt 1.0 bag in UTF-8")], {}
        listed = {name: _entries(_bytes(path, name, "tags"), name) for name in (MANIFEST, _TAGS)}
    except MasterError as error:
        return [("", str(error).removeprefix(f"{path}: "))], {}
    except ValueError as error:
        return [("", str(error))], {}
    problems, files = _digested(path, "tags", listed[_TAGS])
    of_payload, payload = _digested(path, "data", listed[MANIFEST])
    problems += of_payload
    problems += [(name, "not in the manifest") for name in sorted(_present(path) - set(listed[MANIFEST]))]
    problems += [(_TAGS, f"does not list {name}") for name in ("bagit.txt", MANIFEST) if name not in listed[_TAGS]]
    return problems, files | payload


def _digested(path: Path, kind: str, entries: Mapping[str, str]) -> tuple[Problems, dict[str, bytes]]:
    """What is wrong with some files of a bag, and the bytes of those whose digest is the one listed, captures left out."""
    problems, files = [], {}
    for name, wanted in entries.items():
        try:
            data = _bytes(path, name, kind)
        except MasterError as error:
            problems.append((name, str(error).removeprefix(f"{path / name}: ")))
            continue
        if digest(data) != wanted:
            problems.append((name, "changed since the master was built (its SHA-256 is another)"))
        elif not name.endswith(".capture"):
            files[name] = data
    return problems, files


def _present(path: Path) -> set[str]:
    """The names of a bag's payload files as they lie there."""
    start = len(f"{path}/")
    return {f"{folder}/{name}"[start:].replace(os.sep, "/") for folder, _, names in os.walk(path / "data") for name in names}


def _entries(manifest: bytes, name: str) -> dict[str, str]:
    entries: dict[str, str] = {}
    for number, line in enumerate(manifest.decode().splitlines(), 1):
        sha256, _, path = line.partition("  ")
        parts = path.split("/")
        if len(sha256) != 64 or not path or {"", ".", ".."} & set(parts) or path in entries:
            raise ValueError(f"{name}, line {number}: not a digest and a file's name")
        entries[path] = sha256
    return entries


def _bytes(path: Path, name: str, kind: str) -> bytes:
    file = path / name
    try:
        found = file.lstat()
        if stat.S_ISREG(found.st_mode) and found.st_size <= _LARGEST[kind]:
            return file.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        found = None
    except OSError as error:
        raise MasterError(f"{file}: can't be read: {error.strerror}") from error
    if not path.is_dir():
        raise MasterError(f"{path}: no such folder; a master is a folder that `obverse build` made")
    if found is not None and stat.S_ISREG(found.st_mode):
        raise MasterError(f"{file}: {found.st_size:,} bytes, more than a master's file can have")
    raise MasterError(f"{file}: missing" if path.joinpath("bagit.txt").exists() else f"{path}: no master: it has no bagit.txt")
