"""Which of a volume's plans is a geometry's: a volume knows where things lie by the geometry's id.

A geometry that is declared elsewhere, say in a job, takes the plan of a declared one that has the same sectors in the same orders.
So a volume lies on a geometry of one's own that differs in nothing that a file system sees: gaps, speed, order round the track.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import TypeVar

from formats import registry
from formats.model.geometry import Geometry

AnyPlan = TypeVar("AnyPlan")


def plan_of(plans: Mapping[str, AnyPlan], geometry: Geometry) -> AnyPlan:
    """The plan of a geometry. KeyError when there is none."""
    for name in _ids(plans, geometry):
        return plans[name]
    raise KeyError(geometry.id)


def has_plan(plans: Mapping[str, object], geometry: Geometry) -> bool:
    """Whether there is a plan for a geometry."""
    return any(True for _ in _ids(plans, geometry))


def seen_differences(one: Geometry, other: Geometry) -> tuple[str, ...]:
    """The properties that a file system depends on in which two geometries differ, by name."""
    return tuple(what for what, of in _SEEN.items() if of(one) != of(other))


def _ids(plans: Mapping[str, object], geometry: Geometry) -> Iterator[str]:
    """The ids in `plans` under which the plan of a geometry stands."""
    if geometry.id in plans:
        yield geometry.id
    elif geometry.id not in registry.names("geometries", foreign=False):
        ids = registry.names("geometries")
        yield from (name for name in plans if name in ids and _looks_like(registry.geometry(name), geometry))


def _looks_like(one: Geometry, other: Geometry) -> bool:
    """Whether two geometries are alike in all that a file system depends on."""
    return (one.size, one.addresses, one.orders) == (other.size, other.addresses, other.orders)


_SEEN: dict[str, Callable[[Geometry], object]] = {
    "tracks": lambda geometry: geometry.cylinders,
    "first track": lambda geometry: geometry.first_track,
    "heads": lambda geometry: geometry.heads,
    "track numbers of head 1": lambda geometry: geometry.head_tracks > 0,
    "order of the heads in a dump": lambda geometry: geometry.heads_apart,
    "sectors": lambda geometry: [zone.sectors for zone in geometry.zones],
    "bytes of a sector": lambda geometry: geometry.size,
    "first sector": lambda geometry: geometry.first_sector,
    "order of the sectors in a dump": lambda geometry: geometry.dump_order,
    "named orders": lambda geometry: geometry.orders,
}
