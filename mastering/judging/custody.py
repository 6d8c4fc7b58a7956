"""How a whole disc stands: its verdict, whether it is rejected for good, whether it is decided. Pure rules over the rows of one disc."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from mastering.judging.standing import ORDER, RANK, DiscRows, SideStanding, Standing, is_spent, settling, side_standing


@dataclass(frozen=True)
class DiscStanding:
    """A disc's verdict and what it rests on. `spent_sides`: those whose last allowed writing will never pass, which rejects the disc.

    `read`: some read of it settles something.
    """

    verdict: Standing
    sides: Mapping[str, SideStanding]
    by_eye: bool
    spent_sides: tuple[str, ...]
    read: bool

    @property
    def rejected(self) -> bool:
        """Whether it is rejected, by eye or for good."""
        return self.by_eye or bool(self.spent_sides)

    @property
    def decided(self) -> bool:
        """Whether it is finished, good or rejected."""
        return self.verdict == "pass" or self.rejected

    @property
    def working(self) -> bool:
        """Whether a read of it counts, and it is neither good nor rejected."""
        return self.read and not self.decided


def disc_standing(rows: DiscRows) -> DiscStanding:
    """How a disc stands."""
    sides = {side: side_standing(rows, side) for side in rows.sides}
    by_eye, spent = is_rejected_by_eye(rows), tuple(side for side in rows.sides if is_spent_for_good(rows, side))
    read = any(settling(rows, writing) for writing in rows.writings if writing.number >= rows.first_number(writing.side))
    return DiscStanding(joined((side.verdict for side in sides.values()), by_eye or bool(spent)), sides, by_eye, spent, read)


def joined(verdicts: Iterable[Standing], rejected: bool = False) -> Standing:
    """A disc's verdict: `fail` when it is rejected or a side fails, else `open`, `marginal` or `pass` as the worst side is."""
    return "fail" if rejected else ORDER[max(RANK[verdict] for verdict in verdicts)]


def is_rejected_by_eye(rows: DiscRows) -> bool:
    """Whether it was rejected by eye and not restored since."""
    return max(rows.rejects, default=0) > max(rows.restores, default=0)


def allowed_writings(rows: DiscRows) -> int:
    """How often each side may be written since the disc's newest rework: each restore allows one more writing."""
    since = rows.rework.row if rows.rework else 0
    return 1 + rows.rewrites + sum(row > since for row in rows.restores)


def is_spent_for_good(rows: DiscRows, side: str) -> bool:
    """Whether the last allowed writing of a side will never pass. A writing beyond it, which no command makes, takes nothing back."""
    first = rows.first_number(side)
    last = first + allowed_writings(rows) - 1
    return any(is_spent(settling(rows, writing), writing) for writing in rows.writings_of(side) if writing.number >= last)
