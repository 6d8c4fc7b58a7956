"""The capture file, version 1: what a drive's read amplifier delivered, track by track. Read strictly, bounded, written.

A signature, then chunks as in the PNG standard (ISO/IEC 15948, section 5): length, type, payload, CRC-32. Integers are unsigned
and big-endian. Every breach names the file, the chunk's number, type and byte offset, and what was expected.
"""

import json
import struct
import sys
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, NoReturn

from formats import bounds
from formats.bounds import LARGEST_CAPTURE, LAST_CYLINDER, MOST_CHUNKS, MOST_INDEX_MARKS, SIGNATURE
from formats.containers.shared import times
from formats.containers.shared.times import BrokenTimesError, Times
from formats.errors import ContainerError
from formats.model.geometry import Geometry

_FRAME = struct.Struct(">I4s")  # length of the payload, type
_TRACK = struct.Struct(">BBHII")  # cylinder, head, flags, cell length in ps (INTV: ticks per second), number of cells (intervals)
_TURN = 1  # flag: exactly one turn
_LARGEST = {b"HEAD": bounds.LARGEST_HEAD, b"CELL": bounds.LARGEST_CELL}
_SHOWN = 40  # characters of a value in a message
_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


@dataclass(frozen=True)
class Track:
    """One read of a track: `cells` cells, packed in `bits`, of `cell_ps` picoseconds; `turn`: the last is followed by the first.

    `marks`: the cells before which the index hole passed, ascending.
    """

    cylinder: int
    head: int
    turn: bool
    cell_ps: int
    cells: int
    bits: bytes
    marks: tuple[int, ...] = ()


@dataclass(frozen=True)
class Capture:
    """A whole capture. `rpm`: nominal speed of the drive; `tpi`: of its steps, where they are not the geometry's.

    `tracks` are its reads as cells, `times` those as times between transitions; `reversed` ones are still to be turned round.
    """

    rpm: float
    writer: str
    tracks: tuple[Track, ...]
    reversed: bool = False
    simulated: bool = False
    tpi: float | None = None
    times: tuple[Times, ...] = ()


# Reading


class _Chunk(NamedTuple):
    """One chunk and its place, for messages."""

    name: str
    number: int
    offset: int
    type: bytes
    payload: bytes

    def refuse(self, what: str) -> NoReturn:
        called = self.type.decode() if self.type.isalpha() and self.type.isascii() else self.type.hex(" ").upper()
        raise ContainerError(f"{self.name}: chunk {self.number} ({called}, byte {self.offset}): {what}")


def read(data: bytes, name: str) -> Capture:
    """The capture in a file's bytes; `name` stands in messages. ContainerError when it breaks a rule of the format."""
    if len(data) > LARGEST_CAPTURE:
        raise ContainerError(f"{name}: {len(data):,} bytes, a capture has at most {LARGEST_CAPTURE:,}")
    if not data.startswith(SIGNATURE):
        raise ContainerError(f"{name}: byte 0: no capture, its signature {SIGNATURE.hex(' ').upper()} was expected{_damage(data)}")
    known = (chunk for chunk in _chunks(data, name) if not chunk.type[:1].islower())
    head = next(known)  # a file without even a TAIL is refused before
    if head.type != b"HEAD":
        head.refuse("HEAD was expected first")
    cells, reads = _tracks(known)
    return replace(_head(head), tracks=cells, times=reads)


def _damage(data: bytes) -> str:
    """What a nearly right signature tells, as in the PNG standard."""
    if data[:1] == b"\x0a" and data[1:4] == b"OBV":
        return " (its highest bits are gone: it was sent as 7-bit text)"
    if data.startswith(SIGNATURE[:4]):
        return " (its line ends were changed: it was copied as text)"
    return ""


def _chunks(data: bytes, name: str) -> Iterator[_Chunk]:
    """Every chunk up to and with TAIL, each with its CRC proved; nothing may stand behind it."""
    at = len(SIGNATURE)
    for number in range(1, MOST_CHUNKS + 1):
        chunk = _chunk(data, name, number, at)
        yield chunk
        at += 12 + len(chunk.payload)
        if chunk.type == b"TAIL":
            if at != len(data):
                raise ContainerError(f"{name}: byte {at}: {len(data) - at:,} bytes behind TAIL, where the file should end")
            return
    raise ContainerError(f"{name}: byte {at}: more than {MOST_CHUNKS:,} chunks")


def _chunk(data: bytes, name: str, number: int, at: int) -> _Chunk:
    """The chunk that begins at a byte."""
    there = len(data) - at
    if there < 12:
        where = f"within chunk {number}" if there else "without TAIL"
        raise ContainerError(f"{name}: byte {at}: the file ends {where}; it was cut short, or is still being written")
    length, kind = _FRAME.unpack_from(data, at)
    chunk = _Chunk(name, number, at, kind, data[at + 8 : at + 8 + length])
    if not (kind.isalpha() and kind.isascii()):
        chunk.refuse("four ASCII letters were expected as its type")
    if length > _LARGEST.get(kind, length):
        chunk.refuse(f"{length:,} bytes, at most {_LARGEST[kind]:,} are allowed")
    if length > there - 12:
        chunk.refuse(f"{length:,} bytes were announced, {there - 12:,} are there; the file was cut short")
    if zlib.crc32(chunk.payload, zlib.crc32(kind)) != int.from_bytes(data[at + 8 + length : at + 12 + length], "big"):
        chunk.refuse("its CRC is wrong; the file is damaged")
    return chunk


