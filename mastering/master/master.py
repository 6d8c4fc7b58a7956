"""The master: a BagIt bag (RFC 8493) with each side's dump and capture and `master.json`, the same bytes every time.

Opening one proves every file's digest first. Nothing here needs numpy, construct or pydantic.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from mastering.files import canonical_json, digest, write_folder
from mastering.master.bag import MANIFEST, MasterError, bag, proved, read
from mastering.master.slot import Slot

if TYPE_CHECKING:
    from formats.model.geometry import Geometry


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
    geometry_digest: str
    identity: Mapping[str, int]
    unproven: tuple[int, ...]
    slot: Slot | None
    files: tuple[Mapping[str, Any], ...]

    @cached_property
    def geometry(self) -> "Geometry":
        """The geometry as this master means it, whatever its declaration says today. MasterError when the record contradicts itself."""
        from formats.errors import DefinitionError

        spelled = json.dumps(self.plain)  # quick to make, unlike the canonical form, where a hundred masters have the same one
        if _geometry_digest(spelled) != self.geometry_digest:
            raise MasterError(f"master.json, side {self.name}: geometry_plain is not what geometry_digest says")
        try:
            geometry = _geometry(spelled)
            agrees = (geometry.id, geometry.dump_bytes, set(geometry.identity)) == (self.geometry_id, len(self.dump), set(self.identity))
        except (DefinitionError, LookupError, TypeError, ValueError, AttributeError, ArithmeticError, RecursionError) as error:
            raise MasterError(f"master.json, side {self.name}: geometry_plain is no geometry ({error})") from error
        if not agrees:
            raise MasterError(f"master.json, side {self.name}: geometry_plain is not the geometry of its id, dump and identity")
        return geometry

    @property
    def size(self) -> int:
        """Bytes of a sector."""
        return int(self.plain["size"])

    def stamped(self, serial: str) -> bytes:
        """The side's dump with a serial in its slot; the plain dump where the side has no slot. ValueError when the serial is too long."""
        if self.slot is None or self.slot_start is None:
            return self.dump
        if len(serial) > self.slot.bytes:
            raise ValueError(f"{serial} is longer than the {self.slot.bytes} bytes of its slot")
        return self.dump[: self.slot_start] + serial.ljust(self.slot.bytes).encode("ascii") + self.dump[self.slot_start + self.slot.bytes :]

    @property
    def slot_start(self) -> int | None:
        """Where in the dump the serial slot begins."""
        return None if self.slot is None else self.slot.place * self.size + self.slot.offset


@lru_cache(maxsize=256)
def _geometry_digest(plain: str) -> str:
    """The digest of a plain form, by its canonical spelling."""
    return digest(canonical_json(json.loads(plain)))


@lru_cache(maxsize=256)
def _geometry(plain: str) -> "Geometry":
    """The geometry of a plain form in JSON; proved once, however many masters have it."""
    from formats.model.geometry import Geometry
    from formats.model.proof import prove

    return prove(Geometry.from_plain(json.loads(plain)))


@dataclass(frozen=True)
class Master:
    """A master that was opened and proved. `digest` is that of its manifest; `record` all that `master.json` says.

    `edition`: the name of the job's edition, None for the job itself; `disc` of `discs`: which disc of a set. `free_title`: what the texts
    of its free sectors begin with.
    """

    path: Path
    digest: str
    title: str
    publisher: str
    catalogue: str
    revision: str
    edition: str | None
    disc: int
    discs: int
    free_title: str
    sides: Mapping[str, Side]
    record: Mapping[str, Any]

    @property
    def label(self) -> str:
        """Title and revision."""
        return f"{self.title} {self.revision}"


# Writing


def write_master(target: Path, payload: Mapping[str, bytes], record: Mapping[str, Any]) -> str:
    """Writes the bag of a payload (names below `data/`) and its record; returns the manifest's digest. MasteringError when it can't."""
    files = bag(payload, record)
    write_folder(target, files)
    return digest(files[MANIFEST])


def write_masters(target: Path, masters: Mapping[str, tuple[Mapping[str, bytes], Mapping[str, Any]]]) -> dict[str, str]:
    """Writes a folder with a bag for each name, all or none; returns the manifests' digests. MasteringError when it can't."""
    bags = {name: bag(payload, record) for name, (payload, record) in masters.items()}
    write_folder(target, {f"{name}/{file}": data for name, files in bags.items() for file, data in files.items()})
    return {name: digest(files[MANIFEST]) for name, files in bags.items()}


# Opening


def master_folders(shelf: Path) -> list[Path]:
    """The folders in a folder that are bags, by name; what is none there is passed over. MasterError when it can't be read."""
    try:
        return sorted(each for each in shelf.iterdir() if (each / "bagit.txt").is_file())
    except OSError as error:
        raise MasterError(f"{shelf}: can't be read: {error.strerror}") from error


def masters_at(path: Path) -> list[Path]:
    """The folder itself when it is a bag, else the bags in it. MasterError when it can't be read."""
    return [path] if (path / "bagit.txt").is_file() else master_folders(path)


