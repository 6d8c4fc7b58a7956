"""How many discs, first writings and first reads of each group are bad, counted from the tables."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from statistics import median
from typing import Any

from sqlalchemy import ColumnElement, Integer, Select, and_, func, select

from mastering.deciding.rates import By, Rate, Role
from mastering.ledger.geometries import Zones, zones_of
from mastering.ledger.lookup import Lookup
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, EVENTS, FINDINGS, LOG, LOTS, READS, WRITINGS

_WORKING, _GOOD, _BAD, _ABANDONED = (COUNTS.index(name) for name in ("working", "good", "bad", "abandoned"))
_CONFIRMED = ("gone-bad", "shipped-bad")  # outcomes of a return that count against what the disc was made of


def rates(lookup: Lookup, by: By, role: Role = "wrote") -> list[Rate]:
    """The rates of every group that has units, as created; tracks ascending."""
    if by == "track":
        return list(_by_track(lookup))
    if by == "side":
        return _by_side(lookup)
    if by == "drive":
        return _by_drive(lookup, role)
    return _by_disc(lookup, by)


def _sum(flag: ColumnElement[Any]) -> ColumnElement[Any]:
    """How many rows have a flag."""
    return func.coalesce(func.sum(flag, type_=Integer), 0)


# Discs: by batch, lot, inner box


def _by_disc(lookup: Lookup, by: By) -> list[Rate]:
    group = {"batch": (DISCS.c.batch,), "lot": (DISCS.c.lot,), "inner": (DISCS.c.lot, DISCS.c.inner_box)}[by]
    decided = DISCS.c.counts.in_((_GOOD, _BAD))
    query = (
        select(
            *(column.label(name) for column, name in zip(group, ("grp", "part"), strict=False)),
            _sum(decided).label("discs"),
            _sum(DISCS.c.counts == _BAD).label("bad"),
            _sum(DISCS.c.counts == _WORKING).label("working"),
            _sum(DISCS.c.counts == _ABANDONED).label("abandoned"),
            _sum(and_(decided, DISCS.c.rewritten)).label("rewritten"),
            _sum(DISCS.c.first_read).label("first_read"),
            _sum(DISCS.c.first_bad).label("first_bad"),
            _sum(and_(decided, DISCS.c.simulated)).label("simulated"),
        )
        .where(*(column.is_not(None) for column in group))
        .group_by(*group)
    )
    found = {tuple(row)[: len(group)]: row for row in lookup.connection.execute(query)}
    beside = {} if by == "batch" else _beside(lookup, *group)
    names = {line: name for name, line in lookup.ids(BATCHES if by == "batch" else LOTS).items()}
    made = []
    for key in sorted(found):
        row = found[key]
        if row.discs:
            counts = {name: getattr(row, name) for name in ("working", "abandoned", "rewritten", "first_read", "first_bad")}
            label = names[key[0]] if len(key) == 1 else f"{names[key[0]]}/{key[1]}"
            after = {} if by == "batch" else beside.get(key, {"returned": 0, "margin": None})
            made.append(Rate(by, label, row.discs, row.bad, bool(row.simulated), counts, after))
    return made


def _beside(lookup: Lookup, *group: ColumnElement[Any]) -> dict[tuple[Any, ...], dict[str, Any]]:
    """The confirmed returns of each group, and the median of its flux reads' chance that a plain reader loses a sector."""
    return_lines = select(*group, LOG.c.text).join(EVENTS, EVENTS.c.disc == DISCS.c.line).join(LOG, LOG.c.number == EVENTS.c.line)
    returned = return_lines.where(EVENTS.c.kind == "disc", EVENTS.c.what == "return")
    chances = select(*group, READS.c.margin).join(READS, READS.c.disc == DISCS.c.line).where(READS.c.margin.is_not(None), ~READS.c.void)
    return _joined(lookup, returned, chances)


def _joined(lookup: Lookup, returned: Select[Any], chances: Select[Any]) -> dict[tuple[Any, ...], dict[str, Any]]:
    margins: dict[tuple[Any, ...], list[float]] = defaultdict(list)
    for *key, chance in lookup.connection.execute(chances):
        margins[tuple(key)].append(chance)
    counts: dict[tuple[Any, ...], int] = defaultdict(int)
    for *key, text in lookup.connection.execute(returned):
        counts[tuple(key)] += any(f'"outcome":"{outcome}"' in text for outcome in _CONFIRMED)
    return {
        key: {"returned": counts.get(key, 0), "margin": median(margins[key]) if margins.get(key) else None} for key in {*margins, *counts}
    }


# First writings: by drive, by side


def _by_drive(lookup: Lookup, role: Role) -> list[Rate]:
    drive = WRITINGS.c.drive if role == "wrote" else WRITINGS.c.reader
    first = and_(WRITINGS.c.is_first, WRITINGS.c.first_here.is_not(None))
    later = and_(~WRITINGS.c.is_first, WRITINGS.c.first_here.is_not(None))
    columns = {
        "discs": _sum(first),
        "bad": _sum(and_(first, WRITINGS.c.bad_here)),
        "saved": _sum(and_(first, WRITINGS.c.saved)),
        "lost": _sum(and_(first, WRITINGS.c.lost)),
        "denied": _sum(and_(first, WRITINGS.c.denied)),
        "rescues": _sum(later),
        "rescued": _sum(and_(later, ~WRITINGS.c.bad_here)),
        "simulated": _sum(and_(first, WRITINGS.c.simulated)),
    }
    query = select(drive.label("grp"), *(column.label(name) for name, column in columns.items())).where(drive.is_not(None)).group_by(drive)
    found = {row.grp: row for row in lookup.connection.execute(query)}
    keys = ("saved", "lost", "rescues", "rescued") if role == "wrote" else ("denied",)
    beside = _beside_drives(lookup, role)
    return [
        Rate(
            "drive", name, found[line].discs, found[line].bad, bool(found[line].simulated),
            {key: getattr(found[line], key) for key in keys},
            beside.get((line,), {"returned": 0, "margin": None}),
        )
        for name, line in lookup.ids(DRIVES).items()
        if line in found and found[line].discs
    ]  # fmt: skip


