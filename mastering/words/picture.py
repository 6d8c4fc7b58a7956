"""Geometries in text: a table of them; all about one, its track drawn to scale, every part with its size, where a dump's bytes lie."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import pi

from formats import registry
from formats.model.geometry import Element, Gap, Geometry, Zone, fill_cells, part_cells
from formats.model.radius import innermost
from formats.model.record import Field, Part, Record
from mastering.words.layout import TIE, Block, Line, Table

_MARGIN = 4  # columns that a drawing leaves
_WIDE = 100  # columns from which on a row has room for four zones' times
_COUNT, _CELLS = 9, 11  # columns of bytes and of cells, beyond which several numbers are given by their limits
_LETTERS = {"gap": ".", "sync": "s", "mark": "s", "identifier": "I", "block": "B"}


@dataclass(frozen=True)
class Piece:
    """A part of a track on a zone: bytes as they go into its code, or fills of a gap; cells; what it holds.

    `kind`: gap, sync, mark, or the record that it is a field of.
    """

    kind: str
    name: str
    bytes: int
    cells: int
    holds: str


def pieces(geometry: Geometry, elements: Sequence[Element], zone: Zone) -> list[Piece]:
    """The parts of some elements in the order in which they pass the head: gaps, marks, fields."""
    return [piece for each in elements for piece in (_record(geometry, each) if isinstance(each, Record) else [_gap(each, zone)])]


def _gap(gap: Gap, zone: Zone) -> Piece:
    count = gap.count or zone.gap
    kind = "sync" if gap.code in ("fm", "mfm") and not gap.fill else "gap"
    return Piece(kind, kind, count, count * fill_cells(gap), ", ".join((_fill(gap), *_limits(gap))))


def _fill(gap: Gap) -> str:
    return f"cells {gap.fill}" if isinstance(gap.fill, str) else f"{gap.fill:02X}"


def _limits(gap: Gap) -> Iterator[str]:
    """How short and long a controller or a formatter lets a gap be."""
    if gap.minimum:
        yield f"at least {gap.minimum}"
    if gap.maximum:
        yield f"at most {gap.maximum}"
    if gap.from_start:
        yield f"at least {gap.from_start} from the track's start"


def _record(geometry: Geometry, record: Record) -> Iterator[Piece]:
    if laid := record.mark.laid:
        ones = set(laid) == {"1"}
        holds = f"{len(laid)} cells of 1" if ones else f"cells {_hex(laid)}"
        yield Piece("mark", f"{record.name} {'sync' if ones else 'mark'}", len(laid) // _byte_cells(geometry), len(laid), holds)
    for part in record.parts:
        yield from _fields(geometry, record, part)


def _hex(cells: str) -> str:
    return " ".join(f"{int(cells[at : at + 16], 2):0{len(cells[at : at + 16]) // 4}X}" for at in range(0, len(cells), 16))


def _byte_cells(geometry: Geometry) -> int:
    """Cells of a byte of a mark: in FM and MFM two for each bit."""
    plain, coded = registry.code(geometry.block.parts[-1].code).unit
    return 16 if coded == 2 * plain else 8


def _fields(geometry: Geometry, record: Record, part: Part) -> Iterator[Piece]:
    """The fields of a part; one piece where its code makes cells of all of them together."""
    cells = part_cells(part)
    holds = [_holds(geometry, record, field) for field in part.fields]
    if cells % part.size:
        held = f"{' and '.join(filter(None, holds))}, as {cells // 8} disc bytes"
        yield Piece(record.name, f"{record.name} {part.fields[0].name}", part.size, cells, held)
        return
    if not record.mark.lead and part.fields[0].name == record.tag:
        holds[0] += _as_mark(part, (part.fields[0].value, record.deleted))
    for field, held in zip(part.fields, holds, strict=True):
        yield Piece(record.name, f"{record.name} {field.name}", field.size, field.size * cells // part.size, held)


def _holds(geometry: Geometry, record: Record, field: Field) -> str:
    if field.name == "body":
        return "complemented" if field.complemented else "the dump's bytes"
    if field.value:
        other = f" or {record.deleted.hex().upper()}" if field.name == record.tag and record.deleted else ""
        return f"{field.value.hex(' ').upper()}{other}{'' if field.kind == 'const' else ', not judged'}"
    if field.name == "head":
        return "00 or 01" if geometry.heads == 2 else "00"
    if field.name in geometry.identity:
        return f"{geometry.identity_values(bytes(2), 0)['length']:02X}" if field.name == "length" else "the disc's"
    check = next((check for check in record.checks if check.stored == field.name), None)
    return "" if check is None else f"{check.name} {'-'.join(dict.fromkeys((check.first, check.last)))}"


def _as_mark(part: Part, values: Sequence[bytes]) -> str:
    """What makes a mark of bytes that are one themselves: the clocks that are written with them, and so their cells."""
    import numpy as np

    code = registry.code(part.code)
    cells = [code.encode(np.frombuffer(value, np.uint8)[None]).tobytes().hex().upper() for value in values if value]
    clocks = int(f"{int(cells[0], 16):0{4 * len(cells[0])}b}"[::2], 2)
    return f" with clocks {clocks:02X}: cells {' or '.join(cells)}"


# Drawn to scale


def scaled(lengths: Sequence[int], width: int, least: int = 0) -> list[int]:
    """Whole columns for lengths, `width` in all, each end where it belongs to half a column; `least` for each that is not 0.

    Columns that are lent to the short ones are taken from the longest.
    """
    total = sum(lengths)
    ends = [0, *(round(end * width / total) for end in accumulate(lengths))]
    made = [after - before for before, after in pairwise(ends)]
    for at, length in enumerate(lengths):
        while length and made[at] < least:
            made[at] += 1
            made[made.index(max(made))] -= 1
    return made


def turn_bar(geometry: Geometry, zone: Zone, width: int) -> str:
    """One turn: what stands before the first sector, each sector with its number, what is left at the end."""
    lead = sum(geometry.laid_cells(each, zone) for each in geometry.lead)
    one, turn = geometry.sector_cells(zone), geometry.track_cells(zone.first - geometry.first_track)
    behind = sum(geometry.laid_cells(each, zone) for each in _behind_block(geometry))
    sectors = [one] * (zone.sectors - 1) + [one - behind]  # the last gap may be cut by the end of the turn
    widths = scaled([lead, *sectors, turn - lead - sum(sectors)], width)
    numbers = geometry.order or geometry.numbers(zone.first - geometry.first_track)
    drawn = "".join(_sector_box(str(number), width) for number, width in zip(numbers, widths[1:], strict=False))
    return "." * widths[0] + drawn + "." * widths[-1]


def _behind_block(geometry: Geometry) -> tuple[Element, ...]:
    return geometry.sector[geometry.sector.index(geometry.block) + 1 :]


def _sector_box(number: str, width: int) -> str:
    inside = number if len(number) < width else ""
    return ("|" + inside).ljust(width, "=")[:width]


def sector_bar(geometry: Geometry, zone: Zone, width: int) -> str:
    """One sector, every part of it one column wide at least."""
    runs: list[list[Piece]] = []
    for piece in pieces(geometry, geometry.sector, zone):
        if runs and runs[-1][0].kind == piece.kind:
            runs[-1].append(piece)
        else:
            runs.append([piece])
    widths = scaled([sum(piece.cells for piece in run) for run in runs], width, least=1)
    return "".join(_LETTERS[run[0].kind] * columns for run, columns in zip(runs, widths, strict=True))


# In words


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
    return Piece("gap", "gap", left // fill_cells(tail), left, ", ".join((_fill(tail), *_limits(tail))))


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