def open_master(path: Path, whole: bool = True) -> Master:
    """The master in a folder, every file's digest proved; `whole` False proves only what a Master holds, the dumps and the record.

    MasterError names the first file that is not what it was.
    """
    problems, files = proved(path) if whole else read(path)
    for wrong in problems:
        raise MasterError(
            f"{path / wrong.where}: {wrong.what}; take the master from a copy, or build it anew" if wrong.where else f"{path}: {wrong.what}"
        )
    try:
        return _master(path, json.loads(files["data/master.json"]), files)
    except KeyError as error:
        raise MasterError(f"{path}: the manifest does not list {error.args[0]}") from error
    except (ValueError, RecursionError) as error:
        raise MasterError(f"{path / 'data/master.json'}: not what a master holds: {error}") from error


# What master.json must hold for a master to be used; it may hold more

_SIDE_SHAPE = {
    "geometry": str, "volume": str, "platform": str, "label": str, "sha256": str, "dump_bytes": int, "geometry_plain": {"size": int},
    "geometry_digest": str, "identity": dict, "unproven_sectors": [int], "files": [{"name": str, "bytes": int, "sha256": str}],
}  # fmt: skip
_SLOT_SHAPE = {"track": int, "head": int, "sector": int, "offset": int, "bytes": int, "place": int}
_TITLE_SHAPE = {"name": str, "publisher": str, "catalogue": str, "revision": str}


def _held(value: Any, shape: Any, where: str) -> None:
    """ValueError when a JSON value has another shape: a type, a list of one shape, or the keys that an object must have."""
    kind: Any = shape if isinstance(shape, type) else type(shape)
    if type(value) is not kind:
        raise ValueError(f"{where} is a {type(value).__name__}, where a {kind.__name__} was expected")
    for number, each in enumerate(value if isinstance(shape, list) else ()):
        _held(each, shape[0], f"{where}[{number}]")
    for key, inner in shape.items() if isinstance(shape, dict) else ():
        if key not in value:
            raise ValueError(f"{where} has no {key}")
        _held(value[key], inner, f"{where}.{key}")


def _master(path: Path, record: Any, files: Mapping[str, bytes]) -> Master:
    _held(record, {"version": int, "title": _TITLE_SHAPE, "sides": dict}, "the record")
    version, title = record["version"], record["title"]
    if version not in (1, 2):
        raise ValueError(f"its version is {version}; this program opens 1 and 2")
    if version == 2:
        _held(title, {"disc": int, "discs": int}, "title")
        if title.get("edition") is not None:
            _held(title["edition"], str, "title.edition")
    if set(record["sides"]) not in ({"A"}, {"A", "B"}):
        raise ValueError(f"its sides are {', '.join(record['sides']) or 'none'}, where A, or A and B, were expected")
    slots = _slots(record)
    sides = {name: _side(name, side, slots.get(name), files[f"data/side-{name}.dump"]) for name, side in record["sides"].items()}
    for name in slots:
        if name not in sides:
            raise ValueError(f"serials has side {name!r}, which the master lacks")
    label, later = f"{title['name']} {title['revision']}", version == 2
    return Master(
        path, digest(files[MANIFEST]), title["name"], title["publisher"], title["catalogue"], title["revision"],
        title.get("edition") if later else None, title["disc"] if later else 1, title["discs"] if later else 1,
        title["catalogue"] if later else label, sides, record,
    )  # fmt: skip


def _slots(record: Any) -> dict[str, Slot]:
    """Where the serial lies on each side that carries it. In version 1 `serial` is the first place, `serials` a list of several."""
    if record["version"] == 2:
        if "serials" not in record:
            raise ValueError("the record has no serials")
        _held(record["serials"], dict, "serials")
        places = record["serials"]
    elif "serial" not in record:
        raise ValueError("the record has no serial (null, or its slot)")
    else:
        listed = record.get("serials", [] if record["serial"] is None else [record["serial"]])
        _held(listed, [{"side": str}], "serials")
        places = {place["side"]: place for place in listed}
    for name, place in places.items():
        _held(place, _SLOT_SHAPE, f"serials.{name}")
    return {name: Slot(**{key: place[key] for key in _SLOT_SHAPE}) for name, place in places.items()}


def _side(name: str, side: Any, slot: Slot | None, dump: bytes) -> Side:
    where = f"sides.{name}"
    _held(side, _SIDE_SHAPE, where)
    for key, value in side["identity"].items():
        _held(value, int, f"{where}.identity.{key}")
    size, unproven = side["geometry_plain"]["size"], side["unproven_sectors"]
    if len(dump) != side["dump_bytes"] or size < 1 or len(dump) % size or not dump:
        raise ValueError(f"{where}: {len(dump):,} bytes in its dump, in sectors of {size}, do not agree with dump_bytes")
    count = len(dump) // size
    if unproven != sorted(set(unproven)) or not all(0 <= place < count for place in unproven):
        raise ValueError(f"{where}.unproven_sectors are not places of its dump, ascending")
    if slot and not (0 <= slot.place < count and 0 <= slot.offset < slot.offset + slot.bytes <= size):
        raise ValueError(f"serials.{name}: not inside one of its side's sectors")
    return Side(
        name, side["geometry"], side["volume"], side["platform"], dump, side["sha256"], side["geometry_plain"],
        side["geometry_digest"], side["identity"], tuple(unproven), slot, tuple(side["files"]),
    )  # fmt: skip
