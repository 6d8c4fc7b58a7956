"""What a geometry's declaration contradicts: in itself, in the turn of a disc, in what a controller accepts."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from math import ceil

from formats.errors import DefinitionError, Problem
from formats.loading import load
from formats.model.bounds import out_of_bounds
from formats.model.checks import CHECKS
from formats.model.geometry import Gap, Geometry, Zone, fill_cells
from formats.model.radius import HUB_HOLE, innermost
from formats.model.record import Record
from formats.words import counted

SIZE_STEP = 8  # bytes: the sizes of sectors are whole numbers of it
LAST_NUMBER = 255  # of a track or sector: identifiers have a byte for each


def prove(geometry: Geometry) -> Geometry:
    """The geometry itself, when nothing is wrong with it; else DefinitionError with every problem."""
    if wrong := list(problems(geometry)):
        raise DefinitionError(geometry.id, wrong)
    return geometry


def problems(geometry: Geometry) -> Iterator[Problem]:
    """Everything that is wrong with a geometry; `where` is the field of its declaration, with the place of a gap in it."""
    if wrong := list(out_of_bounds(geometry)):
        yield from wrong
        return  # nothing can be computed from such numbers
    yield from _zone_problems(geometry)
    if any(map(_is_empty, geometry.zones)):
        return
    records = [each for each in (*geometry.lead, *geometry.sector) if isinstance(each, Record)]
    names = [each.name for each in records]
    if names.count("identifier") != 1 or names.count("block") != 1:
        yield Problem("sector", f"a sector needs one identifier and one block, its records are {', '.join(names)}")
        return
    if geometry.size < SIZE_STEP or geometry.size % SIZE_STEP:
        yield Problem("size", f"a sector of {geometry.size} bytes, where a multiple of {SIZE_STEP} is needed")
    yield from _record_problems(geometry, records)
    yield from _number_problems(geometry)
    if geometry.tail.count != 1:
        yield Problem("tail", "the tail fills up what is left of a track: its count is 1")
    yield from _gap_problems(geometry)
    for zone in geometry.zones:
        over = geometry.needed_cells(zone) - geometry.exact_cells(zone)
        short = geometry.tail.minimum - Fraction(geometry.left_cells(zone), fill_cells(geometry.tail))
        if over > 0:
            yield Problem("zones", f"{_tracks(zone)}: {_are(zone.sectors, 'sector')} {counted(ceil(over), 'cell')} too long for one turn")
        elif geometry.tail.minimum and short > 0:
            least = f"at least {geometry.tail.minimum} must be left behind the last sector's gap"
            yield Problem("tail", f"{_tracks(zone)}: {_are(zone.sectors, 'sector')} {_fills(geometry.tail, ceil(short))} too long: {least}")


def _tracks(zone: Zone) -> str:
    return f"tracks {zone.first}-{zone.last}"


def _are(number: int, what: str) -> str:
    return f"{counted(number, what)} {'is' if number == 1 else 'are'}"


def _fills(gap: Gap, count: int) -> str:
    return counted(count, "byte" if gap.code else "fill")


def _is_empty(zone: Zone) -> bool:
    return zone.last < zone.first or zone.sectors < 1 or zone.cell_ns <= 0


def _zone_problems(geometry: Geometry) -> Iterator[Problem]:
    for before, after in pairwise(geometry.zones):
        if after.first != before.last + 1:
            yield Problem("zones", f"zone {after.first}-{after.last} does not follow on zone {before.first}-{before.last}")
    for zone in geometry.zones:
        if _is_empty(zone):
            yield Problem("zones", f"zone {zone.first}-{zone.last} is empty")
    if geometry.heads not in (1, 2):
        yield Problem("heads", f"{geometry.heads} heads: a drive has 1 or 2")
    elif (radius := innermost(geometry)) <= HUB_HOLE:
        inside = f"{radius:.1f} mm from the disc's centre, inside its hub hole of {HUB_HOLE:.1f} mm"
        yield Problem("zones[-1].last", f"{geometry.cylinders} tracks of {geometry.tpi} to the inch: the last would lie {inside}")


def _number_problems(geometry: Geometry) -> Iterator[Problem]:
    """Numbers that no identifier can hold, and orders that don't name each sector once."""
    track = geometry.track(geometry.cylinders - 1, geometry.heads - 1)
    if track > LAST_NUMBER:
        yield Problem("zones[0].first", f"the last track would have the number {track}; an identifier has room for {LAST_NUMBER}")
    sector = geometry.first_sector + max(zone.sectors for zone in geometry.zones) - 1
    if sector > LAST_NUMBER:
        yield Problem("first_sector", f"the last sector would have the number {sector}; an identifier has room for {LAST_NUMBER}")
    named = (("order", geometry.order), ("dump_order", geometry.dump_order), *(("orders", numbers) for _, numbers in geometry.orders))
    for where, numbers in named:
        if numbers and any(sorted(numbers) != list(geometry.numbers(cylinder)) for cylinder in range(geometry.cylinders)):
            yield Problem(where, f"the order {' '.join(map(str, numbers))} does not name each sector once")


