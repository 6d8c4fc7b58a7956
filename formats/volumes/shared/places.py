"""Bytes at fixed sectors, laid before the files."""

from collections.abc import Sequence

from formats.model.geometry import Address
from formats.volumes.interface import PlacedBytes
from formats.volumes.shared.image import Image
from formats.volumes.shared.owners import claim
from formats.volumes.shared.problems import Problems, sector_text
from formats.words import counted


def lay_places(image: Image, places: Sequence[PlacedBytes], owners: dict[Address, str], problems: Problems) -> list[Address]:
    """Lay bytes at fixed sectors and make them their owners, but where the volume or another place is; the sectors laid."""
    geometry = image.geometry
    laid: list[Address] = []
    for place in places:
        where = place.where or "place"
        start = geometry.places.get(place.address)
        count = -(-len(place.data) // geometry.size)
        if start is None:
            problems.add(where, f"{geometry.id} has no {sector_text(place.address)}")
        elif not count:
            problems.add(where, "there are no bytes to place")
        elif start + count > len(geometry.addresses):
            past = start + count - len(geometry.addresses)
            problems.add(where, f"{counted(count, 'sector')} from {sector_text(place.address)} on run {past:,} past the end of the disc")
        else:
            run = geometry.addresses[start : start + count]
            for address, owner in claim(owners, run, where):
                problems.add(where, f"{sector_text(address)} is taken by", owner)
            for number, address in enumerate(run):
                image.write(address, place.data[number * geometry.size : (number + 1) * geometry.size])
            laid += run
    return laid