def _beside_drives(lookup: Lookup, role: Role) -> dict[tuple[Any, ...], dict[str, Any]]:
    """The same of drives: a returned disc counts for each drive that wrote (read) it."""
    drive = WRITINGS.c.drive if role == "wrote" else WRITINGS.c.reader
    of_read = and_(WRITINGS.c.disc == READS.c.disc, WRITINGS.c.side == READS.c.side, WRITINGS.c.number == READS.c.writing)
    returned = (
        select(drive, LOG.c.text)
        .join(EVENTS, EVENTS.c.disc == WRITINGS.c.disc)
        .join(LOG, LOG.c.number == EVENTS.c.line)
        .where(EVENTS.c.kind == "disc", EVENTS.c.what == "return", drive.is_not(None))
        .distinct()
    )
    chances = select(drive if role == "wrote" else READS.c.drive, READS.c.margin).join(WRITINGS, of_read)
    return _joined(lookup, returned, chances.where(READS.c.margin.is_not(None), ~READS.c.void))


def _by_side(lookup: Lookup) -> list[Rate]:
    query = (
        select(
            WRITINGS.c.side.label("grp"),
            func.count().label("discs"),
            _sum(WRITINGS.c.bad_here).label("bad"),
            _sum(WRITINGS.c.lost).label("lost"),
            _sum(WRITINGS.c.simulated).label("simulated"),
        )
        .where(WRITINGS.c.is_first, WRITINGS.c.first_here.is_not(None), WRITINGS.c.drive.is_not(None))  # the units of the drives that wrote
        .group_by(WRITINGS.c.side)
    )
    found = sorted(lookup.connection.execute(query), key=lambda row: str(row.grp))
    return [Rate("side", row.grp, row.discs, row.bad, bool(row.simulated), {"lost": row.lost}) for row in found]


# First reads: by track

_Track = tuple[str, str, int, int]  # side, geometry, head, track


def _by_track(lookup: Lookup) -> Iterator[Rate]:
    """Every track of every side, the groups of its geometries apart: its first reads, less those that left it out."""
    batches = {batch.id: batch for batch in lookup.batches()}
    zones: dict[tuple[int, str], Zones] = {}
    discs: dict[_Track, int] = defaultdict(int)
    bad: dict[_Track, int] = defaultdict(int)
    simulated: dict[_Track, int] = defaultdict(int)
    for row in lookup.connection.execute(_FIRST_READS):
        batch, side = batches[row.batch], row.side
        zones[row.batch, side] = zones_of(batch, side)
        for head, track in _tracks(zones[row.batch, side]):
            discs[side, batch.sides[side], head, track] += row.discs
            simulated[side, batch.sides[side], head, track] += row.simulated
    for row in lookup.connection.execute(_FIRST_FINDINGS):
        key = (row.side, batches[row.batch].sides[row.side], row.head, row.track)
        left_out = row.not_tried > 0 and row.not_tried >= _sectors(zones[row.batch, row.side], row.head, row.track)
        if left_out:
            discs[key] -= row.discs
            simulated[key] -= row.simulated
        elif key in discs:
            bad[key] += row.discs
    for key in sorted(discs):
        side, geometry, head, track = key
        if discs[key] > 0:
            group = f"{side}/{head}/{track}"
            yield Rate("track", group, discs[key], bad[key], simulated[key] > 0, after={"geometry": geometry})


_FIRST = (WRITINGS.c.is_first, WRITINGS.c.first.is_not(None))
_FIRST_READS = (
    select(WRITINGS.c.side, WRITINGS.c.batch, func.count().label("discs"), _sum(WRITINGS.c.simulated).label("simulated"))
    .where(*_FIRST)
    .group_by(WRITINGS.c.side, WRITINGS.c.batch)
)

_FIRST_FINDINGS = (
    select(
        WRITINGS.c.side,
        WRITINGS.c.batch,
        FINDINGS.c.head,
        FINDINGS.c.track,
        FINDINGS.c.not_tried,
        func.count().label("discs"),
        _sum(WRITINGS.c.simulated).label("simulated"),
    )
    .join(READS, READS.c.line == FINDINGS.c.read)
    .join(WRITINGS, and_(WRITINGS.c.disc == READS.c.disc, WRITINGS.c.side == READS.c.side, WRITINGS.c.first == READS.c.line))
    .where(*_FIRST, (FINDINGS.c.bad > 0) | (FINDINGS.c.not_tried > 0))
    .group_by(WRITINGS.c.side, WRITINGS.c.batch, FINDINGS.c.head, FINDINGS.c.track, FINDINGS.c.not_tried)
)


def _tracks(zones: Zones) -> Iterable[tuple[int, int]]:
    return ((head, track) for head, first, last, _ in zones for track in range(first, last + 1))


def _sectors(zones: Zones, head: int, track: int) -> int:
    """How many sectors a track has; more than any has where the side has no such track."""
    return next((sectors for of, first, last, sectors in zones if of == head and first <= track <= last), 1 << 30)
