"""What may be written on a disc of a batch, and what comes before it."""

from mastering.errors import MasteringError
from mastering.judging.standing import after_failure
from mastering.ledger.entities import Disc


def check_writable(disc: Disc) -> None:
    """MasteringError when nothing is ever to be written on this disc again."""
    if not disc.batch.open:
        raise MasteringError(f"{disc.serial}: batch {disc.batch.name} is closed: what is written now can't be recorded")
    if disc.action() == "reject":
        why = "it was rejected by eye" if disc.rejected else "its last writing failed, too"
        raise MasteringError(f"{disc.serial}: {why}; take another blank and the next serial")


def before_writing(disc: Disc, side: str) -> str | None:
    """What comes before a failed side's next writing, if anything does. MasteringError when the side may be good as it is."""
    standing = disc.standings()[side]
    if standing.verdict in ("pass", "marginal"):
        why = "good" if standing.verdict == "pass" else "in doubt: read it again"
        raise MasteringError(f"{disc.serial}: side {side} is {why}; to write over it all the same say --again")
    if standing.verdict != "fail":
        return None
    advice = {"read-again": "read it again first", "other-drive": "read it in another drive first"}.get(
        after_failure(standing, disc.batch.drives)
    )
    return advice and f"{disc.serial}: side {side} failed; {advice}, as it may be the reading"
