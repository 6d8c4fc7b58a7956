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
from mastering.ledger.entities import Batch
from mastering.ledger.geometries import Zones, zones_of
from mastering.ledger.lines import logged
from mastering.ledger.questions import Questions
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, FINDINGS, LOG, LOTS, READS, SIDES, WRITINGS

_PAGE = 500  # rows at a time: so few that the collector of dead objects does not look through them
_WORKING, _GOOD, _BAD, _ABANDONED = (COUNTS.index(name) for name in ("working", "good", "bad", "abandoned"))
_DECIDED = (DISCS.c.counts.in_((_GOOD, _BAD)), DISCS.c.lot.is_not(None))
_DISCS = select(DISCS.c.line, DISCS.c.batch, DISCS.c.lot, DISCS.c.counts).where(*_DECIDED).order_by(DISCS.c.line)
_NEWEST = select(SIDES.c.disc, SIDES.c.newest).join(DISCS, DISCS.c.line == SIDES.c.disc).where(*_DECIDED, SIDES.c.newest.is_not(None))
_FIRST_WRITINGS = (  # of a side that was reworked the newest one counts, which is the last of its rows
    select(
        WRITINGS.c.disc,
        WRITINGS.c.batch,
        type_coerce(WRITINGS.c.side == "B", Integer),
        WRITINGS.c.first,
        WRITINGS.c.drive,
        func.coalesce(READS.c.drive, WRITINGS.c.drive),
        type_coerce(READS.c.verdict == "fail", Integer),
    )
    .join(DISCS, DISCS.c.line == WRITINGS.c.disc)
    .join(READS, READS.c.line == WRITINGS.c.first)
    .where(*_DECIDED, WRITINGS.c.is_first, WRITINGS.c.drive.is_not(None))
    .order_by(WRITINGS.c.disc, WRITINGS.c.side, WRITINGS.c.number)
)
_BAD_TRACKS = (
    select(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
    .join(READS, READS.c.line == FINDINGS.c.read)
    .join(WRITINGS, and_(WRITINGS.c.disc == READS.c.disc, WRITINGS.c.side == READS.c.side, WRITINGS.c.first == READS.c.line))
    .where(FINDINGS.c.bad > 0, WRITINGS.c.is_first)
    .order_by(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
)


def history(known: Questions) -> History:
    """Every decided disc whose lot is known: what became of it, and the first writing of each surface whose drive is known."""
    line, batch, lot, counts = _columns(known, _DISCS, 4)
    disc, of_batch, side, first, wrote, read, fails = _newest_first_writings(known)
    rows = np.searchsorted(line, disc)
    last = np.zeros(len(line), np.int64)
    read_disc, newest = _columns(known, _NEWEST, 2)
    np.maximum.at(last, np.searchsorted(line, read_disc), newest)
    order = np.argsort(np.where(last, last, line), kind="stable")  # one rejected unread: as handed out
    place = np.empty(len(line), np.int64)
    place[order] = np.arange(len(line))
    judged = np.lexsort((side, place[rows]))
    surfaces, numbers = _surfaces(known, of_batch[judged], side[judged])
    failing = _failing(known, first[judged], fails[judged] > 0, (numbers >= 0).sum(axis=1))
    lots, drives, batches = (np.array(list(known.ids(table).values()), np.int64) for table in (LOTS, DRIVES, BATCHES))
    return History(
        tuple(known.ids(LOTS)),
        tuple(known.ids(BATCHES)),
        tuple(known.ids(DRIVES)),
        surfaces,
        np.searchsorted(lots, lot[order]),
        np.searchsorted(batches, batch[order]),
        counts[order] == _BAD,
        place[rows[judged]][failing.side],
        numbers[failing.side, failing.head],
        np.searchsorted(drives, wrote[judged])[failing.side],
        np.searchsorted(drives, read[judged])[failing.side],
        failing.failed,
        failing.at,
        failing.track,
    )


def _newest_first_writings(known: Questions) -> Ints:
    """The columns of `_FIRST_WRITINGS`, one row for each side of a disc."""
    columns = _columns(known, _FIRST_WRITINGS, 7)
    key = 2 * columns[0] + columns[2]
    return columns[:, np.append(key[1:] != key[:-1], True)] if len(key) else columns


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


_BEGUN = DISCS.c.counts.in_((_WORKING, _GOOD, _BAD, _ABANDONED))


def in_use(known: Questions) -> InUse:
    """What is asked about: every open batch, every drive, and every lot that is not used up."""
    used = {
        row.lot: row.discs
        for row in known.connection.execute(select(DISCS.c.lot, func.count().label("discs")).where(_BEGUN).group_by(DISCS.c.lot))
    }
    counts = {name: known.lot(name)["count"] for name in known.ids(LOTS)}
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
