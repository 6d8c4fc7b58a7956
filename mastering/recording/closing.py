"""A batch as it is closed: what lies on the table, against what the ledger says should."""

import re

from mastering.errors import MasteringError
from mastering.ledger.entities import Batch
from mastering.ledger.lookup import Lookup
from mastering.ledger.tables import EVENTS, LOG

KEYS = ("good", "rejected", "unused", "labels")


def compared(lookup: Lookup, batch: Batch, text: str, reason: str | None) -> dict[str, int]:
    """The counts that a person gave as `good=40,rejected=2`. MasteringError for none, and for other ones without a reason."""
    counted = _parsed(text)
    should = on_the_table(lookup, batch)
    different = [f"{key}: {counted[key]} on the table, {should[key]} by the ledger" for key in counted if counted[key] != should[key]]
    if different and not (reason or "").strip():
        raise MasteringError(
            f"batch {batch.name}: {'; '.join(different)}: look for what is missing, or say with --reason why; nothing was changed"
        )
    return counted


def _parsed(text: str) -> dict[str, int]:
    counted: dict[str, int] = {}
    for part in text.split(","):
        match = re.fullmatch(r"\s*([a-z]+)=(\d{1,9})\s*", part)
        if match is None or match[1] not in KEYS or match[1] in counted:
            raise MasteringError(f"--counted {text}: expected such as good=40,rejected=2 with {', '.join(KEYS)}, each once")
        counted[match[1]] = int(match[2])
    return counted


def on_the_table(lookup: Lookup, batch: Batch) -> dict[str, int]:
    """How many discs in stock, rejected ones, unused serials and labels that were printed and not stuck a batch should leave."""
    from sqlalchemy import select

    discs = lookup.discs(batch)
    query = select(EVENTS.c.disc, EVENTS.c.kind, EVENTS.c.what, LOG.c.number).join(LOG, LOG.c.number == EVENTS.c.line)
    away: set[int] = set()
    labelled: list[int] = []
    for row in lookup.connection.execute(query.where(EVENTS.c.kind.in_(("disc", "label"))).order_by(EVENTS.c.line)):
        if row.kind == "label":
            labelled.append(row.disc)
        elif row.what in ("unbox", "undo", "unpack"):
            away.discard(row.disc)
        else:
            away.add(row.disc)
    good = {disc.id for disc in discs if disc.verdict == "pass"}
    return {
        "good": len(good - away),
        "rejected": sum(disc.rejected for disc in discs),
        "unused": sum(not disc.begun and not disc.dropped and not disc.rejected for disc in discs),
        "labels": sum(label not in good for label in labelled if label in {disc.id for disc in discs}),
    }
