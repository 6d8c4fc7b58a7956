"""The schema's steps: module `mNNNN` holds the statements that lead from version NNNN - 1 to NNNN. A step is never edited."""

from importlib import import_module
from pathlib import Path


def steps(since: int) -> list[tuple[int, tuple[str, ...]]]:
    """The steps behind a version, in order: each one's version and statements."""
    versions = sorted(int(path.stem[1:]) for path in Path(__file__).parent.glob("m[0-9]*.py"))
    return [(version, import_module(f"{__name__}.m{version:04}").STATEMENTS) for version in versions if version > since]


def replays(since: int) -> bool:
    """Whether a step behind a version empties the tables, so that they are filled anew from the log."""
    return any(getattr(import_module(f"{__name__}.m{version:04}"), "REPLAY", False) for version, _ in steps(since))
