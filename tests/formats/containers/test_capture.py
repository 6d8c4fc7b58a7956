"""The capture file against bytes laid by hand from its description; every breach has its one line."""

import json
import struct
import zlib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats import bounds, registry
from formats.containers import capture
from formats.containers.capture import Capture, Track
from formats.containers.shared.times import pack
from formats.errors import ContainerError
from formats.tracks.encode import encode_side

SIGNATURE = bytes.fromhex("8A4F42560D0A1A0A")
HEAD = {"version": 1, "rpm": 300, "writer": "by hand"}


def chunk(kind: bytes, payload: bytes = b"") -> bytes:
    return struct.pack(">I", len(payload)) + kind + payload + struct.pack(">I", zlib.crc32(kind + payload))


def head(**changes) -> bytes:
    return chunk(b"HEAD", json.dumps({key: value for key, value in {**HEAD, **changes}.items() if value is not ...}).encode())


def cell(cylinder=0, head=0, flags=1, cell_ps=2_000_000, count=12, bits=b"\xab\xc0") -> bytes:
    return chunk(b"CELL", struct.pack(">BBHII", cylinder, head, flags, cell_ps, count) + bits)


def intervals(cylinder=0, head=0, flags=0, ticks=24_000_000, times=(96, 96)) -> bytes:
    packed = zlib.compress(struct.pack(f">{len(times)}I", *times))
    return chunk(b"INTV", struct.pack(">BBHII", cylinder, head, flags, ticks, len(times)) + packed)


def times_of(count: int, data: bytes, cut: int = 0, more: bytes = b"") -> bytes:
    packed = zlib.compress(data)
    return chunk(b"INTV", struct.pack(">BBHII", 0, 0, 0, 1000, count) + packed[: len(packed) - cut] + more)


def mark(*positions: int, count: int | None = None) -> bytes:
    return chunk(b"MARK", struct.pack(f">H{len(positions)}I", len(positions) if count is None else count, *positions))


TAIL = chunk(b"TAIL")
SMALL = SIGNATURE + head() + cell() + mark(0, 7) + cell(1, 1, 0, 4_000_000, 16, b"\x12\x34") + TAIL


def test_a_capture_laid_by_hand_is_read():
    assert capture.read(SMALL, "x") == Capture(
        300.0,
        "by hand",
        (Track(0, 0, True, 2_000_000, 12, b"\xab\xc0", (0, 7)), Track(1, 1, False, 4_000_000, 16, b"\x12\x34")),
    )


def test_times_laid_by_hand_are_read():
    read = capture.read(SIGNATURE + head() + intervals(3, 1, times=(96, 144, 2**32 - 1)) + mark(0, 2**32 - 1) + TAIL, "x")
    (times,) = read.times
    assert (times.cylinder, times.head, times.ticks, times.count, times.marks) == (3, 1, 24_000_000, 3, (0, 2**32 - 1))
    assert [some.tolist() for some in times.intervals()] == [[96, 144, 2**32 - 1]]
    assert np.concatenate(list(times.nanoseconds()))[:2].tolist() == pytest.approx([4000.0, 6000.0])  # MFM's 00s, then 01
    assert capture.read(capture.write(read), "x") == read


def test_an_empty_read_holds_no_interval():
    (times,) = capture.read(SIGNATURE + head() + times_of(0, b"") + TAIL, "x").times
    assert list(times.intervals()) == []


def test_long_times_come_piece_by_piece():
    counted = np.arange(1, 400_001)
    read = capture.read(capture.write(Capture(300.0, "by hand", (), times=(pack(0, 0, 1_000_000, counted),))), "x")
    pieces = list(read.times[0].intervals())
    assert len(pieces) > 1
    assert (np.concatenate(pieces) == counted).all()


def test_the_optional_words_of_head():
    read = capture.read(SIGNATURE + head(reversed=True, simulated=True, tpi=96, note="more") + cell() + TAIL, "x")
    assert (read.reversed, read.simulated, read.tpi) == (True, True, 96.0)


def test_chunks_of_small_letters_are_passed_over():
    extra = chunk(b"noTE", b"anything")
    read = capture.read(SIGNATURE + extra + head() + extra + cell() + extra + mark(3) + extra + TAIL, "x")
    assert read.tracks == (Track(0, 0, True, 2_000_000, 12, b"\xab\xc0", (3,)),)


