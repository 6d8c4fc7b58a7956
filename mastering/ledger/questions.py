"""What can be asked of the ledger: batches, discs, rates."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from json import dumps
from typing import Any

from sqlalchemy import Integer, Select, and_, case, exists, func, or_, select, text

from mastering.deciding.rates import By, Rate, Role
from mastering.judging.standing import ORDER, RANK, Standing
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.geometries import Zones, zones_of
from mastering.ledger.lines import Line, logged
from mastering.ledger.lookup import Lookup
from mastering.ledger.tables import BATCHES, DISCS, DRIVES, FINDINGS, LOG, LOTS, READS, SIDES

_OPEN, _FAIL, _MARGINAL = RANK["open"], RANK["fail"], RANK["marginal"]


@dataclass
class _Tally:
    """Counts of a track while they are added up."""

    discs: int = 0
    bad: int = 0
    marginal: int = 0
    rewritten: int = 0
    first_bad: int = 0
    simulated: int = 0
    unread: int = 0

    def add(self, counts: Any, times: int) -> None:
        """Counts sides, or with -1 no longer counts them; which of them are bad on the track is told by `found`."""
        self.discs += times * counts.discs
        self.marginal += times * counts.marginal
        self.rewritten += times * counts.rewritten
        self.first_bad += times * counts.first_bad
        self.simulated += times * counts.simulated
        self.unread += times * counts.unread

    def found(self, counts: Any, left_out: bool) -> None:
        """Takes in what the newest reads of some of its sides found on the track; a read that left it out says nothing of it."""
        if left_out:
            self.add(counts, -1)
        else:
            self.bad += counts.discs

    def rate(self, by: By, group: str) -> Rate:
        return Rate(by, group, self.discs, self.bad, self.marginal, self.rewritten, self.first_bad, self.simulated > 0, self.unread)


class Questions(Lookup):
    """The ledger open for reading."""

    def rows(self) -> int:
        """How many rows the log has."""
        return int(self.connection.scalar(select(func.count()).select_from(LOG)) or 0)

    def highest_ever(self) -> int:
        """The highest number that a row of the log ever had."""
        return int(self.connection.scalar(text("SELECT seq FROM sqlite_sequence WHERE name = 'log'")) or 0)

    def counts(self, batch: Batch) -> dict[Standing, int]:
        """How many discs of a batch stand how."""
        query = select(DISCS.c.verdict, func.count()).where(DISCS.c.batch == batch.id).group_by(DISCS.c.verdict)
        found = {ORDER[rank]: count for rank, count in self.connection.execute(query)}
        return {standing: found.get(standing, 0) for standing in ("pass", "marginal", "fail", "open")}

    def closing_digest(self, batch: Batch) -> str | None:
        """The digest of the row that closed a batch, None while it is open."""
        if batch.open:
            return None
        start = func.instr(LOG.c.text, f'"kind":"close","batch":{dumps(batch.name)}') > 0
        return self.connection.scalar(select(LOG.c.digest).where(LOG.c.number > batch.id, start).order_by(LOG.c.number.desc()).limit(1))

    def is_read(self, batch: Batch) -> bool:
        """Whether any read of a batch was recorded."""
        read = select(READS.c.line).join(DISCS, DISCS.c.line == READS.c.disc).where(DISCS.c.batch == batch.id)
        return self.connection.execute(read.limit(1)).first() is not None

    def corrections(self, disc: Disc) -> list[Line]:
        """The lines by which a disc was rejected by eye or corrected, in their order."""
        named = func.instr(LOG.c.text, f'"serial":"{disc.serial}"') > 0
        texts = self.connection.scalars(select(LOG.c.text).where(LOG.c.number > disc.id, named).order_by(LOG.c.number))
        found = (logged(text) for text in texts)
        return [line for line in found if line["kind"] in ("reject", "amend") and line["serial"] == disc.serial]

    # Rates

    def rates(self, by: By, role: Role = "wrote") -> list[Rate]:
        """The rates of every group that has discs, as created; tracks ascending."""
        if by == "track":
            return list(self._by_track())
        tables = {"batch": BATCHES, "lot": LOTS, "drive": DRIVES}
        rows = {row.grp: row for row in self.connection.execute(self._grouped(by, role))}
        groups = [(name, line) for name, line in self.ids(tables[by]).items()] if by in tables else [("A", "A"), ("B", "B")]
        return [_rate(by, name, rows[key]) for name, key in groups if key in rows]

    @staticmethod
    def _grouped(by: By, role: Role) -> Select[Any]:
        """The query of a grouping's counts."""
        if by in ("batch", "lot"):
            return _counted(DISCS, DISCS.c.lot if by == "lot" else DISCS.c.batch, _DISC_UNREAD)
        if by == "side":
            return _counted(SIDES, SIDES.c.side, _SIDE_UNREAD, SIDES.c.writing > 1)
        drive = SIDES.c.wrote if role == "wrote" else SIDES.c.read_by
        discs = (
            select(
                drive.label("grp"),
                func.max(SIDES.c.verdict).label("verdict"),
                func.max(SIDES.c.writing > 1).label("rewritten"),
                func.max(SIDES.c.first_bad).label("first_bad"),
                func.max(SIDES.c.simulated).label("simulated"),
                func.min(_SIDE_UNREAD).label("unread"),
            )
            .where(drive.is_not(None))
            .group_by(SIDES.c.disc, drive)
            .subquery()
        )
        return _counted(discs, discs.c.grp, discs.c.unread)

    # By track

    def _by_track(self) -> Iterator[Rate]:
        """Every track of every side: its settled discs, less those whose read left it out, and what was found on it."""
        zones: dict[tuple[int, str], Zones] = {}
        alike: dict[tuple[str, Zones], _Tally] = defaultdict(_Tally)  # sides whose tracks are the same
        batches = {batch.id: batch for batch in self.batches()}
        for row in self.connection.execute(_counted(SIDES, SIDES.c.side, _SIDE_UNREAD, SIDES.c.writing > 1, SIDES.c.batch)):
            zones[row.batch, row.grp] = zones_of(batches[row.batch], row.grp)
            alike[row.grp, zones[row.batch, row.grp]].add(row, 1)
        tallies: dict[tuple[str, int, int], _Tally] = defaultdict(_Tally)
        for (side, tracks), counts in alike.items():
            for head, first, last, _ in tracks:
                for track in range(first, last + 1):
                    tallies[side, head, track].add(counts, 1)
        for row in self.connection.execute(_NEWEST_FINDINGS):
            left_out = row.not_tried > 0 and row.not_tried >= _sectors(zones[row.batch, row.side], row.head, row.track)
            if (row.side, row.head, row.track) in tallies:
                tallies[row.side, row.head, row.track].found(row, left_out)
        yield from (tallies[key].rate("track", "/".join(map(str, key))) for key in sorted(tallies) if tallies[key].discs)


