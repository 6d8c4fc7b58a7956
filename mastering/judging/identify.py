"""What a disc is: which master's side it carries, how much of it, and which serial. Opens no file.

A sector speaks for a side when it is sound and the side's bytes, and no reader's filler could have made them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mastering.judging.compare import Flags, Judged, Target
from mastering.judging.diagnose import same_layout
from mastering.judging.evidence import ReadBack
from mastering.judging.verdict import Evidence
from mastering.master.master import Master
from mastering.master.serial import is_serial

_LEAST = 4  # sectors that must speak for a side, unless all of it is there


@dataclass(frozen=True)
class Match:
    """A side that a read-back carries. `proven`: by place in the dump, the sectors that no reader's filler can have put there."""

    master: Master
    target: Target
    judged: Judged
    proven: Flags

    @property
    def label(self) -> str:
        """Title, revision and side."""
        return f"{self.master.label} {self.target.name}"

    @cached_property
    def equal(self) -> int:
        """How many of its sectors are sound and equal."""
        return int(np.count_nonzero(self.judged.equal))

    @property
    def of(self) -> int:
        """How many sectors the side has."""
        return len(self.target.rows)

    @property
    def share(self) -> float:
        """Which part of its sectors is sound and equal."""
        return self.equal / self.of

    @property
    def serial(self) -> str | None:
        """The serial that was read soundly from its slot."""
        return self.judged.serial

    @cached_property
    def foreign(self) -> int:
        """How many of its sectors hold something else; those left out that look like a reader's mistake or filler."""
        return len(self.judged.differing) - len(self.judged.looks)

    @cached_property
    def rank(self) -> tuple[float, float, bool, str]:
        """What matches are sorted by, the best one first."""
        return -int(np.count_nonzero(self.proven)) / self.of, -self.share, self.serial is None, self.label

    @property
    def speaks(self) -> bool:
        """Whether enough of it is there to say that it is on the disc."""
        return self.equal == self.of or int(np.count_nonzero(self.judged.equal & ~self.target.fillable)) >= _LEAST

    def more_than(self, other: "Match") -> int:
        """How many of this match's proven sectors are not among the other's; both have the same layout."""
        return int(np.count_nonzero(self.proven & ~other.judged.equal))


@dataclass(frozen=True)
class Identified:
    """What a read-back turned out to be.

    `matches`: the sides that it carries, the best one first; `alike`: the first of them, and those that share every sector that was
    read with it, so that they can't be told apart; `unsure`: a serial that was read from a sector which fails its check.
    Where nothing matches: `recorded`, the declared geometry of which most sectors are sound, how many those are, and of how many;
    `blank`: nothing is recorded at all, or one value throughout.
    """

    readback: str
    evidence: Evidence
    matches: tuple[Match, ...]
    alike: tuple[Match, ...]
    unsure: str | None
    recorded: tuple[str, int, int] | None = None
    blank: bool = False

    @property
    def serial(self) -> str | None:
        """The serial on the disc, where it was read soundly from a best match's slot."""
        return next((match.serial for match in self.alike if match.serial), None)

    @property
    def certain(self) -> bool:
        """Whether one master's side alone is the best match, and most of what was read is that side's."""
        return len(self.alike) == 1 and self.alike[0].equal > self.alike[0].foreign

    @property
    def mixed(self) -> tuple[Match, int] | None:
        """Another match of which some sectors are on it where the best one's should be, and how many; None when there is none."""
        rivals = [match for match in self.matches[1:] if same_layout(match.target, self.matches[0].target)]
        counts = [(match, match.more_than(self.matches[0])) for match in rivals if match not in self.alike]
        return max((each for each in counts if each[1]), key=lambda each: each[1], default=None)


def identify(readback: ReadBack, masters: Iterable[Master]) -> Identified:
    """Holds a read-back against every side of every master at hand."""
    matches: list[Match] = []
    for master in masters:
        for side in master.sides.values():
            target = Target(side, master.catalogue)
            judged = readback.judged(target) if readback.could_be(target) else None
            if judged is not None:
                proven = judged.equal & ~target.fillable if readback.evidence == "dump" else judged.equal
                matches.append(Match(master, target, judged, proven))
    matches = sorted((match for match in matches if match.speaks), key=lambda match: match.rank)
    if not matches:
        recorded = readback.recorded()
        return Identified(readback.name, readback.evidence, (), (), None, recorded, readback.is_empty and recorded is None)
    alike = tuple(match for match in matches if match is matches[0] or not _apart(match, matches[0]))
    known = any(match.serial for match in alike)
    return Identified(readback.name, readback.evidence, tuple(matches), alike, None if known else _unsure(readback, alike))


def _apart(match: Match, best: Match) -> bool:
    """Whether anything that was read tells a match from the best one."""
    if not same_layout(match.target, best.target):
        return match.share < best.share
    return best.more_than(match) > 0 or (best.serial is not None and match.target.slot is not None and match.serial != best.serial)


def _unsure(readback: ReadBack, alike: Sequence[Match]) -> str | None:
    """A legal serial in the slot's bytes of a sector that was not sound; None unless there is just one."""
    texts = {text for match in alike for text in _slot_texts(readback, match.target)}
    return texts.pop() if len(texts) == 1 else None


def _slot_texts(readback: ReadBack, target: Target) -> Iterable[str]:
    if target.slot is None:
        return
    _, first, last = target.slot
    for row in readback.unsound_rows(target):
        text = row[first:last].decode("latin-1").rstrip(" ")
        if is_serial(text, target.catalogue):
            yield text
