"""6-and-2 group code: 256 bytes and a residue become 343 bytes of cells, each the exclusive or of two neighbours.

The low two bits of three bytes share an auxiliary value, bit 0 as the higher one; 86 auxiliary values come first, then 256 values
of the high six bits; every value is written as its exclusive or with the one before it, the last one also on its own. What is
left when a reader has undone all that is the residue: 0 on a sound block. Source: listings of the 16-sector write and read routines.

The table's rule (computed): bit 7 set, at most one pair of adjacent 0s, at least two adjacent 1s among bits 6 to 0.
"""

import numpy as np

from formats.codes.interface import Bytes, Flags

WORDS = bytes.fromhex(
    "96 97 9A 9B 9D 9E 9F A6 A7 AB AC AD AE AF B2 B3 B4 B5 B6 B7 B9 BA BB BC BD BE BF CB CD CE CF D3"
    "D6 D7 D9 DA DB DC DD DE DF E5 E6 E7 E9 EA EB EC ED EE EF F2 F3 F4 F5 F6 F7 F9 FA FB FC FD FE FF"
)

_WORD = np.frombuffer(WORDS, np.uint8)
_NONE = 0x80  # no word: beyond any value of six bits
_VALUE = bytes(WORDS.index(byte) if byte in WORDS else _NONE for byte in range(256))
_SWAP = np.array([0, 2, 1, 3], np.uint8)  # two bits, exchanged
_AUX = 86
_PAIRS = [bytes(int(_SWAP[value >> shift & 3]) for value in range(256)) for shift in (0, 2, 4)]  # the three that share a value


class GroupSixAndTwo:
    """257 bytes (the last one is the residue) become 343 bytes of cells."""

    id = "group-6and2"
    unit = (257, 343)
    joined = False

    def encode(self, rows: Bytes) -> Bytes:
        """The chain of values. The unused third pair of the last two auxiliary values holds those of bytes 0 and 1, as in the listing."""
        body, residue = rows[:, :256], rows[:, 256:] & 0x3F
        low = _SWAP[np.concatenate((body, body[:, :2]), axis=1) & 3].reshape(len(rows), 3, _AUX)
        values = np.concatenate((low[:, 0] | low[:, 1] << 2 | low[:, 2] << 4, body >> 2), axis=1)
        chained = values.copy()
        chained[:, 1:] ^= values[:, :-1]
        coded: Bytes = _WORD[np.concatenate((chained, values[:, -1:] ^ residue), axis=1)]
        return coded

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The bytes and the residue. A word that the code lacks makes all that is chained behind it unsound, the residue last."""
        coded = np.frombuffer(rows.tobytes().translate(_VALUE), np.uint8).reshape(rows.shape)
        sound: Flags = np.all(coded < _NONE, axis=1, keepdims=True)
        values = np.bitwise_xor.accumulate(coded.T.copy(), axis=0)  # a row a place: each step takes all blocks at once
        aux = values[:_AUX].tobytes()
        low = np.frombuffer(b"".join(aux.translate(pair) for pair in _PAIRS), np.uint8).reshape(3 * _AUX, len(rows))
        data = np.concatenate((values[_AUX:342] << 2 | low[:256], values[342:]))
        return np.ascontiguousarray(data.T), np.repeat(sound, 257, axis=1)


CODE = GroupSixAndTwo()
