"""A disc as blocks of 512 bytes, two sectors each in the geometry's block order; index blocks; how a file hangs on its key block.

Source: a technical reference manual of the system's, appendix B; that an index holds the low bytes first, then the high bytes, is
from memory.
"""

from collections.abc import Callable, Iterator, Sequence

from formats.model.geometry import Address
from formats.volumes.shared.image import Image

BLOCK = 512
POINTERS = 256  # of an index block; 0 is a hole, which reads as zeros
SEEDLING, SAPLING, TREE = 1, 2, 3  # the key block is the data, an index, an index of indexes


class Blocks:
    """An image's sectors as blocks. A geometry without a block order has none."""

    def __init__(self, image: Image) -> None:
        self.image = image
        order = image.geometry.image_order("block-order") or ()
        self.pairs: tuple[tuple[Address, ...], ...] = tuple(tuple(order[at : at + 2]) for at in range(0, len(order), 2))

    def __contains__(self, block: object) -> bool:
        return block in range(len(self.pairs))

    def read(self, block: int) -> bytes:
        """A block's bytes. IndexError when there is none."""
        return b"".join(self.image.read(address) for address in self.pairs[block])

    def write(self, block: int, data: bytes) -> None:
        """Lay bytes into a block, zeros behind them."""
        half = BLOCK // 2
        for number, address in enumerate(self.pairs[block]):
            self.image.write(address, data[number * half : (number + 1) * half])

    def pointers(self, block: int) -> list[int]:
        """Where an index block leads."""
        index = self.read(block)
        return [low | high << 8 for low, high in zip(index[:POINTERS], index[POINTERS:], strict=True)]

    def sectors(self, blocks: Sequence[int], length: int) -> Iterator[Address]:
        """The sectors in which `length` bytes lie that begin in the first of some blocks; none in a hole."""
        half = BLOCK // 2
        for number, block in enumerate(blocks):
            needed = -(-(length - number * BLOCK) // half)
            yield from self.pairs[block][:needed] if block else ()


def index(pointers: Sequence[int]) -> bytes:
    """An index block."""
    low, high = (bytes(pointer >> shift & 0xFF for pointer in pointers) for shift in (0, 8))
    return low.ljust(POINTERS, b"\0") + high.ljust(POINTERS, b"\0")


def storage(length: int) -> int:
    """The storage type of a file with that many bytes: how its blocks hang on its key block."""
    blocks = data_blocks(length)
    return SEEDLING if blocks == 1 else SAPLING if blocks <= POINTERS else TREE


def data_blocks(length: int) -> int:
    """How many blocks a file's bytes take; an empty file takes one."""
    return max(1, -(-length // BLOCK))


def index_blocks(length: int) -> int:
    """How many index blocks a file with that many bytes has."""
    blocks = data_blocks(length)
    return {SEEDLING: 0, SAPLING: 1, TREE: 1 - (-blocks // POINTERS)}[storage(length)]


def lay_file(blocks: Blocks, data: bytes, indexes: Sequence[int], own: Sequence[int]) -> int:
    """Lays a file's bytes into its `own` blocks, and pointers to them into its `indexes`. Returns its key block."""
    for number, block in enumerate(own):
        blocks.write(block, data[number * BLOCK : (number + 1) * BLOCK])
    lower = indexes[storage(len(data)) == TREE :]
    for number, block in enumerate(lower):
        blocks.write(block, index(own[number * POINTERS : (number + 1) * POINTERS]))
    if len(lower) < len(indexes):
        blocks.write(indexes[0], index(lower))
    return (*indexes, *own)[0]


def follow_file(blocks: Blocks, key: int, kind: int, own: Callable[[int], str]) -> tuple[list[int], int, str]:
    """The blocks that a file's bytes can lie in, 0 for a hole, how many it has with its indexes, and what was wrong: empty when nothing.

    `own` takes a block for the file, or says why it can't be the file's.
    """
    level, count = [key], 0
    for depth in range(kind):
        for block in level:
            wrong = own(block) if block or not depth else ""
            if wrong:
                return [], count, wrong
            count += bool(block)
        if depth + 1 < kind:
            level = [after for block in level for after in (blocks.pointers(block) if block else [0] * POINTERS)]
    return level, count, ""
