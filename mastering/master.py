"""The master: a BagIt bag (RFC 8493) with each side's dump and capture and `master.json`, the same bytes every time.

Opening one proves every file's digest first. Nothing here needs numpy, construct or pydantic.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from mastering.errors import MasteringError
from mastering.files import canonical_json, digest, write_folder

if TYPE_CHECKING:
    from formats.geometry import Geometry

_DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_MANIFEST, _TAGS = "manifest-sha256.txt", "tagmanifest-sha256.txt"
_LARGEST = {"data": 256 << 20, "tags": 1 << 20}


class MasterError(MasteringError):
    """A folder that is no sound master."""


@dataclass(frozen=True)
class Slot:
    """Where the serial lies: a sector of a side (`place` in its dump, in sectors), and the bytes in it."""

    side: str
    track: int
    head: int
    sector: int
    offset: int
    bytes: int
    place: int


@dataclass(frozen=True)
class Side:
    """One side of a master. `plain` is its geometry's plain form, `unproven` places of sectors that a filler could equal."""

    name: str
    geometry_id: str
    volume: str
    platform: str
    dump: bytes
    sha256: str
    plain: Mapping[str, Any]
    identity: Mapping[str, int]
    unproven: tuple[int, ...]
    slot: Slot | None
    files: tuple[Mapping[str, Any], ...]

    @cached_property
    def geometry(self) -> "Geometry":
        """The geometry as this master means it, whatever its declaration says today."""
        from formats.geometry import Geometry

        return Geometry.from_plain(dict(self.plain))

    @property
    def size(self) -> int:
        """Bytes of a sector."""
        return int(self.plain["size"])

    @property
    def slot_start(self) -> int | None:
        """Where in the dump the serial slot begins."""
        return None if self.slot is None else self.slot.place * self.size + self.slot.offset


@dataclass(frozen=True)
class Master:
    """A master that was opened and proved. `digest` is that of its manifest; `record` all that `master.json` says."""

    path: Path
    digest: str
    title: str
    publisher: str
    catalogue: str
    revision: str
    sides: Mapping[str, Side]
    record: Mapping[str, Any]

    @property
    def label(self) -> str:
        """Title and revision."""
        return f"{self.title} {self.revision}"


# Writing


def write_master(target: Path, payload: Mapping[str, bytes], record: Mapping[str, Any]) -> str:
    """Makes the bag of a payload (names below `data/`) and its record; returns the manifest's digest. MasteringError when it can't."""
    data = {f"data/{name}": content for name, content in (*payload.items(), ("master.json", canonical_json(record)))}
    manifest = _listing(data)
    size = sum(map(len, data.values()))
    tags = {"bagit.txt": _DECLARATION, "bag-info.txt": f"Payload-Oxum: {size}.{len(data)}\n".encode(), _MANIFEST: manifest}
    write_folder(target, data | tags | {_TAGS: _listing(tags)})
    return digest(manifest)


def _listing(files: Mapping[str, bytes]) -> bytes:
    return "".join(f"{digest(files[name])}  {name}\n" for name in sorted(files)).encode()


# Opening


def open_masters(shelf: Path) -> list[Master]:
    """The masters in a folder, by name; what is no master there is passed over. MasteringError when one is broken."""
    try:
        folders = sorted(each for each in shelf.iterdir() if (each / "bagit.txt").is_file())
    except OSError as error:
        raise MasterError(f"{shelf}: can't be read: {error.strerror}") from error
    return [open_master(folder) for folder in folders]


def open_master(path: Path) -> Master:
    """The master in a folder, every file's digest proved. MasterError names the first file that is not what it was."""
    for where, what in fixity(path):
        raise MasterError(f"{path / where}: {what}; take the master from a copy, or build it anew" if where else f"{path}: {what}")
    try:
        record = json.loads(_bytes(path, "data/master.json", "data"))
        return _master(path, record)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise MasterError(f"{path / 'data/master.json'}: not what a master of version 1 holds ({error!r})") from error


def fixity(path: Path) -> Sequence[tuple[str, str]]:
    """What is wrong with a bag's files: each one's name and what; a bag that is none has one problem."""
    try:
        if _bytes(path, "bagit.txt", "tags") != _DECLARATION:
            return [("bagit.txt", "not the declaration of a BagIt 1.0 bag in UTF-8")]
        listed = {name: _entries(_bytes(path, name, "tags"), name) for name in (_MANIFEST, _TAGS)}
    except MasterError as error:
        return [("", str(error).removeprefix(f"{path}: "))]
    except ValueError as error:
        return [("", str(error))]
    problems = []
    for kind, entries in (("tags", listed[_TAGS]), ("data", listed[_MANIFEST])):
        for name, wanted in entries.items():
            try:
                if digest(_bytes(path, name, kind)) != wanted:
                    problems.append((name, "changed since the master was built (its SHA-256 is another)"))
            except MasterError as error:
                problems.append((name, str(error).removeprefix(f"{path / name}: ")))
    present = {str(each.relative_to(path)) for each in (path / "data").rglob("*") if not each.is_dir()}
    problems += [(name, "not in the manifest") for name in sorted(present - set(listed[_MANIFEST]))]
    problems += [(_TAGS, f"does not list {name}") for name in ("bagit.txt", _MANIFEST) if name not in listed[_TAGS]]
    return problems


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
        if not path.is_dir():
            raise MasterError(f"{path}: no such folder; a master is a folder that `obverse build` made")
        if not file.is_file() or file.is_symlink():
            raise MasterError(f"{file}: missing" if path.joinpath("bagit.txt").exists() else f"{path}: no master: it has no bagit.txt")
        if file.stat().st_size > _LARGEST[kind]:
            raise MasterError(f"{file}: {file.stat().st_size:,} bytes, more than a master's file can have")
        return file.read_bytes()
    except OSError as error:
        raise MasterError(f"{file}: can't be read: {error.strerror}") from error


def _master(path: Path, record: Mapping[str, Any]) -> Master:
    if record["version"] != 1:
        raise ValueError(f"version {record['version']!r}")
    title, serial = record["title"], record["serial"]
    slot = Slot(**serial) if serial else None
    sides = {name: _side(path, name, side, slot) for name, side in record["sides"].items()}
    manifest = digest(_bytes(path, _MANIFEST, "tags"))
    return Master(path, manifest, title["name"], title["publisher"], title["catalogue"], title["revision"], sides, record)


def _side(path: Path, name: str, side: Mapping[str, Any], slot: Slot | None) -> Side:
    dump = _bytes(path, f"data/side-{name}.dump", "data")
    if len(dump) != side["dump_bytes"]:
        raise ValueError(f"side {name}: {len(dump)} bytes in its dump")
    return Side(
        name,
        side["geometry"],
        side["volume"],
        side["platform"],
        dump,
        side["sha256"],
        side["geometry_plain"],
        side["identity"],
        tuple(side["unproven_sectors"]),
        slot if slot and slot.side == name else None,
        tuple(side["files"]),
    )
