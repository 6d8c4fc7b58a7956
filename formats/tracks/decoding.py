"""Rows of cells to bytes: what a record's codes, constants and checks make of the cells behind a mark. Knows no tracks."""

import sys

import numpy as np
import numpy.typing as npt

from formats import registry
from formats.model.checks import many
from formats.model.record import Field, Record
from formats.tracks.known_fields import KnownFields

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

SPARE = 8  # bytes that a packed buffer must have behind the last cell that is asked for: cells are shifted so many bytes at a time


def rows_at(buffer: Bytes, bits: Ints, size: int) -> Bytes:
    """`size` bytes of cells from each of some bits of a packed buffer (n, size), shifted eight bytes at a time."""
    width = size // 8 * 8 + 8
    if not len(bits):
        return np.zeros((0, size), np.uint8)
    windows = np.ndarray((len(buffer) - width + 1, width), np.uint8, buffer, strides=(1, 1))  # from every byte; numpy checks the bounds
    wide = windows[bits >> 3].view(np.uint64)
    if sys.byteorder == "little":
        wide.byteswap(inplace=True)
    phase = (bits & 7).astype(np.uint64)[:, None]
    shifted = wide << phase
    shifted[:, :-1] |= wide[:, 1:] >> (64 - phase)  # by 64 bits nothing is left
    if sys.byteorder == "little":
        shifted.byteswap(inplace=True)
    rows: Bytes = shifted.view(np.uint8)[:, :size]
    return rows


# Tags


def tag_cells(record: Record) -> int:
    """Cells from a record's first byte to the end of its tag, 0 without a tag."""
    if not record.tag:
        return 0
    plain, coded = registry.code(record.parts[0].code).unit
    return -(-(record.offsets[record.tag] + record.field(record.tag).size) * 8 * coded // plain)


def _tag_place(record: Record) -> tuple[Field, int]:
    """The tag, and how many bytes of cells must be decoded to see it. It stands in the first part."""
    field = record.field(record.tag)
    plain, coded = registry.code(record.parts[0].code).unit
    units = -(-(record.offsets[field.name] + field.size) // plain)
    return field, units * coded


def read_tags(record: Record, buffer: Bytes, bits: Ints) -> tuple[Flags, Flags]:
    """Whether the record's tag stands in the bytes that begin at some bits of a packed buffer, and whether as that of deleted data."""
    if not record.tag:
        return np.ones(len(bits), np.bool_), np.zeros(len(bits), np.bool_)
    field, coded = _tag_place(record)
    rows, legal = registry.code(record.parts[0].code).decode(rows_at(buffer, bits, coded))
    at = slice(record.offsets[field.name], record.offsets[field.name] + field.size)

    def equals(value: bytes) -> Flags:
        same: Flags = (legal[:, at] & (rows[:, at] == np.frombuffer(value, np.uint8))).all(axis=1)
        return same

    deleted = equals(record.deleted) if record.deleted else np.zeros(len(bits), np.bool_)
    return equals(field.value) | deleted, deleted


# Fields


def decode_fields(record: Record, cells: Bytes, known: KnownFields) -> tuple[Bytes, Flags, Flags]:
    """What rows of cells hold: decoded bytes, which of them have legal code words, and which fields are sound."""

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
    """Which fields have legal code words, the required constants and right checks; bytes that nobody judges are left out."""
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
