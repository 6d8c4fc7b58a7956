"""The ledger's discs as advice and plans need them: outcomes in the order in which they were judged, and the times of the work."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from functools import cache
from itertools import chain
from statistics import median
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import Integer, Select, and_, func, select, type_coerce

from mastering.deciding.statistics.arrays import Flags, Ints
from mastering.deciding.statistics.history import NO_INNER_BOX, NOT_ELSEWHERE, History, Surface
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
_FIRST_WRITINGS = (
    select(WRITINGS.c.disc, func.min(WRITINGS.c.line))
    .join(DISCS, DISCS.c.line == WRITINGS.c.disc)
    .where(*_JUDGED)
    .group_by(WRITINGS.c.disc)
)
_FIRST = WRITINGS.alias()
_LATER = (  # the first read of each second writing by another drive
    select(WRITINGS.c.disc, WRITINGS.c.drive, type_coerce(READS.c.verdict == "fail", Integer))
    .join(_FIRST, and_(_FIRST.c.disc == WRITINGS.c.disc, _FIRST.c.side == WRITINGS.c.side, _FIRST.c.number == 1))
    .join(READS, READS.c.line == WRITINGS.c.line)
    .where(WRITINGS.c.number == 2, WRITINGS.c.drive != _FIRST.c.drive, READS.c.diagnosis.is_(None))
    .order_by(WRITINGS.c.line)
)
_BAD_TRACKS = (
    select(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
    .join(SIDES, SIDES.c.first == FINDINGS.c.read)
    .where(FINDINGS.c.bad > 0)
    .order_by(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
)


def history(known: Questions) -> History:
    """Every disc whose lot is known and that has a settling read or was rejected, and the first writing of each of its surfaces.

    Discs are numbered in the order of their first writing (one that was rejected unread: as it was handed out).
    """
    line, batch, lot, verdict = _columns(known, _DISCS, 4)
    disc, of_batch, side, first, wrote, read, fails = _columns(known, _SIDES, 7)
    order = _as_written(line, *_columns(known, _FIRST_WRITINGS, 2))
    place = np.empty(len(line), np.int64)
    place[order] = np.arange(len(line))
    rows = np.searchsorted(line, disc)
    told = np.flatnonzero(wrote)
    told = told[np.lexsort((side[told], place[rows[told]]))]
    surfaces, numbers = _surfaces(known, of_batch[told], side[told])
    failing = _failing(known, first[told], fails[told] > 0, (numbers >= 0).sum(axis=1))
    lots, drives, batches = (np.array(list(known.ids(table).values()), np.int64) for table in (LOTS, DRIVES, BATCHES))
    titles = {each.name: str(each.line["master"]) for each in known.batches()}
    title = {name: number for number, name in enumerate(dict.fromkeys(titles.values()))}
    again_disc, again_drive, again_failed = _again(known, line)
    return History(
        lots=tuple(known.ids(LOTS)),
        batches=tuple(known.ids(BATCHES)),
        drives=tuple(known.ids(DRIVES)),
        titles=tuple(title),
        inners=(),
        surfaces=surfaces,
        serials=_Serials(known, line[order]),
        lot=np.searchsorted(lots, lot[order]),
        batch=np.searchsorted(batches, batch[order]),
        inner=np.full(len(line), NO_INNER_BOX, np.int64),
        bad=verdict[order] == _FAIL,
        decided=np.ones(len(line), bool),
        read_order=_as_read(rows, first, place, len(line)),
        title=np.array([title[titles[name]] for name in known.ids(BATCHES)], np.int64),
        disc=place[rows[told]][failing.side],
        surface=numbers[failing.side, failing.head],
        wrote=np.searchsorted(drives, wrote[told])[failing.side],
        read=np.searchsorted(drives, read[told])[failing.side],
        failed=failing.failed,
        elsewhere=np.full(len(failing.side), NOT_ELSEWHERE, np.int64),
        at=failing.at,
        track=failing.track,
        again_disc=place[again_disc],
        again_drive=np.searchsorted(drives, again_drive),
        again_failed=again_failed > 0,
    )


class _Serials(Sequence[str]):
    """The serials of discs, each asked for when it is needed: advice names few of 100,000."""

    def __init__(self, known: Questions, lines: Ints) -> None:
        self._known, self._lines = known, lines

    def __len__(self) -> int:
        return len(self._lines)

    def __getitem__(self, disc: Any) -> Any:
        serial = self._known.connection.scalar(select(DISCS.c.serial).where(DISCS.c.line == int(self._lines[disc])))
        return str(serial)


def _as_written(line: Ints, disc: Ints, writing: Ints) -> Ints:
    """The rows of discs in the order of their first writings; one that was never written stands where it was handed out."""
    first = line.copy()
    first[np.searchsorted(line, disc)] = writing
    return np.argsort(first, kind="stable")


def _as_read(rows: Ints, first: Ints, place: Ints, discs: int) -> Ints:
    """For each disc its place in the order of first reads; one that was never read stands behind them, as it was written."""
    reads = np.full(discs, np.iinfo(np.int64).max)
    some = first > 0
    np.minimum.at(reads, place[rows[some]], first[some])
    order = np.empty(discs, np.int64)
    order[np.argsort(reads, kind="stable")] = np.arange(discs)
    return order


def _again(known: Questions, line: Ints) -> tuple[Ints, Ints, Ints]:
    """Later writings by another drive than the first one: the disc's row, the drive, and whether the first read of it failed."""
    disc, drive, failed = _columns(known, _LATER, 3)
    own = np.isin(disc, line)
    return np.searchsorted(line, disc[own]), drive[own], failed[own]


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
