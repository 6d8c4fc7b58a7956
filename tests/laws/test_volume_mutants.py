"""No number in a volume's declarations is free: change any one, and a test of that volume turns red.

The mutants are made from the syntax of the declarations (what stands outside of functions, titles of sources aside), one
constant at a time, in this process. Each is run as the volume's module, and the tests of that volume that need nothing are
called until one fails. A mutant that can't be loaded is dead already.
"""

import ast
import inspect
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from importlib.util import module_from_spec, spec_from_file_location
from itertools import product
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from formats import registry

ROOT = Path(__file__).parents[2]
DECLARED = {
    "zoned-dos": ("formats.volumes.shared.zoned_map", "formats.volumes.zoned_dos"),
    "catalog-dos": (
        "formats.volumes.shared.catalog_tables",
        "formats.volumes.catalog_dos",
    ),
    "block-tree": ("formats.volumes.shared.blocks", "formats.volumes.shared.tree_tables", "formats.volumes.block_tree"),
    "fat12": ("formats.volumes.shared.fat_tables", "formats.volumes.shared.fat_boot", "formats.volumes.fat12"),
}


def constants(tree: ast.Module) -> Iterator[ast.Constant]:
    """The numbers and bytes of a module's declarations."""
    for statement in tree.body:
        titles = isinstance(statement, ast.Assign) and ast.unparse(statement.targets[0]) == "SOURCES"
        if isinstance(statement, ast.Assign | ast.ClassDef) and not titles:
            functions = [each for each in ast.walk(statement) if isinstance(each, ast.FunctionDef)]
            decorators = statement.decorator_list if isinstance(statement, ast.ClassDef) else []
            inside = {id(each) for part in (*functions, *decorators) for each in ast.walk(part)}
            for each in ast.walk(statement):
                number = isinstance(each, ast.Constant) and isinstance(each.value, int | bytes) and each.value != b""
                if number and id(each) not in inside:
                    yield each


def changed(value: int | bytes) -> int | bytes:
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int) else value[:-1] + bytes([value[-1] ^ 1])


def cases(test: Callable[..., None]) -> list[dict[str, Any]]:
    """The arguments of a test, by its own marks."""
    named = []
    for mark in (each for each in getattr(test, "pytestmark", []) if each.name == "parametrize"):
        names = [name.strip() for name in mark.args[0].split(",")]
        named.append([dict(zip(names, row if len(names) > 1 else (row,), strict=True)) for row in mark.args[1]])
    return [{name: value for part in parts for name, value in part.items()} for parts in product(*named)]


def plain_tests(volume: str) -> list[tuple[Callable[..., None], dict[str, Any]]]:
    """The volume's tests that need no fixture and draw nothing, each with its arguments."""
    path = ROOT / "tests" / "formats" / "volumes" / f"test_{volume.replace('-', '_')}.py"
    spec = spec_from_file_location(f"mutated_{path.stem}", path)
    assert spec is not None and spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    tests = [each for name, each in vars(module).items() if name.startswith("test_") and not hasattr(each, "hypothesis")]
    return [(test, case) for test in tests for case in cases(test) if set(inspect.signature(test).parameters) == set(case)]


def load(name: str, tree: ast.Module, path: str) -> ModuleType:
    module = ModuleType(name)
    sys.modules[name] = module
    exec(compile(tree, path, "exec"), vars(module))
    return module


def survives(modules: tuple[str, ...], trees: list[ast.Module], volume: str, tests: list[Any], monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether all tests pass with the modules of these trees in the place of the real ones. One that fails stands first from then on."""
    known = registry.volume
    with monkeypatch.context() as patch:
        for name in modules:
            patch.setitem(sys.modules, name, sys.modules[name])
        try:
            loaded = [load(name, tree, f"{name}, changed") for name, tree in zip(modules, trees, strict=True)]
            patch.setattr(registry, "volume", lambda name: loaded[-1].VOLUME if name == volume else known(name))
        except Exception:
            return False
        for number, (test, case) in enumerate(tests):
            try:
                test(**case)
            except (Exception, pytest.fail.Exception):
                tests.insert(0, tests.pop(number))
                return False
    return True


@pytest.mark.parametrize("volume", DECLARED)
def test_a_changed_number_turns_a_test_red(volume, monkeypatch):
    modules = DECLARED[volume]
    sources = [Path(inspect.getfile(import_module(name))).read_text(encoding="utf-8") for name in modules]
    trees = [ast.parse(source) for source in sources]
    tests = plain_tests(volume)
    assert len(tests) > 25
    assert survives(modules, trees, volume, tests, monkeypatch), "the tests pass on the declarations as they are"
    alive, count = [], 0
    for name, tree in zip(modules, trees, strict=True):
        for constant in constants(tree):
            kept, constant.value = constant.value, changed(constant.value)
            count += 1
            if survives(modules, trees, volume, tests, monkeypatch):
                alive.append(f"{name}:{constant.lineno}: {kept!r} -> {constant.value!r}")
            constant.value = kept
    assert count > 30
    assert not alive, "\n".join(alive)
