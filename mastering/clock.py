"""The only clock: UTC, whole seconds, RFC 3339. `OBVERSE_NOW` sets it for tests."""

import os
from datetime import UTC, datetime

from mastering.errors import MasteringError

VARIABLE = "OBVERSE_NOW"


def now() -> str:
    """The time. MasteringError when the variable holds none."""
    text = os.environ.get(VARIABLE)
    return spelled(datetime.now(UTC)) if text is None else spelled(moment(text, VARIABLE))


def moment(text: str, where: str) -> datetime:
    """A time that was written down. MasteringError when it is none, or in no time zone."""
    try:
        made = datetime.fromisoformat(text)
        if made.tzinfo is not None:
            return made.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    raise MasteringError(f"{where}: {text!r} is no time; expected one as 2026-11-25T19:30:00Z")


def spelled(time: datetime) -> str:
    """A time in UTC as it is written down."""
    return time.replace(microsecond=0, tzinfo=None).isoformat() + "Z"
