"""4-to-5 group code: each half byte becomes a word of five cells, high half first.

The words are the 17 of five cells without `00` at either end and without `000` inside, less `11111`. So no two 1s are more
than three cells apart, and ten 1s in a row never occur. Source: firmware listings of the zoned drives; the rule is computed.
"""

import numpy as np

from formats.codes.interface import Bytes, Flags

WORDS = bytes.fromhex("0A 0B 12 13 0E 0F 16 17 09 19 1A 1B 0D 1D 1E 15")

_PAIRS = np.array([WORDS[byte >> 4] << 5 | WORDS[byte & 15] for byte in range(256)], np.uint64)
_NONE = 0x100  # no byte has these ten cells
_BYTE = np.full(1024, _NONE, np.uint16)
_BYTE[_PAIRS] = np.arange(256, dtype=np.uint16)
_DOWN = np.array([6, 4, 2, 0], np.uint16)  # of the four ten-cell words in five bytes: how far each reaches into its second byte


class GroupFourToFive:
    """Four bytes become five bytes of cells."""

    id = "group-4to5"
    unit = (4, 5)
    joined = False

    def encode(self, rows: Bytes) -> Bytes:
        """Words of ten cells, packed."""
        words = _PAIRS[rows].reshape(-1, 4)
        forty = words[:, 0] << 30 | words[:, 1] << 20 | words[:, 2] << 10 | words[:, 3]
        cells: Bytes = forty.astype(">u8").view(np.uint8).reshape(-1, 8)[:, 3:].reshape(len(rows), rows.shape[1] // 4 * 5)
        return cells

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The bytes; a byte is sound when both of its words are of the code."""
        units = rows.shape[1] // 5
        columns = np.ascontiguousarray(rows.reshape(-1, 5).T)  # five long runs are faster than many runs of five
        values = np.empty((len(rows) * units, 4), np.uint16)
        for word in range(4):
            pair = columns[word].astype(np.uint16) << 8 | columns[word + 1]
            values[:, word] = _BYTE.take(pair >> _DOWN[word] & 0x3FF)
        values = values.reshape(len(rows), units * 4)
        return values.astype(np.uint8), values < _NONE


CODE = GroupFourToFive()
