"""What a geometry is: zones, gaps and records. Whether they fit a turn of a disc is `formats.model.proof`'s: who loads one proves it.

Sizes are in bytes or in cells, never in seconds, but for a zone's cell length. A cell is the time of one possible flux
transition. Nothing here needs numpy: laying down and reading cells is `formats.tracks.encode`.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import Any, NamedTuple

from formats.loading import load
from formats.model.plain import from_plain, to_plain
from formats.model.record import Check, Field, Mark, Part, Record
from formats.source import Source

RESERVED = ("track", "head", "sector", "body")


class Address(NamedTuple):
    """A sector by the numbers in its identifier; `head` is 0 or 1."""

    track: int
    head: int
    sector: int


@dataclass(frozen=True)
class Zone:
    """Tracks `first` to `last` (numbers of head 0) with the same number of sectors and the same cell length in nanoseconds.

    `gap` is how often the gap whose count is left open is filled on these tracks.
    """

    first: int
    last: int
    sectors: int
    cell_ns: Fraction
    gap: int = 0


@dataclass(frozen=True)
class Gap:
    """`count` fills between records: a byte in a code, or a text of cells. A count of 0 is the zone's own.

    `minimum` is the least count that a reader's controller or a formatter accepts, `maximum` the greatest (0: any). Of a tail the
    minimum is what must be left behind the last sector's own gap. `from_start`: of a gap before the first sector, how many of its
    fills must at least have room between the start of the track and its end, whatever stands there.
    """

    count: int
    fill: int | str
    code: str = ""
    minimum: int = 0
    maximum: int = 0
    from_start: int = 0


Element = Gap | Record


@dataclass(frozen=True)
class Geometry:
    """A recorded side: see the fields. `lead` stands once behind the start of the track, `sector` once a sector, `tail` fills up.

    `order` lists the sector numbers as they pass the head, `dump_order` as a dump holds them (both: as numbered when empty, and
    otherwise for every track); `orders` are named orders that a ready image may come in. `head_tracks` is added to the track
    number on head 1; with `heads_apart` a dump holds all of head 0 first. `index`: whether a drive for it needs the index hole.
    `sources` are no part of what it is: better words for them make no other geometry.
    `tolerance`: how far off its nominal speed a drive must be expected to turn for long, as a share (common practice, from memory).
    """

    id: str
    sources: tuple[Source, ...] = field(compare=False)
    rpm: int
    tpi: int
    zones: tuple[Zone, ...]
    size: int
    first_sector: int
    sector: tuple[Element, ...]
    tail: Gap
    lead: tuple[Element, ...] = ()
    heads: int = 1
    order: tuple[int, ...] = ()
    dump_order: tuple[int, ...] = ()
    orders: tuple[tuple[str, tuple[int, ...]], ...] = ()
    head_tracks: int = 0
    heads_apart: bool = False
    index: bool = True
    coercivity: str = "300 Oe"
    tolerance: Fraction = Fraction(15, 1000)

    def __hash__(self) -> int:
        """The hash of the id alone: equal geometries have equal ids, and a geometry has hundreds of numbers."""
        return hash(self.id)

    # What it holds

    @property
    def code(self) -> str:
        """The recording code of the data blocks, by the word with which declared ids begin (`fm`, `mfm`, `gcr4to5`)."""
        part = next(each for each in self.block.parts if any(field.name == "body" for field in each.fields))
        return part.code.replace("group-", "gcr")

    @property
    def first_track(self) -> int:
        """The number of the first cylinder's track on head 0."""
        return self.zones[0].first

    @property
    def cylinders(self) -> int:
        """How many cylinders there are."""
        return self.zones[-1].last - self.first_track + 1

    def zone(self, cylinder: int) -> Zone:
        """The zone of a cylinder counted from 0."""
        return self._zones[cylinder]

    @cached_property
    def _zones(self) -> tuple[Zone, ...]:
        """The zone of each cylinder."""
        return tuple(zone for zone in self.zones for _ in range(zone.first, zone.last + 1))

    def track(self, cylinder: int, head: int) -> int:
        """The track number in the identifiers of a cylinder and head."""
        return self.first_track + cylinder + head * self.head_tracks

    def cylinder(self, track: int, head: int) -> int:
        """The cylinder, from 0, of a track number: the inverse of `track`."""
        return track - self.first_track - head * self.head_tracks

    def numbers(self, cylinder: int) -> range:
        """The sector numbers on a cylinder, ascending."""
        return range(self.first_sector, self.first_sector + self.zone(cylinder).sectors)

    @cached_property
    def sides(self) -> tuple[tuple[int, int], ...]:
        """Every (cylinder, head), in the order of a dump."""
        if self.heads_apart:
            return tuple((cylinder, head) for head in range(self.heads) for cylinder in range(self.cylinders))
        return tuple((cylinder, head) for cylinder in range(self.cylinders) for head in range(self.heads))

    @cached_property
    def addresses(self) -> tuple[Address, ...]:
        """Every sector, in the order of a dump."""
        return tuple(
            Address(self.track(cylinder, head), head, number)
            for cylinder, head in self.sides
            for number in (self.dump_order or self.numbers(cylinder))
        )

    @cached_property
    def places(self) -> dict[Address, int]:
        """Where each sector stands in a dump: its place from 0, in sectors."""
        return {address: place for place, address in enumerate(self.addresses)}

    @cached_property
    def places_of_tracks(self) -> dict[tuple[int, int], tuple[int, ...]]:
        """Where the sectors of each cylinder and head stand in a dump, by their numbers ascending."""
        return {
            (cylinder, head): tuple(self.places[Address(self.track(cylinder, head), head, number)] for number in self.numbers(cylinder))
            for cylinder, head in self.sides
        }

    @cached_property
    def dump_bytes(self) -> int:
        """Bytes of a dump."""
        return sum(zone.sectors * (zone.last - zone.first + 1) for zone in self.zones) * self.heads * self.size

    def image_order(self, name: str | tuple[int, ...]) -> tuple[Address, ...] | None:
        """The sectors as a ready image in that order holds them, None when this geometry has no such order."""
        if name == "heads-apart" and self.heads == 2:
            cylinders = [(cylinder, head) for head in range(2) for cylinder in range(self.cylinders)]
            return tuple(Address(self.track(c, h), h, n) for c, h in cylinders for n in self.numbers(c))
        numbers = dict(self.orders).get(name) if isinstance(name, str) else name
        if name != "as-numbered" and (numbers is None or any(sorted(numbers) != list(self.numbers(c)) for c, _ in self.sides)):
            return None
        return tuple(Address(self.track(c, h), h, n) for c, h in self.sides for n in (numbers or self.numbers(c)))

    # Records

    @cached_property
    def identifier(self) -> Record:
        """The record that names a sector."""
        return self._record("identifier")

    @cached_property
    def block(self) -> Record:
        """The record that holds a sector's bytes."""
        return self._record("block")

    def _record(self, name: str) -> Record:
        return next(each for each in self.sector if isinstance(each, Record) and each.name == name)

    @cached_property
    def identity(self) -> tuple[str, ...]:
        """The identifier's fields that say which disc it is: neither place nor check nor constant."""
        stored = {check.stored for check in self.identifier.checks}
        fields = (field.name for field in self.identifier.fields if field.kind == "uint")
        return tuple(name for name in fields if name not in RESERVED and name not in stored)

    def identity_values(self, disc_id: bytes, volume_number: int) -> dict[str, int]:
        """The numbers in the identity fields of a disc with that id (two bytes) and volume number, by field."""
        values = {
            "id1": disc_id[0],
            "id2": disc_id[1],
            "volume": volume_number,
            "length": (self.size // 128).bit_length() - 1,  # N of the controllers: 128 << N bytes
        }
        return {name: values[name] for name in self.identity}

    # Cells

    def record_cells(self, record: Record) -> int:
        """Cells of a record after the lead of its mark."""
        return sum(part_cells(each) for each in record.parts)

    def laid_cells(self, element: Element, zone: Zone) -> int:
        """Cells that a gap or a record takes on a track of that zone, as it is written."""
        if isinstance(element, Record):
            return len(element.mark.laid) + self.record_cells(element)
        return (element.count or zone.gap) * fill_cells(element)

    def sector_cells(self, zone: Zone) -> int:
        """Cells from one sector's beginning to the next one's, as written."""
        return sum(self.laid_cells(each, zone) for each in self.sector)

    @cached_property
    def pitches(self) -> tuple[int, ...]:
        """Cells from one sector's beginning to the next one's on each cylinder, as written."""
        return tuple(self.sector_cells(self.zone(cylinder)) for cylinder in range(self.cylinders))

    @cached_property
    def densities(self) -> tuple[tuple[float, int], ...]:
        """For each cylinder the length of its cells in picoseconds times the speed, and the whole cells of a turn."""
        return tuple((float(zone.cell_ns * 1000 * self.rpm), self.track_cells(cylinder)) for cylinder, zone in enumerate(self._zones))

    def exact_cells(self, zone: Zone) -> Fraction:
        """Cells of a turn at nominal speed."""
        return Fraction(60_000_000_000, self.rpm) / zone.cell_ns

    def track_cells(self, cylinder: int) -> int:
        """Whole cells of a turn on a cylinder."""
        return int(self.exact_cells(self.zone(cylinder)))

    def needed_cells(self, zone: Zone) -> int:
        """Cells from the start of the track to the end of its last block: what must fit a turn."""
        lead = sum(self.laid_cells(each, zone) for each in self.lead)
        after = 0
        for each in reversed(self.sector):
            if isinstance(each, Record):
                break
            after += self.laid_cells(each, zone)
        return lead + zone.sectors * self.sector_cells(zone) - after

    def left_cells(self, zone: Zone) -> int:
        """Cells that are left for the tail on a track of that zone; below 0: by how many cells the last sector's gap is cut."""
        lead = sum(self.laid_cells(each, zone) for each in self.lead)
        return int(self.exact_cells(zone)) - lead - zone.sectors * self.sector_cells(zone)

    def speed_margin(self, zone: Zone) -> float:
        """How much faster than nominal a drive may turn before a track's end meets its start, as a share (0.05 is 5 %)."""
        return float(self.exact_cells(zone) / self.needed_cells(zone)) - 1

    @property
    def thin_zones(self) -> tuple[Zone, ...]:
        """The zones whose speed margin is below the tolerance."""
        return tuple(zone for zone in self.zones if self.speed_margin(zone) < self.tolerance)

    # Plain form

    def plain(self) -> dict[str, Any]:
        """JSON values from which `from_plain` makes an equal geometry; its sources, which explain it and change nothing, are left out."""
        plain_form: dict[str, Any] = to_plain(self)
        del plain_form["sources"]
        return plain_form

    @staticmethod
    def from_plain(plain: dict[str, Any]) -> "Geometry":
        """The geometry of a plain form, not proved. KeyError, TypeError or ValueError when it is none."""
        geometry: Geometry = from_plain({"sources": []} | plain, _CLASSES)
        return geometry


_CLASSES: dict[str, type] = {each.__name__: each for each in (Geometry, Zone, Gap, Record, Mark, Part, Field, Check, Source)}


def part_cells(part: Part) -> int:
    """How many cells a part takes on the track, in its recording code."""
    return coded_cells(part.code, part.size)


def fill_cells(gap: Gap) -> int:
    """How many cells one fill of a gap takes."""
    return len(gap.fill) if isinstance(gap.fill, str) else coded_cells(gap.code, 1)


def coded_cells(code: str, count: int) -> int:
    """Cells of `count` bytes in a recording code. KeyError when there is no such code."""
    plain, coded = load("codes", code).unit
    return int(count * 8 * coded // plain)
