"""Chains of sectors, blocks or clusters, followed to an end: never further than the disc has units, whatever its bytes are."""

from collections.abc import Callable

from formats.volumes.shared.owners import Unit


def follow(
    first: Unit | None,
    following: Callable[[Unit], Unit | None],
    exists: Callable[[Unit], bool],
    owners: dict[Unit, str],
    owner: str,
    said: Callable[[Unit], str],
) -> tuple[tuple[Unit, ...], str]:
    """Own the units of a chain; they, and what was wrong with it: empty when it comes to its end.

    It stops where it leads to a unit that does not exist or that has an owner, so all chains of a disc together are never
    longer than the disc. `said`: a unit for people.
    """
    found: list[Unit] = []
    unit = first
    while unit is not None:
        if not exists(unit):
            return tuple(found), f"its chain leads to {said(unit)}, where no data can be"
        if unit in owners:
            if unit in found:
                return tuple(found), f"its chain runs in a circle: it comes to {said(unit)} a second time"
            return tuple(found), f"its chain runs into {said(unit)}, which belongs to {owners[unit]} already"
        owners[unit] = owner
        found.append(unit)
        unit = following(unit)
    return tuple(found), ""
