"""5-and-3 group code: 256 bytes and a residue become 411 bytes of cells, each the exclusive or of two neighbours.

The first 255 bytes are 51 groups of five. The high five bits of a byte are a value of their own; the low three bits of the first,
second and third byte of a group take one bit each of the fourth and of the fifth along and make an auxiliary value. 154
auxiliary values come first, the last one first, then 256 values of the high bits, the groups from the last to the first; every
value is written as its exclusive or with the one before it, the last one also on its own. What is left when a reader has undone
all that is the residue: 0 on a sound block. Source: a 13-sector drive's manual for the table; the order of the bits is from memory.

The table's rule (computed): bit 7 set, no two adjacent 0s, neither AA nor D5, which are the marks'.
"""

import numpy as np

from formats.codes.interface import Bytes, Flags

WORDS = bytes.fromhex("AB AD AE AF B5 B6 B7 BA BB BD BE BF D6 D7 DA DB DD DE DF EA EB ED EE EF F5 F6 F7 FA FB FD FE FF")

_WORD = np.frombuffer(WORDS, np.uint8)
_NONE = 0x80  # no word: beyond any value of five bits
_VALUE = bytes(WORDS.index(byte) if byte in WORDS else _NONE for byte in range(256))
_GROUPS = 51
_AUX = 3 * _GROUPS + 1
_DATA = 256
_DOWN = np.array([2, 1, 0], np.uint8)  # which bit of the fourth and fifth byte goes with the first, the second, the third


class GroupFiveAndThree:
    """257 bytes (the last one is the residue) become 411 bytes of cells."""

    id = "group-5and3"
    unit = (_DATA + 1, _AUX + _DATA + 1)
    joined = False

    def encode(self, rows: Bytes) -> Bytes:
        """The chain of values. The two unused bits of the last byte's auxiliary value are 0."""
        count = len(rows)
        body, residue = rows[:, :_DATA], rows[:, _DATA:] & 0x1F
        groups = body[:, :-1].reshape(count, _GROUPS, 5)[:, ::-1]
        first, fourth, fifth = groups[:, :, :3] & 7, groups[:, :, 3:4] >> _DOWN & 1, groups[:, :, 4:] >> _DOWN & 1
        aux = (first << 2 | fourth << 1 | fifth).transpose(0, 2, 1).reshape(count, _AUX - 1)
        high = groups.transpose(0, 2, 1).reshape(count, _DATA - 1) >> 3
        values = np.concatenate((body[:, -1:] & 7, aux[:, ::-1], high, body[:, -1:] >> 3), axis=1)
        chained = values.copy()
        chained[:, 1:] ^= values[:, :-1]
        coded: Bytes = _WORD[np.concatenate((chained, values[:, -1:] ^ residue), axis=1)]
        return coded

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The bytes and the residue. A word that the code lacks makes all that is chained behind it unsound, the residue last."""
        count = len(rows)
        coded = np.frombuffer(rows.tobytes().translate(_VALUE), np.uint8).reshape(rows.shape)
        sound: Flags = np.all(coded < _NONE, axis=1, keepdims=True)
        values = np.bitwise_xor.accumulate(coded.T.copy(), axis=0)  # a row a place: each step takes all blocks at once
        aux = values[1:_AUX][::-1].reshape(3, _GROUPS, count)
        low = np.empty((5, _GROUPS, count), np.uint8)
        low[:3] = aux >> 2 & 7
        low[3] = (aux[0] & 2) << 1 | aux[1] & 2 | aux[2] >> 1 & 1
        low[4] = (aux[0] & 1) << 2 | (aux[1] & 1) << 1 | aux[2] & 1
        data = np.empty((_DATA + 1, count), np.uint8)
        groups = values[_AUX : _AUX + _DATA - 1].reshape(low.shape) << 3 | low
        data[: _DATA - 1] = groups.transpose(1, 0, 2)[::-1].reshape(_DATA - 1, count)
        data[_DATA - 1] = values[_AUX + _DATA - 1] << 3 | values[0] & 7
        data[_DATA] = values[-1]
        return np.ascontiguousarray(data.T), np.repeat(sound, _DATA + 1, axis=1)


CODE = GroupFiveAndThree()
