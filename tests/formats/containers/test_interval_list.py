"""A reader's list of intervals becomes the times of a capture, and comes back."""

import io

import numpy as np
import pytest

from formats.containers import interval_list
from formats.containers.shared.times import Times
from formats.errors import ContainerError


def gaps(times: Times) -> list[int]:
    return np.concatenate([*times.intervals(), np.zeros(0, np.uint32)]).tolist()


def test_a_list_in_ns_has_a_billion_ticks_a_second():
    text = b"cylinder,head,interval_ns\n3,1,4000\n3,1,6000.4\n3,1,8000.4\n4,0,4000\n"
    one, other = interval_list.read(text, "x", None)
    assert (one.cylinder, one.head, one.ticks, gaps(one)) == (3, 1, 10**9, [4000, 6000, 8001])  # parts of a tick add up
    assert (other.cylinder, other.head, gaps(other)) == (4, 0, [4000])


def test_turns_from_a_column_are_index_marks_where_they_change():
    """The hole passed between the transition at 200 ticks and the next: the mark stands at the one before."""
    text = b"cylinder,head,turn,interval\n0,0,1,100\n0,0,1,100\n0,0,2,100\n0,0,2,100\n0,0,3,100\n"
    (read,) = interval_list.read(text, "x", 24_000_000)
    assert (read.ticks, read.marks) == (24_000_000, (200, 400))


def test_index_times_stand_in_rows_of_their_own():
    text = b"cylinder,head,interval_ns,index_ns\n0,0,,150\n0,0,100,\n0,0,100,\n0,0,,9000\n"
    (read,) = interval_list.read(text, "x", None)
    assert (gaps(read), read.marks) == ([100, 100], (150, 9000))


def test_a_plain_array_is_one_read_of_one_track():
    file = io.BytesIO()
    np.save(file, np.array([96, 144, 96], np.uint16))
    (read,) = interval_list.read(file.getvalue(), "x", 24_000_000, 7, 1)
    assert (read.cylinder, read.head, gaps(read)) == (7, 1, [96, 144, 96])


def test_what_was_written_reads_the_same():
    text = b"cylinder,head,read,interval_ns,index_ns\n0,0,0,,150\n0,0,0,100,\n0,0,0,4275,\n0,0,1,50,\n2,1,2,75,\n"
    reads = interval_list.read(text, "x", None)
    assert "".join(interval_list.write(reads)).encode() == text
    file = io.BytesIO()
    np.save(file, interval_list.columns(reads))
    assert interval_list.read(file.getvalue(), "x", None) == reads


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"cylinder,head,gap\n", "x: a column 'gap'; known are cylinder"),
        (b"cylinder,head\n0,0\n", "x: one column interval (ticks) or interval_ns was expected"),
        (b"interval\n5\n", "x: its intervals are ticks; say with --ticks how many a second has"),
        (b"interval_ns\n5\nno\n", "x: line 3: 1 numbers were expected"),
        (b"interval_ns,head\n5,0\n5\n", "x: line 3: 2 numbers were expected"),
        (b"interval_ns\n5\n0\n", "x: cylinder 0, head 0: an interval that is no number above 0"),
        (b"interval_ns\n-5\n", "x: cylinder 0, head 0: an interval that is no number above 0"),
        (b"interval_ns\nnan\n", "x: cylinder 0, head 0: an interval that is no number above 0"),
        (b"interval_ns\n5e9\n", "x: cylinder 0, head 0: an interval below 1 tick or above"),
        (b"cylinder,interval_ns\n96,5\n", "x: cylinder 96, head 0: a cylinder of 0 to 95"),
        (b"interval_ns\n\xff\n", "x: byte 12: neither a .npy array nor a text in UTF-8"),
        (b"\x93NUMPY\x01", "x: no array can be read from it"),
    ],
)
def test_what_is_no_list_is_refused(text, said):
    with pytest.raises(ContainerError) as raised:
        interval_list.read(text, "x", None)
    assert said in str(raised.value)
