"""Each code's table against the rule that makes it and published values, and only then its round trip."""

import binascii
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as st_numpy

from formats import registry
from formats.codes import group_4to5, group_5and3, group_6and2

CODES = registry.names("codes", foreign=False)


def encode(name: str, data: bytes) -> bytes:
    row = np.frombuffer(data, np.uint8)[None, :]
    return registry.code(name).encode(row).tobytes()


def decode(name: str, cells: bytes) -> tuple[bytes, bool]:
    rows, sound = registry.code(name).decode(np.frombuffer(cells, np.uint8)[None, :])
    return rows.tobytes(), bool(sound.all())


# The tables' rules


def test_4to5_words_are_the_five_cell_words_without_long_gaps():
    """No `00` at either end, no `000` inside, not `11111`: so at most two 0s in a row, never ten 1s. Computed from the listing."""
    words = ("".join(cells) for cells in product("01", repeat=5))
    allowed = {int(word, 2) for word in words if word[:2] != "00" and word[-2:] != "00" and "000" not in word and word != "11111"}
    assert set(group_4to5.WORDS) == allowed
    assert len(set(group_4to5.WORDS)) == 16


def test_6and2_words_are_the_bytes_that_the_16_sector_rule_leaves():
    """Bit 7 set, at most one pair of adjacent 0s, at least two adjacent 1s among bits 6 to 0: exactly 64, in ascending order."""

    def allowed(byte: int) -> bool:
        cells = f"{byte:08b}"
        pairs = sum(cells[at : at + 2] == "00" for at in range(7))
        return cells[0] == "1" and pairs <= 1 and "11" in cells[1:]

    assert list(group_6and2.WORDS) == [byte for byte in range(256) if allowed(byte)]


def test_5and3_words_are_the_bytes_that_the_13_sector_rule_leaves():
    """Bit 7 set, no two adjacent 0s, but neither AA nor D5, which begin marks: exactly 32, in ascending order."""
    allowed = [byte for byte in range(0x80, 0x100) if "00" not in f"{byte:08b}" and byte not in (0xAA, 0xD5)]
    assert list(group_5and3.WORDS) == allowed
    assert len(allowed) == 32


def test_mfm_writes_a_clock_only_between_two_zeros():
    """SA810 manual: a clock transition is written between two bits only if both are 0. The rule, cell by cell."""
    for before, byte in product((0, 1), range(256)):
        cells = f"{int.from_bytes(encode('mfm', bytes([before, byte]))[2:], 'big'):016b}"
        bits = f"{before}{byte:08b}"
        assert cells[1::2] == bits[1:]
        assert cells[0::2] == "".join("1" if bits[at : at + 2] == "00" else "0" for at in range(8))


def test_fm_writes_every_clock():
    """FD179X-02 data sheet: a clock transition at the start of every bit. The rule, cell by cell."""
    for byte in range(256):
        cells = f"{int.from_bytes(encode('fm', bytes([byte])), 'big'):016b}"
        assert cells[0::2] == "11111111"
        assert cells[1::2] == f"{byte:08b}"


def test_no_data_of_fm_can_look_like_a_mark():
    """Every run of nine bits, at both phases: neither the marks nor what the two block marks have in common."""
    marks = [f"{mark:016b}" for mark in (0xF77A, 0xF57E)] + [f"{0xF56:012b}"]
    for data in product("01", repeat=9):
        cells = "".join("1" + bit for bit in data)
        assert not [mark for mark in marks for phase in (0, 1) if cells.startswith(mark, phase)]


def test_4and4_puts_a_one_beside_every_bit():
    """Listings of the 16-sector routines: (v >> 1) | AA, v | AA."""
    for value in range(256):
        assert encode("pair-4and4", bytes([value])) == bytes([value >> 1 | 0xAA, value | 0xAA])


# Check values, each computed at least two ways (bit string, listing simulation, by hand); the numbers are those of our table of them


