"""How hypothesis runs: no example is timed; CI repeats the same examples, by hand they are new each time."""

import os

from hypothesis import settings

settings.register_profile("bench", deadline=None, derandomize=os.environ.get("CI") == "true")
settings.load_profile("bench")
