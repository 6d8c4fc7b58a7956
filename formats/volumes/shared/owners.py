"""Who owns which sector, block or cluster of a volume."""

from collections.abc import Hashable, Iterable
from typing import TypeVar

Unit = TypeVar("Unit", bound=Hashable)


def claim(owners: dict[Unit, str], units: Iterable[Unit], owner: str) -> list[tuple[Unit, str]]:
    """Give units to an owner; those that had one keep it and are returned with it."""
    taken = []
    for unit in units:
        if unit in owners:
            taken.append((unit, owners[unit]))
        else:
            owners[unit] = owner
    return taken
