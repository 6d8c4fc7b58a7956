"""The check words against published values and the standard library."""

import binascii

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.model import checks
from formats.model.checks import CHECKS, Crc, is_equal, many, one

A1 = b"\xa1" * 3


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (b"123456789", 0x29B1),
        (A1, 0xCDB4),
        (A1 + b"\xfe", 0xB230),
        (A1 + b"\xfb", 0xE295),
        (A1 + b"\xf8", 0xD2F6),
        (bytes.fromhex("FE 00 00 00 01"), 0xF1D3),  # a published worked track dump
        (bytes.fromhex("FE 00 00 0B 01"), 0x2D29),  # the same
        (bytes.fromhex("FE 00 00 16 01"), 0x5806),  # the same
        (b"\xf8" + b"\xe5" * 256, 0xE5B4),  # the same
        (A1 + bytes.fromhex("FE 27 01 01 01"), 0xAB5F),  # read from a real disc of 1983, published
        (A1 + bytes.fromhex("FE 00 00 01 02"), 0xCA6F),
        (A1 + bytes.fromhex("FE 27 01 09 02"), 0x1295),
        (A1 + b"\xfb" + b"\xe5" * 512, 0xC40B),
        (A1 + b"\xfb" + b"\xf6" * 512, 0x2BF6),
        (A1 + b"\xfb" + bytes(512), 0xDA6E),
        (A1 + b"\xf8" + bytes(512), 0x7B09),
    ],
)
def test_the_crc_of_known_fields(data, crc):
    """CV001 to CV029: register, polynomial long division, the standard library and crcmod agree."""
    assert one("crc16")(data) == crc == binascii.crc_hqx(data, 0xFFFF)
    assert many("crc16", np.frombuffer(data, np.uint8)[None, :]).tolist() == [crc]


@given(rows=st.lists(st.binary(min_size=7, max_size=7), min_size=1, max_size=5), before=st.binary(max_size=4))
def test_a_block_of_rows_has_each_rows_own_crc(rows, before):
    block = np.frombuffer(b"".join(rows), np.uint8).reshape(-1, 7)
    assert many("crc16", block, before).tolist() == [binascii.crc_hqx(before + row, 0xFFFF) for row in rows]


@given(data=st.binary(min_size=1, max_size=300))
def test_a_field_followed_by_its_crc_leaves_nothing(data):
    crc = one("crc16")(data)
    assert one("crc16")(data + crc.to_bytes(2, "big")) == 0


@pytest.mark.parametrize("name", CHECKS)
@given(rows=st.lists(st.binary(min_size=5, max_size=5), min_size=1, max_size=5), before=st.binary(max_size=3))
def test_one_and_many_are_the_same_check(name, rows, before):
    block = np.frombuffer(b"".join(rows), np.uint8).reshape(-1, 5)
    assert many(name, block, before).tolist() == [one(name)(before + row) for row in rows]


# Check values of published catalogues of CRCs (over the digits 1 to 9), from memory; one of each kind: reflected, with a final value, of 32 bits.
DECLARED = [
    (Crc(0x11021, 0xFFFF), 0x29B1),
    (Crc(0x11021, 0x0000), 0x31C3),
    (Crc(0x11021, 0x1D0F), 0xE5CC),
    (Crc(0x18005, 0x0000, reflected=True), 0xBB3D),
    (Crc(0x11021, 0xFFFF, reflected=True, final=0xFFFF), 0x906E),
    (Crc(0x11021, 0xFFFF, final=0xFFFF), 0xD64E),
    (Crc(0x104C11DB7, 0xFFFFFFFF, reflected=True, final=0xFFFFFFFF), 0xCBF43926),
]


@pytest.mark.parametrize(("crc", "value"), DECLARED)
def test_a_declared_crc_is_computed_from_its_numbers_alone(monkeypatch, crc, value):
    monkeypatch.setitem(CHECKS, "declared", crc)
    digits = b"123456789"
    assert one("declared")(digits) == value
    rows = np.frombuffer(digits * 3, np.uint8).reshape(3, 9)
    assert many("declared", rows).tolist() == [value] * 3
    assert many("declared", rows[:, 4:], digits[:4]).tolist() == [value] * 3


def test_a_fast_function_serves_only_where_it_is_proved_equal():
    crc16, arc = DECLARED[0][0], DECLARED[3][0]
    assert crc16.step() is binascii.crc_hqx and arc.step() is not binascii.crc_hqx
    assert DECLARED[5][0].step() is not binascii.crc_hqx, "it adds nothing at the end"


@pytest.mark.parametrize("wrong", [(b"\x80", 0), (b"\0", 0x4000), (bytes(range(256)), 0xFFFF)])
def test_a_function_that_differs_anywhere_is_not_taken(monkeypatch, wrong):
    def almost(data: bytes, register: int) -> int:
        return binascii.crc_hqx(data, register) ^ ((data, register) == wrong)

    crc = DECLARED[0][0]
    monkeypatch.setattr(checks, "FAST", (almost,))
    assert not is_equal(almost, checks._crcmod_step(crc), crc) and crc.step() is not almost
