"""Where a sector was missed on a track, and how far apart what comes once a turn mostly lies. Positions and lengths are in cells."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Places = npt.NDArray[np.int64]

NOT_HERE = -1


@dataclass(frozen=True, eq=False)
class Gaps:
    """Where a sector was missed: its stretch, its column in the stretch's sectors, and the cells between which it was not met."""

    stretch: Places
    column: Places
    after: Places
    before: Places

    def only_one_at(self, stretch: Places, start: Places) -> Places:
        """For each place the column of the one sector that is missed there, -1 where none or several are.

        Gaps begun before a place less those ended there are the gaps around it; the sums of their columns tell the only one's.
        """
        reach = int(max(self.before.max(initial=0), start.max(initial=0))) + 2
        at = stretch * reach + start + 1
        counts, columns = np.zeros(len(at), np.int64), np.zeros(len(at), np.int64)
        for edge, sign, side in ((self.after, 1, "left"), (self.before, -1, "right")):
            keys = self.stretch * reach + edge + 1
            order = np.argsort(keys, kind="stable")
            sums = np.concatenate(([0], np.cumsum(self.column[order])))
            passed = np.searchsorted(keys[order], at, side=side)  # type: ignore[call-overload]
            counts += sign * passed
            columns += sign * sums[passed]
        return np.where(counts == 1, columns, NOT_HERE)


def usual_distance(distances: Places) -> tuple[float, int]:
    """The distance that most of some share within a fiftieth (of several the longest), and how many do; 0 without any."""
    if not len(distances):
        return 0, 0
    ordered = np.sort(distances)
    shared = np.searchsorted(ordered, ordered * 1.02, side="right") - np.searchsorted(ordered, ordered * 0.98)
    best = len(ordered) - 1 - int(np.argmax(shared[::-1]))
    return float(ordered[best]), int(shared[best])
