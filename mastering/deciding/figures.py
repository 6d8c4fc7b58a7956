"""The figures that a lot's, a drive's or a batch's advice rests on, by name: the `why` of `advise --json`."""

from typing import Any

import numpy as np

from mastering.deciding.rates import wilson
from mastering.deciding.reasons import Worse
from mastering.deciding.statistics import comparisons
from mastering.deciding.statistics.history import History
from mastering.deciding.statistics.states import DriveState, LotState, State

Figures = dict[str, Any]


def of_share(bad: int, discs: int) -> Figures:
    """A rate with its interval; nothing without discs."""
    if not discs:
        return {}
    low, high = wilson(bad, discs)
    return {"rate": bad / discs, "low": low, "high": high, "confidence": 0.95}


def of_lot(state: LotState) -> Figures:
    """A lot's rate, its chart, and the weight of the evidence against it; discs are counted from 1."""
    figures = of_share(state.bad, len(state.discs)) | {"fail_adds": state.chart.fail, "stop_line": state.chart.stop}
    figures |= {"score": score_now(state), "false_stop": state.settings.false_stop}
    figures |= {} if state.stopped is None else {"stopped_at": state.begins + state.stopped + 1}
    figures["log_evidence"] = comparisons.evidence_ratio(int(state.charted.sum()), len(state.charted), state.settings.tolerable)
    return figures | _of_run(state)


def of_drive(state: DriveState) -> Figures:
    """A drive's rate and its chart, and since when it is worse; discs are counted from 1."""
    figures = of_share(state.bad, len(state.discs)) | {"fail_adds": state.chart.fail, "stop_line": state.chart.stop}
    figures["score"] = state.position.score
    if state.rings:
        since = worse(state)
        figures |= {"since_disc": since.since, "since": {"bad": since.bad, "discs": since.discs}}
        figures["before"] = {"bad": since.bad_before, "discs": since.discs_before}
    return figures | _of_run(state)


def of_pairs(history: History, state: State) -> Figures:
    """The discs of a lot or drive that failed and that another drive then wrote again: how many failed again, and McNemar's exact chance.

    A pair is one disc on the two drives. `p`: the chance of as many that failed on the first and passed on the other as there are, were
    both alike.
    """
    rows = np.isin(history.again_disc, state.discs) & np.isin(history.again_disc, np.unique(history.disc[history.failed]))
    written = int(rows.sum())
    if not written:
        return {}
    again = int(history.again_failed[rows].sum())
    return {"again": {"written": written, "failed": again, "p": comparisons.mcnemar(written - again, 0)}}


def score_now(state: LotState) -> int:
    """A lot's score after its latest disc, or where its chart starts."""
    return int(state.scores[-1]) if len(state.scores) else state.chart.start


def worse(state: State) -> Worse:
    """A lot's or drive's failures since its chart began to climb, and before."""
    begins = state.begins + state.climbed
    before, after = state.failed[:begins], state.failed[begins:]
    return Worse(begins + 1, int(after.sum()), len(after), int(before.sum()), len(before))


def _of_run(state: State) -> Figures:
    """The run of failures that set off the chart, if it is one."""
    run = state.run
    if run is None:
        return {}
    return {"run": {"first": state.begins + run.first + 1, "last": state.begins + run.last + 1, "bad": run.bad, "chance": run.chance}}
