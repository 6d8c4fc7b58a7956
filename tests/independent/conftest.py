"""Lets the files of this folder import the model by its plain name; runs marked `campaign` only when asked for (`pytest -m campaign`)."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))


def pytest_collection_modifyitems(config, items):
    if not config.getoption("-m"):
        long = [item for item in items if item.get_closest_marker("campaign")]
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in long]
