"""How hypothesis runs: no example is timed; CI repeats the same examples, by hand they are new each time.

Runs marked `campaign` only when asked for (`pytest -m campaign`).
"""

import os

import pytest
from hypothesis import settings
from shared_demo import shared_demo

os.environ["COLUMNS"] = "400"  # sentences stay on one line; how they wrap is tested where the screen is
os.environ["TZ"] = "UTC"

settings.register_profile("bench", deadline=None, derandomize=os.environ.get("CI") == "true")
settings.load_profile("bench")


def pytest_collection_modifyitems(config, items):
    if not config.getoption("-m"):
        long = [item for item in items if item.get_closest_marker("campaign")]
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if not item.get_closest_marker("campaign")]


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The folder with the demo's shop, which is only read, and what the demo printed."""
    return shared_demo(tmp_path_factory)
