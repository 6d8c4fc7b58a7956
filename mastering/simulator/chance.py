"""Chance from a seed and words: the same number on every machine, however often and in whatever order it is asked for."""

from hashlib import blake2b
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy.random import Generator

Word = str | int


def chance(seed: int, *words: Word) -> float:
    """A number from 0 to below 1, evenly spread: the first 53 bits of a digest of the seed and the words."""
    return (int.from_bytes(_digest(seed, words)[:8], "big") >> 11) / (1 << 53)


def generator(seed: int, *words: Word) -> "Generator":
    """A generator for all that belongs to these words; its numbers have nothing to do with `chance` of the same words."""
    from numpy.random import default_rng

    return default_rng(int.from_bytes(_digest(seed, words)[8:], "big"))


def _digest(seed: int, words: tuple[Word, ...]) -> bytes:
    """24 bytes; the words' `repr` keeps their borders and tells 7 from "7"."""
    return blake2b(repr((seed, *words)).encode(), digest_size=24).digest()
