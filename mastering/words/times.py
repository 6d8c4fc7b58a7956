"""Times for people: local, with their zone. Files and JSON keep UTC."""

from datetime import datetime

from mastering.clock import moment


def local_time(time: datetime | str, beside: datetime | None = None) -> str:
    """A time as people here say it: `2026-11-25 20:30 CET`; of the same day as a time `beside` it without its date.

    A text is a time that was written down in UTC.
    """
    local = (moment(time, "a row's time") if isinstance(time, str) else time).astimezone()
    same_day = beside is not None and beside.astimezone().date() == local.date()
    return f"{local:{'%H:%M' if same_day else '%Y-%m-%d %H:%M'}} {local.tzname()}"
