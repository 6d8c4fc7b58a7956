"""What can be wrong with a declaration, a file or a volume."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong: `where` names its place (a dotted key, a file, a sector), `what` says it in plain words.

    `beside`: another such place, with which the sentence ends.
    """

    where: str
    what: str
    beside: str = ""

    def __str__(self) -> str:
        sentence = f"{self.what} {self.beside}" if self.beside else self.what
        return f"{self.where}: {sentence}" if self.where else sentence


class FormatsError(Exception):
    """The root of this package's errors; its text is one line for people."""


class DefinitionError(FormatsError):
    """A declaration contradicts itself: our mistake, or that of whoever declared it."""

    def __init__(self, name: str, problems: Sequence[Problem]) -> None:
        self.name = name
        self.problems = tuple(problems)
        super().__init__(f"{name}: {'; '.join(map(str, problems))}")


class DeclarationWarning(UserWarning):
    """A declaration of another package can't be used, and what was asked for is done without it."""


class ContainerError(FormatsError):
    """A file is not the container that it should be: what, and at which byte."""


class VolumeError(FormatsError):
    """A volume can't be built or read; all its problems at once."""

    def __init__(self, *problems: Problem) -> None:
        self.problems = problems
        super().__init__("; ".join(str(problem) for problem in problems))