@pytest.mark.parametrize(
    ("data", "cells"),
    [
        ("A1", "44A9"), ("C2", "52A4"), ("00", "AAAA"), ("4E", "9254"), ("FF", "5555"), ("E5", "5491"),
    ],
)  # fmt: skip
def test_mfm_cells_of_single_bytes(data, cells):
    """CV039 to CV045."""
    assert encode("mfm", bytes.fromhex(data)).hex().upper() == cells


@pytest.mark.parametrize(("data", "cells"), [("00", "AAAA"), ("FF", "FFFF"), ("E5", "FEBB")])
def test_fm_cells_of_single_bytes(data, cells):
    """CV036 to CV038."""
    assert encode("fm", bytes.fromhex(data)).hex().upper() == cells


@pytest.mark.parametrize(("data", "cells"), [("FE", "F57E"), ("FB", "F56F"), ("F8", "F56A")])
def test_fm_marks(data, cells):
    """CV033 to CV035."""
    assert encode("fm-mark", bytes.fromhex(data)).hex().upper() == cells


def test_mfm_zero_behind_a_one():
    """CV042: the clock of the first bit gives way."""
    assert encode("mfm", bytes.fromhex("0100"))[2:].hex().upper() == "2AAA"


@pytest.mark.parametrize(
    ("data", "cells"),
    [
        ("08 13 00 12 31 30 0F 0F", "52 57 35 29 72 9A E6 A5 55 55"),
        ("08 02 00 01 42 41 0F 0F", "52 55 25 29 4B 74 9C B5 55 55"),
        ("08 74 14 11 30 41 0F 0F", "52 6E E5 B9 6B 9A 9C B5 55 55"),
        ("08 31 10 23 34 36 0F 0F", "52 66 B5 AA 53 9B A7 65 55 55"),
        ("08 49 10 28 30 41 0F 0F", "52 5D 95 AA 49 9A 9C B5 55 55"),
        ("00 00 00 00", "52 94 A5 29 4A"),
        ("12 34 56 78", "5C A6 E7 DA E9"),
        ("DE AD BE EF", "EF B5 DD FB D5"),
        ("FF FF FF FF", "AD 6B 5A D6 B5"),
    ],
)  # fmt: skip
def test_4to5_headers_and_words(data, cells):
    """CV053 to CV057, CV063 to CV066."""
    assert encode("group-4to5", bytes.fromhex(data)) == bytes.fromhex(cells)


@pytest.mark.parametrize(
    ("body", "check", "crc32"),
    [
        (bytes(256), 0x00, 0xD00C508C),
        (bytes(range(256)), 0x00, 0xFC676643),
        (b"\xe5" * 256, 0x00, 0x685230EB),
        (b"\x4b" + b"\x01" * 255, 0x4A, 0x25B2C0C8),
    ],
)  # fmt: skip
def test_4to5_data_blocks(body, check, crc32):
    """CV059 to CV062: a whole block's 325 bytes of cells, by their CRC-32."""
    assert binascii.crc32(encode("group-4to5", b"\x07" + body + bytes([check, 0, 0]))) == crc32


@pytest.mark.parametrize(
    ("data", "cells"),
    [("FE 11 00 EF", "FF FE AA BB AA AA FF EF"), ("FE 00 00 FE", "FF FE AA AA AA AA FF FE"), ("01 22 0F 2C", "AA AB BB AA AF AF BE AE")],
)
def test_4and4_address_fields(data, cells):
    """CV067 to CV069, between prologue and epilogue."""
    assert encode("pair-4and4", bytes.fromhex(data)) == bytes.fromhex(cells)