# Judged without a read of the first writing: rejected unread, or written again. Only those are looked up (a case, as SQLite asks both
# sides of an `and`); the indexes hold the rest.
_OWN = SIDES.alias()
_OWN_UNREAD = exists().where(_OWN.c.disc == SIDES.c.disc, _OWN.c.side == SIDES.c.side, _OWN.c.first.is_(None))
_SIDE_UNREAD = case((SIDES.c.writing > 1, _OWN_UNREAD), else_=0)
_ANY_READ = exists().where(_OWN.c.disc == DISCS.c.line, _OWN.c.first.is_not(None))
_DISC_UNREAD = case((or_(DISCS.c.verdict == _FAIL, DISCS.c.rewritten), ~_ANY_READ), else_=0)


def _counted(table: Any, group: Any, unread: Any, rewritten: Any = None, *more: Any) -> Select[Any]:
    """Counts of the settled rows of a table by a column, called `grp` and what a rate calls them."""
    columns = table.c
    return (
        select(
            group.label("grp"),
            *more,
            func.count().label("discs"),
            _sum(columns.verdict == _FAIL).label("bad"),
            _sum(columns.verdict == _MARGINAL).label("marginal"),
            _sum(columns.rewritten if rewritten is None else rewritten).label("rewritten"),
            _sum(columns.first_bad).label("first_bad"),
            _sum(columns.simulated).label("simulated"),
            _sum(unread).label("unread"),
        )
        .where(columns.verdict != _OPEN, group.is_not(None))
        .group_by(group, *more)
    )


def _sum(flag: Any) -> Any:
    """How many rows have a flag; none where it is unknown everywhere."""
    return func.coalesce(func.sum(flag, type_=Integer), 0)


def _rate(by: By, name: str, row: Any) -> Rate:
    return Rate(by, name, row.discs, row.bad, row.marginal, row.rewritten, row.first_bad, bool(row.simulated), row.unread)


_BATCH = case((FINDINGS.c.not_tried > 0, SIDES.c.batch), else_=0).label("batch")  # needed only where a track may have been left out
_PLACE = (SIDES.c.side, FINDINGS.c.head, FINDINGS.c.track, FINDINGS.c.not_tried)
_NEWEST_FINDINGS = (
    select(
        *_PLACE,
        _BATCH,
        func.count().label("discs"),
        _sum(SIDES.c.verdict == _MARGINAL).label("marginal"),
        _sum(SIDES.c.writing > 1).label("rewritten"),
        _sum(SIDES.c.first_bad).label("first_bad"),
        _sum(SIDES.c.simulated).label("simulated"),
        _sum(SIDES.c.first.is_(None)).label("unread"),
    )
    .select_from(FINDINGS)
    .join(READS, READS.c.line == FINDINGS.c.read)
    .join(SIDES, and_(SIDES.c.disc == READS.c.disc, SIDES.c.side == READS.c.side, SIDES.c.newest == READS.c.line))
    .where(SIDES.c.verdict != _OPEN, or_(FINDINGS.c.bad > 0, FINDINGS.c.not_tried > 0))
    .group_by(*_PLACE, _BATCH)
)


def _sectors(zones: Zones, head: int, track: int) -> int:
    """How many sectors a track has; more than any has where the side has no such track."""
    return next((sectors for of, first, last, sectors in zones if of == head and first <= track <= last), 1 << 30)
