"""The keys of `[geometry.NAME]`, and the geometry that they make of its base."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import Field, FiniteFloat

from formats.errors import DefinitionError
from formats.model.geometry import Element, Gap, Geometry, Zone
from formats.model.proof import prove
from formats.model.record import Part, Record
from formats.source import Source
from formats.volumes.shared.problems import Problems
from mastering.job.schema import Keys, Text

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


class Change:
    """A base, and what its keys make of it; problems are collected with their places."""

    def __init__(self, base: Geometry, keys: GeometryKeys, where: str, wrong: set[str]) -> None:
        self.base, self.keys, self.where, self.wrong = base, keys, where, wrong
        self.problems = Problems()
        self.places: dict[str, str] = {key: key for key in ("first_sector", "order", "dump_order")}
        self.places |= {"zones[0].first": "first_track", "size": "sector_bytes"}
        self.places["zones[-1].last"] = "tracks_per_inch" if keys.tracks is None else "tracks"

    def add(self, key: str, what: str) -> None:
        """Note what is wrong with a key of the table, or, where none is to blame, with the table."""
        self.problems.add(f"{self.where}.{key}" if key else self.where, what)

    def geometry(self, name: str) -> Geometry | None:
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
            return prove(replace(base, **changes))
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
        apart = base.head_tracks or any(field.name == "head" for field in base.identifier.fields)
        if heads == 2 and keys.tracks_count_on is None and not apart and not self.wrong & {"heads", "tracks_count_on"}:
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
        changed = [
            Zone(zone.first + moved, zone.last + moved, *numbers) for zone, *numbers in zip(zones, sectors, cells, gaps, strict=True)
        ]
        if keys.tracks is not None:
            last = changed[0].first + keys.tracks - 1
            changed = [zone for zone in changed if zone.first <= last]
            changed[-1] = replace(changed[-1], last=last)
        return tuple(changed)

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
        keys, elements = self.keys, list(self.base.sector)
        places = {name: at for at, each in enumerate(elements) if isinstance(each, Record) for name in [each.name]}
        first = next(at for at in range(places["identifier"] + 1, len(elements)) if isinstance(elements[at], Gap))
        self._lay_gap(elements, "identifier_gap", first, "sector")
        if self._data_gap.count and isinstance(keys.data_gap, list):
            self.add("data_gap", f"must be one number: {self.base.id} has the same gap on all tracks")
        elif self._data_gap.count:
            self._lay_gap(elements, "data_gap", len(elements) - 1, "sector")
        self.places[f"sector[{len(elements) - 1}]"] = "data_gap"
        elements[places["block"]] = self._block()
        return tuple(elements)

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
        keys, elements = self.keys, list(self.base.lead)
        if not elements:
            for key in ("index_mark", "index_gap", "first_gap"):
                if getattr(keys, key):
                    self.add(key, f"{self.base.id} has nothing between the track's start and its first sector")
            return ()
        marked = any(isinstance(each, Record) for each in elements)
        if keys.index_mark and not marked:
            self.add("index_mark", f"{self.base.id} has none; take a base that has one")
        gap = elements[-1]
        if keys.index_mark is False and marked and isinstance(gap, Gap):
            elements, marked = [gap], False
        if keys.index_gap is not None and not marked:
            self.add("index_gap", "is the gap before an index mark, and there is none; the gap before the first sector is `first_gap`")
        if marked:
            self._lay_gap(elements, "index_gap", 0, "lead")
        self._lay_gap(elements, "first_gap", len(elements) - 1, "lead")
        return tuple(elements)

    # Orders

    def _orders(self, changes: Mapping[str, Any]) -> dict[str, Any]:
        """The orders round the track and in a dump, and of the named ones those that still name each sector once."""
        first, counts = changes["first_sector"], {zone.sectors for zone in changes["zones"]}

        def fits(numbers: tuple[int, ...]) -> bool:
            return all(sorted(numbers) == list(range(first, first + count)) for count in counts)

        orders: dict[str, Any] = {"orders": tuple(order for order in self.base.orders if fits(order[1]))}
        for key in ("order", "dump_order"):
            given, own = getattr(self.keys, key), getattr(self.base, key)
            orders[key] = () if given in (None, _AS_NUMBERED) else tuple(given)
            if self.wrong & {"sectors", "first_sector", key}:
                orders[key] = ()  # whether it fits can't be said
            elif given is None and fits(own):
                orders[key] = own
            elif given is None and own:
                numbers = " ".join(map(str, own))
                self.add(key, f"is needed: that of {self.base.id}, {numbers}, does not name each sector once here; or {_AS_NUMBERED!r}")
        return orders


def _or(given: Any, own: Any) -> Any:
    return own if given is None else given


def _exact(number: int | float | Fraction) -> Fraction:
    """A number as it was written."""
    return number if isinstance(number, Fraction) else Fraction(str(number))


def _tracks(zone: Zone) -> str:
    return f"{zone.first}-{zone.last}"
