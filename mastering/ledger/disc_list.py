"""Discs by what is asked of them: a line a disc, from the tables alone."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, cast

from sqlalchemy import ColumnElement, Select, and_, exists, func, select

from mastering.judging.standing import ORDER, Standing
from mastering.ledger.lookup import Lookup
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, EVENTS, LOG, LOTS, READS, WRITINGS

_NOTHING = COUNTS.index("nothing")


@dataclass(frozen=True)
class Wanted:
    """Which discs are asked for; None stands for all. Times are RFC 3339 in UTC; `when` says which time they are compared with."""

    title: str | None = None
    revision: str | None = None
    batch: str | None = None
    lot: str | None = None
    inner: int | None = None
    wrote: str | None = None
    read: str | None = None
    since: str | None = None
    until: str | None = None
    when: str | None = None
    verdict: str | None = None
    state: str | None = None
    failed_first: bool = False
    order: str | None = None


def disc_lines(lookup: Lookup, wanted: Wanted, orders: bool = False, margin: bool = False) -> Iterator[dict[str, Any]]:
    """The discs that are asked for, as handed out. UnknownError for a batch, lot or drive that there is not."""
    batches = {batch.id: batch for batch in lookup.batches()}
    lots = {line: name for name, line in lookup.ids(LOTS).items()}
    of_order = _orders(lookup) if orders or wanted.order is not None else {}
    for row in lookup.connection.execute(_query(lookup, wanted, margin)):
        line = batches[row.batch].line
        held_by = of_order.get(row.line)
        if wanted.order is not None and held_by != wanted.order:
            continue
        made = {
            "serial": row.serial,
            "state": row.state,
            "verdict": ORDER[row.verdict],
            "title": _title(line),
            "revision": line.get("revision"),
            "batch": line["batch"],
            "lot": lots.get(row.lot),
            "inner": row.inner_box,
            "at": row.at,
        }
        yield made | ({"order": held_by} if orders else {}) | ({"margin": row.worst} if margin else {})


def _title(line: Any) -> str:
    """A batch's title: what its master is called without the revision."""
    return str(line["master"]).removesuffix(f" {line.get('revision')}")


def _query(lookup: Lookup, wanted: Wanted, margin: bool) -> Select[Any]:
    names = ("line", "serial", "state", "verdict", "batch", "lot", "inner_box", "at")
    query = select(*(DISCS.c[name] for name in names)).order_by(DISCS.c.line)
    if margin:
        worst = select(func.max(READS.c.margin)).where(READS.c.disc == DISCS.c.line, ~READS.c.void).scalar_subquery()
        query = query.add_columns(worst.label("worst"))
    conditions = [*_of_disc(lookup, wanted), *_of_writings(lookup, wanted), *_of_time(wanted)]
    if wanted.state is None:
        conditions.append(DISCS.c.counts != _NOTHING)
    return query.where(*conditions)


def _of_disc(lookup: Lookup, wanted: Wanted) -> Iterator[ColumnElement[bool]]:
    if wanted.batch is not None:
        yield DISCS.c.batch == lookup.id_of(BATCHES, "batch", wanted.batch)
    if wanted.title is not None or wanted.revision is not None:
        yield DISCS.c.batch.in_([batch.id for batch in lookup.batches() if _is_of(batch.line, wanted)])
    if wanted.lot is not None:
        yield DISCS.c.lot == lookup.id_of(LOTS, "lot", wanted.lot)
    if wanted.inner is not None:
        yield DISCS.c.inner_box == wanted.inner
    if wanted.verdict is not None:
        yield DISCS.c.verdict == ORDER.index(cast(Standing, wanted.verdict))
    if wanted.state is not None:
        yield DISCS.c.state == wanted.state
    if wanted.failed_first:
        yield DISCS.c.first_bad


def _is_of(line: Any, wanted: Wanted) -> bool:
    title, catalogue = _title(line).casefold(), str(line["catalogue"]).casefold()
    is_title = wanted.title is None or wanted.title.casefold() in (title, catalogue)
    return is_title and wanted.revision in (None, line.get("revision"))


def _of_writings(lookup: Lookup, wanted: Wanted) -> Iterator[ColumnElement[bool]]:
    if wanted.wrote is not None:
        drive = lookup.id_of(DRIVES, "drive", wanted.wrote)
        yield exists().where(WRITINGS.c.disc == DISCS.c.line, WRITINGS.c.drive == drive)
    if wanted.read is not None:
        drive = lookup.id_of(DRIVES, "drive", wanted.read)
        yield exists().where(READS.c.disc == DISCS.c.line, READS.c.drive == drive)


def _of_time(wanted: Wanted) -> Iterator[ColumnElement[bool]]:
    if wanted.since is None and wanted.until is None:
        return
    if wanted.when in (None, "written"):
        yield from _between(DISCS.c.at, wanted)
    elif wanted.when == "read":
        yield exists().where(READS.c.disc == DISCS.c.line, *_between(READS.c.at, wanted))
    else:
        step = {"packed": "pack", "shipped": "ship"}[str(wanted.when)]
        at = func.json_extract(LOG.c.text, "$.at")
        done = and_(EVENTS.c.disc == DISCS.c.line, EVENTS.c.kind == "disc", EVENTS.c.what == step, LOG.c.number == EVENTS.c.line)
        yield exists().where(done, *_between(at, wanted))


def _between(at: ColumnElement[Any], wanted: Wanted) -> Iterator[ColumnElement[bool]]:
    """From a time on, and up to another, that one included."""
    if wanted.since is not None:
        yield at >= wanted.since
    if wanted.until is not None:
        yield at <= wanted.until


def _orders(lookup: Lookup) -> dict[int, str]:
    """The order that holds each disc."""
    query = select(EVENTS.c.disc, EVENTS.c.what, EVENTS.c.name).where(EVENTS.c.kind == "disc").order_by(EVENTS.c.line)
    held: dict[int, str] = {}
    for row in lookup.connection.execute(query):
        if row.what in ("pack", "ship") and row.name is not None:
            held[row.disc] = row.name
        elif row.what in ("unpack", "unbox"):
            held.pop(row.disc, None)
    return held


def order_of(lookup: Lookup, disc: int) -> str | None:
    """The order that holds a disc, None when none does."""
    query = select(EVENTS.c.what, EVENTS.c.name).where(EVENTS.c.disc == disc, EVENTS.c.kind == "disc").order_by(EVENTS.c.line)
    order = None
    for row in lookup.connection.execute(query):
        order = row.name if row.what in ("pack", "ship") else None if row.what == "unpack" else order
    return order