def _gap_problems(geometry: Geometry) -> Iterator[Problem]:
    """Gaps that are shorter or longer than a controller or a formatter accepts."""
    placed = [(f"{name}[{at}]", each) for name in ("lead", "sector") for at, each in enumerate(getattr(geometry, name))]
    for where, gap in placed:
        if isinstance(gap, Record):
            continue
        wrong = [(zone, what) for zone in geometry.zones if (what := _wrong_count(gap, gap.count or zone.gap))]
        for zone, what in wrong if not gap.count else wrong[:1]:
            on = f"{_tracks(zone)}: " if not gap.count and len(geometry.zones) > 1 else ""
            yield Problem(where, on + what)
    zone, cells = geometry.zones[0], 0
    for at, each in enumerate(geometry.lead):
        cells += geometry.laid_cells(each, zone)
        if isinstance(each, Record) or cells >= each.from_start * fill_cells(each):
            continue
        room = f"from the track's start to its end there are {_fills(each, cells // fill_cells(each))}"
        yield Problem(f"lead[{at}]", f"{room}, at least {each.from_start} must be")


def _wrong_count(gap: Gap, count: int) -> str:
    """What is wrong with a gap of `count` fills; empty when nothing is."""
    least = max(gap.minimum, 1)
    if count < least:
        return f"a gap of {count} is below its minimum of {least}"
    return f"a gap of {count} is above its maximum of {gap.maximum}" if gap.maximum and count > gap.maximum else ""


def _record_problems(geometry: Geometry, records: list[Record]) -> Iterator[Problem]:
    seen = set()
    for record in records:
        for what in (*_field_problems(record), *_unit_problems(record)):
            yield Problem("sector", f"{record.name}: {what}")
        tag = record.field(record.tag).value if record.tag else b""
        for mark in {(record.mark.cells, tag), (record.mark.cells, record.deleted or tag)}:
            if mark in seen:
                yield Problem("sector", f"{record.name}: another record has the same mark and tag")
            seen.add(mark)
    for record, wanted in ((geometry.identifier, {"track", "sector"}), (geometry.block, {"body"})):
        missing = wanted - {field.name for field in record.fields}
        if missing:
            yield Problem("sector", f"{record.name}: no field {', '.join(sorted(missing))}")
        elif record is geometry.block and record.field("body").size != geometry.size:
            yield Problem("size", f"block: a body of {record.field('body').size} bytes in a geometry of {geometry.size}")


def _field_problems(record: Record) -> Iterator[str]:
    names = {field.name for field in record.fields}
    if len(names) < len(record.fields):
        yield "two fields have one name"
    for check in record.checks:
        if check.name not in CHECKS:
            yield f"no check is called {check.name}"
        elif {check.first, check.last, check.stored} - names - {"mark"}:
            yield f"the check {check.name} names a field that is not there"
        elif CHECKS[check.name].size != record.field(check.stored).size:
            yield f"{check.stored} has the wrong size for {check.name}"


def _unit_problems(record: Record) -> Iterator[str]:
    """A sentence for each part whose bytes don't fill its recording code's units."""
    for part in record.parts:
        plain, _ = load("codes", part.code).unit
        if part.size % plain:
            yield f"{part.size} bytes in {part.code}, which codes {plain} at once"
