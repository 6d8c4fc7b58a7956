"""What the morning screen shows: open batches, discs that wait, drives held, lots stopped, the newest backup."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import select

from mastering.clock import moment, now
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.lines import Line, logged
from mastering.ledger.lookup import Lookup
from mastering.ledger.questions import Questions
from mastering.ledger.store import Ledger
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, EVENTS, LOG

_WORKING = COUNTS.index("working")
_AWAY = ("boxed", "packed")


@dataclass(frozen=True)
class OpenBatch:
    """An open batch, how its discs stand, and those that wait for something."""

    batch: Batch
    counts: Mapping[str, int]
    waiting: tuple[Disc, ...]

    @property
    def wanted(self) -> int:
        """How many good discs it still wants."""
        return max(0, int(self.batch.line["good"]) - self.counts["pass"])


@dataclass(frozen=True)
class Morning:
    """All of it. `doubted`: boxed or packed discs that are good no more. `orders`: open ones. `backup`: the newest one and its hours."""

    batches: tuple[OpenBatch, ...]
    held: tuple[str, ...]
    stopped: tuple[Line, ...]
    doubted: tuple[str, ...]
    orders: tuple[str, ...]
    backup: tuple[str, float] | None


def morning(ledger: Ledger) -> Morning:
    """What there is to see this morning."""
    with ledger.read() as known:
        return Morning(
            tuple(_open_batches(known)),
            tuple(sorted(known.held())),
            tuple(_stopped(known)),
            tuple(_doubted(known)),
            tuple(_orders(known)),
            _newest_backup(ledger.path),
        )


def _open_batches(known: Questions) -> Iterator[OpenBatch]:
    names = known.connection.scalars(select(BATCHES.c.name).where(BATCHES.c.open).order_by(BATCHES.c.line)).all()
    batches = sorted(map(known.batch, names), key=lambda batch: (str(batch.line["master"]), batch.id))
    for batch in batches:
        serials = select(DISCS.c.serial).where(DISCS.c.batch == batch.id, DISCS.c.counts == _WORKING).order_by(DISCS.c.line)
        waiting = [known.known_disc(serial) for serial in known.connection.scalars(serials).all()]
        yield OpenBatch(batch, known.counts(batch), tuple(waiting))


def _lines(known: Lookup, *kinds: str) -> Iterator[Line]:
    query = select(LOG.c.text).join(EVENTS, EVENTS.c.line == LOG.c.number).where(EVENTS.c.kind.in_(kinds)).order_by(LOG.c.number)
    yield from map(logged, known.connection.scalars(query).all())


def _stopped(known: Questions) -> Iterator[Line]:
    """The newest stop of each lot and inner box that was not released since."""
    stops: dict[tuple[str, int | None], Line] = {}
    for line in _lines(known, "lot-stop", "lot-release"):
        place = (line["lot"], line["inner"])
        if line["kind"] == "lot-stop":
            stops[place] = line
        else:
            stops.pop(place, None)
    yield from stops.values()


def _doubted(known: Questions) -> Iterator[str]:
    good = 0  # the rank of `pass`
    query = select(DISCS.c.serial).where(DISCS.c.state.in_(_AWAY), DISCS.c.verdict != good).order_by(DISCS.c.line)
    yield from known.connection.scalars(query)


def _orders(known: Questions) -> Iterator[str]:
    state: dict[str, str] = {}
    for line in _lines(known, "order"):
        state[line["order"]] = line["what"]
    yield from (name for name, what in state.items() if what not in ("ship", "cancel", "shipped", "cancelled"))


def _newest_backup(ledger: Path) -> tuple[str, float] | None:
    """The newest copy in the folder `backups` beside a ledger, and how many hours ago it was made."""
    copies = [(path.stat().st_mtime, path.name) for path in (ledger.absolute().parent / "backups").glob("*.sqlite")]
    if not copies:
        return None
    made, name = max(copies)
    return name, (moment(now(), "now") - datetime.fromtimestamp(made, UTC)).total_seconds() / 3600
