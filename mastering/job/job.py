"""job.toml to a frozen Job: the publisher's words checked, the sources read, all problems at once with their dotted places."""

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from formats import registry
from formats.errors import DefinitionError, Problem, VolumeError
from formats.model.geometry import Address, Geometry
from formats.volumes.interface import FileIn, PlacedBytes, Volume, VolumeIn
from formats.volumes.shared.plans import seen_differences
from mastering.errors import MasteringError, ProblemsError, unknown
from mastering.job.own_geometry import own_geometries
from mastering.job.schema import FileKeys, JobKeys, PlaceKeys, SerialKeys, SideKeys, TitleKeys, parse, parse_rest

LARGEST_SOURCE = 16 << 20  # several times what the largest disc holds
LARGEST_JOB = 1 << 20
STAND_IN = b"\x01\x01"  # for a source that is not there: what else is wrong with its table is told all the same
_MEANT = re.compile(r"(.*)\.[^.]*: unknown key; did you mean `(\w+)`")
SERIAL_TAIL = len("-0001-X")  # what a serial has behind the catalogue number


@dataclass(frozen=True)
class Title:
    """What the master is of."""

    name: str
    publisher: str
    catalogue: str
    revision: str


@dataclass(frozen=True)
class SidePlan:
    """One side to build; `volatile` says for each file of `content` whether the customer's machine may change it."""

    name: str
    platform: str
    geometry: Geometry
    volume: Volume
    content: VolumeIn
    volatile: tuple[bool, ...]
    free: str
    suffix: str | None


@dataclass(frozen=True)
class SerialPlan:
    """A side that carries the serial, and the bytes that hold its place; `where` is its table in the job."""

    side: str
    marker: bytes
    where: str = "serial"


@dataclass(frozen=True)
class Job:
    """A whole job, its sources read."""

    title: Title
    serials: tuple[SerialPlan, ...]
    sides: Mapping[str, SidePlan]


def load(path: Path, raw: dict[str, Any] | None = None) -> Job:
    """The job in a file, its editions left aside; `raw` instead of the file's own TOML, where that is given.

    ProblemsError with every problem at once; MasteringError when it is no TOML at all.
    """
    return _Loader(path, parse_file(path) if raw is None else raw).job()


