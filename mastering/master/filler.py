"""What free sectors are filled with, so that no reader's filler equals it: for who lays it, and for who must tell it from data."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from formats.model.geometry import Address, Geometry


def free_text(title: str, side: str, geometry: "Geometry", address: "Address") -> bytes:
    """The bytes of a free sector: title and revision (`title`), side and place, over and over."""
    head = f" head {address.head}" if geometry.heads == 2 else ""
    place = f" side {side} track {address.track}{head} sector {address.sector} free. ".encode()
    line = title.encode("ascii", "replace")[: geometry.size - len(place)] + place  # a long title is cut, never the place
    return (line * (geometry.size // len(line) + 1))[: geometry.size]
