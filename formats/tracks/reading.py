"""Cells to fields: where on a side's tracks the marks stand, and what the records behind them hold.

One reader for every geometry. Stretches of cells stand one after the other in a packed buffer, a few megabits at a time; `marks`
finds the marks, `decoding` decodes and checks the rows of cells behind them as blocks. No loop runs over bytes or cells. Nothing is
judged here: `mastering.judging.verify` does that.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, NoReturn

import numpy as np
import numpy.typing as npt

from formats.errors import ContainerError
from formats.model.geometry import Gap, Geometry, fill_cells
from formats.model.record import Record
from formats.tracks.decoding import SPARE, decode_fields, read_tags, rows_at, tag_cells
from formats.tracks.known_fields import KnownFields
from formats.tracks.marks import find, room

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

_GROUP = 1 << 19  # bytes of cells decoded at a time: more costs memory, less costs more calls (measured: half as much, a third more time)
_BATCH = 4096  # fields decoded at a time
_MOST = 8  # times as many marks as sectors have room: beyond that the cells are no disc's, and they are not decoded
_ANY_MARKS = 1 << 16  # so many, of whatever tag, are looked at in however few cells


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
    `cut`: an end of the stretch cuts the field off, so that nothing else is known of it. `sound`: mark, code words, required constants
    and check are right. `deleted`: the tag marks deleted data. `row`: which of `rows` holds the field's decoded bytes as they stand on
    the track, -1 where they were not kept; `legal` says of an identifier's whether their code words are of the code.
    """

    record: Record
    stretch: Ints
    start: Ints
    end: Ints
    cut: Flags
    sound: Flags
    deleted: Flags
    row: Ints
    rows: Bytes
    legal: Flags

    def __len__(self) -> int:
        return len(self.start)

    def number(self, name: str) -> Ints:
        """What a number field of every field holds (n)."""
        field, at = self.record.field(name), self.record.offsets[name]
        value: Ints = np.zeros(len(self), np.int64)
        for place in range(field.size):
            byte = at + (field.size - 1 - place if field.little else place)
            value = value << 8 | self.rows[self.row, byte]
        return value

    def bodies(self, chosen: "npt.NDArray[np.intp] | slice" = slice(None)) -> Bytes:
        """What the sectors of some blocks, all of whose bytes were kept, hold (n, bytes of a sector)."""
        field, at = self.record.field("body"), self.record.offsets["body"]
        body: Bytes = self.rows[self.row[chosen], at : at + field.size]
        return ~body if field.complemented else body

    def is_legal(self, name: str) -> Flags:
        """Which fields have no code word in this part of them that the code does not have (n)."""
        field, at = self.record.field(name), self.record.offsets[name]
        legal: Flags = np.all(self.legal[self.row, at : at + field.size], axis=1)
        return legal

    def select(self, chosen: npt.NDArray[np.intp] | Flags) -> "Fields":
        """The fields at these places (indices, or one flag a field)."""
        columns: dict[str, Any] = {name: getattr(self, name)[chosen] for name in _COLUMNS}
        return replace(self, **columns, row=self.row[chosen])


@dataclass(frozen=True, eq=False)
class Reading:
    """What a side's stretches hold: identifiers, blocks, and for each identifier the place of its block among them, or -1."""

    identifiers: Fields
    blocks: Fields
    block_of: Ints


def read_fields(geometry: Geometry, stretches: Sequence[Stretch], known: KnownFields | None = None) -> Reading:
    """Every identifier and every block in some stretches of a geometry's cells. ContainerError when they are full of marks.

    `known`: the fields that the caller remembers from earlier read-backs; new ones are added. The bytes of unsound blocks are kept for
    as many as the cells have room for.
    """
    known = known or KnownFields()
    groups = [_read_group(geometry, stretches[first:last], first, known) for first, last in _groups(stretches)]
    identifiers, blocks = (joined([group[kind] for group in groups]) for kind in (0, 1))
    return Reading(identifiers, blocks, _pair(geometry, stretches, identifiers, blocks))