@pytest.mark.parametrize(
    ("body", "first", "middle", "ends", "crc32"),
    [
        (bytes(256), "96 96 96 96 96 96 96 96", "96 96 96 96 96", "96 96", 0x28A8E9E1),
        (b"\xff" * 256, "FF 96 96 96 96 96 96 96", "96 96 96 96 96", "96 FF", 0x68248D34),
        (bytes(range(256)), "9D E6 FF E6 FF E6 FF E6", "FF E6 EB 96 96", "96 FF", 0x336EAEB0),
        (bytes(range(255, -1, -1)), "FB E6 FF E6 FF E6 FF E6", "FF E6 EB 96 96", "96 96", 0xD9D08558),
        (b"\xe5" * 256, "E6 96 96 96 96 96 96 96", "96 96 B7 96 96", "96 F9", 0x28D51C64),
        (b"\x01" + bytes(255), "9A 9A 96 96 96 96 96 96", "D6 D6 96 96 96", "96 96", 0xE3C25998),
    ],
)  # fmt: skip
def test_6and2_data_blocks(body, first, middle, ends, crc32):
    """CV071 to CV076: listing simulation, closed form and decoder."""
    cells = encode("group-6and2", body + b"\0")
    assert (cells[:8], cells[84:89], cells[-2:]) == tuple(map(bytes.fromhex, (first, middle, ends)))
    assert binascii.crc32(cells) == crc32


@pytest.mark.parametrize(
    ("body", "first", "ends", "crc32"),
    [
        (bytes(256), "AB AB AB AB AB AB AB AB", "AB AB", 0xB345007E),
        (b"\xff" * 256, "BA F5 AB AB AB AB AB AB", "AB FF", 0xC2CAEAA7),
        (bytes(range(256)), "BA D7 EF DB EF FF EF DB", "FF FF", 0xA6DBB03B),
        (bytes(range(255, -1, -1)), "AB ED EF DB EF FF EF DB", "FF AB", 0xB187A8A2),
        (b"\xe5" * 256, "B6 DF AB AB AB AB AB AB", "AB FB", 0x34FBE7FB),
        (b"\x01" + bytes(255), "AB AB AB AB AB AB AB AB", "AB AB", 0xFF0098C6),
    ],
)  # fmt: skip
def test_5and3_data_blocks(body, first, ends, crc32):
    """CV077 to CV082: loop, closed form and decoder; that the bits lie in this order is from memory."""
    cells = encode("group-5and3", body + b"\0")
    assert (cells[:8], cells[-2:]) == (bytes.fromhex(first), bytes.fromhex(ends))
    assert binascii.crc32(cells) == crc32


def test_5and3_values_stand_where_the_writer_puts_them():
    """One byte at a time, by the writer's loop: group x of five bytes, x from 50 down to 0, and the 256th byte on its own."""
    for place in (0, 1, 2, 3, 4, 7, 128, 250, 253, 254, 255):
        for byte in (0x01, 0x02, 0x04, 0x08, 0x80):
            aux, high = [0] * 154, [0] * 256
            x, which = 50 - place // 5, place % 5
            if place == 255:
                aux[153], high[255] = byte & 7, byte >> 3
            else:
                high[x + 51 * which] = byte >> 3
                for part in range(3):
                    bit = byte >> 2 - part & 1
                    aux[x + 51 * part] |= {3: bit << 1, 4: bit}.get(which, (byte & 7) << 2 if which == part else 0)
            values = aux[::-1] + high
            chain = [value ^ before for value, before in zip([*values, 0], [0, *values], strict=True)]
            chain[-1] = values[-1]
            body = bytes(place) + bytes([byte]) + bytes(255 - place)
            assert encode("group-5and3", body + b"\0") == bytes(group_5and3.WORDS[value] for value in chain)


# Round trips and soundness


