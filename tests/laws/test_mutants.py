"""No number in a geometry's declaration is free: change any one, and a test of that geometry turns red.

The mutants are made from the plain form, in this process; each is put in the registry's place, and the tests of
`test_every_geometry.py` are called until one fails. A mutant that is refused when it is declared is dead already.
"""

import inspect
import sys
from collections.abc import Callable, Iterator
from copy import deepcopy
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from formats import registry
from formats.errors import DefinitionError
from formats.geometry import Geometry
from formats.record import Record

TESTS = Path(__file__).parents[1] / "formats" / "test_every_geometry.py"
FIXTURES = {"geometry", "dump", "records"}


def geometry_tests() -> list[Callable[..., None]]:
    """The test functions that need nothing but the fixtures."""
    spec = spec_from_file_location("mutated_geometry_tests", TESTS)
    assert spec is not None and spec.loader is not None
    module = module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    found = [
        each for name, each in vars(module).items() if name.startswith("test_") and set(inspect.signature(each).parameters) <= FIXTURES
    ]
    assert len(found) > 15
    return found


def mutations(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """A plain form with one number changed, for each of its numbers; and where. Texts of cells count as numbers, titles do not."""
    if isinstance(value, dict):
        if value.get("is") == "Source":
            return
        for key, inner in value.items():
            yield from ((place, value | {key: other}) for place, other in mutations(inner, f"{path}.{key}"))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from ((place, [*value[:index], other, *value[index + 1 :]]) for place, other in mutations(inner, f"{path}[{index}]"))
    elif isinstance(value, bool):
        yield path, not value
    elif isinstance(value, int):
        yield path, value + 1
    elif isinstance(value, str) and path.endswith(".hex"):
        yield path, f"{int(value, 16) ^ 1:0{len(value)}X}"
    elif isinstance(value, str) and set(value) == {"0", "1"}:
        yield path, value[:-1] + ("0" if value[-1] == "1" else "1")


def survives(mutant: Geometry, tests: list[Callable[..., None]], monkeypatch: pytest.MonkeyPatch) -> bool:
    known = registry.geometry
    monkeypatch.setattr(registry, "geometry", lambda name: mutant if name == mutant.id else known(name))
    records = [each for each in (*mutant.lead, *mutant.sector) if isinstance(each, Record)]
    given = {"geometry": mutant, "records": records}
    try:
        given["dump"] = np.random.default_rng(5).integers(0, 256, mutant.dump_bytes, np.uint8).tobytes()
        for test in tests:
            test(**{name: given[name] for name in inspect.signature(test).parameters})
    except Exception:
        return False
    finally:
        monkeypatch.undo()
    return True


@pytest.mark.parametrize("name", registry.names("geometries", foreign=False))
def test_a_changed_number_turns_a_test_red(name, monkeypatch):
    tests = geometry_tests()
    plain = registry.geometry(name).plain()
    assert survives(Geometry.from_plain(plain), tests, monkeypatch), "the declaration itself must pass"
    survivors, count = [], 0
    for place, mutant in mutations(plain):
        count += 1
        try:
            geometry = Geometry.from_plain(deepcopy(mutant))
        except (DefinitionError, ValueError, KeyError, ZeroDivisionError):
            continue
        if survives(geometry, tests, monkeypatch):
            survivors.append(place)
    assert count > 45
    assert survivors == []
