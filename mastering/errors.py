"""What stops a command: one line for people, and an exit status."""

from collections.abc import Sequence

_FEW = 8  # names that a line has room for


class MasteringError(Exception):
    """The root of this package's errors; its text is one line: what, where, what was expected."""

    status = 2


class ProblemsError(MasteringError):
    """Several things are wrong; each has its own line."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(problems))


def unknown(name: str, known: Sequence[str]) -> str:
    """That there is no such name; all there are, or of many the nearest."""
    from difflib import get_close_matches

    near = get_close_matches(name, known, 1) if len(known) > _FEW else []
    return f"there is no {name!r}; " + (f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}")
