"""Runs marked `campaign` only when asked for (`pytest -m campaign`)."""


def pytest_collection_modifyitems(config, items):
    if not config.getoption("-m"):
        long = [item for item in items if item.get_closest_marker("campaign")]
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in long]
