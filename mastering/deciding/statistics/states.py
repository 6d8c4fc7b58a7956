"""Where each lot and drive in use stands: the discs that its chart counts, its score, and whether an alarm is a run of failures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Self

import numpy as np

from mastering.deciding.statistics.arrays import Flags, Ints
from mastering.deciding.statistics.charts import Chart, ChartPosition, drive_chart, lot_chart, read_drive, scores
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.runs import FailureRun, find_run, stopped_at
from mastering.deciding.statistics.settings import Settings

USUAL_LOT = 100  # blanks of a lot whose count nobody gave
EXACT = 200  # up to so many blanks a lot has its own stop line; larger ones share those of 500 and 1,000


@dataclass(frozen=True)
class InUse:
    """What is asked about. `lots`: the blanks that each lot had, None where unknown; `batches`: the good discs that each batch wants.

    `since`: where the chart of a lot or drive begins anew, at a lot's release or a drive's last cleaning, adjustment or repair: a number
    on the scale of the history's `first_read` (lots) or `written` (drives), such as {("drive", "D1"): 120}.
    `set_aside`: lots that a person stopped and drives on hold, by kind and name. `repairs`: how
    often each drive was adjusted or repaired.
    """

    lots: Mapping[str, int | None] = field(default_factory=dict)
    drives: Sequence[str] = ()
    batches: Mapping[str, int] = field(default_factory=dict)
    since: Mapping[tuple[str, str], int] = field(default_factory=dict)
    set_aside: frozenset[tuple[str, str]] = frozenset()
    repairs: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class State:
    """A lot or drive: the discs that count for it by their numbers in the history, which of them failed, and where its chart begins.

    `begins`: how many of the discs lie before the chart's first one; `working`: discs that are neither passed nor rejected.
    """

    kind: str
    name: str
    discs: Ints
    failed: Flags
    begins: int
    chart: Chart
    settings: Settings
    working: int = 0

    @cached_property
    def charted(self) -> Flags:
        """Which of the discs that the chart counts failed."""
        return self.failed[self.begins :]

    @property
    def bad(self) -> int:
        """How many of all discs failed."""
        return int(self.failed.sum())

    @cached_property
    def run(self) -> FailureRun | None:
        """The run that set off the chart, counted from the chart's first disc; None without an alarm, or where it is no run."""
        return find_run(self.charted, self.settings) if self.rings else None

    @property
    def rings(self) -> bool:
        """Whether the chart says that something is wrong now."""
        raise NotImplementedError

    @property
    def climbed(self) -> int:
        """The first disc, in the chart, of the climb that ended in the alarm."""
        raise NotImplementedError

    @property
    def alarm(self) -> int:
        """The disc, in the chart, at which it alarmed."""
        raise NotImplementedError

    def without(self, discs: Ints) -> Self:
        """The same lot or drive with some discs of the history left out."""
        kept = ~np.isin(self.discs, discs)
        begins = int(kept[: self.begins].sum())
        return replace(self, discs=self.discs[kept], failed=self.failed[kept], begins=begins)

    @property
    def onset(self) -> int:
        """The disc at which the climb began, by its number in the history."""
        return int(self.discs[self.begins + self.climbed])

    @property
    def alarmed_at(self) -> int:
        """The disc at which the chart alarmed, by its number in the history."""
        return int(self.discs[self.begins + self.alarm])


class LotState(State):
    """A lot's decided discs, which passed in the end or were rejected, in the order of their first reads."""

    @cached_property
    def scores(self) -> Ints:
        """The score after each disc that the chart counts."""
        return scores(self.chart, self.charted)

    @cached_property
    def stopped(self) -> int | None:
        """The disc, in the chart, at which the lot is stopped for good."""
        return stopped_at(self.chart, self.charted, self.settings)

    @property
    def rings(self) -> bool:
        """Whether the lot is stopped, or over the line because of a run."""
        return self.stopped is not None or (len(self.scores) > 0 and bool(self.scores[-1] >= self.chart.stop))

    @cached_property
    def run(self) -> FailureRun | None:
        """The run that holds the score over the line of a lot that isn't stopped."""
        return find_run(self.charted, self.settings) if self.rings and self.stopped is None else None

    @property
    def alarm(self) -> int:
        """The disc, in the chart, at which the lot was stopped, or last crossed the line."""
        return self.stopped if self.stopped is not None else int(np.flatnonzero(self.scores >= self.chart.stop)[-1])

    @property
    def climbed(self) -> int:
        """The disc after the last score of 0 before the alarm."""
        zeros = np.flatnonzero(self.scores[: self.alarm] == 0)
        return int(zeros[-1]) + 1 if len(zeros) else 0


class DriveState(State):
    """The discs that a drive wrote first, in their order; a disc failed where a surface that the drive wrote failed its first read."""

    @cached_property
    def position(self) -> ChartPosition:
        """Where the drive's chart stands."""
        return read_drive(self.chart, self.charted)

    @property
    def rings(self) -> bool:
        """Whether there was an alarm that later good discs have not outweighed."""
        return self.position.alarm is not None

    @property
    def alarm(self) -> int:
        """The disc, in the chart, at which it alarmed."""
        if self.position.alarm is None:
            raise ValueError(f"drive {self.name}: its chart has not alarmed")
        return self.position.alarm

    @property
    def climbed(self) -> int:
        """The disc after the last score of 0 before the alarm."""
        return self.position.since


def read_lots(history: History, in_use: InUse, settings: Settings) -> list[LotState]:
    """The state of every lot in use."""
    states = []
    for name, count in in_use.lots.items():
        discs = history.of_lot(name)
        decided = discs[history.decided[discs]]
        begins = int((history.first_read[decided] < in_use.since.get(("lot", name), 0)).sum())
        chart = lot_chart(settings.tolerable, settings.bad, charted_blanks(count), settings.false_stop)
        working = int(history.working[discs].sum())
        states.append(LotState("lot", name, decided, history.bad[decided], begins, chart, settings, working))
    return states


def read_drives(history: History, in_use: InUse, settings: Settings) -> list[DriveState]:
    """The state of every drive in use."""
    chart = drive_chart(settings.tolerable, settings.bad, settings.false_alarm_discs)
    states = []
    for name in in_use.drives:
        discs, failed = history.of_drive(name)
        begins = int((history.written[discs] < in_use.since.get(("drive", name), 0)).sum())
        working = int(history.working[discs].sum())
        states.append(DriveState("drive", name, discs, failed, begins, chart, settings, working))
    return states


def charted_blanks(count: int | None) -> int:
    """The number of blanks for which a lot's stop line is drawn."""
    blanks = count or USUAL_LOT
    return blanks if blanks <= EXACT else 500 if blanks <= 500 else 1000
