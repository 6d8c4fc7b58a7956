"""The ledger's discs as advice and plans need them: outcomes in the order in which they were judged, and the times of the work."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from statistics import median
from typing import Any

import numpy as np
from sqlalchemy import and_, func, select

from mastering.ledger.entities import Batch
from mastering.ledger.lines import parsed
from mastering.ledger.questions import Questions, zones_of
from mastering.ledger.tables import BATCHES, DISCS, DRIVES, FINDINGS, LOG, LOTS, READS, SIDES, WRITINGS
from mastering.standing import RANK
from mastering.statistics.history import History, Surface
from mastering.statistics.states import InUse

_OPEN, _FAIL = RANK["open"], RANK["fail"]
_JUDGED = (
    select(DISCS.c.line, DISCS.c.serial, DISCS.c.batch, DISCS.c.lot, DISCS.c.verdict, func.max(SIDES.c.newest).label("last"))
    .join(SIDES, SIDES.c.disc == DISCS.c.line)
    .where(DISCS.c.verdict != _OPEN, DISCS.c.lot.is_not(None))
    .group_by(DISCS.c.line)
)
_FIRST_READS = (
    select(SIDES.c.disc, SIDES.c.batch, SIDES.c.side, SIDES.c.first, WRITINGS.c.drive.label("wrote"), READS.c.drive, READS.c.verdict)
    .join(READS, READS.c.line == SIDES.c.first)
    .join(WRITINGS, and_(WRITINGS.c.disc == SIDES.c.disc, WRITINGS.c.side == SIDES.c.side, WRITINGS.c.number == READS.c.writing))
    .join(DISCS, DISCS.c.line == SIDES.c.disc)
    .where(DISCS.c.verdict != _OPEN, DISCS.c.lot.is_not(None), WRITINGS.c.drive.is_not(None))
)
_BAD_TRACKS = (
    select(FINDINGS.c.read, FINDINGS.c.head, FINDINGS.c.track).join(SIDES, SIDES.c.first == FINDINGS.c.read).where(FINDINGS.c.bad > 0)
)


def history(known: Questions) -> History:
    """Every judged disc whose lot is known: what became of it, and the first writing of each surface whose drive is known."""
    discs = sorted(known.connection.execute(_JUDGED), key=lambda row: row.last or row.line)  # one rejected unread: as handed out
    place = {row.line: number for number, row in enumerate(discs)}
    reads = sorted(known.connection.execute(_FIRST_READS), key=lambda row: (place[row.disc], row.side))
    tracks: dict[tuple[int, int], list[int]] = {}
    for read, head, track in known.connection.execute(_BAD_TRACKS):
        tracks.setdefault((read, head), []).append(track)
    surfaces, numbers = _surfaces(known, {(row.batch, row.side) for row in reads})
    lots, drives, batches = (_numbers(known.ids(table)) for table in (LOTS, DRIVES, BATCHES))
    written: list[tuple[int, int, int, int, bool]] = []
    found: list[tuple[int, int]] = []
    for row in reads:
        of = numbers[row.batch, row.side]
        for head, surface in enumerate(of):
            bad = tracks.get((row.first, head), [])
            failed = row.verdict == "fail" and (len(of) == 1 or bool(bad) or not _any(tracks, row.first, len(of)))
            found += [(len(written), track) for track in bad] if failed else []
            wrote = drives[row.wrote]
            written.append((place[row.disc], surface, wrote, drives.get(row.drive, wrote), failed))
    columns = np.array(written, np.int64).reshape(-1, 5).T
    at = np.array(found, np.int64).reshape(-1, 2).T
    return History(
        [row.serial for row in discs],
        tuple(known.ids(LOTS)),
        tuple(known.ids(BATCHES)),
        tuple(known.ids(DRIVES)),
        tuple(surfaces),
        np.array([lots[row.lot] for row in discs], np.int64),
        np.array([batches[row.batch] for row in discs], np.int64),
        np.array([row.verdict == _FAIL for row in discs], bool),
        columns[0],
        columns[1],
        columns[2],
        columns[3],
        columns[4].astype(bool),
        at[0],
        at[1],
    )


def _any(tracks: Mapping[tuple[int, int], list[int]], read: int, heads: int) -> bool:
    """Whether a read found a bad track under some head: a read that fails without one fails on all of its surfaces."""
    return any((read, head) in tracks for head in range(heads))


def _numbers(ids: Mapping[str, int]) -> dict[int, int]:
    """A table's keys by the place of their names."""
    return {line: number for number, line in enumerate(ids.values())}


def _surfaces(known: Questions, sides: set[tuple[int, str]]) -> tuple[list[Surface], dict[tuple[int, str], list[int]]]:
    """The surfaces of all sides, and for each batch's side the numbers of its own, head by head."""
    surfaces: dict[Surface, int] = {}
    numbers = {}
    for batch, side in sorted(sides):
        zones = zones_of(known.batch(str(known.name_of(BATCHES, batch))), side)
        own = []
        for head in sorted({zone[0] for zone in zones}):
            first = min(zone[1] for zone in zones if zone[0] == head)
            last = max(zone[2] for zone in zones if zone[0] == head)
            own.append(surfaces.setdefault(Surface(side, head, first, last - first + 1), len(surfaces)))
        numbers[batch, side] = own
    return list(surfaces), numbers


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
_LONGEST = 1800.0  # seconds; a longer pause is not work
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
        if not 0 < seconds <= _LONGEST:
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
        if row.drive is not None:
            yield row, datetime.fromisoformat(parsed(row.text)["at"])


def sides_of(batches: list[Batch]) -> int:
    """How many sides the discs have that are being made: those of the newest open batch; 2 where there is none."""
    running = [batch for batch in batches if batch.open]
    return len(running[-1].sides) if running else 2
