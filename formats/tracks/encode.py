"""Sectors to the cells of a side's tracks: one writer for every geometry, driven by its declaration alone.

All sectors of a side are coded in one go, a record kind at a time; only then are they laid into tracks. The way back is
`formats.tracks.reading`.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import product

import numpy as np
import numpy.typing as npt

from formats import registry
from formats.model.checks import many
from formats.model.geometry import Element, Gap, Geometry, Zone, fill_cells
from formats.model.record import Field, Record

Bytes = npt.NDArray[np.uint8]
Places = npt.NDArray[np.int64]
Values = Mapping[str, "int | Bytes"]


def encode_side(geometry: Geometry, dump: bytes, identity: Mapping[str, int]) -> list[bytes]:
    """The packed cells of every track of a side, cylinders ascending, head 0 first, each exactly one turn.

    `dump` holds `geometry.dump_bytes` bytes, `identity` a number for each of `geometry.identity`.
    """
    sectors = np.frombuffer(dump, np.uint8).reshape(-1, geometry.size)
    place = np.array(geometry.addresses, np.uint8)
    values: Values = {"track": place[:, 0], "head": place[:, 1], "sector": place[:, 2], "body": sectors, **identity}
    cells = {each.name: _record_cells(each, values, len(sectors)) for each in geometry.sector if isinstance(each, Record)}
    tracks: list[bytes] = []
    for zone in geometry.zones:
        laid = _lay_zone(geometry, zone, cells)
        tracks += [row.tobytes() for row in np.packbits(laid, axis=1)]
    return tracks


def build_rows(record: Record, values: Values, count: int) -> Bytes:
    """`count` rows of a record's bytes as they go into its codes; `values` gives what its variable fields hold, checks are computed."""
    rows = np.zeros((count, record.size), np.uint8)
    stored = {check.stored for check in record.checks}
    for field in record.fields:
        if field.name not in stored:
            at = record.offsets[field.name]
            rows[:, at : at + field.size] = _bytes_of(field, values)
    for check in record.checks:
        first, last = record.span(check)
        word = many(check.name, rows[:, first:last], record.mark.data if check.first == "mark" else b"")
        at, size = record.offsets[check.stored], record.field(check.stored).size
        rows[:, at : at + size] = word.astype(">u4").view(np.uint8).reshape(count, 4)[:, 4 - size :]
    return rows


def _bytes_of(field: Field, values: Values) -> "Bytes":
    """What goes into a field: a row for all records, or a row each."""
    if field.value:
        return np.frombuffer(field.value, np.uint8)
    value = values[field.name]
    if isinstance(value, int):
        return np.frombuffer(value.to_bytes(field.size, "little" if field.little else "big"), np.uint8)
    value = ~value if field.complemented else value
    return value if value.ndim == 2 else value[:, None]


def _record_cells(record: Record, values: Values, count: int) -> Bytes:
    """Cells of `count` records as they are written, mark included: one byte a cell."""
    rows = build_rows(record, values, count)
    mark = _cells(record.mark.laid)
    runs, at = [np.broadcast_to(mark, (count, len(mark)))], 0
    for each in record.parts:
        code = registry.code(each.code)
        run = np.unpackbits(np.ascontiguousarray(code.encode(rows[:, at : at + each.size])), axis=1)
        if code.joined:
            run[:, 0] &= 1 - runs[-1][:, -1]
        runs.append(run)
        at += each.size
    return np.concatenate(runs, axis=1)


def _cells(text: str) -> Bytes:
    """Cells that are written as a text of 0 and 1."""
    return np.frombuffer(text.encode(), np.uint8) & np.uint8(1)


def _gap_cells(gap: Gap, zone: Zone) -> Bytes:
    """Cells of a gap: one byte a cell."""
    count = gap.count or zone.gap
    if isinstance(gap.fill, str):
        return _cells(gap.fill * count)
    row = np.full((1, count), gap.fill, np.uint8)
    return np.unpackbits(registry.code(gap.code).encode(row))


def _lay_zone(geometry: Geometry, zone: Zone, cells: Mapping[str, Bytes]) -> Bytes:
    """The cells of all tracks of a zone (tracks, cells of a turn), one byte a cell."""
    first = zone.first - geometry.first_track
    sides = list(product(range(first, first + zone.last - zone.first + 1), range(geometry.heads)))
    where = np.array([_places_round(geometry, cylinder, head) for cylinder, head in sides])
    turn = geometry.track_cells(first)
    laid = np.zeros((len(sides), turn), np.uint8)
    seams: list[int] = []
    at = 0
    for element, run in _runs(geometry, zone, cells, where):
        laid[:, at : at + run.shape[-1]] = run[..., : max(turn - at, 0)]  # the turn may end within the last sector's gap
        if isinstance(element, Gap) and element.code and registry.code(element.code).joined and at < turn:
            seams.append(at)
        at += run.shape[-1]
    for seam in seams:
        laid[:, seam] &= 1 - laid[:, seam - 1]  # before cell 0 stands the turn's last
    return laid


def _runs(geometry: Geometry, zone: Zone, cells: Mapping[str, Bytes], where: Places) -> Iterator[tuple[Element, Bytes]]:
    """What a zone's tracks consist of, in order: each element and its cells, a row for all tracks or a row each."""
    for element in geometry.lead:
        yield element, _record_cells(element, {}, 1) if isinstance(element, Record) else _gap_cells(element, zone)
    for place in range(zone.sectors):
        for element in geometry.sector:
            yield element, cells[element.name][where[:, place]] if isinstance(element, Record) else _gap_cells(element, zone)
    left = geometry.track_cells(zone.first - geometry.first_track) // fill_cells(geometry.tail) + 1
    yield geometry.tail, _gap_cells(replace(geometry.tail, count=left), zone)


def _places_round(geometry: Geometry, cylinder: int, head: int) -> list[int]:
    """Places in the dump of a track's sectors, in the order in which they pass the head."""
    places = geometry.places_of_tracks[cylinder, head]
    return [places[number - geometry.first_sector] for number in geometry.order] if geometry.order else list(places)
