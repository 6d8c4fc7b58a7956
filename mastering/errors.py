"""What stops a command: one line for people, and an exit status."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from formats.errors import Problem

if TYPE_CHECKING:
    from pathlib import Path

_FEW = 8  # names that a line has room for


class MasteringError(Exception):
    """The root of this package's errors; its text is one line: what, where, what was expected."""

    status = 2


class ProblemsError(MasteringError):
    """Several things are wrong with a file; each has its own line."""

    def __init__(self, problems: "Sequence[Problem | str]", path: "Path | None" = None) -> None:
        self.problems = tuple(Problem("", each) if isinstance(each, str) else each for each in problems)
        self.lines = tuple(str(problem) if path is None else f"{path}: {problem}" for problem in self.problems)
        super().__init__("\n".join(self.lines))


def unknown(name: str, known: Sequence[str]) -> str:
    """That there is no such name; the nearest there is, in capitals or not; all there are, unless they are many and one is near."""
    from difflib import get_close_matches

    folded = {each.casefold(): each for each in known}
    near = [folded[each] for each in get_close_matches(name.casefold(), folded, 1)]
    meant = [f"did you mean {each}?" for each in near]
    there = [] if near and (len(known) > _FEW or len(known) == 1) else [f"there are {', '.join(known)}"]
    return f"there is no {name!r}; {' '.join(meant + there)}"