@pytest.mark.parametrize("name", registry.names("geometries", foreign=False))
def test_a_masters_capture_is_the_file_that_the_description_says(name):
    """`writer` is the program without a version; a CELL for each cylinder and head, flag 1, the geometry's cells (rounded to picoseconds), no MARK."""
    geometry = registry.geometry(name)
    tracks = encode_side(geometry, bytes(geometry.dump_bytes), geometry.identity_values(b"SM", 254))
    by_hand = SIGNATURE + chunk(b"HEAD", b'{"rpm":%d,"version":1,"writer":"obverse"}' % geometry.rpm)
    for number, bits in enumerate(tracks):
        cylinder, side = divmod(number, geometry.heads)
        cell_ps = round(geometry.zone(cylinder).cell_ns * 1000)
        by_hand += cell(cylinder, side, 1, cell_ps, geometry.track_cells(cylinder), bits)
    assert capture.write_master(geometry, tracks) == by_hand + TAIL


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "x: byte 0: no capture, its signature 8A 4F 42 56 0D 0A 1A 0A was expected"),
        (SMALL.replace(b"\r\n", b"\n"), "its line ends were changed: it was copied as text"),
        (bytes(byte & 0x7F for byte in SMALL), "its highest bits are gone: it was sent as 7-bit text"),
        (SIGNATURE, "x: byte 8: the file ends without TAIL; it was cut short, or is still being written"),
        (SIGNATURE + cell() + TAIL, "x: chunk 1 (CELL, byte 8): HEAD was expected first"),
        (SIGNATURE + chunk(b"noTE") + cell() + TAIL, "x: chunk 2 (CELL, byte 20): HEAD was expected first"),
        (SIGNATURE + TAIL, "x: chunk 1 (TAIL, byte 8): HEAD was expected first"),
        (SIGNATURE + head() + TAIL, "x: chunk 2 (TAIL, byte 67): the file holds no track (no CELL or INTV chunk); read the disc again"),
        (SIGNATURE + head() + head() + cell() + TAIL, "x: chunk 2 (HEAD, byte 67): HEAD stands a second time"),
        (SIGNATURE + head() + cell() + TAIL + b"\0", "1 bytes behind TAIL, where the file should end"),
        (SIGNATURE + head() + cell() + chunk(b"TAIL", b"x"), "chunk 3 (TAIL, byte 93): TAIL must be empty"),
        (SIGNATURE + head() + chunk(b"NEWS") + TAIL, "chunk 2 (NEWS, byte 67): a type that this version does not know"),
        (SIGNATURE + head() + chunk(b"NE1S") + TAIL, "chunk 2 (4E 45 31 53, byte 67): four ASCII letters were expected as its type"),
        (SIGNATURE + head() + mark(1) + cell() + TAIL, "chunk 2 (MARK, byte 67): index marks belong right behind a track, not behind HEAD"),
        (SIGNATURE + head() + cell() + mark(1) + mark(2) + TAIL, "index marks belong right behind a track, not behind MARK"),
        (SIGNATURE + head() + cell() + mark(3, 3) + TAIL, "index marks must ascend"),
        (SIGNATURE + head() + cell() + mark(13) + TAIL, "an index mark at cell 13 of 12"),
        (SIGNATURE + head() + cell() + mark(*range(65)) + TAIL, "65 index marks, at most 64 are allowed"),
        (SIGNATURE + head() + cell() + mark(1, count=2) + TAIL, "2 index marks need 10 bytes, 6 are there"),
        (SIGNATURE + head() + cell(cylinder=96) + TAIL, "cylinder 96, the last one can be 95"),
        (SIGNATURE + head() + cell(head=2) + TAIL, "head 2, where 0 or 1 was expected"),
        (SIGNATURE + head() + cell(flags=3) + TAIL, "flags 0003, where only bit 0 may be set"),
        (SIGNATURE + head() + cell(cell_ps=0) + TAIL, "a cell length of 0"),
        (SIGNATURE + head() + cell(count=17) + TAIL, "17 cells need 3 bytes, 2 are there"),
        (SIGNATURE + head() + cell(count=8) + TAIL, "8 cells need 1 bytes, 2 are there"),
        (SIGNATURE + head() + cell(count=9) + TAIL, "the bits behind the last cell must be 0"),
        (SIGNATURE + head() + chunk(b"CELL", b"short") + TAIL, "5 bytes, at least 12 were expected"),
        (SIGNATURE + head() + intervals(ticks=0) + TAIL, "chunk 2 (INTV, byte 67): flags 0000 and 0 ticks per second"),
        (SIGNATURE + head() + intervals(times=(96, 0)) + TAIL, "chunk 2 (INTV, byte 67): an interval of 0"),
        (SIGNATURE + head() + times_of(3, b"\0\0\0\1" * 2) + TAIL, "chunk 2 (INTV, byte 67): 3 intervals need 12 bytes, 8 were unpacked"),
        (SIGNATURE + head() + times_of(1, b"\0\0\0\1" * 2) + TAIL, "chunk 2 (INTV, byte 67): more bytes were unpacked than"),
        (SIGNATURE + head() + times_of(2, b"\0\0\0\1" * 2, cut=3) + TAIL, "chunk 2 (INTV, byte 67): the zlib stream is cut off"),
        (SIGNATURE + head() + times_of(2, b"\0\0\0\1" * 2, more=b"x") + TAIL, "chunk 2 (INTV, byte 67): bytes behind the end of the zlib"),
        (SIGNATURE + head() + times_of(2**26 + 1, b"") + TAIL, "chunk 2 (INTV, byte 67): 67,108,865 intervals: the file would unpack to more"),
        (SIGNATURE + head() + intervals(cylinder=96) + TAIL, "chunk 2 (INTV, byte 67): cylinder 96, the last one can be 95"),
        (SIGNATURE + head() + intervals(flags=1) + TAIL, "flags 0001 and 24000000 ticks per second, where 0 and more than 0 were expected"),
        (SIGNATURE + head() + intervals(ticks=0) + TAIL, "flags 0000 and 0 ticks per second, where 0 and more than 0 were expected"),
        (SIGNATURE + head() + chunk(b"INTV", bytes(11)) + TAIL, "chunk 2 (INTV, byte 67): 11 bytes, at least 12 were expected"),
        (SIGNATURE + struct.pack(">I", (64 << 10) + 1) + b"HEAD" + bytes(20), "65,537 bytes, at most 65,536 are allowed"),
        (SIGNATURE + head() + struct.pack(">I", (4 << 20) + 1) + b"CELL" + bytes(20), "4,194,305 bytes, at most 4,194,304 are allowed"),
        (SIGNATURE + struct.pack(">I", 4000) + b"HEAD" + bytes(20), "4,000 bytes were announced, 16 are there; the file was cut short"),
        (SIGNATURE + head() + cell() * 2047 + TAIL, "more than 2,048 chunks"),
        (SIGNATURE + head(version=2) + cell() + TAIL, "chunk 1 (HEAD, byte 8): version 1 was expected, not 2"),
        (SIGNATURE + head(version=True) + cell() + TAIL, "version 1 was expected, not true"),
        (SIGNATURE + head(rpm=...) + cell() + TAIL, "rpm must be a number above 0, not null"),
        (SIGNATURE + head(rpm=0) + cell() + TAIL, "rpm must be a number above 0, not 0"),
        (SIGNATURE + head(rpm=True) + cell() + TAIL, "rpm must be a number above 0, not true"),
        (SIGNATURE + head(rpm=10**400) + cell() + TAIL, "rpm must be a number above 0"),
        (SIGNATURE + head(rpm="fast" * 1000) + cell() + TAIL, 'not "fastfast'),
        (SIGNATURE + head(rpm=[[300]] * 1000) + cell() + TAIL, "rpm must be a number above 0, not a list"),
        (SIGNATURE + head(tpi={"of": 48}) + cell() + TAIL, "tpi must be a number above 0, not an object"),
        (SIGNATURE + head(rpm=float("nan")) + cell() + TAIL, "NaN is no JSON number"),
        (SIGNATURE + head(writer=5) + cell() + TAIL, "writer must be a text"),
        (SIGNATURE + head(reversed=1) + cell() + TAIL, "reversed must be true or false, not 1"),
        (SIGNATURE + head(simulated="no") + cell() + TAIL, 'simulated must be true or false, not "no"'),
        (SIGNATURE + head(tpi=0) + cell() + TAIL, "tpi must be a number above 0, not 0"),
        (SIGNATURE + chunk(b"HEAD", b"[]") + cell() + TAIL, "a JSON object was expected"),
        (SIGNATURE + chunk(b"HEAD", b"\xff") + cell() + TAIL, "a JSON object in UTF-8 was expected"),
        (SIGNATURE + chunk(b"HEAD", b"[" * 60_000) + cell() + TAIL, "a JSON object in UTF-8 was expected"),
    ],
)  # fmt: skip
def test_every_breach_has_its_line(data, said):
    with pytest.raises(ContainerError) as raised:
        capture.read(data, "x")
    assert said in str(raised.value)
    assert "\n" not in str(raised.value)
    assert len(str(raised.value)) < 200


