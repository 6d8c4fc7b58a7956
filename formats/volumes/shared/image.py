"""A side's sectors in memory, addressed by the numbers in their identifiers."""

from formats.model.geometry import Address, Geometry


def order_names(geometry: Geometry) -> list[str]:
    """The names of the orders in which the sectors of a side may stand in a file."""
    return ["as-numbered", *(["heads-apart"] if geometry.heads == 2 else []), *dict(geometry.orders)]


class Image:
    """The bytes of a dump, and which sectors have been written since it was made.

    `spare`: the sector that a volume's own files would take last, or, on a full volume, a reserved one that nothing uses; None: there is
    none, or no volume was built.
    """

    def __init__(self, geometry: Geometry, dump: bytes | None = None) -> None:
        """A side of zeros, or of the dump's bytes. ValueError when the dump has another length."""
        if dump is not None and len(dump) != geometry.dump_bytes:
            raise ValueError(f"{len(dump)} bytes, where {geometry.id} has {geometry.dump_bytes}")
        self.geometry = geometry
        self.dump = bytearray(geometry.dump_bytes) if dump is None else bytearray(dump)
        self.used: set[Address] = set()
        self.spare: Address | None = None

    @classmethod
    def in_order(cls, geometry: Geometry, order: str, data: bytes) -> "Image":
        """A side from a file whose sectors stand in a named order. KeyError when the geometry has no such order, ValueError as above."""
        addresses = geometry.image_order(order)
        if addresses is None:
            raise KeyError(order)
        image = cls(geometry, data)
        for at, address in enumerate(addresses):
            image.write(address, data[at * geometry.size : (at + 1) * geometry.size])
        return image

    def _start(self, address: Address) -> int:
        return self.geometry.places[address] * self.geometry.size

    def __contains__(self, address: object) -> bool:
        return address in self.geometry.places

    def read(self, address: Address) -> bytes:
        """One sector's bytes. KeyError when the geometry lacks it."""
        start = self._start(address)
        return bytes(self.dump[start : start + self.geometry.size])

    def write(self, address: Address, data: bytes) -> None:
        """Lay bytes into one sector, zeros behind them, and mark it used. KeyError, ValueError when it lacks it or they are too many."""
        if len(data) > self.geometry.size:
            raise ValueError(f"{len(data)} bytes for a sector of {self.geometry.size}")
        start = self._start(address)
        self.dump[start : start + self.geometry.size] = data.ljust(self.geometry.size, b"\0")
        self.used.add(address)
