"""What a volume (file system) offers: build from files, read, check."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Protocol

from formats.errors import Problem
from formats.model.geometry import Address, Geometry
from formats.volumes.shared.image import Image


@dataclass(frozen=True)
class FileIn:
    """A file to lay into a volume: the source's bytes, and what the job says of it. `where` is its place in the job, for messages.

    `raw_name`: the name was given as bytes, so it may hold whatever the volume can hold, not only its handbook's characters.
    `load_address` None: none was given; "in-file": the source begins with it.
    """

    name: bytes
    data: bytes
    raw_name: bool = False
    type: str | int | None = None
    load_address: int | str | None = None
    locked: bool = False
    where: str = ""


@dataclass(frozen=True)
class PlacedBytes:
    """Bytes at a fixed sector, running on over the following sectors of the dump's order when they are longer than one."""

    address: Address
    data: bytes
    where: str = ""


@dataclass(frozen=True)
class VolumeIn:
    """What a volume is built from. `boot` are the bytes of its boot sectors; `interleave` None is the volume's own step.

    `image`: a ready image in the order of a dump, for the volume `none` and for no other.
    """

    files: Sequence[FileIn]
    label: bytes = b""
    disc_id: bytes = b"00"
    volume_number: int = 254
    date: date = date(1980, 1, 1)
    places: Sequence[PlacedBytes] = ()
    boot: bytes | None = None
    interleave: int | None = None
    image: bytes | None = None
    where: str = ""


@dataclass(frozen=True)
class FileOut:
    """A file as it was read: its own bytes (without words that are the volume's), and the sectors that its bytes lie in, in order.

    `type` is the volume's word for it, or its number where the volume has none; None where the volume knows no types.
    `before`: bytes of the volume's own that stand before the file's in the first of `sectors`, and in each later one.
    """

    name: bytes
    type: str | int | None
    load_address: int | None
    locked: bool
    data: bytes
    sectors: tuple[Address, ...]
    before: tuple[int, int] = (0, 0)


@dataclass(frozen=True)
class VolumeOut:
    """A volume as it was read: `free` units of `unit` bytes each, files in the directory's order.

    `identity`: what the volume says of the fields in the identifiers that tell which disc it is, where it has a place for it.
    """

    label: bytes
    free: int
    unit: int
    files: tuple[FileOut, ...]
    identity: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class JobPart:
    """How a side with this volume looks in a new job: TOML below the side's own keys, and its first source.

    In `text`, `{side}` stands for the side's name and `{source}` for the source's. `source`: the name of that file; `size`: its bytes, None
    for as many as a dump of the geometry has.
    """

    text: str
    source: str = "first.bin"
    size: int | None = 64


class Volume(Protocol):
    """One file system, or none: then a side is a ready image.

    `is_file_system`: whether it holds files and knows its free sectors. `job_part`: how a side with it looks in a new job.
    """

    id: str
    is_file_system: bool
    job_part: JobPart

    def doubts(self, file: FileIn) -> Iterator[Problem]:
        """What a publisher may have overlooked in a file that can be built as it is."""
        ...

    def fits(self, geometry: Geometry) -> bool:
        """Whether this volume is defined on that geometry."""
        ...

    def order(self, names: Sequence[bytes]) -> list[int]:
        """The places of some files, by their names, in the order in which `read` lists them."""
        ...

    def build(self, geometry: Geometry, content: VolumeIn) -> Image:
        """A side with these files; every sector that the volume, a file, a place or the boot bytes need is in `Image.used`.

        `Image.spare` is the sector in which a text does least harm: counted as free, and taken last by files that are added.

        VolumeError with every problem at once: names, types, keys that don't apply, two files of one name, a full disc (by how
        much), a full directory.
        """
        ...

    def read(self, image: Image) -> VolumeOut:
        """Its files. VolumeError, and nothing else, when the directory or a file can't be followed to its end, whatever the bytes."""
        ...

    def readable(self, image: Image) -> tuple[VolumeOut, list[Problem]]:
        """What `read` gives, less the files that can't be followed, and why they can't. VolumeError when it is more than files."""
        ...

    def check(self, image: Image) -> list[Problem]:
        """Everything in it that contradicts itself: chains against the map, cross-links, loops, free count. Never raises."""
        ...
