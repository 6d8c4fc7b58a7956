"""Geometries in words: a table of them; all about one, with its track drawn to scale and every part of it."""

from collections.abc import Iterable, Iterator, Sequence
from math import pi

from formats.model.geometry import Geometry, Zone, fill_cells
from formats.model.radius import innermost
from mastering.words.layout import TIE, Block, Line, Table
from mastering.words.picture import Piece, fill_text, limits, pieces, sector_bar, turn_bar

_MARGIN = 4  # columns that a drawing leaves
_WIDE = 100  # columns from which on a row has room for four zones' times
_COUNT, _CELLS = 9, 11  # columns of bytes and of cells, beyond which several numbers are given by their limits


def geometries_table(geometries: Iterable[Geometry]) -> Table:
    """Geometries, a row each."""
    head = ("id", "bytes", "tracks", "sectors", "of", "rpm", "speed margin")
    return Table([head, *map(_geometry_row, geometries)])


def _geometry_row(geometry: Geometry) -> tuple[str, ...]:
    sectors = "/".join(str(zone.sectors) for zone in geometry.zones)
    margin = min(geometry.speed_margin(zone) for zone in geometry.zones)
    tracks = f"{geometry.cylinders}" + (" x 2" if geometry.heads == 2 else "")
    return geometry.id, f"{geometry.dump_bytes:,}", tracks, sectors, str(geometry.size), str(geometry.rpm), f"{100 * margin:.2f}{TIE}%"


def geometry_text(geometry: Geometry, columns: int) -> Iterator[Block]:
    """All about one geometry, its drawings as wide as there are columns."""
    width = columns - _MARGIN
    yield geometry.id
    yield from _facts(geometry)
    for zone in geometry.zones:
        yield _fact(f"tracks {zone.first}-{zone.last}", _zone(geometry, zone))
    yield ""
    for zone in geometry.zones:
        yield from _turn(geometry, zone, width)
    yield ""
    yield from _sector(geometry, width)
    yield ""
    yield _parts_table(geometry, columns)
    yield ""
    yield from _dump(geometry)
    yield ""
    for source in geometry.sources:
        yield _fact("source", f"{source.title}: {source.section} ({source.how}){f'; {source.note}' if source.note else ''}")


def _facts(geometry: Geometry) -> Iterator[Block]:
    """Its capacity, its tracks, its speed, and the disc that it needs."""
    yield _fact("dump", f"{geometry.dump_bytes:,} bytes, {len(geometry.addresses):,} sectors of {geometry.size}")
    pitch = f"{geometry.tpi} to the inch ({25.4 / geometry.tpi:.3f} mm apart)"
    deep = f"the innermost {innermost(geometry):.1f} mm from the centre"
    yield _fact("tracks", f"{geometry.cylinders} from {geometry.first_track}, {pitch}, {deep}, heads: {geometry.heads}")
    turn = f"{geometry.rpm} rpm, a turn in {60_000 / geometry.rpm:.2f} ms, usual tolerance ±{100 * float(geometry.tolerance):g}{TIE}%"
    yield _fact("speed", f"{turn}; the index hole is {'needed' if geometry.index else 'not used'}")
    oersted = int(geometry.coercivity.split()[0])
    yield _fact("blank", f"coercivity about {geometry.coercivity} ({oersted / (4 * pi):.0f} kA/m), {geometry.tpi} tracks to the inch")
    yield _fact("cuts", _cuts(geometry))


def _fact(name: str, text: str) -> Line:
    return Line(f"  {name:15} ", text)


def _zone(geometry: Geometry, zone: Zone) -> str:
    from mastering.job.own_geometry import below_tolerance

    margin = geometry.speed_margin(zone)
    thin = f", {below_tolerance(geometry, zone)} the tolerance" if margin < geometry.tolerance else ""
    return (
        f"{zone.sectors} sectors, cells of {float(zone.cell_ns):g} ns, {geometry.track_cells(zone.first - geometry.first_track):,} a turn, "
        f"{geometry.needed_cells(zone):,} needed: a drive may turn {100 * margin:.2f}{TIE}%{TIE}faster{thin}"
    )


def _cuts(geometry: Geometry) -> str:
    """Drive handbooks: a turned-over disc needs a second notch, and a second index window where a drive looks for the index hole."""
    if geometry.heads == 2:
        return "none: both faces are recorded without turning the disc over"
    window = ", and a second index window in both faces of its jacket" if geometry.index else "; drives for it look for no index hole"
    return f"label up: none; turned over: a second write-enable notch at the mirrored place{window}"