@pytest.mark.parametrize("name", CODES)
@given(data=st.data())
def test_what_was_coded_comes_back_sound(name, data):
    unit = registry.code(name).unit[0]
    shape = data.draw(st.tuples(st.integers(0, 4), st.integers(1, 3).map(lambda units: 1 if unit == 257 else units)))
    rows = data.draw(st_numpy.arrays(np.uint8, (shape[0], shape[1] * unit)))
    if unit == 257:
        rows[:, 256] &= 0x3F if name == "group-6and2" else 0x1F  # a residue is one value: six bits, or five
    coded = registry.code(name).encode(rows)
    assert coded.shape == (shape[0], shape[1] * registry.code(name).unit[1])
    back, sound = registry.code(name).decode(coded)
    assert sound.all()
    assert (back == rows).all()


def test_a_code_states_the_id_it_is_found_by():
    assert [registry.code(name).id for name in CODES] == CODES


@given(
    data=st.binary(min_size=4, max_size=4), nibble=st.integers(0, 7), word=st.sampled_from(sorted(set(range(32)) - set(group_4to5.WORDS)))
)
def test_a_word_that_4to5_lacks_makes_its_byte_unsound(data, nibble, word):
    bits = f"{int.from_bytes(encode('group-4to5', data), 'big'):040b}"
    bits = bits[: nibble * 5] + f"{word:05b}" + bits[nibble * 5 + 5 :]
    _, sound = registry.code("group-4to5").decode(np.frombuffer(int(bits, 2).to_bytes(5, "big"), np.uint8)[None, :])
    assert sound[0].tolist() == [byte != nibble // 2 for byte in range(4)]


CHAINED = {"group-6and2": group_6and2.WORDS, "group-5and3": group_5and3.WORDS}
BODIES = st.binary(min_size=256, max_size=256)


@pytest.mark.parametrize("name", CHAINED)
@given(body=BODIES, place=st.integers(0, 410), byte=st.integers(0, 255))
def test_a_byte_that_a_chained_code_lacks_makes_the_block_unsound(name, body, place, byte):
    cells = bytearray(encode(name, body + b"\0"))
    cells[place % len(cells)] = byte
    assert decode(name, bytes(cells))[1] == (byte in CHAINED[name])


@pytest.mark.parametrize("name", CHAINED)
@given(body=BODIES, place=st.integers(0, 410), change=st.integers(1, 63))
def test_another_legal_byte_leaves_a_residue(name, body, place, change):
    cells, words = bytearray(encode(name, body + b"\0")), CHAINED[name]
    place, change = place % len(cells), change % len(words) or 1
    cells[place] = words[words.index(cells[place]) ^ change]
    assert decode(name, bytes(cells))[0][256] == change


@given(value=st.integers(0, 255), lost=st.sampled_from([0x8000, 0x2000, 0x0800, 0x0200, 0x0080, 0x0020, 0x0008, 0x0002]))
def test_4and4_without_one_of_its_ones_is_unsound(value, lost):
    cells = int.from_bytes(encode("pair-4and4", bytes([value])), "big") ^ lost
    assert not decode("pair-4and4", cells.to_bytes(2, "big"))[1]


CLOCKS = [0x8000 >> 2 * bit for bit in range(8)]


@given(name=st.sampled_from(["fm", "mfm"]), data=st.binary(min_size=1, max_size=4), clocks=st.integers(0, 2**64 - 1))
def test_clocks_of_fm_and_mfm_carry_nothing(name, data, clocks):
    """What they hold is not judged: any of them may be lost or added."""
    cells = int.from_bytes(encode(name, data), "big") ^ (clocks & 0xAAAAAAAAAAAAAAAA & (1 << 16 * len(data)) - 1)
    assert decode(name, cells.to_bytes(2 * len(data), "big")) == (data, True)


@given(mark=st.sampled_from([0xFE, 0xFB, 0xF8]), clock=st.sampled_from(CLOCKS))
def test_a_mark_of_fm_with_another_clock_is_none(mark, clock):
    cells = int.from_bytes(encode("fm-mark", bytes([mark])), "big") ^ clock
    assert decode("fm-mark", cells.to_bytes(2, "big")) == (bytes([mark]), False)
