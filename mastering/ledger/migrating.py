"""A ledger of an earlier version brought to this one: its schema step by step, its tables filled anew from its log."""

import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from mastering.judging.standing import ORDER, Standing
from mastering.ledger.entities import Disc
from mastering.ledger.lookup import Lookup
from mastering.ledger.migrations import replays, steps
from mastering.ledger.tables import LOG

_CUSTODY = 3  # the version that judges discs by all that was read of them
_PAGE = 2000  # rows of the log that are read at a time
_CHUNK = 20_000  # rows of the log whose rows in other tables are gathered before they are written
_MANY = 2_000  # rows that take longer than a second
LogRow = tuple[int, str, str]  # number, text, digest


@dataclass(frozen=True)
class ChangedVerdict:
    """A disc whose verdict the rules of this version changed."""

    before: Standing
    disc: Disc


def migrate(connection: Connection, version: int) -> tuple[ChangedVerdict, ...]:
    """Takes a ledger from a version to the newest one, within the caller's transaction; returns the discs whose verdict changed."""
    before = _verdicts(connection) if 0 < version < _CUSTODY else {}
    anew = replays(version)
    for step, statements in steps(version):
        for statement in statements:
            connection.exec_driver_sql(statement)
        connection.exec_driver_sql(f"PRAGMA user_version = {step}")
    if anew:
        _replay(connection)
    return _differences(connection, before)


def log_page(connection: Connection, after: int, last: int) -> list[LogRow]:
    """Some rows of the log after one, in their order."""
    page = select(LOG).where(LOG.c.number > after, LOG.c.number <= last).order_by(LOG.c.number).limit(_PAGE)
    return [(row.number, row.text, row.digest) for row in connection.execute(page).all()]


def _replay(connection: Connection) -> None:
    from mastering.ledger.log_writer import LogWriter

    count = connection.scalar(select(func.count()).select_from(LOG)) or 0
    last = connection.scalar(select(func.max(LOG.c.number))) or 0
    writer = LogWriter(connection)
    for place, (number, text, _) in enumerate(_with_a_bar(_rows(connection, last), count), 1):
        writer.replay(number, text)
        if place % _CHUNK == 0:
            writer.flush()
    writer.flush()


def _rows(connection: Connection, last: int) -> Iterator[LogRow]:
    number = 0
    while rows := log_page(connection, number, last):
        yield from rows
        number = rows[-1][0]


def _with_a_bar(rows: Iterator[LogRow], count: int) -> Iterable[LogRow]:
    """The rows, with a bar on a screen where there are many."""
    if count < _MANY or not sys.stderr.isatty():
        return rows
    from tqdm import tqdm

    bar: Iterable[LogRow] = tqdm(rows, "the ledger is taken anew", count, unit=" rows", leave=False, file=sys.stderr)
    return bar


def _verdicts(connection: Connection) -> dict[str, int]:
    """Every disc's verdict in the tables, by its serial."""
    return {row.serial: row.verdict for row in connection.exec_driver_sql("SELECT serial, verdict FROM discs")}


def _differences(connection: Connection, before: Mapping[str, int]) -> tuple[ChangedVerdict, ...]:
    after = _verdicts(connection) if before else {}
    lookup = Lookup(connection)
    changed = [serial for serial, verdict in after.items() if before.get(serial, verdict) != verdict]
    return tuple(ChangedVerdict(ORDER[before[serial]], lookup.known_disc(serial)) for serial in changed)
