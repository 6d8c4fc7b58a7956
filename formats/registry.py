"""Codes, geometries, volumes and containers by name: our own by listing the folder, others' by entry point.

A name that is one of our files is imported from it and nothing else is asked. Reading the entry points costs more than
starting the interpreter, so it happens only for a name that is not ours. Nothing is swallowed: a file of ours that fails to import
raises, with its name in the traceback; another package's that does, or one that does not declare what it should, raises
`DefinitionError` with its name.
"""

from functools import cache
from importlib import import_module
from os import listdir
from os.path import dirname, join
from typing import TYPE_CHECKING, Any

from formats.errors import DefinitionError, Problem

if TYPE_CHECKING:
    from formats.codes.interface import Code
    from formats.model.geometry import Geometry
    from formats.volumes.interface import Volume

_NOT_DECLARATIONS = {"__init__.py", "interface.py"}


@cache
def _own(kind: str) -> dict[str, str]:
    """Id to module name of the files in one folder of this package: `gcr4to5_35z.py` declares `gcr4to5-35z`."""
    folder = join(dirname(__file__), kind)
    files = sorted(name for name in listdir(folder) if name.endswith(".py") and name not in _NOT_DECLARATIONS)
    return {name[:-3].replace("_", "-"): f"formats.{kind}.{name[:-3]}" for name in files}


@cache
def _foreign(kind: str) -> dict[str, Any]:
    """The entry points of other packages in the group `formats.KIND`."""
    from importlib.metadata import entry_points

    return {point.name: point for point in entry_points(group=f"formats.{kind}")}


@cache
def _load(kind: str, attribute: str, name: str) -> Any:
    module = _own(kind).get(name)
    if module is not None:
        found = getattr(import_module(module), attribute, None)
    else:
        point = _foreign(kind).get(name)
        if point is None:
            raise KeyError(name)
        return _foreign_object(name, attribute, point)
    return _named(name, attribute, found)


def _named(name: str, attribute: str, found: Any) -> Any:
    """What a file declares. DefinitionError when it is none of that name."""
    declared = getattr(found, "id", None)
    if declared != name:
        raise DefinitionError(name, [Problem("", f"its file declares {declared!r} as {attribute}, not {name!r}")])
    return found


def _foreign_object(name: str, attribute: str, point: Any) -> Any:
    """What an entry point names. DefinitionError, with its package, when it is none or can't be loaded: no defect of this program."""
    try:
        return _named(name, attribute, point.load())
    except DefinitionError as error:
        problems = list(error.problems)
    except Exception as error:
        problems = [Problem("", f"can't be loaded from {point.value}: {type(error).__name__}: {error}")]
    raise DefinitionError(name, [*problems, Problem("", f"it comes from the package {point.dist.name}")])


def names(kind: str, foreign: bool = True) -> list[str]:
    """Every id of a kind (`codes`, `geometries`, `volumes`), our own first."""
    own = list(_own(kind))
    return own + sorted(set(_foreign(kind)) - set(own)) if foreign else own


def code(name: str) -> "Code":
    """The recording code of that name. KeyError when there is none."""
    found: Code = _load("codes", "CODE", name)
    return found


def geometry(name: str) -> "Geometry":
    """The declared geometry of that id. KeyError when there is none, DefinitionError when it contradicts itself."""
    found: Geometry = _load("geometries", "GEOMETRY", name)
    return found


def geometries() -> tuple[list["Geometry"], list[DefinitionError]]:
    """Every declared geometry, in the order of `names`, and what is wrong with those that can't be."""
    made: list[Geometry] = []
    broken: list[DefinitionError] = []
    for name in names("geometries"):
        try:
            made.append(geometry(name))
        except DefinitionError as error:
            broken.append(error)
    return made, broken


def volume(name: str) -> "Volume":
    """The volume (file system) of that id. KeyError when there is none."""
    found: Volume = _load("volumes", "VOLUME", name)
    return found
