"""The ledger's discs as advice and plans need them: outcomes in the order in which they were judged, and the times of the work."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import cache
from itertools import chain
from statistics import median
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import Integer, Select, and_, func, select, type_coerce

from mastering.deciding.statistics.arrays import Flags, Ints
from mastering.deciding.statistics.history import History, Surface
from mastering.deciding.statistics.states import InUse
from mastering.judging.standing import RANK
from mastering.ledger.entities import Batch
from mastering.ledger.geometries import Zones, zones_of
from mastering.ledger.lines import logged
from mastering.ledger.questions import Questions
from mastering.ledger.tables import BATCHES, DISCS, DRIVES, FINDINGS, LOG, LOTS, READS, SIDES, WRITINGS

_PAGE = 500  # rows at a time: so few that the collector of dead objects does not look through them
_OPEN, _FAIL = RANK["open"], RANK["fail"]
_JUDGED = (DISCS.c.verdict != _OPEN, DISCS.c.lot.is_not(None))
_DISCS = select(DISCS.c.line, DISCS.c.batch, DISCS.c.lot, DISCS.c.verdict).where(*_JUDGED).order_by(DISCS.c.line)
_SIDES = (  # 0 stands for what is not known: no line has that number
    select(
        SIDES.c.disc,
        SIDES.c.batch,
        type_coerce(SIDES.c.side == "B", Integer),
        func.coalesce(SIDES.c.newest, 0),
        func.coalesce(SIDES.c.first, 0),
        func.coalesce(WRITINGS.c.drive, 0),
        func.coalesce(READS.c.drive, WRITINGS.c.drive, 0),
        func.coalesce(type_coerce(READS.c.verdict == "fail", Integer), 0),
    )
    .join(DISCS, DISCS.c.line == SIDES.c.disc)
    .outerjoin(READS, READS.c.line == SIDES.c.first)
    .outerjoin(WRITINGS, and_(WRITINGS.c.disc == SIDES.c.disc, WRITINGS.c.side == SIDES.c.side, WRITINGS.c.number == READS.c.writing))
    .where(*_JUDGED)
)
_BAD_TRACKS = (
    select(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
    .join(SIDES, SIDES.c.first == FINDINGS.c.read)
    .where(FINDINGS.c.bad > 0)
    .order_by(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
)


def history(known: Questions) -> History:
    """Every judged disc whose lot is known: what became of it, and the first writing of each surface whose drive is known."""
    line, batch, lot, verdict = _columns(known, _DISCS, 4)
    disc, of_batch, side, newest, first, wrote, read, fails = _columns(known, _SIDES, 8)
    rows = np.searchsorted(line, disc)
    last = np.zeros(len(line), np.int64)
    np.maximum.at(last, rows, newest)
    order = np.argsort(np.where(last, last, line), kind="stable")  # one rejected unread: as handed out
    place = np.empty(len(line), np.int64)
    place[order] = np.arange(len(line))
    told = np.flatnonzero(wrote)
    told = told[np.lexsort((side[told], place[rows[told]]))]
    surfaces, numbers = _surfaces(known, of_batch[told], side[told])
    failing = _failing(known, first[told], fails[told] > 0, (numbers >= 0).sum(axis=1))
    lots, drives, batches = (np.array(list(known.ids(table).values()), np.int64) for table in (LOTS, DRIVES, BATCHES))
    return History(
        tuple(known.ids(LOTS)),
        tuple(known.ids(BATCHES)),
        tuple(known.ids(DRIVES)),
        surfaces,
        np.searchsorted(lots, lot[order]),
        np.searchsorted(batches, batch[order]),
        verdict[order] == _FAIL,
        place[rows[told]][failing.side],
        numbers[failing.side, failing.head],
        np.searchsorted(drives, wrote[told])[failing.side],
        np.searchsorted(drives, read[told])[failing.side],
        failing.failed,
        failing.at,
        failing.track,
    )


def _columns(known: Questions, query: Select[Any], count: int) -> Ints:
    """What a query of whole numbers gives, a row for each of its columns."""
    pages = known.connection.execute(query).partitions(_PAGE)
    return np.fromiter(chain.from_iterable(chain.from_iterable(pages)), np.int64).reshape(-1, count).T


class _Failing(NamedTuple):
    """Written surfaces: which side of those asked for each belongs to, its head, whether it failed; and a row for each failed track."""

    side: Ints
    head: Ints
    failed: Flags
    at: Ints
    track: Ints


def _failing(known: Questions, first: Ints, fails: Flags, heads: Ints) -> _Failing:
    """The surfaces of sides by their first reads. One that fails without a bad track fails on all of its heads, else on those with one."""
    side = np.repeat(np.arange(len(first)), heads)
    begin = np.cumsum(heads) - heads
    head = np.arange(len(side)) - begin[side]
    read, of_head, track = _columns(known, _BAD_TRACKS, 3)
    by_read = np.argsort(first)
    read_of = first[by_read]
    found = np.isin(read, first)
    found[found] = of_head[found] < heads[by_read[np.searchsorted(read_of, read[found])]]
    at = begin[by_read[np.searchsorted(read_of, read[found])]] + of_head[found]
    tracks = track[found]
    bad = np.zeros(len(side), bool)
    bad[at] = True
    anywhere = np.zeros(len(first), bool)
    anywhere[side[bad]] = True
    failed = fails[side] & (bad | ~anywhere[side])
    kept = np.flatnonzero(failed[at])
    kept = kept[np.lexsort((tracks[kept], at[kept]))]
    return _Failing(side, head, failed, at[kept], tracks[kept])


def _surfaces(known: Questions, batch: Ints, side: Ints) -> tuple[tuple[Surface, ...], Ints]:
    """The surfaces of some sides, and for each side the numbers of its own, head by head; -1 where it has no such head."""
    surfaces: dict[Surface, int] = {}
    kinds, which = np.unique(2 * batch + side, return_inverse=True)
    batches = {each.id: each for each in known.batches()}
    own = [_surfaces_of(zones_of(batches[kind // 2], "AB"[kind % 2]), "AB"[kind % 2]) for kind in kinds.tolist()]
    numbers = np.full((len(own), max(map(len, own), default=1)), -1, np.int64)
    for row, found in enumerate(own):
        numbers[row, : len(found)] = [surfaces.setdefault(each, len(surfaces)) for each in found]
    return tuple(surfaces), numbers[which]


@cache
def _surfaces_of(zones: Zones, side: str) -> list[Surface]:
    """A side's surfaces, head by head."""
    made = []
    for head in sorted({zone[0] for zone in zones}):
        first = min(zone[1] for zone in zones if zone[0] == head)
        last = max(zone[2] for zone in zones if zone[0] == head)
        made.append(Surface(side, head, first, last - first + 1))
    return made


def in_use(known: Questions) -> InUse:
    """What is asked about: every open batch, every drive, and every lot that is not used up."""
    used = {row.lot: row.discs for row in known.connection.execute(select(DISCS.c.lot, func.count().label("discs")).group_by(DISCS.c.lot))}
    counts = {name: known.line(line)["count"] for name, line in known.ids(LOTS).items()}
    lots = {name: count for name, count in counts.items() if count is None or used.get(known.ids(LOTS)[name], 0) < count}
    running = [batch for batch in known.batches() if batch.open]
    lots |= {name: counts[name] for batch in running for name in batch.lots}
    return InUse(lots, tuple(known.ids(DRIVES)), {batch.name: batch.line["good"] for batch in running})


def simulated(known: Questions) -> set[tuple[str, str]]:
    """Kind and name of every lot and batch with a simulated disc, and of every simulated drive."""
    found = {("drive", name) for name, line in known.ids(DRIVES).items() if known.line(line)["simulated"]}
    for lot, batch in known.connection.execute(select(DISCS.c.lot, DISCS.c.batch).where(DISCS.c.simulated).distinct()):
        found |= {("lot", str(known.name_of(LOTS, lot))), ("batch", str(known.name_of(BATCHES, batch)))}
    return found


# Times

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
