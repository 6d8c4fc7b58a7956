"""Bytes that are their own cells: prologues, epilogues, gaps of group-coded tracks."""

import numpy as np

from formats.codes.interface import Bytes, Flags


class Raw:
    """One cell a bit; every byte is allowed."""

    id = "raw"
    unit = (1, 1)
    joined = False

    def encode(self, rows: Bytes) -> Bytes:
        """The rows as they are."""
        return rows

    def decode(self, rows: Bytes) -> tuple[Bytes, Flags]:
        """The rows as they are, every byte sound."""
        return rows, np.ones(rows.shape, np.bool_)


CODE = Raw()
