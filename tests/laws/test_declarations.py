"""A declaration declares: no function, branch or loop, and nothing imported but what it is written in."""

import ast
from pathlib import Path

import pytest

FORMATS = Path(__file__).parents[2] / "formats"
GEOMETRIES = sorted(path for path in (FORMATS / "geometries").glob("*.py") if path.name != "__init__.py")
MAY_IMPORT = {
    "construct",
    "fractions",
    "formats.model.geometry",
    "formats.model.record",
    "formats.geometries.shared.soft_sector",
    "formats.source",
    "formats.geometries.shared.zoned",
}


@pytest.mark.parametrize("path", GEOMETRIES, ids=lambda path: path.stem)
def test_a_geometry_is_a_docstring_imports_and_assignments(path):
    tree = ast.parse(path.read_text())
    assert ast.get_docstring(tree)
    for statement in tree.body[1:]:
        assert isinstance(statement, (ast.ImportFrom, ast.Assign))
        if isinstance(statement, ast.ImportFrom):
            assert statement.module in MAY_IMPORT
    loops = (ast.Lambda, ast.IfExp, ast.ListComp, ast.GeneratorExp, ast.DictComp, ast.SetComp)
    assert not [node for node in ast.walk(tree) if isinstance(node, loops)]
    last = tree.body[-1]
    assert isinstance(last, ast.Assign) and isinstance(last.targets[0], ast.Name) and last.targets[0].id == "GEOMETRY"


@pytest.mark.parametrize("path", GEOMETRIES, ids=lambda path: path.stem)
def test_a_geometry_fits_a_screen(path):
    assert len(path.read_text().splitlines()) <= 75


IMPLEMENTATIONS = sorted(
    path
    for kind in ("codes", "geometries", "volumes", "containers")
    for path in (FORMATS / kind).glob("*.py")
    if path.name != "__init__.py"
)


@pytest.mark.parametrize("path", IMPLEMENTATIONS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_an_implementation_imports_no_sibling_and_an_interface_no_implementation(path):
    kind = path.parent.name
    imported = {node.module or "" for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.ImportFrom)}
    of_its_kind = {name for name in imported if name.startswith(f"formats.{kind}.") and not name.startswith(f"formats.{kind}.shared")}
    assert of_its_kind <= {f"formats.{kind}.interface"} - {f"formats.{kind}.{path.stem}"}


@pytest.mark.parametrize("shared", ["formats.geometries.shared.soft_sector", "formats.geometries.shared.zoned"])
def test_what_declarations_are_written_in_is_imported_by_them_alone(shared):
    """It loads construct, which judging a read-back does without."""
    importing = {
        path
        for path in FORMATS.parent.glob("[fm]*/**/*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom) and node.module == shared
    }
    assert importing and importing <= set(GEOMETRIES)