def parse_file(path: Path) -> dict[str, Any]:
    """The TOML of a job file. MasteringError names the line that is none."""
    try:
        if path.exists() and not path.is_file():
            raise MasteringError(f"{path}: not a file; a job is a file such as job.toml")
        if path.stat().st_size > LARGEST_JOB:
            raise MasteringError(f"{path}: {path.stat().st_size:,} bytes, a job file has at most {LARGEST_JOB:,}")
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))  # some editors put a byte order mark first
    except OSError as error:
        raise MasteringError(f"{path}: can't be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise MasteringError(f"{path}: byte {error.start}: not UTF-8") from error
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, and numbers of thousands of digits
        raise MasteringError(f"{path}: not TOML: {error}") from error


def _unbuildable(plan: SidePlan) -> tuple[Problem, ...]:
    """What keeps a side's volume from being built."""
    if not plan.volume.fits(plan.geometry):
        return ()
    try:
        plan.volume.build(plan.geometry, plan.content)
    except VolumeError as error:
        return error.problems
    return ()


def _no_order(geometry: Geometry, asked: str | tuple[int, ...] | None) -> str:
    """That a geometry's sectors have no such order, and which they have."""
    names = ", ".join(["as-numbered", *(["heads-apart"] if geometry.heads == 2 else []), *dict(geometry.orders)])
    if len({zone.sectors for zone in geometry.zones}) > 1:
        what = "no such order" if isinstance(asked, str) else "no one list of sectors for all tracks, which differ in their number"
        return f"{geometry.id} has {what}; it has {names}"
    if isinstance(asked, str):
        return f"{geometry.id} has no such order; it has {names}, or a list of one track's sectors"
    numbers = geometry.numbers(0)
    return f"must name each sector of {geometry.id} once, {numbers[0]} to {numbers[-1]}; or be {names}"


class _Loader:
    """The steps of `load`, which collect problems as they go on."""

    def __init__(self, path: Path, raw: dict[str, Any]) -> None:
        self.path, self.raw = path, raw
        self.folder = path.absolute().parent
        self.read: dict[Path, bytes] = {}  # each source once, however often it is named
        self.problems: list[str] = []
        self.own = own_geometries(raw.get("geometry"), self.problems)

    def job(self) -> Job:
        raw = self.raw
        parse(JobKeys, {key: {} if isinstance(value, dict) else value for key, value in raw.items()}, "", self.problems)
        title = self.table(TitleKeys, "title", needed=True)
        serials = tuple(self.serials(title))
        sides = self.sides(title)
        if self.problems or title is None:
            told = {problem.partition(":")[0] for problem in self.problems}
            told |= {f"{meant[1]}.{meant[2]}" for meant in map(_MEANT.match, self.problems) if meant}  # not missing, but misspelt
            more = (problem for plan in sides.values() for problem in _unbuildable(plan) if problem.where not in told)
            self.problems += map(str, more)  # all at once
            raise ProblemsError([f"{self.path}: {problem}" for problem in self.problems])
        return Job(Title(title.name, title.publisher, title.catalogue, title.revision), serials, sides)

    def add(self, where: str, what: str) -> None:
        self.problems.append(f"{where}: {what}")

    def table(self, model: type, name: str, needed: bool = False) -> Any:
        value = self.raw.get(name)
        if value is None:
            if needed:
                self.add(name, "is missing")
            return None
        if not isinstance(value, dict):
            self.add(name, f"must be a table, [{name}]")
            return None
        return parse(model, value, name, self.problems)

    # Serials

    def serials(self, title: TitleKeys | None) -> Iterator[SerialPlan]:
        """The serial's place: one table [serial], or one [[serial]] for each side."""
        raw = self.raw.get("serial")
        several = self.tables(raw, "serial") if isinstance(raw, list) else [(raw, "serial")] if isinstance(raw, dict) else []
        if raw is not None and not isinstance(raw, list | dict):
            self.add("serial", "must be a table, [serial], or one [[serial]] for each side")
        seen: set[str] = set()
        for table, where in several:
            keys = parse_rest(SerialKeys, table, where, self.problems)
            sides = self.raw.get("side")
            if keys.side and isinstance(sides, dict) and keys.side not in sides:
                self.add(f"{where}.side", f"the job has no side {keys.side}")
            if keys.side in seen:
                self.add(f"{where}.side", f"side {keys.side} has a place for the serial already")
            seen.add(keys.side)
            if not keys.side or not keys.marker:
                continue  # its problem has been told
            if title and len(keys.marker) < len(title.catalogue) + SERIAL_TAIL:
                room = f"serials such as {title.catalogue}-0001-X"
                self.add(f"{where}.marker", f"must have at least {len(title.catalogue) + SERIAL_TAIL} characters: {room} take its place")
            yield SerialPlan(keys.side, keys.marker.encode("ascii"), where)

    # Sides

    def sides(self, title: TitleKeys | None) -> dict[str, SidePlan]:
        raw = self.raw.get("side")
        if not isinstance(raw, dict):
            missing = "is missing: a job has [side.A], and [side.B] where the disc is turned over"
            self.add("side", missing if raw is None else "must hold tables, [side.A] and [side.B]")
            return {}
        for name in raw:
            if name not in ("A", "B"):
                self.add(f"side.{name}", "a disc has sides A (label up) and B (turned over)")
        if "A" not in raw:
            self.add("side.A", "is missing: side A is the one with the label up")
        plans = {name: self.side(name, raw[name], title) for name in ("A", "B") if name in raw}
        made = {name: plan for name, plan in plans.items() if plan is not None}
        if "B" in raw and any(plan.geometry.heads == 2 for plan in made.values()):
            self.add("side.B", "a two-head geometry records both faces, so such a job has side A only")
        return made

    def side(self, name: str, raw: Any, title: TitleKeys | None) -> SidePlan | None:
        where = f"side.{name}"
        if not isinstance(raw, dict):
            self.add(where, "must be a table, [side.A]")
            return None
        plain = {key: value for key, value in raw.items() if key not in ("file", "place")}
        keys = parse_rest(SideKeys, plain, where, self.problems)
        files = list(self.files(raw.get("file", []), f"{where}.file"))
        geometry = self.named(self.geometry, "geometries", plain.get("geometry"), f"{where}.geometry")
        volume = self.named(registry.volume, "volumes", plain.get("volume"), f"{where}.volume")
        if geometry and volume and not volume.fits(geometry):
            self.add(f"{where}.volume", f"{volume.id} is not defined on {geometry.id}{self.why_not(volume, geometry)}")
        places = list(self.places(raw.get("place", []), geometry, f"{where}.place"))
        if geometry is None or volume is None:
            return None
        files = [files[at] for at in volume.order([file.name for file, _ in files])]
        content = self.content(keys, geometry, title, where)
        content = replace(content, files=[each for each, _ in files], places=places)
        if keys.image is not None and content.image is None:
            return None  # its problem has been told
        return SidePlan(name, keys.platform, geometry, volume, content, tuple(flag for _, flag in files), keys.free, keys.suffix)

    def why_not(self, volume: Volume, geometry: Geometry) -> str:
        """Why a volume does not lie on a geometry of the job's own."""
        if geometry.id not in self.own:
            return ""
        base = registry.geometry(self.raw["geometry"][geometry.id]["base"])
        if not volume.fits(base):
            return f", nor on its base, {base.id}"
        return f": a file system sees where it differs from {base.id}: {', '.join(seen_differences(base, geometry))}"

    def content(self, keys: SideKeys, geometry: Geometry, title: TitleKeys | None, where: str) -> VolumeIn:
        default_id = title.catalogue[-2:].rjust(2, "0") if title else "00"
        image = self.image(keys, geometry, where)
        boot = self.source(keys.boot, f"{where}.boot") if keys.boot else None
        return VolumeIn(
            (),
            label=keys.label.encode("utf-8"),
            disc_id=(keys.disc_id or default_id).encode("ascii"),
            volume_number=keys.volume_number,
            date=title.date if title else date(1980, 1, 1),
            boot=boot,
            interleave=keys.interleave,
            image=image,
            where=where,
        )

    def image(self, keys: SideKeys, geometry: Geometry, where: str) -> bytes | None:
        """A ready image in the order of a dump."""
        if keys.order is not None and keys.image is None:
            self.add(f"{where}.order", "goes with `image` only")
        if keys.image is None:
            return None
        data = self.source(keys.image, f"{where}.image")
        asked = tuple(keys.order) if isinstance(keys.order, list) else keys.order
        order = geometry.addresses if asked is None else geometry.image_order(asked)
        if order is None:
            self.add(f"{where}.order", _no_order(geometry, asked))
            return None
        if data is None:
            return None
        off = len(data) - geometry.dump_bytes
        if off:
            what = f"{abs(off):,} bytes too {'long' if off > 0 else 'short'}"
            self.add(f"{where}.image", f"{keys.image} has {len(data):,} bytes, {what} for {geometry.id} ({geometry.dump_bytes:,})")
            return None
        size = geometry.size
        sectors = {address: data[at * size : (at + 1) * size] for at, address in enumerate(order)}
        return b"".join(sectors[address] for address in geometry.addresses)

    def geometry(self, name: str) -> Geometry | None:
        """The job's own geometry of that name, None when it is wrong; else the declared one. KeyError when there is neither."""
        return self.own[name] if name in self.own else registry.geometry(name)

    def named(self, find: Callable[[str], Any], kind: str, name: Any, where: str) -> Any:
        """A geometry or volume by its id."""
        if not isinstance(name, str):
            return None
        try:
            return find(name)
        except KeyError:
            self.add(where, unknown(name, [*registry.names(kind), *(self.own if kind == "geometries" else ())]))
        except DefinitionError as error:
            self.add(where, str(error))
        return None

    def tables(self, raw: Any, where: str) -> Iterator[tuple[dict[str, Any], str]]:
        """The tables of an array of tables, each with its place."""
        if not isinstance(raw, list) or not all(isinstance(each, dict) for each in raw):
            self.add(where, f"must be an array of tables, [[{where}]]")
            return
        yield from ((each, f"{where}[{number}]") for number, each in enumerate(raw))

    def files(self, raw: Any, where: str) -> Iterator[tuple[FileIn, bool]]:
        for each, place in self.tables(raw, where):
            keys = parse_rest(FileKeys, each, place, self.problems)
            data = self.source(each.get("source"), f"{place}.source")
            if ("name" in each) == ("name_bytes" in each):
                self.add(f"{place}.name", "a file has either `name` or `name_bytes`")
            name = keys.name.encode("utf-8") if keys.name is not None else bytes.fromhex(keys.name_bytes or "")
            data = STAND_IN if data is None else data
            yield FileIn(name, data, "name_bytes" in each, keys.type, keys.load_address, keys.locked, place), keys.volatile

    def places(self, raw: Any, geometry: Geometry | None, where: str) -> Iterator[PlacedBytes]:
        for each, place in self.tables(raw, where):
            keys = parse_rest(PlaceKeys, each, place, self.problems)
            data = self.source(each.get("source"), f"{place}.source")
            if geometry is None or None in (keys.track, keys.sector):
                continue
            address = Address(keys.track, keys.head, keys.sector)
            if address not in geometry.places:
                self.add(place, f"{geometry.id} has no track {keys.track} head {keys.head} sector {keys.sector}")
            else:
                yield PlacedBytes(address, STAND_IN if data is None else data, place)

    # Sources

    def source(self, name: Any, where: str) -> bytes | None:
        """The bytes of a file of the job, None when there is a problem with it."""
        if not isinstance(name, str) or not name:
            return None
        path = self.folder / name
        if Path(name).is_absolute() or ".." in re.split(r"[/\\]", name):
            self.add(where, f"{name} leads out of the job's folder; sources lie inside it")
            return None
        try:
            inside = path.resolve(strict=True)
            if not inside.is_relative_to(self.folder.resolve()):
                self.add(where, f"{name} is a link out of the job's folder; sources lie inside it")
            elif not inside.is_file():
                self.add(where, f"{name} is not a file")
            elif inside.stat().st_size > LARGEST_SOURCE:
                self.add(where, f"{name} has {inside.stat().st_size:,} bytes, a source at most {LARGEST_SOURCE:,}")
            else:
                if inside not in self.read:
                    self.read[inside] = inside.read_bytes()
                return self.read[inside]
        except FileNotFoundError:
            self.add(where, f"there is no file {name} beside the job")
        except (OSError, ValueError, RuntimeError) as error:
            self.add(where, f"{name} can't be read: {getattr(error, 'strerror', None) or error}")
        return None
