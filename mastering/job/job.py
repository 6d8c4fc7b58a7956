"""job.toml to a frozen Job: the publisher's words checked, the sources read, all problems at once with their dotted places."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from formats import registry
from formats.errors import DefinitionError, Problem, VolumeError
from formats.model.geometry import Address, Geometry
from formats.volumes.interface import FileIn, PlacedBytes, Volume, VolumeIn
from formats.volumes.shared.plans import seen_differences
from formats.volumes.shared.problems import Problems
from mastering.errors import ProblemsError, unknown
from mastering.job.own_geometry import own_geometries
from mastering.job.plan import Job, SidePlan, Title
from mastering.job.schema import FileKeys, JobKeys, PlaceKeys, SideKeys, TitleKeys, UnknownKey, parse, parse_rest
from mastering.job.slots import old_table, slot_plan
from mastering.job.sources import Sources
from mastering.toml import read_toml

STAND_IN = b"\x01\x01"  # for a source that is not there: what else is wrong with its table is reported all the same


def load(path: Path, raw: dict[str, Any] | None = None, edition: str | None = None) -> Job:
    """The job in a file, its editions left aside; `raw`: the TOML of one of its `edition`s instead of the file's own.

    ProblemsError with every problem at once; MasteringError when it is no TOML at all.
    """
    return _Loader(path, parse_file(path) if raw is None else raw, edition).job()


def parse_file(path: Path) -> dict[str, Any]:
    """The TOML of a job file. MasteringError names the line that is none."""
    return read_toml(path, "a job file")


def _unbuildable(plan: SidePlan) -> tuple[Problem, ...]:
    """The problems that keep the volume of a side from being built."""
    if not plan.volume.fits(plan.geometry):
        return ()
    try:
        plan.volume.build(plan.geometry, plan.content)
    except VolumeError as error:
        return error.problems
    return ()


def _no_order(geometry: Geometry, asked: str | tuple[int, ...] | None) -> str:
    """A sentence that says that a geometry has no such order of its sectors, and which orders it has."""
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

    def __init__(self, path: Path, raw: dict[str, Any], edition: str | None) -> None:
        self.path, self.raw, self.edition = path, raw, edition
        self.problems = Problems()
        self.sources = Sources(path.absolute().parent, self.problems)
        self.own = own_geometries(raw.get("geometry"), self.problems)

    def job(self) -> Job:
        parse(JobKeys, {key: {} if isinstance(value, dict) else value for key, value in self.raw.items()}, "", self.problems)
        keys = self.table(TitleKeys, "title", needed=True)
        title = self.title(keys) if keys else None
        if "serial" in self.raw:
            self.problems.add("serial", old_table(self.raw["serial"]))
        sides = self.sides(title, keys.date if keys else date(1980, 1, 1))
        if self.problems or title is None:
            reported = {problem.where for problem in self.problems}
            reported |= {problem.meant for problem in self.problems if isinstance(problem, UnknownKey)}  # not missing, but misspelt
            self.problems += [problem for plan in sides.values() for problem in _unbuildable(plan) if problem.where not in reported]
            raise ProblemsError(self.problems, self.path)
        return Job(title, sides)

    def title(self, keys: TitleKeys) -> Title:
        if keys.disc > keys.discs:
            self.problems.add("title.disc", f"is {keys.disc}, where the title has {keys.discs} (`discs`)")
        return Title(keys.name, keys.publisher, keys.catalogue, keys.revision, self.edition, keys.disc, keys.discs)

    def table(self, model: type, name: str, needed: bool = False) -> Any:
        value = self.raw.get(name)
        if value is None:
            if needed:
                self.problems.add(name, "is missing")
            return None
        if not isinstance(value, dict):
            self.problems.add(name, f"must be a table, [{name}]")
            return None
        return parse(model, value, name, self.problems)

    # Sides

    def sides(self, title: Title | None, day: date) -> dict[str, SidePlan]:
        raw = self.raw.get("side")
        if not isinstance(raw, dict):
            missing = "is missing: a job has [side.A], and [side.B] where the disc is turned over"
            self.problems.add("side", missing if raw is None else "must hold tables, [side.A] and [side.B]")
            return {}
        for name in raw:
            if name not in ("A", "B"):
                self.problems.add(f"side.{name}", "a disc has sides A (label up) and B (turned over)")
        if "A" not in raw:
            self.problems.add("side.A", "is missing: side A is the one with the label up")
        plans = {name: self.side(name, raw[name], title, day) for name in ("A", "B") if name in raw}
        read = {name: plan for name, plan in plans.items() if plan is not None}
        if "B" in raw and any(plan.geometry.heads == 2 for plan in read.values()):
            self.problems.add("side.B", "a two-head geometry records both faces, so such a job has side A only")
        return read

    def side(self, name: str, raw: Any, title: Title | None, day: date) -> SidePlan | None:
        where = f"side.{name}"
        if not isinstance(raw, dict):
            self.problems.add(where, "must be a table, [side.A]")
            return None
        plain = {key: value for key, value in raw.items() if key not in ("file", "place")}
        keys = parse_rest(SideKeys, plain, where, self.problems)
        files = list(self.files(raw.get("file", []), f"{where}.file"))
        geometry = self.named(self.geometry, "geometries", plain.get("geometry"), f"{where}.geometry")
        volume = self.named(registry.volume, "volumes", plain.get("volume"), f"{where}.volume")
        if geometry and volume and not volume.fits(geometry):
            self.problems.add(f"{where}.volume", f"{volume.id} is not defined on {geometry.id}{self.why_not(volume, geometry)}")
        places = list(self.places(raw.get("place", []), geometry, f"{where}.place"))
        if geometry is None or volume is None:
            return None
        files = [files[at] for at in volume.order([file.name for file, _ in files])]
        content = self.content(keys, geometry, title, day, where)
        content = replace(content, files=[each for each, _ in files], places=places)
        slot = slot_plan(keys.serial, keys.free, title, volume, geometry, f"{where}.serial", self.problems)
        if keys.image is not None and content.image is None:
            return None  # its problem has been reported
        return SidePlan(name, keys.platform, geometry, volume, content, tuple(flag for _, flag in files), keys.free, keys.suffix, slot)

    def why_not(self, volume: Volume, geometry: Geometry) -> str:
        """Why a volume does not lie on a geometry of the job's own."""
        if geometry.id not in self.own:
            return ""
        base = registry.geometry(self.raw["geometry"][geometry.id]["base"])
        if not volume.fits(base):
            return f", nor on its base, {base.id}"
        return f": a file system sees where it differs from {base.id}: {', '.join(seen_differences(base, geometry))}"

    def content(self, keys: SideKeys, geometry: Geometry, title: Title | None, day: date, where: str) -> VolumeIn:
        default_id = title.catalogue[-2:].rjust(2, "0") if title else "00"
        image = self.image(keys, geometry, where)
        boot = self.sources.read(keys.boot, f"{where}.boot") if keys.boot else None
        return VolumeIn(
            (),
            label=keys.label.encode("utf-8"),
            disc_id=(keys.disc_id or default_id).encode("ascii"),
            volume_number=keys.volume_number,
            date=day,
            boot=boot,
            interleave=keys.interleave,
            image=image,
            where=where,
        )

    def image(self, keys: SideKeys, geometry: Geometry, where: str) -> bytes | None:
        """A ready image in the order of a dump."""
        if keys.order is not None and keys.image is None:
            self.problems.add(f"{where}.order", "goes with `image` only")
        if keys.image is None:
            return None
        data = self.sources.read(keys.image, f"{where}.image")
        asked = tuple(keys.order) if isinstance(keys.order, list) else keys.order
        order = geometry.addresses if asked is None else geometry.image_order(asked)
        if order is None:
            self.problems.add(f"{where}.order", _no_order(geometry, asked))
            return None
        if data is None:
            return None
        off = len(data) - geometry.dump_bytes
        if off:
            what = f"{abs(off):,} bytes too {'long' if off > 0 else 'short'}"
            self.problems.add(f"{where}.image", f"{keys.image} has {len(data):,} bytes, {what} for {geometry.id} ({geometry.dump_bytes:,})")
            return None
        size = geometry.size
        sectors = {address: data[at * size : (at + 1) * size] for at, address in enumerate(order)}
        return b"".join(sectors[address] for address in geometry.addresses)

    def geometry(self, name: str) -> Geometry | None:
        """The job's own geometry of that name, None when it is wrong; else the declared one. KeyError when there is neither."""
        return self.own[name] if name in self.own else registry.geometry(name)

    def named(self, find: Callable[[str], Any], kind: str, name: Any, where: str) -> Any:
        """The geometry or volume of an id; None when there is none, which is reported."""
        if not isinstance(name, str):
            return None
        try:
            return find(name)
        except KeyError:
            self.problems.add(where, unknown(name, [*registry.names(kind), *(self.own if kind == "geometries" else ())]))
        except DefinitionError as error:
            self.problems.add(where, str(error))
        return None

    def tables(self, raw: Any, where: str) -> Iterator[tuple[dict[str, Any], str]]:
        """The tables of an array of tables, each with its place."""
        if not isinstance(raw, list) or not all(isinstance(each, dict) for each in raw):
            self.problems.add(where, f"must be an array of tables, [[{where}]]")
            return
        yield from ((each, f"{where}[{number}]") for number, each in enumerate(raw))

    def files(self, raw: Any, where: str) -> Iterator[tuple[FileIn, bool]]:
        for each, place in self.tables(raw, where):
            keys = parse_rest(FileKeys, each, place, self.problems)
            data = self.sources.read(each.get("source"), f"{place}.source")
            if ("name" in each) == ("name_bytes" in each):
                self.problems.add(f"{place}.name", "a file has either `name` or `name_bytes`")
            name = keys.name.encode("utf-8") if keys.name is not None else bytes.fromhex(keys.name_bytes or "")
            data = STAND_IN if data is None else data
            yield FileIn(name, data, "name_bytes" in each, keys.type, keys.load_address, keys.locked, place), keys.volatile

    def places(self, raw: Any, geometry: Geometry | None, where: str) -> Iterator[PlacedBytes]:
        for each, place in self.tables(raw, where):
            keys = parse_rest(PlaceKeys, each, place, self.problems)
            data = self.sources.read(each.get("source"), f"{place}.source")
            if geometry is None or None in (keys.track, keys.sector):
                continue
            address = Address(keys.track, keys.head, keys.sector)
            if address not in geometry.places:
                self.problems.add(place, f"{geometry.id} has no track {keys.track} head {keys.head} sector {keys.sector}")
            else:
                yield PlacedBytes(address, STAND_IN if data is None else data, place)
