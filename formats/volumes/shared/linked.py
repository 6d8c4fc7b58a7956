"""What the volumes share whose sectors are linked by track and sector.

A link counts the sectors of a track in the order of a dump; `numbered` turns it into the address in the identifiers.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from formats.errors import Problem
from formats.model.geometry import Address, Geometry
from formats.volumes.interface import VolumeIn
from formats.volumes.shared.chains import follow
from formats.volumes.shared.image import Image
from formats.volumes.shared.problems import Problems, sector_text

Link = tuple[int, int]


def numbered(geometry: Geometry) -> dict[Link, Address]:
    """The volume's own numbers of each sector: its track, and its place on that track in the order of a dump."""
    table: dict[Link, Address] = {}
    on_track: dict[int, int] = {}
    for address in geometry.addresses:
        place = on_track.setdefault(address.track, geometry.first_sector)
        table[address.track, place] = address
        on_track[address.track] += 1
    return table


class Walk:
    """An image of linked sectors as a reader walks it.

    `owners`: what each sector met so far belongs to; `problems`: what keeps the volume from being read to its end.
    """

    def __init__(self, image: Image) -> None:
        self.image = image
        self.addresses = numbered(image.geometry)
        self.owners: dict[Link, str] = {}
        self.problems = Problems()

    def sector(self, struct: Any, link: Link) -> Any:
        """One sector as a record of the volume."""
        return struct.parse(self.image.read(self.addresses[link]))

    def chain(self, first: Link | None, following: Callable[[Link], Link | None], owner: str) -> tuple[Link, ...]:
        """The sectors of a chain as far as it can be followed, now the owner's."""
        links, wrong = follow(first, following, self.addresses.__contains__, self.owners, owner, self.text)
        if wrong:
            self.problems.add(owner, wrong)
        return links

    def text(self, link: Link) -> str:
        """A sector for people, by the numbers in its identifier where there is one."""
        return sector_text(self.addresses[link]) if link in self.addresses else text_of(link)

    def free_in_map(self, links: Iterable[Link], where: str) -> Iterator[Problem]:
        """Problems of sectors that the map calls free: those that are used, those that are not there."""
        for link in links:
            if link not in self.addresses:
                yield Problem(where, f"{self.text(link)} is free, and the disc has no such sector")
            elif link in self.owners:
                yield Problem(where, f"{self.text(link)} is free, and used by {self.owners[link]}")


def text_of(link: Link) -> str:
    """A link for people, as it stands on the disc."""
    return f"track {link[0]} sector {link[1]}"


def link_of(parsed: Any) -> Link | None:
    """A link as it was parsed: None where it names no track."""
    return (parsed.track, parsed.sector) if parsed.track else None


def parts_of(link: Link) -> dict[str, int]:
    """A link as it is built."""
    return {"track": link[0], "sector": link[1]}


class LinkedBuilder:
    """A volume of linked sectors in the making."""

    def __init__(self, geometry: Geometry, content: VolumeIn) -> None:
        self.image = Image(geometry)
        self.content = content
        self.addresses = numbered(geometry)
        self.problems = Problems()

    def write(self, link: Link, data: bytes) -> None:
        """Lay one sector."""
        self.image.write(self.addresses[link], data)
