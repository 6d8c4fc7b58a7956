"""Times between transitions, as a capture's INTV chunk holds them: packed with zlib, unpacked a piece at a time.

So a track of many turns takes no more memory than a piece of it.
"""

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

LARGEST_CHUNK = 16 << 20  # bytes of an INTV
LARGEST_INFLATED = 256 << 20  # bytes that all INTV of a file may become
_PIECE = 1 << 19  # bytes unpacked at a time
_SLICE = 1 << 16  # packed bytes given to zlib at a time


class BrokenTimesError(ValueError):
    """Times that are not what the chunk announced; the text says what was expected."""


@dataclass(frozen=True)
class Times:
    """One read of a track: `count` intervals in ticks, `ticks` of them a second, as the zlib stream `packed`.

    The first interval is since the start of the read. `marks`: the ticks, from that start, at which the index hole passed.
    """

    cylinder: int
    head: int
    ticks: int
    count: int
    packed: bytes
    marks: tuple[int, ...] = ()

    def intervals(self) -> "Iterator[npt.NDArray[np.uint32]]":
        """The intervals in ticks, some at a time. BrokenTimesError when the stream is broken, holds another count, or a 0."""
        import numpy as np

        left, odd = 4 * self.count, b""
        for data in _inflated(self.packed, left):
            left -= len(data)
            whole = odd + data
            odd = whole[len(whole) // 4 * 4 :]
            made = np.frombuffer(whole[: len(whole) // 4 * 4], ">u4").astype(np.uint32)
            if not made.all():
                raise BrokenTimesError("an interval of 0, where each transition comes later than the one before")
            yield made
        if left:
            raise BrokenTimesError(f"{self.count:,} intervals need {4 * self.count:,} bytes, {4 * self.count - left:,} were unpacked")

    def nanoseconds(self) -> "Iterator[npt.NDArray[np.float64]]":
        """The intervals in ns, some at a time."""
        for some in self.intervals():
            yield some.astype("float64") * (1e9 / self.ticks)


def _inflated(packed: bytes, most: int) -> Iterator[bytes]:
    """A zlib stream's bytes. BrokenTimesError when it is none, is cut off, holds more than `most`, or has something behind it."""
    stream = zlib.decompressobj()
    try:
        for at in range(0, len(packed), _SLICE):
            given = packed[at : at + _SLICE]
            while given and not stream.eof:
                made = stream.decompress(given, _PIECE)
                most -= len(made)
                if most < 0:
                    raise BrokenTimesError("more bytes were unpacked than the intervals announced need")
                if made:
                    yield made
                given = stream.unconsumed_tail
            if stream.eof and (stream.unused_data or at + _SLICE < len(packed)):
                raise BrokenTimesError("bytes behind the end of the zlib stream")
        while not stream.eof and (made := stream.decompress(b"", _PIECE)):  # what zlib still held back
            most -= len(made)
            yield made
        if not stream.eof or most < 0:
            raise BrokenTimesError("the zlib stream is cut off" if not stream.eof else "more bytes were unpacked than announced")
    except zlib.error as error:
        raise BrokenTimesError(f"no zlib stream ({error})") from error


def pack(cylinder: int, head: int, ticks: int, intervals: "npt.NDArray[np.integer]", marks: tuple[int, ...] = ()) -> Times:
    """The times of a read from its intervals in ticks."""
    return Times(cylinder, head, ticks, len(intervals), zlib.compress(intervals.astype(">u4").tobytes(), 2), marks)


def payload(times: Times) -> bytes:
    """What stands in the chunk."""
    return struct.pack(">BBHII", times.cylinder, times.head, 0, times.ticks, times.count) + times.packed
