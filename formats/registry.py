"""Codes, geometries and volumes by name, each proved when it is loaded: a caller never holds a geometry that contradicts itself."""

import warnings
from functools import cache
from typing import TYPE_CHECKING

from formats import loading
from formats.errors import DeclarationWarning, DefinitionError
from formats.loading import claims_of_own, load, origin

if TYPE_CHECKING:
    from formats.codes.interface import Code
    from formats.model.geometry import Geometry
    from formats.volumes.interface import Volume


def names(kind: str, foreign: bool = True) -> list[str]:
    """Every id of a kind (`codes`, `geometries`, `volumes`), our own first; `foreign` False: only our own."""
    ids = list(loading.own(kind))
    return ids + sorted(set(loading.foreign(kind)) - set(ids)) if foreign else ids


def code(name: str) -> "Code":
    """The recording code of that name. KeyError when there is none."""
    declared: Code = load("codes", name)
    return declared


@cache
def geometry(name: str) -> "Geometry":
    """The declared geometry of that id. KeyError when there is none, DefinitionError when it contradicts itself."""
    from formats.model.proof import prove

    declared: Geometry = load("geometries", name)
    try:
        return prove(declared)
    except DefinitionError as error:
        raise DefinitionError(name, [*error.problems, *origin("geometries", name)]) from error


def geometries() -> tuple[list["Geometry"], list[DefinitionError]]:
    """Every declared geometry, in the order of `names`, and what is wrong with those that can't be had, and with claims of our names."""
    proved: list[Geometry] = []
    broken: list[DefinitionError] = []
    for name in names("geometries"):
        try:
            proved.append(geometry(name))
        except DefinitionError as error:
            broken.append(error)
    return proved, broken + claims_of_own("geometries")


def usable_geometries() -> list["Geometry"]:
    """Every declared geometry that can be had; a `DeclarationWarning` names each that can't, once."""
    proved, broken = geometries()
    _warn(broken)
    return proved


def usable_volumes() -> list["Volume"]:
    """Every declared volume that can be had; a `DeclarationWarning` names each that can't, once."""
    loaded, broken = volumes()
    _warn(broken)
    return loaded


def _warn(broken: list[DefinitionError]) -> None:
    for error in broken:
        warnings.warn(f"{error}; this goes on without it", DeclarationWarning, stacklevel=3)


def volume(name: str) -> "Volume":
    """The volume (file system) of that id. KeyError when there is none, DefinitionError when its package can't be loaded."""
    declared: Volume = load("volumes", name)
    return declared


def volumes() -> tuple[list["Volume"], list[DefinitionError]]:
    """Every declared volume, in the order of `names`, and what is wrong with those that can't be had, and with claims of our names."""
    loaded: list[Volume] = []
    broken: list[DefinitionError] = []
    for name in names("volumes"):
        try:
            loaded.append(volume(name))
        except DefinitionError as error:
            broken.append(error)
    return loaded, broken + claims_of_own("volumes")
