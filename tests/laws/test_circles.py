"""No module of ours imports itself by way of others, at its top or in a function; what declarations stand on, not for types either."""

import grimp
import pytest


def circles(package: str, types: bool) -> list[list[str]]:
    """The groups of modules that lead to each other; `types`: imports for types alone count too."""
    graph = grimp.build_graph(package, include_external_packages=False, exclude_type_checking_imports=not types, cache_dir=None)
    reach = {module: graph.find_upstream_modules(module) for module in graph.modules}
    groups = {tuple(sorted({module, *(other for other in reach[module] if module in reach[other])})) for module in graph.modules}
    return [list(group) for group in sorted(groups) if len(group) > 1]


OPEN = [["mastering.ledger.exchange", "mastering.ledger.store"]]  # the ledger's to part


@pytest.mark.parametrize(("package", "types"), [("formats", True), ("mastering", False)])
def test_no_imports_run_in_a_circle(package, types):
    assert [circle for circle in circles(package, types) if circle not in OPEN] == []
