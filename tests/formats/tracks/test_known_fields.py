"""Fields told by their cells are what decoding them gives, whatever was decoded before."""

import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.tracks.known_fields import MOST, Recall

WIDTH = 70  # no whole number of eights


def field(first: int, middle: int, last: int) -> bytes:
    """Cells of a field. The last number stands only behind the last whole eight, in six bytes."""
    return bytes([first]) * 8 + bytes([middle]) * (WIDTH - 14) + bytes([last]) * 6


def rows(fields: list[bytes]) -> np.ndarray:
    return np.frombuffer(b"".join(fields), np.uint8).reshape(-1, WIDTH)


def decode(cells: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A code and a check of their own: an odd first byte is unsound, bytes above 2 are of no code."""
    return cells[:, ::2] ^ 0xFF, cells[:, ::2] < 3, cells[:, 0] % 2 == 0


def sharing_a_key(number: int) -> bytes:
    """Cells of which only the middle differs: all have the same key."""
    return bytes(8) + bytes([number]) * (WIDTH - 16) + bytes(8)


fields = st.builds(field, *[st.integers(0, 3)] * 3) | st.builds(sharing_a_key, st.integers(0, 3))


@given(st.lists(st.lists(fields, max_size=20), max_size=6))
def test_what_is_recalled_is_what_decoding_gives(copies):
    recall = Recall()
    for copy in copies:
        for told, decoded in zip(recall.decoded(rows(copy), decode), decode(rows(copy)), strict=True):
            assert np.array_equal(told, decoded)


def test_a_second_copy_is_decoded_only_where_it_is_another():
    recall, asked = Recall(), []

    def counted(cells):
        asked.append(len(cells))
        return decode(cells)

    first = [field(number, 2, 2) for number in range(0, 200, 2)]
    recall.decoded(rows(first), counted)
    recall.decoded(rows(first[::-1]), counted)
    recall.decoded(rows([field(250, 0, 0), *first[1:]]), counted)
    assert asked == [100, 1]


def test_what_is_told_can_be_written_to_without_changing_what_is_known():
    recall, copy = Recall(), rows([field(2, 2, 2)])
    for _ in range(3):
        for told in recall.decoded(copy, decode):
            told[...] = 0
    assert np.array_equal(recall.decoded(copy, decode)[0], decode(copy)[0])


def test_another_disc_pushes_out_what_was_known():
    recall = Recall()
    for start in (0, MOST, 0):
        copy = np.zeros((MOST, WIDTH), np.uint8)
        copy[:, :4] = copy[:, 8:12] = ((np.arange(MOST, dtype=np.uint32) + start) * 2).view(np.uint8).reshape(-1, 4)
        assert np.array_equal(recall.decoded(copy, decode)[0], decode(copy)[0])
    assert len(recall._known.keys) == MOST


@pytest.mark.parametrize("first", [0, 1])
def test_other_threads_may_learn_between_any_two_steps(first):
    """Whatever the copies in other drives put in or push out meanwhile, a copy's fields are told as decoding tells them."""
    recall, code, steps = Recall(), Recall.decoded.__code__, []
    copy, foreign = (rows([field(number, middle, 2) for number in range(0, 200, 2)]) for middle in (2, 1))

    def meanwhile(frame, event, _):
        if frame.f_code is not code:
            return None
        if event == "line":
            steps.append(frame.f_lineno)
            recall._known = None
            recall.decoded((copy, foreign)[(first + len(steps)) % 2], decode)
        return meanwhile

    recall.decoded(copy, decode)
    before = sys.gettrace()
    sys.settrace(meanwhile)
    try:
        told = recall.decoded(copy, decode)
    finally:
        sys.settrace(before)
    assert len(set(steps)) > 5
    assert all(np.array_equal(*each) for each in zip(told, decode(copy), strict=True))
