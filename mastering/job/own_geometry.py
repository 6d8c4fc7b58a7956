"""`[geometry.NAME]`: a declared geometry with changes in full words, proved as any declared one is."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from formats import registry
from formats.errors import DefinitionError
from formats.model.geometry import Geometry, Zone
from formats.model.radius import INNERMOST, innermost
from formats.volumes.shared.problems import Problems
from mastering.errors import unknown
from mastering.job.changed_geometry import Change, GeometryKeys
from mastering.job.schema import parse

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")


def own_geometries(raw: Any, problems: Problems) -> dict[str, Geometry | None]:
    """A job's geometries by their names; None for one whose problems, with their places, were added."""
    if raw is None:
        return {}
    if not isinstance(raw, dict):
        problems.add("geometry", "must hold tables, [geometry.NAME]")
        return {}
    geometries: dict[str, Geometry | None] = {}
    for name, table in raw.items():
        own = Problems()
        geometries[name] = _own_geometry(name, table, own)
        problems += own
    return geometries


def thin_margins(geometries: Iterable[Geometry]) -> Iterator[str]:
    """Warnings about geometries that aren't this program's own, a line each.

    A zone in which a drive's usual speed may not be slow enough; tracks further in than those of any published drive.
    """
    ours = set(registry.names("geometries", foreign=False))
    for geometry in geometries:
        for zone in geometry.thin_zones if geometry.id not in ours else ():
            yield (
                f"{geometry.id}, tracks {zone.first}-{zone.last}: thin speed margin: a drive that turns more than "
                f"{100 * geometry.speed_margin(zone):.2f} % too fast overwrites a track's start, "
                f"{below_tolerance(geometry, zone)} the usual tolerance of {100 * float(geometry.tolerance):g} %"
            )
        if geometry.id not in ours and (radius := innermost(geometry)) < INNERMOST:
            yield (
                f"{geometry.id}: {geometry.cylinders} tracks of {geometry.tpi} to the inch: the last lies {radius:.1f} mm from the disc's "
                f"centre; no drive that was published goes further in than {INNERMOST:.1f} mm"
            )


def below_tolerance(geometry: Geometry, zone: Zone) -> str:
    """How far a speed margin is below the tolerance, where the two figures may read alike."""
    margin, tolerance = (f"{100 * float(each):.2f}" for each in (geometry.speed_margin(zone), geometry.tolerance))
    return "just below" if margin == tolerance else "less than"


def _own_geometry(name: str, table: Any, problems: Problems) -> Geometry | None:
    """One geometry of a job; None when anything is wrong with it. Wrong keys are left out, so that the others are proved all the same."""
    where = f"geometry.{name}"
    if not _NAME.fullmatch(name):
        problems.add(where, "a name has 1 to 40 letters, digits, dots, hyphens and underscores, and begins with a letter or digit")
    elif name in registry.names("geometries"):
        problems.add(where, "is the id of a declared geometry; choose another name")
    if not isinstance(table, dict):
        problems.add(where, f"must be a table, [{where}]")
        return None
    keys = parse(GeometryKeys, table, where, problems)
    reported = {problem.where for problem in problems}
    wrong = {key for key in table if f"{where}.{key}" in reported}
    left = {key: value for key, value in table.items() if key not in wrong and key in GeometryKeys.model_fields}
    if keys is None and "base" in left:
        keys = GeometryKeys.model_validate(left)
    base = _base(keys.base, f"{where}.base", problems) if keys else None
    if keys is None or base is None:
        return None
    change = Change(base, keys, where, wrong)
    geometry = change.geometry(name)
    problems += change.problems
    return None if problems else geometry


def _base(name: str, where: str, problems: Problems) -> Geometry | None:
    try:
        return registry.geometry(name)
    except KeyError:
        problems.add(where, unknown(name, registry.names("geometries")))
    except DefinitionError as error:
        problems.add(where, str(error))
    return None
