"""The times of the work as the ledger's own rows tell them, and how many sides are being made, for plans."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from statistics import median
from typing import Any

from sqlalchemy import select

from mastering.ledger.entities import Batch
from mastering.ledger.lines import logged
from mastering.ledger.questions import Questions
from mastering.ledger.tables import LOG, READS

_FEWEST = 10  # intervals before the ledger's own times are believed
_SHORTEST, _LONGEST = 20.0, 1800.0  # seconds: in less no disc is turned over and read (recorded later, in one go), more is no work
_READ = ("turn-over", "read")


def step_times(known: Questions, defaults: Mapping[str, float]) -> dict[str, float]:
    """Seconds of each step as far as the ledger's own times tell, by the defaults' proportions; none where they are too few.

    Between the two reads of a disc lie one turn-over and one read; between the last read of a disc and the first of the next on the same
    drive lie the taking out, a new blank, two writings, a turn-over and one read.
    """
    between, around = _intervals(known)
    if len(between) < _FEWEST or len(around) < _FEWEST:
        return {}
    read = median(between) / sum(defaults[step] for step in _READ)
    made = {step: defaults[step] * read for step in _READ}
    rest = max(0.0, median(around) - made["turn-over"] - made["read"])
    share = rest / (defaults["insert"] + 2 * defaults["write"] + defaults["take-out"])
    return made | {step: defaults[step] * share for step in ("insert", "write", "take-out")}


def _intervals(known: Questions) -> tuple[list[float], list[float]]:
    """Seconds between the two first reads of one disc, and between a disc's last and the next one's first, on one drive."""
    between, around = [], []
    last: dict[int, tuple[int, str | None, datetime]] = {}
    for row, at in _timed(known):
        before = last.get(row.drive)
        last[row.drive] = (row.disc, row.side, at)
        if before is None:
            continue
        seconds = (at - before[2]).total_seconds()
        if not _SHORTEST <= seconds <= _LONGEST:
            continue
        if before[0] == row.disc:
            between += [seconds] if before[1] != row.side else []
        else:
            around.append(seconds)
    return between, around


def _timed(known: Questions) -> Iterator[tuple[Any, datetime]]:
    """The reads of first writings, newest thousand, with their times."""
    newest = select(READS.c.line).order_by(READS.c.line.desc()).limit(1000).subquery()
    reads = select(READS.c.disc, READS.c.side, READS.c.drive, READS.c.writing, LOG.c.text).join(LOG, LOG.c.number == READS.c.line)
    for row in known.connection.execute(reads.where(READS.c.line.in_(select(newest.c.line))).order_by(READS.c.line)):
        if row.drive is not None and row.writing == 1:
            yield row, datetime.fromisoformat(logged(row.text)["at"])


def sides_of(batches: list[Batch]) -> int:
    """How many sides the discs have that are being made: those of the newest open batch; 2 where there is none."""
    running = [batch for batch in batches if batch.open]
    return len(running[-1].sides) if running else 2
