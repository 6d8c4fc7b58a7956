"""What a disc is: which master's side it carries, how much of it, and which serial. Opens no file.

A sector speaks for a side when it is sound and the side's bytes, and no reader's filler could have made them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from mastering.compare import Judged, Target
from mastering.diagnose import distance
from mastering.master import Master
from mastering.serial import is_serial
from mastering.verdict import Evidence
from mastering.view import View

_LEAST = 4  # sectors that must speak for a side, unless all of it is there


@dataclass(frozen=True)
class Match:
    """A side that a read-back carries. `share`: of its sectors, sound and equal; `of` how many there are."""

    master: Master
    target: Target
    share: float
    equal: int
    serial: str | None

    @property
    def label(self) -> str:
        """Title, revision and side."""
        return f"{self.master.label} {self.target.name}"

    @property
    def of(self) -> int:
        """How many sectors the side has."""
        return len(self.target.rows)


@dataclass(frozen=True)
class Identified:
    """What is known of a read-back: the best match stands first. `unsure`: a serial that was read from a sector which fails its check."""

    readback: str
    evidence: Evidence
    matches: tuple[Match, ...]
    alike: tuple[Match, ...]
    unsure: str | None

    @property
    def serial(self) -> str | None:
        """The serial on the disc, where it was read soundly from a best match's slot."""
        return next((match.serial for match in self.alike if match.serial), None)

    @property
    def certain(self) -> bool:
        """Whether one master's side alone is the best match."""
        return len(self.alike) == 1


def identify(view: View, masters: Iterable[Master]) -> Identified:
    """Holds a read-back against every side of every master at hand."""
    found: list[Match] = []
    judgements: dict[Target, Judged] = {}
    for master in masters:
        for side in master.sides.values():
            target = Target(side, master.catalogue)
            judged = view.judged(target)
            if judged is None:
                continue
            equal = int(np.count_nonzero(judged.equal))
            if int(np.count_nonzero(judged.equal & ~target.fillable)) >= _LEAST or equal == len(target.rows):
                found.append(Match(master, target, equal / len(target.rows), equal, judged.serial))
                judgements[target] = judged
    found.sort(key=lambda match: (-match.share, match.label))
    alike = tuple(match for match in found[:1]) + tuple(match for match in found[1:] if not _apart(match, found[0], judgements))
    serial = next((match.serial for match in alike if match.serial), None)
    unsure = None if serial or not alike else _unsure(view, alike)
    return Identified(view.name, view.evidence, tuple(found), alike, unsure)


def _apart(match: Match, best: Match, judgements: dict[Target, Judged]) -> bool:
    """Whether some sector that was read tells a match from the best one."""
    if match.share < best.share:
        return True
    differing = distance(best.target, match.target).differing
    if len(differing) != len(judgements[match.target].equal):
        return True
    return bool((judgements[best.target].equal & ~judgements[match.target].equal & differing).any())


def _unsure(view: View, alike: Sequence[Match]) -> str | None:
    """A legal serial in the slot's bytes of a sector that was not sound; None unless there is just one."""
    texts = {text for match in alike for text in _slot_texts(view, match.target)}
    return texts.pop() if len(texts) == 1 else None


def _slot_texts(view: View, target: Target) -> Iterable[str]:
    if target.slot is None:
        return
    _, first, last = target.slot
    for row in view.unsound_rows(target):
        text = row[first:last].decode("latin-1").rstrip(" ")
        if is_serial(text, target.catalogue):
            yield text
