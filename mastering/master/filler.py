"""What free sectors are filled with, so that no reader's filler equals it: for who lays it, and for who must tell it from data."""

from typing import TYPE_CHECKING

from mastering.master.slot import around

if TYPE_CHECKING:
    from formats.model.geometry import Address, Geometry
    from mastering.master.master import Side


def free_text(title: str, side: str, geometry: "Geometry", address: "Address") -> bytes:
    """The bytes of a free sector: the catalogue number (`title`), side and place, over and over.

    Without the revision, so that a side that a new revision leaves alone keeps its bytes. In masters of version 1 `title` is the name and
    the revision.
    """
    head = f" head {address.head}" if geometry.heads == 2 else ""
    place = f" side {side} track {address.track}{head} sector {address.sector} free. ".encode()
    line = title.encode("ascii", "replace")[: geometry.size - len(place)] + place  # a long title is cut, never the place
    return (line * (geometry.size // len(line) + 1))[: geometry.size]


def is_free(side: "Side", title: str, address: "Address") -> bool:
    """Whether a sector of a master's side holds what free ones are filled with, a slot for the serial in it aside."""
    geometry = side.geometry
    start = geometry.places[address] * geometry.size
    sector, text = side.dump[start : start + geometry.size], free_text(title, side.name, geometry, address)
    if side.slot is not None and side.slot.place == geometry.places[address]:
        return around(side.slot, sector) == around(side.slot, text)
    return sector == text