def _head(chunk: _Chunk) -> Capture:
    try:
        head = json.loads(chunk.payload.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        chunk.refuse(f"a JSON object in UTF-8 was expected ({error})")
    if not isinstance(head, dict):
        chunk.refuse(f"a JSON object was expected, not {_shown(head)}")
    if head.get("version") != 1 or isinstance(head["version"], bool):
        chunk.refuse(f"version 1 was expected, not {_shown(head.get('version'))}")
    for key, instead in (("rpm", None), ("tpi", 1)):
        if not _is_positive(head.get(key, instead)):
            chunk.refuse(f"{key} must be a number above 0, not {_shown(head.get(key))}")
    if not isinstance(head.get("writer"), str):
        chunk.refuse("writer must be a text: which program made the file")
    for key in ("reversed", "simulated"):
        if not isinstance(head.get(key, False), bool):
            chunk.refuse(f"{key} must be true or false, not {_shown(head[key])}")
    tpi = float(head["tpi"]) if "tpi" in head else None
    return Capture(float(head["rpm"]), head["writer"], (), head.get("reversed", False), head.get("simulated", False), tpi)


def _shown(value: Any) -> str:
    """A JSON value as it may stand in a message of one line."""
    text = "an object" if isinstance(value, dict) else "a list" if isinstance(value, list) else json.dumps(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is no JSON number")


def _is_positive(value: Any) -> bool:
    """Whether a JSON value is a finite number above 0."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 < value <= sys.float_info.max


def _tracks(chunks: Iterator[_Chunk]) -> tuple[tuple[Track, ...], tuple[Times, ...]]:
    """The tracks behind HEAD, as cells and as times, each with the marks right behind it."""
    tracks: list[Track] = []
    reads: list[Times] = []
    before, left = b"HEAD", times.LARGEST_INFLATED
    for chunk in chunks:
        if chunk.type == b"CELL":
            tracks.append(_cell(chunk))
        elif chunk.type == b"INTV":
            reads.append(_intervals(chunk, left))
            left -= 4 * reads[-1].count
        elif chunk.type == b"MARK":
            if before == b"CELL":
                tracks[-1] = replace(tracks[-1], marks=_marks(chunk, tracks[-1].cells))
            elif before == b"INTV":
                reads[-1] = replace(reads[-1], marks=_marks(chunk, None))
            else:
                chunk.refuse(f"index marks belong right behind a track, not behind {before.decode()}")
        elif chunk.type == b"TAIL":
            if chunk.payload:
                chunk.refuse("TAIL must be empty")
            if not tracks and not reads:
                chunk.refuse("the file holds no track (no CELL or INTV chunk); read the disc again")
        else:
            chunk.refuse("HEAD stands a second time" if chunk.type == b"HEAD" else "a type that this version does not know")
        before = chunk.type
    return tuple(tracks), tuple(reads)


def _place(chunk: _Chunk) -> tuple[int, int, int, int, int]:
    """The numbers before a track's cells or times; its cylinder and head can be."""
    if len(chunk.payload) < _TRACK.size:
        chunk.refuse(f"{len(chunk.payload)} bytes, at least {_TRACK.size} were expected")
    cylinder, head, flags, scale, count = _TRACK.unpack_from(chunk.payload)
    if cylinder > LAST_CYLINDER:
        chunk.refuse(f"cylinder {cylinder}, the last one can be {LAST_CYLINDER}")
    if head > 1:
        chunk.refuse(f"head {head}, where 0 or 1 was expected")
    return cylinder, head, flags, scale, count


def _intervals(chunk: _Chunk, left: int) -> Times:
    """The times of an INTV, proved to be what it announces; `left`: bytes that the rest of the file may become."""
    if len(chunk.payload) > times.LARGEST_CHUNK:
        chunk.refuse(f"{len(chunk.payload):,} bytes, at most {times.LARGEST_CHUNK:,} are allowed")
    cylinder, head, flags, ticks, count = _place(chunk)
    if flags or not ticks:
        chunk.refuse(f"flags {flags:04X} and {ticks} ticks per second, where 0 and more than 0 were expected")
    if 4 * count > left:
        chunk.refuse(f"{count:,} intervals: the file would unpack to more than {times.LARGEST_INFLATED:,} bytes")
    made = Times(cylinder, head, ticks, count, chunk.payload[_TRACK.size :])
    try:
        for _ in made.intervals():
            pass
    except BrokenTimesError as error:
        chunk.refuse(str(error))
    return made


def _cell(chunk: _Chunk) -> Track:
    cylinder, head, flags, cell_ps, count = _place(chunk)
    if flags & ~_TURN:
        chunk.refuse(f"flags {flags:04X}, where only bit 0 may be set")
    if not cell_ps:
        chunk.refuse("a cell length of 0")
    bits = chunk.payload[_TRACK.size :]
    if len(bits) != (count + 7) // 8:
        chunk.refuse(f"{count:,} cells need {(count + 7) // 8:,} bytes, {len(bits):,} are there")
    if count % 8 and bits[-1] & (0xFF >> count % 8):
        chunk.refuse("the bits behind the last cell must be 0")
    return Track(cylinder, head, bool(flags), cell_ps, count, bits)


def _marks(chunk: _Chunk, cells: int | None) -> tuple[int, ...]:
    """Index marks, within so many `cells`; those of times may lie behind the last transition."""
    count = int.from_bytes(chunk.payload[:2], "big")
    if count > MOST_INDEX_MARKS:
        chunk.refuse(f"{count:,} index marks, at most {MOST_INDEX_MARKS} are allowed")
    if len(chunk.payload) != 2 + 4 * count:
        chunk.refuse(f"{count} index marks need {2 + 4 * count} bytes, {len(chunk.payload)} are there")
    marks = struct.unpack_from(f">{count}I", chunk.payload, 2)
    if list(marks) != sorted(set(marks)):
        chunk.refuse("index marks must ascend")
    if marks and cells is not None and marks[-1] > cells:
        chunk.refuse(f"an index mark at cell {marks[-1]:,} of {cells:,}")
    return marks


# As a geometry sees it


def upright(capture: Capture) -> Capture:
    """A capture whose medium passed the head the right way round: a reversed one's cells and marks are turned round.

    Times are left as they are: a reader turns the cells that it makes of them.
    """
    if not capture.reversed:
        return capture
    return replace(capture, reversed=False, tracks=tuple(turned(track) for track in capture.tracks))


def turned(track: Track) -> Track:
    """A track's cells and marks from its end to its start."""
    spare = -track.cells % 8
    backwards = int.from_bytes(track.bits[::-1].translate(_REVERSED), "big") << spare
    bits = (backwards & ((1 << len(track.bits) * 8) - 1)).to_bytes(len(track.bits), "big")
    return replace(track, bits=bits, marks=tuple(track.cells - mark for mark in reversed(track.marks)))


def on_geometry(capture: Capture, geometry: Geometry, name: str) -> Capture:
    """A capture by the geometry's cylinders: of a drive with twice its tracks per inch the even ones. ContainerError at other ratios."""
    if capture.tpi in (None, geometry.tpi):
        return capture
    if capture.tpi != 2 * geometry.tpi:
        raise ContainerError(f"{name}: {capture.tpi:g} tracks per inch, where {geometry.id} needs {geometry.tpi} or twice that")
    cells = tuple(replace(track, cylinder=track.cylinder // 2) for track in capture.tracks if track.cylinder % 2 == 0)
    reads = tuple(replace(read, cylinder=read.cylinder // 2) for read in capture.times if read.cylinder % 2 == 0)
    return replace(capture, tpi=None, tracks=cells, times=reads)


# Writing


def write(capture: Capture) -> bytes:
    """The file of a capture. Optional keys of HEAD stand only where they say something."""
    rpm = int(capture.rpm) if capture.rpm == int(capture.rpm) else capture.rpm
    optional = {"reversed": capture.reversed, "simulated": capture.simulated, "tpi": capture.tpi}
    head = {"version": 1, "rpm": rpm, "writer": capture.writer} | {key: value for key, value in optional.items() if value}
    parts = [SIGNATURE, _framed(b"HEAD", json.dumps(head, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode())]
    for track in capture.tracks:
        fields = _TRACK.pack(track.cylinder, track.head, _TURN if track.turn else 0, track.cell_ps, track.cells)
        parts.append(_framed(b"CELL", fields + track.bits))
        parts += _framed_marks(track.marks)
    for read in capture.times:
        parts += [_framed(b"INTV", times.payload(read)), *_framed_marks(read.marks)]
    return b"".join([*parts, _framed(b"TAIL", b"")])


def _framed_marks(marks: Sequence[int]) -> list[bytes]:
    return [_framed(b"MARK", struct.pack(f">H{len(marks)}I", len(marks), *marks))] if marks else []


def _framed(kind: bytes, payload: bytes) -> bytes:
    body = kind + payload
    return struct.pack(">I", len(payload)) + body + struct.pack(">I", zlib.crc32(body))


def write_master(geometry: Geometry, tracks: Sequence[bytes]) -> bytes:
    """A master's capture: what a disc of this side should carry.

    `tracks`: a turn of cells each, as `formats.tracks.encode.encode_side` gives them: cylinders ascending, head 0 first.
    """
    made = []
    for number, bits in enumerate(tracks):
        cylinder, head = divmod(number, geometry.heads)
        cell_ps = round(geometry.zone(cylinder).cell_ns * 1000)
        made.append(Track(cylinder, head, True, cell_ps, geometry.track_cells(cylinder), bits))
    return write(Capture(geometry.rpm, "obverse", tuple(made)))