def _turn(geometry: Geometry, zone: Zone, width: int) -> Iterator[str]:
    cells = geometry.track_cells(zone.first - geometry.first_track)
    column = cells / width
    yield (
        f"  a turn of tracks {zone.first}-{zone.last}: {cells:,} cells, {_micros(cells, zone)} µs; "
        f"a column is {column:,.0f} cells, {_micros(round(column), zone)} µs"
    )
    yield f"  {turn_bar(geometry, zone, width)}"


def _micros(cells: int, zone: Zone) -> str:
    return f"{float(cells * zone.cell_ns / 1000):,.1f}"


def _sector(geometry: Geometry, width: int) -> Iterator[str]:
    zone = geometry.zones[0]
    cells = geometry.sector_cells(zone)
    size = f"{cells:,} cells, {_micros(cells, zone)} µs"
    yield f"  a sector of tracks {zone.first}-{zone.last}: {size}; s sync or mark, I identifier, B block"
    yield f"  {sector_bar(geometry, zone, width)}"


def _parts_table(geometry: Geometry, columns: int) -> Table:
    """Every part with its bytes, cells and microseconds; where zones differ, for each of them, or for the first and the last."""
    most = 4 if columns >= _WIDE else 2
    zones = geometry.zones if len(geometry.zones) <= most else (geometry.zones[0], geometry.zones[-1])
    rows: list[tuple[str, ...]] = [("part", "bytes", "cells", *(f"µs {zone.first}-{zone.last}" for zone in zones), "holds")]
    for title, elements in (("before the first sector", geometry.lead), ("each sector", geometry.sector)):
        if elements:
            by_zone = [pieces(geometry, elements, zone) for zone in zones]
            rows += [(title,), *(_row(row, zones) for row in zip(*by_zone, strict=True))]
    rows += [("after the last sector",), _row([_left(geometry, zone) for zone in zones], zones)]
    return Table(rows, "  ")


def _left(geometry: Geometry, zone: Zone) -> Piece:
    """What fills a track up after the last sector's own gap."""
    left, tail = geometry.left_cells(zone), geometry.tail
    if left < 0:
        return Piece("gap", "gap", 0, 0, f"the last gap is {-left} cells short")
    return Piece("gap", "gap", left // fill_cells(tail), left, ", ".join((fill_text(tail), *limits(tail))))


def _row(row: Sequence[Piece], zones: Sequence[Zone]) -> tuple[str, ...]:
    times = [_micros(piece.cells, zone) for piece, zone in zip(row, zones, strict=True)]
    counts, cells = ([getattr(piece, name) for piece in row] for name in ("bytes", "cells"))
    return (f"  {row[0].name}".replace(" ", TIE), _numbers(counts, _COUNT), _numbers(cells, _CELLS), *times, row[0].holds)


def _numbers(numbers: Sequence[int], width: int) -> str:
    """Equal numbers once, others one by one, or from the least to the greatest where there is no room for that."""
    text = "/".join(f"{number:,}" for number in (numbers if len(set(numbers)) > 1 else numbers[:1]))
    return text if len(text) <= width else f"{min(numbers):,}-{max(numbers):,}"


def _dump(geometry: Geometry) -> Iterator[Block]:
    """Where the bytes of a dump lie."""
    body = geometry.block.field("body")
    how = "every bit of them inverted on the track" if body.complemented else "as they are"
    yield _fact("in a sector", f"bytes 0 to {geometry.size - 1} of the body of its block, {how}")
    numbers = "as numbered"
    order = " ".join(map(str, geometry.order)) or numbers
    yield _fact("round the track", order)
    sides = ""
    if geometry.heads == 2:
        sides = "all of head 0, then all of head 1; " if geometry.heads_apart else "cylinder by cylinder, head 0 then head 1; "
    yield _fact("in a dump", f"{sides}of each track the sectors {' '.join(map(str, geometry.dump_order)) or numbers}")
    for name, others in geometry.orders:
        yield _fact(name, " ".join(map(str, others)))
    firsts = {(cylinder, head): min(geometry.places_of_tracks[cylinder, head]) for cylinder, head in _landmarks(geometry)}
    for (cylinder, head), first in sorted(firsts.items(), key=lambda item: item[1]):
        on = f" head {head}" if geometry.heads == 2 else ""
        yield _fact(f"byte {first * geometry.size:,}", f"track {geometry.track(cylinder, head)}{on}")


def _landmarks(geometry: Geometry) -> Iterator[tuple[int, int]]:
    """Cylinders and heads whose place in a dump tells the rest: the first ones, the first of each zone, the last one."""
    yield from geometry.sides[:3]
    for head in range(geometry.heads):
        yield from ((zone.first - geometry.first_track, head) for zone in geometry.zones)
    yield geometry.sides[-1]
