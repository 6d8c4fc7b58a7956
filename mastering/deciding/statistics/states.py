"""Where each lot and drive in use stands: its discs, its chart, and whether what rang is a run."""

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
    """What is asked about. `lots`: the blanks that each had, None where unknown; `batches`: the good discs that each wants.

    `since`: how many discs of the history lie before a lot's release or a drive's last cleaning, adjustment or repair, where its
    chart begins anew: {("drive", "D1"): 120}.
    """

    lots: Mapping[str, int | None] = field(default_factory=dict)
    drives: Sequence[str] = ()
    batches: Mapping[str, int] = field(default_factory=dict)
    since: Mapping[tuple[str, str], int] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class State:
    """A lot or drive: its discs by their numbers in the history, which of them failed, and from which of them on its chart counts."""

    kind: str
    name: str
    discs: Ints
    failed: Flags
    begins: int
    chart: Chart
    settings: Settings

    @cached_property
    def charted(self) -> Flags:
        """The discs that the chart counts."""
        return self.failed[self.begins :]

    @property
    def bad(self) -> int:
        """How many failed in all."""
        return int(self.failed.sum())

    @cached_property
    def run(self) -> FailureRun | None:
        """The run that rang the chart, counted from the chart's first disc; None when nothing rang or it is no run."""
        return find_run(self.charted, self.settings) if self.rings else None

    @property
    def rings(self) -> bool:
        """Whether the chart says that something is wrong now."""
        raise NotImplementedError

    @property
    def climbed(self) -> int:
        """The first disc, in the chart, of the climb that rang."""
        raise NotImplementedError

    def without(self, discs: Ints) -> Self:
        """The same with some discs of the history left out."""
        kept = ~np.isin(self.discs, discs)
        begins = int(kept[: self.begins].sum())
        return replace(self, discs=self.discs[kept], failed=self.failed[kept], begins=begins)

    @property
    def onset(self) -> int:
        """The same as a number in the history."""
        return int(self.discs[self.begins + self.climbed])


class LotState(State):
    """A lot's blanks, in the end good or bad."""

    @cached_property
    def scores(self) -> Ints:
        """After each disc that the chart counts."""
        return scores(self.chart, self.charted)

    @cached_property
    def stopped(self) -> int | None:
        """The disc, in the chart, at which the lot is stopped for good."""
        return stopped_at(self.chart, self.charted, self.settings)

    @property
    def rings(self) -> bool:
        """Stopped, or over the line because of a run."""
        return self.stopped is not None or (len(self.scores) > 0 and bool(self.scores[-1] >= self.chart.stop))

    @cached_property
    def run(self) -> FailureRun | None:
        """The run that holds the score over the line of a lot that isn't stopped."""
        return find_run(self.charted, self.settings) if self.rings and self.stopped is None else None

    @property
    def climbed(self) -> int:
        """Behind the last 0 before the stop line."""
        end = self.stopped if self.stopped is not None else int(np.flatnonzero(self.scores >= self.chart.stop)[-1])
        zeros = np.flatnonzero(self.scores[:end] == 0)
        return int(zeros[-1]) + 1 if len(zeros) else 0


class DriveState(State):
    """The discs that a drive wrote first; they failed on a surface that it wrote."""

    @cached_property
    def position(self) -> ChartPosition:
        """Where its chart stands."""
        return read_drive(self.chart, self.charted)

    @property
    def rings(self) -> bool:
        """Since an alarm that later discs have not outweighed."""
        return self.position.alarm is not None

    @property
    def climbed(self) -> int:
        """Behind the last 0 before the alarm."""
        return self.position.since


def read_lots(history: History, in_use: InUse, settings: Settings) -> list[LotState]:
    """Every lot in use."""
    made = []
    for name, count in in_use.lots.items():
        discs = history.of_lot(name)
        begins = int(np.searchsorted(discs, in_use.since.get(("lot", name), 0)))
        chart = lot_chart(settings.tolerable, settings.bad, charted_blanks(count), settings.false_stop)
        made.append(LotState("lot", name, discs, history.bad[discs], begins, chart, settings))
    return made


def read_drives(history: History, in_use: InUse, settings: Settings) -> list[DriveState]:
    """Every drive in use."""
    chart = drive_chart(settings.tolerable, settings.bad, settings.false_alarm_discs)
    made = []
    for name in in_use.drives:
        discs, failed = history.of_drive(name)
        begins = int(np.searchsorted(discs, in_use.since.get(("drive", name), 0)))
        made.append(DriveState("drive", name, discs, failed, begins, chart, settings))
    return made


def charted_blanks(count: int | None) -> int:
    """For how many blanks a lot's stop line is drawn."""
    blanks = count or USUAL_LOT
    return blanks if blanks <= EXACT else 500 if blanks <= 500 else 1000
