"""No number in a geometry's declaration is free: change any one, and a test of that geometry turns red.

The mutants are made from the plain form, in this process; each is put in the registry's place, and the tests of
`test_every_geometry.py` are called until one fails. A mutant that is refused when it is declared is dead already. Records that
several geometries share are changed in the smallest of them only: they are one declaration.
"""

import inspect
import sys
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import replace
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from formats import registry
from formats.errors import DefinitionError
from formats.model.geometry import Geometry
from formats.model.proof import prove
from formats.model.record import Record

TESTS = Path(__file__).parents[1] / "formats" / "geometries" / "test_every_geometry.py"
FIXTURES = {"geometry", "declared", "dump", "records"}
NAMES = registry.names("geometries", foreign=False)


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


def records_of(name: str) -> list[Any]:
    """The plain forms of a geometry's records."""
    plain = registry.geometry(name).plain()
    return [each for each in (*plain.get("lead", []), *plain["sector"]) if each["is"] == "Record"]


def records_before(name: str) -> list[Any]:
    """The records of all smaller geometries."""
    sizes = sorted((registry.geometry(each).dump_bytes, each) for each in NAMES)
    return [record for size in sizes if size < (registry.geometry(name).dump_bytes, name) for record in records_of(size[1])]


def mutations(value: Any, but: list[Any], path: str = "") -> Iterator[tuple[str, Any]]:
    """A plain form with one number changed, for each of its numbers; and where. Texts of cells count as numbers; what is in `but` does not."""
    if isinstance(value, dict):
        if value in but:
            return
        for key, inner in value.items():
            yield from ((place, value | {key: other}) for place, other in mutations(inner, but, f"{path}.{key}"))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            changed = mutations(inner, but, f"{path}[{index}]")
            yield from ((place, [*value[:index], other, *value[index + 1 :]]) for place, other in changed)
    elif isinstance(value, bool):
        yield path, not value
    elif isinstance(value, int):
        yield path, value + 1
    elif isinstance(value, str) and path.endswith(".hex"):
        yield path, f"{int(value, 16) ^ 1:0{len(value)}X}"
    elif isinstance(value, str) and set(value) == {"0", "1"}:
        yield path, value[:-1] + ("0" if value[-1] == "1" else "1")


def survives(mutant: Geometry, tests: list[Callable[..., None]], monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether all tests pass; one that fails becomes the first, for the next mutant is likely to fail it too."""
    known = registry.geometry
    monkeypatch.setattr(registry, "geometry", lambda name: mutant if name == mutant.id else known(name))
    records = [each for each in (*mutant.lead, *mutant.sector) if isinstance(each, Record) and each.fields]
    given = {"geometry": mutant, "declared": mutant, "records": records}
    given["dump"] = np.random.default_rng(5).integers(0, 256, mutant.dump_bytes, np.uint8).tobytes()
    try:
        for test in tests:
            test(**{name: given[name] for name in inspect.signature(test).parameters})
    except Exception:
        tests.insert(0, tests.pop(tests.index(test)))
        return False
    finally:
        monkeypatch.undo()
    return True


LARGEST = sorted(NAMES, key=lambda name: registry.geometry(name).dump_bytes)[-3:]  # the others hold the same rules in a third of the time


@pytest.mark.parametrize("name", [pytest.param(name, marks=[pytest.mark.campaign] * (name in LARGEST)) for name in NAMES])
def test_a_changed_number_turns_a_test_red(name, monkeypatch):
    tests, declared = geometry_tests(), registry.geometry(name)
    plain = declared.plain()
    assert survives(declared, tests, monkeypatch), "the declaration itself must pass"
    survivors, count, before = [], 0, records_before(name)
    for place, mutant in mutations(plain, before):
        count += 1
        try:
            geometry = prove(replace(Geometry.from_plain(deepcopy(mutant)), sources=declared.sources))
        except (DefinitionError, ValueError, KeyError, ZeroDivisionError):
            continue
        if survives(geometry, tests, monkeypatch):
            survivors.append(place)
    assert count > (20 if any(record in before for record in records_of(name)) else 45)
    assert survivors == []
