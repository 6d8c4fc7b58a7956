"""Check words by name, each declared as data: for one run of bytes, and for whole blocks of rows.

`crcmod` computes every CRC from its declaration. A faster function serves in its place only after it gave the same register for every
byte and from every bit of the register, which settles a CRC's step: it is linear.
"""

from binascii import crc_hqx
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, reduce
from operator import xor
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Step = Callable[[bytes, int], int]
FAST: tuple[Step, ...] = (crc_hqx,)  # (data, register before) to the register after; no final value, not reflected


@dataclass(frozen=True)
class Crc:
    """A cyclic redundancy check: its polynomial with the highest term, the register's start, bit order, and what is added at the end."""

    polynomial: int
    start: int
    reflected: bool = False
    final: int = 0

    @property
    def size(self) -> int:
        """Bytes of the check word."""
        return (self.polynomial.bit_length() - 1) // 8

    def step(self) -> Step:
        """The check word after some bytes that follow on a check word: a fast function where one is proved equal, else crcmod's."""
        declared = _crcmod_step(self)
        return next((fast for fast in FAST if is_equal(fast, declared, self)), declared)


@dataclass(frozen=True)
class Xor:
    """The exclusive or of all bytes."""

    start: int = 0
    size: int = 1

    def step(self) -> Step:
        """The check word after some bytes that follow on a check word."""
        return lambda data, before: reduce(xor, data, before)


# crc16: FD179X-02 data sheet, "CRC"; ECMA-66 and ECMA-70 name the same polynomial (from memory).
CHECKS: dict[str, Crc | Xor] = {"crc16": Crc(polynomial=0x11021, start=0xFFFF), "xor8": Xor()}


def _crcmod_step(crc: Crc) -> Step:
    import crcmod

    step: Step = crcmod.mkCrcFun(crc.polynomial, initCrc=crc.start ^ crc.final, rev=crc.reflected, xorOut=crc.final)
    return step


def is_equal(fast: Step, declared: Step, crc: Crc) -> bool:
    """Whether a fast function gives what a declared CRC gives: for every byte, from every bit of the register, and over a run of bytes."""
    if crc.final or crc.reflected or crc.size != 2:
        return False
    cases = [(bytes([byte]), 0) for byte in range(256)] + [(b"\0", 1 << bit) for bit in range(16)] + [(bytes(range(256)), crc.start)]
    return all(fast(data, register) == declared(data, register) for data, register in cases)


@cache
def _step(check: Crc | Xor) -> Step:
    return check.step()


def one(name: str) -> Callable[[bytes], int]:
    """A function that gives the check word of one run of bytes, for the check of that name."""
    check = CHECKS[name]
    return lambda data: _step(check)(data, _before(check))


def _before(check: Crc | Xor) -> int:
    """The check word of no bytes, with which the step of a check begins."""
    return check.start ^ check.final if isinstance(check, Crc) else check.start


def many(name: str, rows: "npt.NDArray[np.uint8]", before: bytes = b"") -> "npt.NDArray[np.uint32]":
    """The check word of each row (n, k) as if the bytes `before` stood in front of it."""
    import numpy as np

    check = CHECKS[name]
    step = _step(check)
    start = step(before, _before(check))
    if isinstance(check, Xor):
        folded: npt.NDArray[np.uint8] = np.bitwise_xor.reduce(rows, axis=1)
        return folded.astype(np.uint32) ^ np.uint32(start)
    data, length = rows.tobytes(), rows.shape[1]
    return np.array([step(data[at : at + length], start) for at in range(0, len(data), length or 1)], np.uint32)
