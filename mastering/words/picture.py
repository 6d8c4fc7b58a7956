"""A track drawn to scale: the parts of a geometry in the order in which they pass the head, and bars of them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from formats import registry
from formats.model.geometry import Element, Gap, Geometry, Zone, fill_cells, part_cells
from formats.model.record import Field, Part, Record

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
    return Piece(kind, kind, count, count * fill_cells(gap), ", ".join((fill_text(gap), *limits(gap))))


def fill_text(gap: Gap) -> str:
    """What fills a gap: a byte in hexadecimal, or cells."""
    return f"cells {gap.fill}" if isinstance(gap.fill, str) else f"{gap.fill:02X}"


def limits(gap: Gap) -> Iterator[str]:
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