def any_identifier(geometry: Geometry, stretches: Sequence[Stretch], known: KnownFields | None = None) -> bool:
    """Whether any identifier in some stretches is sound; of a crowd of marks, in which no disc's identifiers are, only some are looked at.

    That depends on `geometry.identifier` alone, so one answer serves all geometries that have the same one.
    """
    record, known = geometry.identifier, known or KnownFields()
    cells = geometry.record_cells(record)
    for first, last in _groups(stretches):
        buffer = _pack(stretches[first:last], first, _room(geometry, record))
        marks = _marks(record, cells, buffer, find(buffer.cells, record.mark.cells)[:_ANY_MARKS])
        whole = np.flatnonzero(marks.kept & ~marks.cut)
        if _decode_behind(record, buffer, marks.bits[whole], cells, marks.kept[whole], known)[0].any():
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


def joined(groups: Sequence[Fields], stretches: Sequence[int] | Ints = ()) -> Fields:
    """The fields of all groups, one kind's; `stretches`: what is added to each group's numbers of stretches (nothing by default)."""
    if len(groups) == 1:
        return groups[0]
    before = np.cumsum([0, *(len(group.rows) for group in groups[:-1])])
    row = np.concatenate([np.where(group.row < 0, -1, group.row + first) for group, first in zip(groups, before, strict=True)])
    columns: dict[str, Any] = {name: np.concatenate([getattr(group, name) for group in groups]) for name in _COLUMNS}
    if len(stretches):
        columns["stretch"] += np.repeat(stretches, [len(group) for group in groups])
    rows, legal = (np.concatenate([getattr(group, name) for group in groups]) for name in ("rows", "legal"))
    return Fields(groups[0].record, **columns, row=row, rows=rows, legal=legal)


_COLUMNS = ("stretch", "start", "end", "cut", "sound", "deleted")


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
    return _Buffer(np.frombuffer(b"".join(parts) + bytes(SPARE), np.uint8), np.array(starts, np.int64), counts, turns, first)


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
    buffer = _pack(stretches, first, max(_room(geometry, kind) for kind in kinds))
    marks = {cells: find(buffer.cells, cells) for cells in {kind.mark.cells for kind in kinds}}
    identifiers, blocks = (_read_record(geometry, buffer, kind, marks[kind.mark.cells], known) for kind in kinds)
    return identifiers.select(~identifiers.cut), blocks


