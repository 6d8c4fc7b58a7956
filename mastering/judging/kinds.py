"""What can be wrong with a sector or with a whole read-back: one declaration for each kind of finding and each diagnosis.

A new kind is a line here and the rule that finds it; lists, actions and words follow from its declaration.
"""

from dataclasses import dataclass
from typing import Literal

Action = Literal["box", "read-again", "turn-over", "write-again", "ask"]


@dataclass(frozen=True)
class Kind:
    """A kind of finding. `words`: what it says of a sector; `written_wrong`: only writing can change it, reading once more can't."""

    id: str
    words: str
    written_wrong: bool = False


@dataclass(frozen=True)
class Diagnosis:
    """What explains a whole read-back. `hands`: what to do with the disc; `read`: what the read-back is, for a line that says only that.

    Both are sentences; {} stands for the masters' sides that the disc is. `of_cells`: another action and sentence for the hands where
    the read-back is a capture.
    """

    id: str
    action: Action
    hands: str
    read: str
    of_cells: tuple[Action, str] | None = None

    def asks_for(self, evidence: str) -> tuple[Action, str]:
        """The action and the sentence for the hands, of a read-back with this evidence."""
        return self.of_cells if self.of_cells and evidence in ("cells", "flux") else (self.action, self.hands)


# In the order in which one sector's sightings are judged: the first that applies is the sector's.
FINDINGS = (
    Kind("differs", "other bytes than the master's"),
    Kind("data-mark", "marked as deleted data", written_wrong=True),
    Kind("identity", "its identifier names another disc", written_wrong=True),
    Kind("serial", "no serial of this title in its place", written_wrong=True),
    Kind("soft", "good only some of the time"),
    Kind("density", "right, but at a density that no such machine reads", written_wrong=True),
    Kind("block-check", "its data fails its check"),
    Kind("no-block", "an identifier without data after it"),
    Kind("identifier-check", "its identifier fails its check"),
    Kind("misplaced", "numbered as on another track"),
    Kind("absent", "never met"),
    Kind("unread", "the reader gave up on it"),
    Kind("not-tried", "not read at all"),
)

DIAGNOSES = (
    Diagnosis("blank", "write-again", "Write it: nothing is recorded on it.", "nothing is recorded on it, or its reader met nothing"),
    Diagnosis("other-side", "turn-over", "Turn it over: this is {}.", "it was the wrong way up: this is {}, so this read does not count"),
    Diagnosis("other-master", "ask", "Ask where it came from: this is {}.", "it carries {}: put this one aside and ask where it came from"),
    Diagnosis(
        "other-geometry",
        "ask",
        "Ask where it came from: it is recorded for another machine.",
        "it is recorded for another machine: put this one aside and ask where it came from",
    ),
    Diagnosis(
        "shifted",
        "read-again",
        "Read it again: the reader left sectors out.",
        "sectors hold those of later ones",
        of_cells=("write-again", "Write it again: sectors were left out."),
    ),
    Diagnosis("short", "read-again", "Read it again: the reading ended early.", "the reading ended early, so this read does not count"),
)