def test_what_just_keeps_the_bounds_is_read():
    """The last cylinder and head, the most marks, the most chunks, and an empty read."""
    most = cell(95, 1) + mark(*range(12)) + cell(95, 1, 0, 1, 0, b"") + cell(0, 0, 1, 2**32 - 1, 64 * 8, bytes(64)) + mark(*range(64))
    read = capture.read(SIGNATURE + head() + most + cell() * (2048 - 7) + TAIL, "x")
    assert len(read.tracks) == 2048 - 4
    assert [track.cells for track in read.tracks[:3]] == [12, 0, 512]
    assert len(read.tracks[2].marks) == 64


def test_a_drive_of_twice_the_tracks_sees_them_at_its_even_cylinders():
    geometry = registry.geometry("gcr6and2-35x16x256")
    read = capture.read(SIGNATURE + head(tpi=96) + cell(0) + cell(1) + cell(2) + cell(69) + TAIL, "x")
    fitted = capture.on_geometry(read, geometry, "x")
    assert [track.cylinder for track in fitted.tracks] == [0, 1]
    assert capture.on_geometry(fitted, geometry, "x") == fitted
    same = capture.read(SIGNATURE + head(tpi=48) + cell(0) + cell(1) + TAIL, "x")
    assert capture.on_geometry(same, geometry, "x") == same
    for other in (24, 47.5, 100, 192):
        with pytest.raises(ContainerError, match=f"x: {other:g} tracks per inch, where gcr6and2-35x16x256 needs 48 or twice that"):
            capture.on_geometry(capture.read(SIGNATURE + head(tpi=other) + cell() + TAIL, "x"), geometry, "x")


