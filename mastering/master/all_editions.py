"""A job file to what is built of it: the job itself and each of its editions."""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from formats.errors import Problem
from formats.volumes.shared.problems import Problems
from mastering.errors import ProblemsError
from mastering.job.editions import PLAIN, Variant, variants
from mastering.job.job import load, parse_file
from mastering.master.builder import Built, build


def build_all(path: Path, each: Callable[[Sequence[Variant]], Iterable[Variant]] = iter) -> dict[str, Built]:
    """The job in a file and each of its editions, built, by name; the job itself is `PLAIN` and the first.

    `each` is given all variants and gives them back one by one, to show how far it is.

    ProblemsError with every problem of all of them at once; MasteringError when the file is no TOML at all.
    """
    raw = parse_file(path)
    of_editions = Problems()
    builds: dict[str, Built] = {}
    reported: dict[Problem, None] = {}  # what is wrong with the job itself is reported once
    for variant in each([Variant(PLAIN, raw), *variants(raw, of_editions)]):
        edition = None if variant.name == PLAIN else variant.name
        try:
            builds[variant.name] = build(load(path, variant.raw, edition))
        except ProblemsError as error:
            for problem in map(variant.placed, error.problems):
                own = edition is None or problem.where.startswith(f"edition.{edition}.")
                if problem not in reported:
                    reported[problem if own else Problem(f"edition.{edition}", str(problem))] = None
    if reported or of_editions:
        raise ProblemsError([*reported, *of_editions], path)
    return builds
