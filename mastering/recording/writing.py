"""What may be written on a disc of a batch, and what comes before it."""

from mastering.errors import MasteringError
from mastering.ledger.entities import Disc


def check_writable(disc: Disc) -> None:
    """MasteringError when nothing is ever to be written on this disc again."""
    if not disc.batch.open:
        raise MasteringError(f"{disc.serial}: batch {disc.batch.name} is closed: what is written now can't be recorded")
    standing = disc.standing
    if standing.rejected:
        why = "it was rejected by eye" if standing.by_eye else "its last writing failed, too"
        raise MasteringError(f"{disc.serial}: {why}; take another blank and the next serial")


def before_writing(disc: Disc, side: str) -> str | None:
    """What comes before a failed side's next writing, if anything does. MasteringError when the side may be good as it is."""
    standing = disc.standing.sides[side]
    if standing.verdict in ("pass", "marginal"):
        why = "good" if standing.verdict == "pass" else "in doubt: read it again"
        raise MasteringError(f"{disc.serial}: side {side} is {why}; to write over it all the same say --again")
    if standing.verdict != "fail" or standing.spent:
        return None
    step = disc.next_step
    drive = f" in {step.drives[side]}" if side in step.drives and step.action == "read-again" else ""
    return f"{disc.serial}: side {side} failed once; read it again{drive} first, as it may be the reading"