def test_a_capture_cut_anywhere_is_refused():
    for length in range(len(SMALL)):
        with pytest.raises(ContainerError):
            capture.read(SMALL[:length], "x")


def test_a_capture_with_any_byte_changed_is_refused():
    for at in range(len(SMALL)):
        for change in (0x01, 0x20, 0x80):
            damaged = SMALL[:at] + bytes([SMALL[at] ^ change]) + SMALL[at + 1 :]
            with pytest.raises(ContainerError):
                capture.read(damaged, "x")


def test_a_file_that_is_too_large_is_refused_before_it_is_taken_apart():
    class Large(bytes):
        def __len__(self) -> int:
            return (64 << 20) + 1

    with pytest.raises(ContainerError, match="67,108,865 bytes, a capture has at most 67,108,864"):
        capture.read(Large(SMALL), "x")


@st.composite
def tracks(draw) -> Track:
    cells = draw(st.integers(0, 200))
    bits = np.packbits(draw(st.lists(st.integers(0, 1), min_size=cells, max_size=cells)) or np.zeros(0, np.uint8)).tobytes()
    marks = tuple(sorted(draw(st.sets(st.integers(0, cells), max_size=5))))
    return Track(
        draw(st.integers(0, 95)), draw(st.integers(0, 1)), draw(st.booleans()), draw(st.integers(1, 2**32 - 1)), cells, bits, marks
    )


@st.composite
def captures(draw) -> Capture:
    made = tuple(draw(st.lists(tracks(), min_size=1, max_size=5)))
    return Capture(
        draw(st.floats(1, 1000)),
        draw(st.text(max_size=20)),
        made,
        draw(st.booleans()),
        draw(st.booleans()),
        draw(st.none() | st.just(96.0)),
    )


@given(made=captures())
def test_what_is_written_is_read(made):
    assert capture.read(capture.write(made), "x") == made


@given(made=captures())
def test_turning_round_twice_changes_nothing(made):
    once = capture.upright(replace(made, reversed=True))
    assert not once.reversed
    assert capture.upright(replace(once, reversed=True)) == replace(made, reversed=False)
    for track, turned in zip(made.tracks, once.tracks, strict=True):
        cells = np.unpackbits(np.frombuffer(track.bits, np.uint8))[: track.cells]
        assert np.packbits(cells[::-1]).tobytes() == turned.bits
        assert turned.marks == tuple(track.cells - place for place in reversed(track.marks))


@given(data=st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data):
    for each in (data, SIGNATURE + data, SMALL[:67] + data):
        try:
            capture.read(each, "x")
        except ContainerError as error:
            assert "\n" not in str(error)


def test_the_signature_is_the_descriptions():
    assert bounds.SIGNATURE == SIGNATURE


def test_the_largest_head_and_the_largest_cells_are_read():
    large = head(writer="w" * 65_000)
    cells = cell(count=8 * ((4 << 20) - 12), bits=bytes((4 << 20) - 12))
    assert capture.read(SIGNATURE + large + cells + TAIL, "x").tracks[0].cells == 33_554_336
