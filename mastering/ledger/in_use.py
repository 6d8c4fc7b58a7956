"""What advice is asked about: the lots, drives and batches in use, what was set aside, and where charts begin anew."""

from collections import Counter
from collections.abc import Iterator

from sqlalchemy import func, select

from mastering.deciding.statistics.states import InUse
from mastering.ledger.lines import Line, logged
from mastering.ledger.questions import Questions
from mastering.ledger.tables import BATCHES, COUNTS, DISCS, DRIVES, EVENTS, LOG, LOTS

_BEGUN = DISCS.c.counts.in_([COUNTS.index(name) for name in ("working", "good", "bad", "abandoned")])
_USED = select(DISCS.c.lot, func.count()).where(_BEGUN).group_by(DISCS.c.lot)
_RESTARTS = ("cleaned", "adjusted", "repaired")
_REPAIRS = ("adjusted", "repaired")


def in_use(known: Questions) -> InUse:
    """Every open batch, every drive that is not retired, and every lot that is not used up; what was stopped or held is set aside."""
    used = {lot: discs for lot, discs in known.connection.execute(_USED)}
    counts = {name: known.lot(name)["count"] for name in known.ids(LOTS)}
    lots = {name: count for name, count in counts.items() if count is None or used.get(known.ids(LOTS)[name], 0) < count}
    running = [batch for batch in known.batches() if batch.open]
    lots |= {name: counts[name] for batch in running for name in batch.lots}
    drives = tuple(name for name in known.ids(DRIVES) if name not in retired_drives(known))
    aside = {("lot", name) for name in stopped_lots(known)} | {("drive", name) for name in known.held()}
    wanted = {batch.name: batch.line["good"] for batch in running}
    return InUse(lots, drives, wanted, _restarts(known), frozenset(aside), _repairs(known))


def stopped_lots(known: Questions) -> set[str]:
    """The lots that a person stopped as a whole, and has not released since."""
    newest = {line["lot"]: line["kind"] for _, line in _events(known, "lot-stop", "lot-release") if line.get("inner") is None}
    return {name for name, kind in newest.items() if kind == "lot-stop"}


def retired_drives(known: Questions) -> set[str]:
    """The drives of which the newest entry in the log is that they were retired."""
    newest = {line["drive"]: line["what"] for _, line in _events(known, "drive-log")}
    return {name for name, what in newest.items() if what == "retired"}


def simulated(known: Questions) -> set[tuple[str, str]]:
    """Kind and name of every lot and batch with a simulated disc, and of every simulated drive."""
    marked = {("drive", name) for name, line in known.ids(DRIVES).items() if known.line(line)["simulated"]}
    for lot, batch in known.connection.execute(select(DISCS.c.lot, DISCS.c.batch).where(DISCS.c.simulated).distinct()):
        marked |= {("lot", str(known.name_of(LOTS, lot))), ("batch", str(known.name_of(BATCHES, batch)))}
    return marked


def _restarts(known: Questions) -> dict[tuple[str, str], int]:
    """The rows at which charts begin anew: a lot's newest release, a drive's newest cleaning, adjustment or repair."""
    rows = {("lot", line["lot"]): row for row, line in _events(known, "lot-release") if line.get("inner") is None}
    return rows | {("drive", line["drive"]): row for row, line in _events(known, "drive-log") if line["what"] in _RESTARTS}


def _repairs(known: Questions) -> dict[str, int]:
    """How often each drive was adjusted or repaired."""
    return Counter(line["drive"] for _, line in _events(known, "drive-log") if line["what"] in _REPAIRS)


def _events(known: Questions, *kinds: str) -> Iterator[tuple[int, Line]]:
    """The lines of these kinds with their rows, in their order."""
    rows = (
        select(EVENTS.c.line, LOG.c.text).join(LOG, LOG.c.number == EVENTS.c.line).where(EVENTS.c.kind.in_(kinds)).order_by(EVENTS.c.line)
    )
    for row in known.connection.execute(rows):
        yield row.line, logged(row.text)
