"""Chains of sectors, blocks or clusters, followed to an end: never further than the disc has units, whatever its bytes are."""

from collections.abc import Callable

from formats.volumes.shared.owners import Unit


def follow(
    first: Unit | None,
    following: Callable[[Unit], Unit | None],
    exists: Callable[[Unit], bool],
    owners: dict[Unit, str],
    owner: str,
    text: Callable[[Unit], str],
) -> tuple[tuple[Unit, ...], str]:
    """Gives the units of a chain to an owner. Returns them, and why the chain could not be followed to its end (empty: it could).

    It stops where it leads to a unit that does not exist or that has an owner, so all chains of a disc together are never
    longer than the disc. `said`: a unit for people.
    """
    units: list[Unit] = []
    unit = first
    while unit is not None:
        if not exists(unit):
            return tuple(units), f"its chain leads to {text(unit)}, where no data can be"
        if unit in owners:
            if unit in units:
                return tuple(units), f"its chain runs in a circle: it comes to {text(unit)} a second time"
            return tuple(units), f"its chain runs into {text(unit)}, which belongs to {owners[unit]} already"
        owners[unit] = owner
        units.append(unit)
        unit = following(unit)
    return tuple(units), ""
