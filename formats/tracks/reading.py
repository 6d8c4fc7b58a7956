"""Cells to fields: where on a side's tracks the marks stand, and what the records behind them hold.

One reader for every geometry. Stretches of cells stand one after the other in a packed buffer, a few megabits at a time; `marks`
finds the marks; the rows behind them are decoded and checked as blocks. No loop runs over bytes or cells. Nothing is judged here:
`mastering.judging.verify` does that.
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from formats import registry
from formats.errors import ContainerError
from formats.model.checks import many
from formats.model.geometry import Geometry
from formats.model.record import Field, Record
from formats.tracks.known_fields import KnownFields
from formats.tracks.marks import find, room

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

_GROUP = 1 << 19  # bytes of cells decoded at a time: more costs memory, less costs more calls (measured: half as much, a third more time)
_BATCH = 4096  # fields decoded at a time
_SPARE = 8  # bytes behind all stretches: cells are shifted so many at a time
_MOST = 8  # times as many marks as fields have room: beyond that no disc was read, and they are not decoded


@dataclass(frozen=True)
class Stretch:
    """`count` cells as they passed the head, packed; with `turn` the last one is followed by the first."""

    cells: bytes
    count: int
    turn: bool


@dataclass(frozen=True, eq=False)
class Fields:
    """All fields of one record kind, sorted by stretch and place: arrays of n.

    `start` is the cell at which the mark begins, `end` the one behind the field (past the stretch's count where a turn wraps).
    `cut`: an end of the stretch cuts it off, so that nothing else is known of it. `sound`: mark, code words, required constants
    and check are right. `rows` are the decoded bytes as they stand on the track, `legal` says for each whether its code words are
    of the code; `deleted` that the tag marks deleted data.
    """

    record: Record
    stretch: Ints
    start: Ints
    end: Ints
    cut: Flags
    sound: Flags
    deleted: Flags
    rows: Bytes
    legal: Flags

    def __len__(self) -> int:
        return len(self.start)

    def number(self, name: str) -> Ints:
        """What a number field holds."""
        field, at = self.record.field(name), self.record.offsets[name]
        made: Ints = np.zeros(len(self), np.int64)
        for place in range(field.size):
            byte = at + (field.size - 1 - place if field.little else place)
            made = made << 8 | self.rows[:, byte]
        return made

    def bodies(self, chosen: "npt.NDArray[np.intp] | slice" = slice(None)) -> Bytes:
        """What the sectors of some blocks hold (n, bytes of a sector)."""
        field, at = self.record.field("body"), self.record.offsets["body"]
        made: Bytes = self.rows[chosen][:, at : at + field.size]
        return ~made if field.complemented else made

    def is_legal(self, name: str) -> Flags:
        """Whether all code words of a field are of its code."""
        field, at = self.record.field(name), self.record.offsets[name]
        made: Flags = np.all(self.legal[:, at : at + field.size], axis=1)
        return made

    def take(self, chosen: npt.NDArray[np.intp] | Flags) -> "Fields":
        """Some of them."""
        columns = (self.stretch, self.start, self.end, self.cut, self.sound, self.deleted, self.rows, self.legal)
        chosen_columns: list[Any] = [column[chosen] for column in columns]
        return Fields(self.record, *chosen_columns)


@dataclass(frozen=True, eq=False)
class Reading:
    """What a side's stretches hold: identifiers, blocks, and for each identifier the place of its block among them, or -1."""

    identifiers: Fields
    blocks: Fields
    block_of: Ints


def read_fields(geometry: Geometry, stretches: Sequence[Stretch], known: KnownFields | None = None) -> Reading:
    """Every identifier and every block in some stretches of a geometry's cells. ContainerError when they are full of marks.

    `known`: the fields that the caller remembers from earlier read-backs; new ones are added.
    """
    known = known or KnownFields()
    found = [_read_group(geometry, stretches[first:last], first, known) for first, last in _groups(stretches)]
    identifiers, blocks = (_joined([each[kind] for each in found]) for kind in (0, 1))
    return Reading(identifiers, blocks, _pair(geometry, stretches, identifiers, blocks))


def any_identifier(geometry: Geometry, stretches: Sequence[Stretch], known: KnownFields | None = None) -> bool:
    """Whether any identifier in some stretches is sound. ContainerError when they are full of marks.

    That depends on `geometry.identifier` alone, so one answer serves all geometries that have the same one.
    """
    record, known = geometry.identifier, known or KnownFields()
    for first, last in _groups(stretches):
        buffer = _pack(stretches[first:last], first, _room(geometry, record))
        if _read_record(geometry, buffer, record, find(buffer.cells, record.mark.cells), known).sound.any():
            return True
    return False


def _groups(stretches: Sequence[Stretch]) -> Iterator[tuple[int, int]]:
    """Runs of stretches, first and behind-last, of about `_GROUP` bytes."""
    first, size = 0, 0
    for place, stretch in enumerate(stretches):
        size += len(stretch.cells)
        if size >= _GROUP:
            yield first, place + 1
            first, size = place + 1, 0
    if first < len(stretches) or not stretches:
        yield first, len(stretches)


def _joined(groups: Sequence[Fields]) -> Fields:
    if len(groups) == 1:
        return groups[0]
    columns = ("stretch", "start", "end", "cut", "sound", "deleted", "rows", "legal")
    columns_joined: list[Any] = [np.concatenate([getattr(each, column) for each in groups]) for column in columns]
    return Fields(groups[0].record, *columns_joined)


# The packed buffer


@dataclass(frozen=True, eq=False)
class _Buffer:
    """Stretches one after the other, each at a byte's start, each with room (or, on a turn, its own beginning) behind it."""

    cells: Bytes
    starts: Ints
    counts: Ints
    turns: Flags
    first: int


def _room(geometry: Geometry, record: Record) -> int:
    """Bytes of cells that a field, or what is looked at for its mark, may reach past the end of its stretch."""
    return max(geometry.laid_cells(record, geometry.zones[0]) // 8 + 2, room(record.mark.cells))


def _pack(stretches: Sequence[Stretch], first: int, behind: int) -> _Buffer:
    """Stretches from the one numbered `first` on, `behind` bytes of room behind each."""
    parts, starts, at = [], [], 0
    for stretch in stretches:
        parts.append(_wrapped(stretch, behind) if stretch.turn and stretch.count else stretch.cells + bytes(behind))
        starts.append(at * 8)
        at += len(parts[-1])
    counts = np.array([stretch.count for stretch in stretches], np.int64)
    turns = np.array([stretch.turn for stretch in stretches], np.bool_)
    return _Buffer(np.frombuffer(b"".join(parts) + bytes(_SPARE), np.uint8), np.array(starts, np.int64), counts, turns, first)


def _wrapped(stretch: Stretch, behind: int) -> bytes:
    """A turn's cells with its first `behind` bytes of cells again behind the last one."""
    if stretch.count < behind * 8:  # a turn shorter than a field: go round as often as it takes
        cells = np.unpackbits(np.frombuffer(stretch.cells, np.uint8))[: stretch.count]
        return np.packbits(np.resize(cells, stretch.count + behind * 8)).tobytes()
    whole, rest = divmod(stretch.count, 8)
    again = int.from_bytes(stretch.cells[:behind], "big") << 8 >> rest
    seam = again.to_bytes(behind + 1, "big")
    if rest == 0:
        return stretch.cells[:whole] + seam[:-1]
    return stretch.cells[:whole] + bytes([stretch.cells[whole] | seam[0]]) + seam[1:]


# Records


def _read_group(geometry: Geometry, stretches: Sequence[Stretch], first: int, known: KnownFields) -> tuple[Fields, Fields]:
    kinds = (geometry.identifier, geometry.block)
    buffer = _pack(stretches, first, max(_room(geometry, each) for each in kinds))
    marks = {cells: find(buffer.cells, cells) for cells in {each.mark.cells for each in kinds}}
    identifiers, blocks = (_read_record(geometry, buffer, each, marks[each.mark.cells], known) for each in kinds)
    return identifiers.take(~identifiers.cut), blocks


def _read_record(geometry: Geometry, buffer: _Buffer, record: Record, bits: Ints, known: KnownFields) -> Fields:
    """The fields of one kind behind marks at those bits of the buffer; cut ones only where the tag does not speak against it."""
    cells = geometry.record_cells(record)
    stretch = np.searchsorted(buffer.starts, bits, side="right") - 1
    start = bits - buffer.starts[stretch]
    turns, counts = buffer.turns[stretch], buffer.counts[stretch]
    inside = (start < counts) & (turns | (start + len(record.mark.cells) <= counts))
    bits, stretch, start = bits[inside], stretch[inside], start[inside]
    turns, counts = turns[inside], counts[inside]
    behind = bits + record.mark.lead
    end = start + record.mark.lead + cells
    cut = ~turns & (end > counts)
    tagged, deleted = _tagged(record, buffer.cells, behind)
    tagged |= cut & (start + record.mark.lead + _tag_cells(record) > counts)
    kept = np.flatnonzero(tagged)
    if len(kept) > _MOST * (int(buffer.counts.sum()) // cells + len(buffer.counts) + 1):
        raise ContainerError(f"{len(kept):,} marks of a {record.name} in {buffer.counts.sum():,} cells: more than any disc can hold")
    parts = (_rows_at(buffer.cells, behind[kept[at : at + _BATCH]], cells // 8) for at in range(0, len(kept) or 1, _BATCH))
    batches = [_decoded(record, part, known) for part in parts]
    rows, legal, sound = (np.concatenate(column) if len(batches) > 1 else column[0] for column in zip(*batches, strict=True))
    sound = sound & ~cut[kept]
    return Fields(record, stretch[kept] + buffer.first, start[kept], end[kept], cut[kept], sound, deleted[kept], rows, legal)


def _tag_place(record: Record) -> tuple[Field, int, int]:
    """The tag, and how many bytes and how many bytes of cells must be decoded to see it. It stands in the first part."""
    field = record.field(record.tag)
    plain, coded = registry.code(record.parts[0].code).unit
    units = -(-(record.offsets[field.name] + field.size) // plain)
    return field, units * plain, units * coded


def _tag_cells(record: Record) -> int:
    return _tag_place(record)[2] * 8 if record.tag else 0


def _tagged(record: Record, buffer: Bytes, behind: Ints) -> tuple[Flags, Flags]:
    """Whether the record's tag follows, and whether as deleted data."""
    if not record.tag:
        return np.ones(len(behind), np.bool_), np.zeros(len(behind), np.bool_)
    field, _, coded = _tag_place(record)
    rows, legal = registry.code(record.parts[0].code).decode(_rows_at(buffer, behind, coded))
    at = slice(record.offsets[field.name], record.offsets[field.name] + field.size)

    def equals(value: bytes) -> Flags:
        same: Flags = (legal[:, at] & (rows[:, at] == np.frombuffer(value, np.uint8))).all(axis=1)
        return same

    deleted = equals(record.deleted) if record.deleted else np.zeros(len(behind), np.bool_)
    return equals(field.value) | deleted, deleted


def _rows_at(buffer: Bytes, bits: Ints, size: int) -> Bytes:
    """`size` bytes from each of some bits of the buffer (n, size), shifted eight bytes at a time."""
    width = size // 8 * 8 + 8
    if not len(bits):
        return np.zeros((0, size), np.uint8)
    windows = np.ndarray((len(buffer) - width + 1, width), np.uint8, buffer, strides=(1, 1))  # from every byte; numpy checks the bounds
    wide = windows[bits >> 3].view(np.uint64)
    if sys.byteorder == "little":
        wide.byteswap(inplace=True)
    phase = (bits & 7).astype(np.uint64)[:, None]
    made = wide << phase
    made[:, :-1] |= wide[:, 1:] >> (64 - phase)  # by 64 bits nothing is left
    if sys.byteorder == "little":
        made.byteswap(inplace=True)
    rows: Bytes = made.view(np.uint8)[:, :size]
    return rows


def _decoded(record: Record, cells: Bytes, known: KnownFields) -> tuple[Bytes, Flags, Flags]:
    """What rows of cells hold: decoded bytes, their legality, and whether the fields are sound."""

    def decode(unknown: Bytes) -> tuple[Bytes, Flags, Flags]:
        rows, legal = _decode(record, unknown)
        return rows, legal, _sound(record, rows, legal)

    return known.of(record).decoded(cells, decode)


def _decode(record: Record, cells: Bytes) -> tuple[Bytes, Flags]:
    """Decoded bytes of all parts, and their legality."""
    rows, legal, at = [], [], 0
    for each in record.parts:
        code = registry.code(each.code)
        width = each.size * code.unit[1] // code.unit[0]
        decoded, right = code.decode(cells[:, at : at + width])
        rows.append(decoded)
        legal.append(right)
        at += width
    return (rows[0], legal[0]) if len(rows) == 1 else (np.concatenate(rows, axis=1), np.concatenate(legal, axis=1))


def _sound(record: Record, rows: Bytes, legal: Flags) -> Flags:
    """Code words, required constants and checks; bytes that nobody judges are left out."""
    sound = np.ones(len(rows), np.bool_)
    for field in record.fields:
        at = slice(record.offsets[field.name], record.offsets[field.name] + field.size)
        if field.kind == "bytes" and field.name != "body":
            continue
        sound &= legal[:, at].all(axis=1)
        if field.kind == "const" and field.name != record.tag:
            sound &= (rows[:, at] == np.frombuffer(field.value, np.uint8)).all(axis=1)
    for check in record.checks:
        first, last = record.span(check)
        field, place = record.field(check.stored), record.offsets[check.stored]
        stored: npt.NDArray[np.int64] = np.zeros(len(rows), np.int64)
        for byte in range(place, place + field.size):
            stored = stored << 8 | rows[:, byte]
        sound &= many(check.name, rows[:, first:last], record.mark.data if check.first == "mark" else b"") == stored
    return sound


# Which block is whose


def _pair(geometry: Geometry, stretches: Sequence[Stretch], identifiers: Fields, blocks: Fields) -> Ints:
    """For each identifier its block, or -1.

    A block is that of the nearest identifier mark before it, if it begins behind that identifier, by less than a block's length; of
    several, the first is what a machine would read.
    """
    made = np.full(len(identifiers), -1, np.int64)
    if not len(identifiers) or not len(blocks):
        return made
    counts = np.array([stretch.count for stretch in stretches], np.int64)
    turns = np.array([stretch.turn for stretch in stretches], np.bool_)
    base = np.concatenate(([0], np.cumsum(counts + 1)))
    keys = base[identifiers.stretch] + identifiers.start
    before = np.searchsorted(keys, base[blocks.stretch] + blocks.start, side="right") - 1
    last = np.searchsorted(identifiers.stretch, blocks.stretch, side="right") - 1
    outside = (before < 0) | (identifiers.stretch[before] != blocks.stretch)
    wraps = outside & turns[blocks.stretch]
    owner = np.where(wraps, last, before)
    behind = blocks.start - identifiers.end[owner] + np.where(wraps, counts[blocks.stretch], 0)
    own = (identifiers.stretch[owner] == blocks.stretch) & (owner >= 0) & (~outside | wraps)
    own &= (behind >= 0) & (behind < len(geometry.block.mark.laid) + geometry.record_cells(geometry.block))
    candidates = np.flatnonzero(own)
    farthest_first = candidates[np.argsort(-behind[candidates], kind="stable")]
    made[owner[farthest_first]] = farthest_first  # so that the nearest is what stays
    return made
