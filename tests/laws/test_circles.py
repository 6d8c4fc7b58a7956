"""No module of ours imports itself by way of others: not at the top, not in a function, not for types alone."""

import grimp
import pytest


def circles(package: str) -> list[list[str]]:
    """The groups of modules that lead to each other."""
    graph = grimp.build_graph(package, include_external_packages=False, exclude_type_checking_imports=False, cache_dir=None)
    reach = {module: graph.find_upstream_modules(module) for module in graph.modules}
    groups = {tuple(sorted({module, *(other for other in reach[module] if module in reach[other])})) for module in graph.modules}
    return [list(group) for group in sorted(groups) if len(group) > 1]


OPEN = [["mastering.ledger.exchange", "mastering.ledger.store"]]  # to be mended with the ledger's rooms


@pytest.mark.parametrize("package", ["formats", "mastering"])
def test_no_imports_run_in_a_circle(package):
    assert [circle for circle in circles(package) if circle not in OPEN] == []
