"""A plain second-order phase-locked loop: what a machine's own circuit does with the times between transitions, a second opinion.

It stands for a customer's drive in the margin and in the tests: causal, without knowledge of the code or of peak shift.
"""

from collections.abc import Iterable

PHASE_GAIN = 0.04  # share of a residual by which the clock is moved
SPEED_GAIN = 0.0004  # share of it by which the cell's length changes


def runs(intervals: Iterable[float], cell_ns: float, phase_gain: float = PHASE_GAIN, speed_gain: float = SPEED_GAIN) -> list[int]:
    """Cells from each transition to the next, as the loop counts them; `intervals` and `cell_ns` in ns."""
    made = []
    length, left = cell_ns, 0.0  # left: how long before the transition the clock's cell was due
    for interval in intervals:
        seen = interval + left
        cells = int(seen / length + 0.5)
        off = seen - cells * length
        if cells <= 8:
            length += speed_gain * off
            left = off * (1 - phase_gain)
        else:
            left = 0.0  # nothing was recorded there: the clock begins anew
        made.append(cells)
    return made
