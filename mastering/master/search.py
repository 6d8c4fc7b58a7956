"""Where a master's sides carry a piece of data: in a file's own bytes, whatever chain of sectors they lie in, and in the bare side.

Opens no file. The text that free sectors are filled with is no data: it names the title, so every side would carry that. A file's bytes
are put together from what the record says of its sectors, and proved by its digest: reading the volume anew would take as long for one
master as this takes for ten.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from formats.model.geometry import Address, Geometry
from mastering.files import digest
from mastering.master.bag import MasterError
from mastering.master.filler import is_free
from mastering.master.master import Master, Side


@dataclass(frozen=True)
class Hit:
    """A place that carries the piece: in a file at `offset` of its own bytes, or at `offset` of the side's dump where no file has it."""

    file: str | None
    offset: int
    sectors: tuple[Address, ...]

    def plain(self) -> dict[str, Any]:
        """The hit in JSON."""
        return {"file": self.file, "offset": self.offset, "sectors": [list(address) for address in self.sectors]}


class Searcher:
    """Looks for a piece of data in one master after the other. `pieces`: its spellings, any of which counts; none is empty."""

    def __init__(self, pieces: Sequence[bytes]) -> None:
        self.pieces = pieces
        self._geometries: dict[str, Geometry] = {}

    def lines(self, master: Master) -> Iterator[dict[str, Any]]:
        """A line for each side, whether it carries the piece or not. MasterError when its record can't be followed."""
        for name, side in master.sides.items():
            hits = self.hits(side, master.free_title)
            yield {
                "master": str(master.path),
                "title": master.label,
                "digest": master.digest,
                "side": name,
                "platform": side.platform,
                "found": len(hits),
                "hits": [hit.plain() for hit in hits],
            }

    def hits(self, side: Side, title: str) -> list[Hit]:
        """Every place of a side that carries the piece, file by file, then what no file has. `title`: its master's `free_title`."""
        laid = _Laid(side, self._geometry(side), title)
        hits: dict[int, Hit] = {}  # by the first byte's place in the dump, so that no place is told twice
        for file in map(laid.file, laid.records()):
            for at, size in _all(file.data, self.pieces):
                hits.setdefault(file.place(at), Hit(file.name, at, file.sectors(at, size)))
        for order in laid.orders:
            data = side.dump if order is None else b"".join(map(laid.sector, order))
            for at, size in _all(data, self.pieces):
                first, last = at // side.size, (at + size - 1) // side.size
                sectors = (order or laid.geometry.addresses)[first : last + 1]
                if laid.free.issuperset(sectors):
                    continue
                place = laid.geometry.places[sectors[0]] * side.size + at % side.size
                hits.setdefault(place, Hit(None, place, tuple(sectors)))
        return list(hits.values())

    def _geometry(self, side: Side) -> Geometry:
        """The side's geometry, made once for all masters that have the same."""
        if side.geometry_digest not in self._geometries:
            self._geometries[side.geometry_digest] = side.geometry
        return self._geometries[side.geometry_digest]


@dataclass(frozen=True)
class _File:
    """A file's own bytes and where in the dump its sectors begin; in the first of them `first` bytes stand before, in others `later`."""

    name: str
    data: bytes
    geometry: Geometry
    starts: Sequence[int]
    first: int
    later: int

    def _sector(self, at: int) -> tuple[int, int]:
        """Which of its sectors a byte of it lies in, and where in that sector."""
        beyond = at - (self.geometry.size - self.first)
        if beyond < 0:
            return 0, at + self.first
        number, inside = divmod(beyond, self.geometry.size - self.later)
        return number + 1, inside + self.later

    def place(self, at: int) -> int:
        """Where a byte of it lies in the dump."""
        number, inside = self._sector(at)
        return self.starts[number] + inside

    def sectors(self, at: int, size: int) -> tuple[Address, ...]:
        """The sectors that some of its bytes lie in."""
        first, last = self._sector(at)[0], self._sector(at + size - 1)[0]
        return tuple(self.geometry.addresses[start // self.geometry.size] for start in self.starts[first : last + 1])


class _Laid:
    """The sectors of a side, and the files that lie in them."""

    def __init__(self, side: Side, geometry: Geometry, title: str) -> None:
        self.side, self.geometry, self.title = side, geometry, title

    def sector(self, address: Address) -> bytes:
        """The bytes of a sector."""
        start = self.geometry.places[address] * self.side.size
        return self.side.dump[start : start + self.side.size]

    @cached_property
    def free(self) -> frozenset[Address]:
        """The sectors that hold what the builder fills free ones with."""
        return frozenset(each for each in self.geometry.addresses if is_free(self.side, self.title, each))

    @cached_property
    def orders(self) -> list[tuple[Address, ...] | None]:
        """The orders of sectors in which a piece may run on: the dump's (None), and of a ready image every one that has a name."""
        if self.side.volume != "none":
            return [None]
        names = ["as-numbered", "heads-apart", *dict(self.geometry.orders)]
        orders = {self.geometry.image_order(name) for name in names} - {None, self.geometry.addresses}
        return [None, *sorted(orders, key=str)]

    def records(self) -> Sequence[Mapping[str, Any]]:
        """The records of the side's files; of masters that don't say where in a sector a file begins, the volume is read."""
        if all("before" in file for file in self.side.files):
            return self.side.files
        from formats import registry
        from formats.errors import VolumeError
        from formats.volumes.shared.image import Image
        from mastering.master.builder import file_record

        try:
            held = registry.volume(self.side.volume).read(Image(self.geometry, self.side.dump))
        except (KeyError, VolumeError) as error:
            raise MasterError(f"side {self.side.name}: its volume {self.side.volume} can't be read: {error}") from error
        return [file_record(file, volatile=False) for file in held.files]

    def file(self, record: Mapping[str, Any]) -> _File:
        """A file's own bytes, and its sectors. MasterError when they are not those that its digest proves."""
        where, size, dump = f"side {self.side.name}: {record['name']}", self.side.size, self.side.dump
        places: Mapping[Any, int] = self.geometry.places
        try:
            first, later = record["before"]
            starts = [places[track, head, sector] * size for track, head, sector in record["sectors"]]
            parts = [dump[start + later : start + size] for start in starts]
            parts[:1] = [dump[start + first : start + size] for start in starts[:1]]
            data = b"".join(parts)[: record["bytes"]]
        except (KeyError, TypeError, ValueError) as error:
            raise MasterError(f"{where}: its record does not say where its bytes lie") from error
        if digest(data) != record["sha256"]:
            raise MasterError(f"{where}: its sectors do not hold the bytes that its digest says")
        return _File(record["name"], data, self.geometry, starts, first, later)


def _all(data: bytes, pieces: Sequence[bytes]) -> Iterator[tuple[int, int]]:
    """Where each piece begins in some bytes, overlapping ones too, and how long the piece is."""
    for piece in pieces:
        at = data.find(piece)
        while at >= 0:
            yield at, len(piece)
            at = data.find(piece, at + 1)