def _read_record(geometry: Geometry, buffer: _Buffer, record: Record, bits: Ints, known: KnownFields) -> Fields:
    """The fields of one kind behind marks at those bits of the buffer; cut ones only where the tag does not speak against it."""
    cells = geometry.record_cells(record)
    most = _MOST * (buffer.counts // _least_sector(geometry) + 1)
    if len(bits) > max(2 * most.sum(), _ANY_MARKS):  # an identifier's and a block's
        _refuse(f"{len(bits):,} marks", buffer.counts.sum())
    marks = _marks(record, cells, buffer, bits)
    kept = np.flatnonzero(marks.kept)
    stretch, cut = marks.stretch[kept], marks.cut[kept]
    crowd = np.bincount(stretch, minlength=len(most)) - most
    if (crowd > 0).any():
        worst = int(crowd.argmax())
        _refuse(f"{crowd[worst] + most[worst]:,} marks of {'an' if record.name[0] in 'aeiou' else 'a'} {record.name}", buffer.counts[worst])
    sound, row, rows, legal = _decode_behind(record, buffer, marks.bits[kept], cells, ~cut, known)
    start = marks.start[kept]
    columns = stretch + buffer.first, start, start + record.mark.lead + cells, cut, sound, marks.deleted[kept]
    return Fields(record, *columns, row, rows, legal)


class _Marks(NamedTuple):
    """Marks of one kind of record (arrays of n): bit of the buffer at which the first byte begins, stretch in the buffer, cell of the mark.

    `cut`: an end of the stretch cuts the field off. `kept`: the record's tag follows, or is cut off. `deleted`: as that of deleted data.
    """

    bits: Ints
    stretch: Ints
    start: Ints
    cut: Flags
    kept: Flags
    deleted: Flags


def _marks(record: Record, cells: int, buffer: _Buffer, bits: Ints) -> _Marks:
    """What stands at the marks that begin at those bits of the buffer, before records of so many cells."""
    stretch = np.searchsorted(buffer.starts, bits, side="right") - 1
    start = bits - buffer.starts[stretch]
    turns, counts = buffer.turns[stretch], buffer.counts[stretch]
    first = start + record.mark.lead
    cut = ~turns & (first + cells > counts)
    tagged, deleted = read_tags(record, buffer.cells, bits + record.mark.lead)
    tagged |= cut & (first + tag_cells(record) > counts)
    inside = (start < counts) & (turns | (start + len(record.mark.cells) <= counts))
    return _Marks(bits + record.mark.lead, stretch, start, cut, tagged & inside, deleted)


def _refuse(marks: str, cells: int) -> NoReturn:
    raise ContainerError(f"{marks} in {cells:,} cells: more than any disc can hold")


def _least_sector(geometry: Geometry) -> int:
    """Cells from one sector's beginning to the next one's, with the least gaps that a reader or a formatter accepts."""
    records = (geometry.laid_cells(element, geometry.zones[0]) for element in geometry.sector if isinstance(element, Record))
    return sum(records) + sum(gap.minimum * fill_cells(gap) for gap in geometry.sector if isinstance(gap, Gap))


def _decode_behind(
    record: Record, buffer: _Buffer, bits: Ints, cells: int, whole: Flags, known: KnownFields
) -> tuple[Flags, Ints, Bytes, Flags]:
    """The fields whose first bytes begin at those bits of the buffer, of so many cells each: `sound`, `row`, `rows`, `legal` of `Fields`.

    Bytes are kept of all identifiers; of blocks those of the sound ones, which can't overlap on a disc, and as many others as have room.
    """
    is_block = "body" in record.offsets
    room_for = int(buffer.counts.sum()) // cells + len(buffer.counts)
    left = room_for if is_block else len(bits)
    sound, row = np.zeros(len(bits), np.bool_), np.full(len(bits), -1, np.int64)
    parts, count = [], 0
    for at in range(0, len(bits) or 1, _BATCH):
        batch = slice(at, at + _BATCH)
        rows, legal, right = decode_fields(record, rows_at(buffer.cells, bits[batch], cells // 8), known)
        sound[batch] = right & whole[batch]
        others = np.cumsum(~sound[batch])
        kept = np.flatnonzero(sound[batch] | (others <= left))
        left -= min(left, int(others[-1])) if len(others) else 0
        row[at + kept] = np.arange(count, count + len(kept))
        count += len(kept)
        legal = legal[:, :0] if is_block else legal
        parts.append((rows, legal) if len(kept) == len(rows) else (rows[kept], legal[kept]))
        if is_block and np.count_nonzero(sound) > room_for:
            _refuse(f"{np.count_nonzero(sound):,} sound blocks", buffer.counts.sum())
    rows, legal = (np.concatenate(column) if len(parts) > 1 else column[0] for column in zip(*parts, strict=True))
    return sound, row, rows, legal


# Which block is whose


def _pair(geometry: Geometry, stretches: Sequence[Stretch], identifiers: Fields, blocks: Fields) -> Ints:
    """For each identifier its block, or -1.

    A block is that of the nearest identifier mark before it, if it begins behind that identifier, by less than a block's length; of
    several, the first is what a machine would read.
    """
    block_of = np.full(len(identifiers), -1, np.int64)
    if not len(identifiers) or not len(blocks):
        return block_of
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
    block_of[owner[farthest_first]] = farthest_first  # so that the nearest is what stays
    return block_of
