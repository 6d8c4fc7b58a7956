"""`[geometry.NAME]`: a declared geometry with changes in full words, proved as any declared one is."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import Field, FiniteFloat

from formats import registry
from formats.errors import DefinitionError
from formats.model.geometry import Element, Gap, Geometry, Zone
from formats.model.radius import INNERMOST, innermost
from formats.model.record import Part, Record
from formats.source import Source
from mastering.errors import unknown
from mastering.job.schema import Keys, Text, parse

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
_AS_NUMBERED = "as-numbered"

Count = Annotated[int, Field(ge=1, le=4096)]
Number = Annotated[int, Field(ge=0, le=255)]
Real = int | FiniteFloat
Nanoseconds = Annotated[Real, Field(ge=500, le=16_000)]
Numbers = list[int] | Literal["as-numbered"]


class GeometryKeys(Keys):
    """[geometry.NAME]. Lists have one number for each of the base's zones, orders one for each sector of a track; gaps are in bytes."""

    base: Text
    tracks: Annotated[int, Field(ge=1, le=96)] | None = None  # cylinders; a capture has room for 96
    first_track: Number | None = None
    heads: Annotated[int, Field(ge=1, le=2)] | None = None
    tracks_count_on: bool | None = None
    heads_apart: bool | None = None
    sectors: Count | list[Count] | None = None
    sector_bytes: Annotated[int, Field(ge=1, le=16_384)] | None = None
    first_sector: Number | None = None
    order: Numbers | None = None
    dump_order: Numbers | None = None
    complemented: bool | None = None
    index_mark: bool | None = None
    index_gap: Count | None = None
    first_gap: Count | None = None
    identifier_gap: Count | None = None
    data_gap: Count | list[Count] | None = None
    rpm: Annotated[int, Field(ge=100, le=1000)] | None = None
    cell_nanoseconds: Nanoseconds | list[Nanoseconds] | None = None
    speed_tolerance: Annotated[Real, Field(gt=0, le=10)] | None = None  # percent
    tracks_per_inch: Annotated[int, Field(ge=10, le=200)] | None = None
    coercivity: Annotated[int, Field(ge=100, le=2000)] | None = None  # oersted
    index_hole: bool | None = None
    source: Text | None = None


def own_geometries(raw: Any, problems: list[str]) -> dict[str, Geometry | None]:
    """A job's geometries by their names; None for one whose problems, with their places, were added."""
    if raw is None:
        return {}
    if not isinstance(raw, dict):
        problems.append("geometry: must hold tables, [geometry.NAME]")
        return {}
    made: dict[str, Geometry | None] = {}
    for name, table in raw.items():
        told: list[str] = []
        made[name] = _own_geometry(name, table, told)
        problems += told
    return made


def thin_margins(geometries: Iterable[Geometry]) -> Iterator[str]:
    """What may go wrong on discs of geometries that aren't this program's own, a line each.

    A zone in which a drive's usual speed may not be slow enough; tracks further in than those of any published drive.
    """
    ours = set(registry.names("geometries", foreign=False))
    for geometry in geometries:
        for zone in geometry.thin_zones if geometry.id not in ours else ():
            yield (
                f"{geometry.id}, tracks {zone.first}-{zone.last}: thin speed margin: a drive that turns more than "
                f"{100 * geometry.speed_margin(zone):.2f} % too fast overwrites a track's start, "
                f"{below_tolerance(geometry, zone)} the usual tolerance of {100 * float(geometry.tolerance):g} %"
            )
        if geometry.id not in ours and (radius := innermost(geometry)) < INNERMOST:
            yield (
                f"{geometry.id}: {geometry.cylinders} tracks of {geometry.tpi} to the inch: the last lies {radius:.1f} mm from the disc's "
                f"centre; no drive that was published goes further in than {INNERMOST:.1f} mm"
            )


def below_tolerance(geometry: Geometry, zone: Zone) -> str:
    """How far a speed margin is below the tolerance, where the two figures may read alike."""
    margin, tolerance = (f"{100 * float(each):.2f}" for each in (geometry.speed_margin(zone), geometry.tolerance))
    return "just below" if margin == tolerance else "less than"


def _own_geometry(name: str, table: Any, problems: list[str]) -> Geometry | None:
    """One of them. Keys that are wrong are left out, so that the others are proved all the same."""
    where = f"geometry.{name}"
    if not _NAME.fullmatch(name):
        problems.append(f"{where}: a name has 1 to 40 letters, digits, dots, hyphens and underscores, and begins with a letter or digit")
    elif name in registry.names("geometries"):
        problems.append(f"{where}: is the id of a declared geometry; choose another name")
    if not isinstance(table, dict):
        problems.append(f"{where}: must be a table, [{where}]")
        return None
    keys = parse(GeometryKeys, table, where, problems)
    wrong = {problem.removeprefix(f"{where}.").partition(":")[0] for problem in problems}
    left = {key: value for key, value in table.items() if key not in wrong and key in GeometryKeys.model_fields}
    if keys is None and "base" in left:
        keys = GeometryKeys.model_validate(left)
    base = _base(keys.base, f"{where}.base", problems) if keys else None
    if keys is None or base is None:
        return None
    change = _Change(base, keys, where, wrong)
    made = change.made(name)
    problems += change.problems
    return None if problems else made


