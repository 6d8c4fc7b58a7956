"""The ledger's discs as advice needs them: what became of each, and its first writings, as columns in the order of the first writings."""

from collections.abc import Sequence
from functools import cache
from itertools import chain
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import Integer, Select, and_, case, func, select, type_coerce

from mastering.deciding.statistics.arrays import Flags, Ints
from mastering.deciding.statistics.history import CONFIRMED, DENIED, NO_INNER_BOX, NOT_ELSEWHERE, History, Surface
from mastering.ledger.geometries import Zones, zones_of
from mastering.ledger.questions import Questions
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, EVENTS, FINDINGS, LOTS, READS, WRITINGS

_PAGE = 500  # rows at a time: so few that the collector of dead objects does not look through them
_WORKING, _GOOD, _BAD, _ABANDONED = (COUNTS.index(name) for name in ("working", "good", "bad", "abandoned"))
_BEGUN = (DISCS.c.counts.in_((_WORKING, _GOOD, _BAD, _ABANDONED)), DISCS.c.lot.is_not(None))
_DISCS = (
    select(DISCS.c.line, DISCS.c.batch, DISCS.c.lot, DISCS.c.counts, func.coalesce(DISCS.c.inner_box, NO_INNER_BOX))
    .where(*_BEGUN)
    .order_by(DISCS.c.line)
)
_REJECTED = select(EVENTS.c.disc, func.min(EVENTS.c.line)).where(EVENTS.c.kind == "reject").group_by(EVENTS.c.disc)
_FIRST_WRITINGS = (  # of a side that was reworked the newest one counts, which is the last of its rows
    select(
        WRITINGS.c.disc,
        WRITINGS.c.batch,
        type_coerce(WRITINGS.c.side == "B", Integer),
        WRITINGS.c.line,
        WRITINGS.c.first,
        WRITINGS.c.drive,
        func.coalesce(READS.c.drive, WRITINGS.c.drive),
        type_coerce(READS.c.verdict == "fail", Integer),
        case((WRITINGS.c.denied, DENIED), else_=NOT_ELSEWHERE),
    )
    .join(DISCS, DISCS.c.line == WRITINGS.c.disc)
    .join(READS, READS.c.line == WRITINGS.c.first)
    .where(*_BEGUN, WRITINGS.c.is_first, WRITINGS.c.drive.is_not(None))
    .order_by(WRITINGS.c.disc, WRITINGS.c.side, WRITINGS.c.number)
)
_OTHER = READS.alias()
_FAILED_ELSEWHERE = (  # first reads that failed, whose writing failed in another drive too
    select(WRITINGS.c.first)
    .join(READS, READS.c.line == WRITINGS.c.first)
    .join(_OTHER, and_(_OTHER.c.disc == WRITINGS.c.disc, _OTHER.c.side == WRITINGS.c.side, _OTHER.c.writing == WRITINGS.c.number))
    .where(WRITINGS.c.is_first, READS.c.verdict == "fail", ~_OTHER.c.void, _OTHER.c.verdict == "fail", _OTHER.c.drive != READS.c.drive)
    .distinct()
)
_FIRST = WRITINGS.alias()
_AGAIN = (  # the first read of each later writing by another drive than the first one's
    select(WRITINGS.c.disc, WRITINGS.c.drive, type_coerce(READS.c.verdict == "fail", Integer))
    .join(_FIRST, and_(_FIRST.c.disc == WRITINGS.c.disc, _FIRST.c.side == WRITINGS.c.side, _FIRST.c.is_first))
    .join(READS, READS.c.line == WRITINGS.c.first)
    .where(~WRITINGS.c.is_first, WRITINGS.c.batch == _FIRST.c.batch, WRITINGS.c.drive != _FIRST.c.drive)
    .order_by(WRITINGS.c.line)
)
_BAD_TRACKS = (
    select(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
    .join(READS, READS.c.line == FINDINGS.c.read)
    .join(WRITINGS, and_(WRITINGS.c.disc == READS.c.disc, WRITINGS.c.side == READS.c.side, WRITINGS.c.first == READS.c.line))
    .where(FINDINGS.c.bad > 0, WRITINGS.c.is_first)
    .order_by(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track)
)


def history(known: Questions) -> History:
    """Every disc that was begun and whose lot is known, and the first writing of each of its surfaces whose drive is known."""
    line, batch, lot, counts, box = _columns(known, _DISCS, 5)
    disc, of_batch, side, writing, first, wrote, read, fails, elsewhere = _newest_first_writings(known)
    rows = np.searchsorted(line, disc)
    written, first_read = line.copy(), _unread(known, line)
    _earliest(written, rows, writing)
    _earliest(first_read, rows, first)
    order = np.argsort(written, kind="stable")
    place = np.empty(len(line), np.int64)
    place[order] = np.arange(len(line))
    judged = np.lexsort((side, place[rows]))
    surfaces, numbers = _surfaces(known, of_batch[judged], side[judged])
    failing = _failing(known, first[judged], fails[judged] > 0, (numbers >= 0).sum(axis=1))
    elsewhere[np.isin(first, _columns(known, _FAILED_ELSEWHERE, 1)[0]) & (elsewhere != DENIED)] = CONFIRMED
    lots, drives, batches = (np.array(list(known.ids(table).values()), np.int64) for table in (LOTS, DRIVES, BATCHES))
    inners, inner = _inner_boxes(known, lot[order], box[order])
    masters = {each.name: str(each.line["master"]) for each in known.batches()}
    titles = {name: number for number, name in enumerate(dict.fromkeys(masters.values()))}
    again_disc, again_drive, again_failed = _again(known, line)
    return History(
        lots=tuple(known.ids(LOTS)),
        batches=tuple(known.ids(BATCHES)),
        drives=tuple(known.ids(DRIVES)),
        titles=tuple(titles),
        inners=inners,
        surfaces=surfaces,
        serials=_Serials(known, line[order]),
        lot=np.searchsorted(lots, lot[order]),
        batch=np.searchsorted(batches, batch[order]),
        inner=inner,
        bad=counts[order] == _BAD,
        decided=np.isin(counts[order], (_GOOD, _BAD)),
        working=counts[order] == _WORKING,
        written=written[order],
        first_read=first_read[order],
        title=np.array([titles[masters[name]] for name in known.ids(BATCHES)], np.int64),
        disc=place[rows[judged]][failing.side],
        surface=numbers[failing.side, failing.head],
        wrote=np.searchsorted(drives, wrote[judged])[failing.side],
        read=np.searchsorted(drives, read[judged])[failing.side],
        failed=failing.failed,
        elsewhere=np.where(failing.failed, elsewhere[judged][failing.side], NOT_ELSEWHERE),
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
        return str(self._known.connection.scalar(select(DISCS.c.serial).where(DISCS.c.line == int(self._lines[disc]))))


def _newest_first_writings(known: Questions) -> Ints:
    """The columns of `_FIRST_WRITINGS`, one row for each side of a disc."""
    columns = _columns(known, _FIRST_WRITINGS, 9)
    key = 2 * columns[0] + columns[2]
    return columns[:, np.append(key[1:] != key[:-1], True)] if len(key) else columns


def _unread(known: Questions, line: Ints) -> Ints:
    """For each disc the row at which it was rejected, else that at which it was handed out."""
    rows = line.copy()
    disc, rejected = _columns(known, _REJECTED, 2)
    own = np.isin(disc, line)
    rows[np.searchsorted(line, disc[own])] = rejected[own]
    return rows


def _earliest(column: Ints, rows: Ints, values: Ints) -> None:
    """Puts the least of the values that each row has in its place; rows without one keep what they have."""
    least = np.full(len(column), np.iinfo(np.int64).max)
    np.minimum.at(least, rows, values)
    column[rows] = least[rows]


def _inner_boxes(known: Questions, lot: Ints, box: Ints) -> tuple[tuple[str, ...], Ints]:
    """The names of the inner boxes that discs are from, such as `L-07/3`, and each disc's number among them."""
    numbers = np.full(len(lot), NO_INNER_BOX, np.int64)
    some = np.flatnonzero(box != NO_INNER_BOX)
    if not len(some):
        return (), numbers
    kinds, which = np.unique(np.stack((lot[some], box[some])), axis=1, return_inverse=True)
    numbers[some] = which.ravel()
    return tuple(f"{known.name_of(LOTS, of)}/{number}" for of, number in kinds.T.tolist()), numbers


def _again(known: Questions, line: Ints) -> tuple[Ints, Ints, Ints]:
    """Later writings by another drive than the first one: the disc's row, the drive, and whether the first read of it failed."""
    disc, drive, failed = _columns(known, _AGAIN, 3)
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
