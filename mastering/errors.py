"""What stops a command: one line for people, and an exit status."""

from collections.abc import Sequence


class MasteringError(Exception):
    """The root of this package's errors; its text is one line: what, where, what was expected."""

    status = 2


class ProblemsError(MasteringError):
    """Several things are wrong; each has its own line."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(problems))