def _base(name: str, where: str, problems: list[str]) -> Geometry | None:
    try:
        return registry.geometry(name)
    except KeyError:
        problems.append(f"{where}: {unknown(name, registry.names('geometries'))}")
    except DefinitionError as error:
        problems.append(f"{where}: {error}")
    return None


class _Change:
    """A base, and what its keys make of it; problems are collected with their places."""

    def __init__(self, base: Geometry, keys: GeometryKeys, where: str, wrong: set[str]) -> None:
        self.base, self.keys, self.where, self.wrong = base, keys, where, wrong
        self.problems: list[str] = []
        self.places: dict[str, str] = {key: key for key in ("first_sector", "order", "dump_order")}
        self.places |= {"zones[0].first": "first_track", "size": "sector_bytes"}
        self.places["zones[-1].last"] = "tracks_per_inch" if keys.tracks is None else "tracks"

    def add(self, key: str, what: str) -> None:
        self.problems.append(f"{self.where}.{key}: {what}" if key else f"{self.where}: {what}")

    def made(self, name: str) -> Geometry | None:
        """The geometry; None when a change of its own is wrong, or what came of all of them."""
        base, keys = self.base, self.keys
        sector, lead, zones = self._sector(), self._lead(), self._zones()
        heads = _or(keys.heads, base.heads)
        self._check_heads(heads)
        changes: dict[str, Any] = {
            "id": name,
            "sources": self._sources(name),
            "zones": zones,
            "lead": lead,
            "sector": sector,
            "size": _or(keys.sector_bytes, base.size),
            "heads": heads,
            "heads_apart": _or(keys.heads_apart, base.heads_apart),
            "rpm": _or(keys.rpm, base.rpm),
            "tpi": _or(keys.tracks_per_inch, base.tpi),
            "index": _or(keys.index_hole, base.index),
            "first_sector": _or(keys.first_sector, base.first_sector),
            "coercivity": f"{keys.coercivity} Oe" if keys.coercivity else base.coercivity,
            "tolerance": _exact(keys.speed_tolerance) / 100 if keys.speed_tolerance else base.tolerance,
        }
        changes |= self._orders(changes)
        counts_on = _or(keys.tracks_count_on, base.head_tracks > 0)
        changes["head_tracks"] = zones[-1].last - zones[0].first + 1 if counts_on and heads == 2 else 0
        try:
            return replace(base, **changes)
        except DefinitionError as error:
            for problem in error.problems:
                self.add(self.places.get(problem.where, ""), problem.what)
        return None

    def _check_heads(self, heads: int) -> None:
        """Keys that go with two heads only; and what two heads need where no field of an identifier tells them apart."""
        keys, base = self.keys, self.base
        for key in ("tracks_count_on", "heads_apart"):
            if getattr(keys, key) and heads == 1:
                self.add(key, "goes with two heads only")
        told = base.head_tracks or any(field.name == "head" for field in base.identifier.fields)
        if heads == 2 and keys.tracks_count_on is None and not told and not self.wrong & {"heads", "tracks_count_on"}:
            why = f"an identifier of {base.id} holds no head"
            self.add("tracks_count_on", f"is needed: {why}; true: head 1's tracks count on from head 0's, false: both heads' are the same")

    def _sources(self, name: str) -> tuple[Source, ...]:
        changed = ", ".join(
            key for key in GeometryKeys.model_fields if key not in ("base", "source") and getattr(self.keys, key) is not None
        )
        section = f"{self.base.id} with its own {changed}" if changed else f"{self.base.id} as it is"
        own = Source(self.keys.source or f"The job's [geometry.{name}]", section, "looked up" if self.keys.source else "from memory")
        return (own, *self.base.sources)

    # Zones

    def _zones(self) -> tuple[Zone, ...]:
        keys, zones = self.keys, self.base.zones
        sectors = self._each_zone("sectors", [zone.sectors for zone in zones])
        cells = [_exact(cell) for cell in self._each_zone("cell_nanoseconds", [zone.cell_ns for zone in zones])]
        gaps = [zone.gap for zone in zones]
        if not self._data_gap.count:
            gaps = self._each_zone("data_gap", gaps)
        moved = 0 if keys.first_track is None else keys.first_track - self.base.first_track
        made = [Zone(zone.first + moved, zone.last + moved, *numbers) for zone, *numbers in zip(zones, sectors, cells, gaps, strict=True)]
        if keys.tracks is not None:
            last = made[0].first + keys.tracks - 1
            made = [zone for zone in made if zone.first <= last]
            made[-1] = replace(made[-1], last=last)
        return tuple(made)

    def _each_zone(self, key: str, own: list[Any]) -> list[Any]:
        """A number for each zone of the base."""
        given = getattr(self.keys, key)
        if given is None:
            return own
        numbers = given if isinstance(given, list) else [given]
        if len(numbers) == len(own):
            return numbers
        many = f"a list of {len(own)} numbers" if len(own) > 1 else "one number"
        self.add(key, f"{self.base.id} needs {many}, one for each zone of its tracks: {', '.join(map(_tracks, self.base.zones))}")
        return own

    # What stands on a track

    @property
    def _data_gap(self) -> Gap:
        """The base's gap behind a block: a sector's last element."""
        gap = self.base.sector[-1]
        return gap if isinstance(gap, Gap) else Gap(0, 0)

    def _sector(self) -> tuple[Element, ...]:
        keys, made = self.keys, list(self.base.sector)
        places = {name: at for at, each in enumerate(made) if isinstance(each, Record) for name in [each.name]}
        first = next(at for at in range(places["identifier"] + 1, len(made)) if isinstance(made[at], Gap))
        self._lay_gap(made, "identifier_gap", first, "sector")
        if self._data_gap.count and isinstance(keys.data_gap, list):
            self.add("data_gap", f"must be one number: {self.base.id} has the same gap on all tracks")
        elif self._data_gap.count:
            self._lay_gap(made, "data_gap", len(made) - 1, "sector")
        self.places[f"sector[{len(made) - 1}]"] = "data_gap"
        made[places["block"]] = self._block()
        return tuple(made)

    def _lay_gap(self, elements: list[Element], key: str, at: int, name: str) -> None:
        """Puts a key's count into a gap."""
        gap, given = elements[at], getattr(self.keys, key)
        self.places[f"{name}[{at}]"] = key
        if isinstance(gap, Gap) and given is not None:
            elements[at] = replace(gap, count=given)

    def _block(self) -> Record:
        """The block with the bytes of a sector as they are to be."""
        keys, block = self.keys, self.base.block
        if keys.sector_bytes is not None:
            self._check_size(keys.sector_bytes)
        size, inverted = _or(keys.sector_bytes, self.base.size), _or(keys.complemented, block.field("body").complemented)

        def part(each: Part) -> Part:
            fields = (replace(field, size=size, complemented=inverted) if field.name == "body" else field for field in each.fields)
            return replace(each, fields=tuple(fields))

        return replace(block, parts=tuple(map(part, block.parts)))

    def _check_size(self, size: int) -> None:
        if "length" in self.base.identity and (size < 128 or size & size - 1):
            self.add("sector_bytes", f"128, 256, 512, 1024 or more such: an identifier's length code knows no {size}")

    def _lead(self) -> tuple[Element, ...]:
        keys, made = self.keys, list(self.base.lead)
        if not made:
            for key in ("index_mark", "index_gap", "first_gap"):
                if getattr(keys, key):
                    self.add(key, f"{self.base.id} has nothing between the track's start and its first sector")
            return ()
        marked = any(isinstance(each, Record) for each in made)
        if keys.index_mark and not marked:
            self.add("index_mark", f"{self.base.id} has none; take a base that has one")
        gap = made[-1]
        if keys.index_mark is False and marked and isinstance(gap, Gap):
            made, marked = [gap], False
        if keys.index_gap is not None and not marked:
            self.add("index_gap", "is the gap before an index mark, and there is none; the gap before the first sector is `first_gap`")
        if marked:
            self._lay_gap(made, "index_gap", 0, "lead")
        self._lay_gap(made, "first_gap", len(made) - 1, "lead")
        return tuple(made)

    # Orders

    def _orders(self, changes: Mapping[str, Any]) -> dict[str, Any]:
        """The orders round the track and in a dump, and of the named ones those that still name each sector once."""
        first, counts = changes["first_sector"], {zone.sectors for zone in changes["zones"]}

        def fits(numbers: tuple[int, ...]) -> bool:
            return all(sorted(numbers) == list(range(first, first + count)) for count in counts)

        made: dict[str, Any] = {"orders": tuple(order for order in self.base.orders if fits(order[1]))}
        for key in ("order", "dump_order"):
            given, own = getattr(self.keys, key), getattr(self.base, key)
            made[key] = () if given in (None, _AS_NUMBERED) else tuple(given)
            if self.wrong & {"sectors", "first_sector", key}:
                made[key] = ()  # whether it fits can't be said
            elif given is None and fits(own):
                made[key] = own
            elif given is None and own:
                numbers = " ".join(map(str, own))
                self.add(key, f"is needed: that of {self.base.id}, {numbers}, does not name each sector once here; or {_AS_NUMBERED!r}")
        return made


def _or(given: Any, own: Any) -> Any:
    return own if given is None else given


def _exact(number: int | float | Fraction) -> Fraction:
    """A number as it was written."""
    return number if isinstance(number, Fraction) else Fraction(str(number))


def _tracks(zone: Zone) -> str:
    return f"{zone.first}-{zone.last}"
