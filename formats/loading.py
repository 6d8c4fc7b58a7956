"""Declarations by kind and name: our own by listing a folder, other packages' by entry point. Knows no kind from another.

A name that is one of our files is imported from it and nothing else is asked. Reading the entry points costs more than
starting the interpreter, so it happens only for a name that is not ours. Nothing is swallowed: a file of ours that fails to import
raises, with its name in the traceback; another package's that does, or one that does not declare what it should, raises
`DefinitionError` with its name.
"""

from functools import cache
from importlib import import_module
from os import listdir
from os.path import dirname, join
from typing import Any

from formats.errors import DefinitionError, Problem

_ATTRIBUTES = {"codes": "CODE", "geometries": "GEOMETRY", "volumes": "VOLUME"}
_NOT_DECLARATIONS = {"__init__.py", "interface.py"}


@cache
def own(kind: str) -> dict[str, str]:
    """Id to module name of the files in one folder of this package: `gcr4to5_35z.py` declares `gcr4to5-35z`."""
    folder = join(dirname(__file__), kind)
    files = sorted(name for name in listdir(folder) if name.endswith(".py") and name not in _NOT_DECLARATIONS)
    return {name[:-3].replace("_", "-"): f"formats.{kind}.{name[:-3]}" for name in files}


@cache
def foreign(kind: str) -> dict[str, tuple[Any, ...]]:
    """The entry points of other packages in the group `formats.KIND`, by name; more than one where packages claim the same name."""
    from importlib.metadata import entry_points

    points: dict[str, list[Any]] = {}
    for point in entry_points(group=f"formats.{kind}"):
        points.setdefault(point.name, []).append(point)
    return {name: tuple(claims) for name, claims in points.items()}


@cache
def load(kind: str, name: str) -> Any:
    """The declaration of a name. KeyError when nobody declares it, DefinitionError when it can't be had."""
    module = own(kind).get(name)
    if module is not None:
        return _declared(kind, name, getattr(import_module(module), _ATTRIBUTES[kind], None))
    points = foreign(kind).get(name)
    if points is None:
        raise KeyError(name)
    if len(points) > 1:
        raise DefinitionError(name, [Problem("", f"{_packages(points)} declare this name; remove all of them but one")])
    return _foreign_object(kind, name, points[0])


def claims_of_own(kind: str) -> list[DefinitionError]:
    """An error for each name of our own that another package declares too: the package's declaration is not used."""
    taken = ((name, points) for name, points in foreign(kind).items() if name in own(kind))
    what = "is a name of this program's own; its own declaration is used, not that of"
    return [DefinitionError(name, [Problem("", f"{what} {_packages(points)}")]) for name, points in taken]


def origin(kind: str, name: str) -> list[Problem]:
    """A sentence that names the package that a declaration comes from, to stand with what is wrong with it; none for our own."""
    return [] if name in own(kind) else [Problem("", f"it comes from {_packages(foreign(kind)[name])}")]


def _packages(points: tuple[Any, ...]) -> str:
    """The distributions that entry points belong to, for people."""
    names = sorted({point.dist.name for point in points})
    return f"the package{'s' if len(names) > 1 else ''} {' and '.join(names)}"


def _declared(kind: str, name: str, declaration: Any) -> Any:
    """What a file declares. DefinitionError when it is none of that name."""
    declared = getattr(declaration, "id", None)
    if declared != name:
        raise DefinitionError(name, [Problem("", f"its file declares {declared!r} as {_ATTRIBUTES[kind]}, not {name!r}")])
    return declaration


def _foreign_object(kind: str, name: str, point: Any) -> Any:
    """What an entry point names. DefinitionError, with its package, when it is none or can't be loaded: no defect of this program."""
    try:
        return _declared(kind, name, point.load())
    except DefinitionError as error:
        problems = list(error.problems)
    except Exception as error:
        problems = [Problem("", f"can't be loaded from {point.value}: {type(error).__name__}: {error}")]
    raise DefinitionError(name, [*problems, *origin(kind, name)])
