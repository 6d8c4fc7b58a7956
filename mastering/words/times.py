"""Times for people: local, with their zone. Files and JSON keep UTC."""

from datetime import datetime

from mastering.clock import moment


def local_time(text: str) -> str:
    """A time that was written down in UTC, as people here say it: `2026-11-25 20:30 CET`."""
    return _zoned(moment(text, "a row's time").astimezone(), "%Y-%m-%d %H:%M")


def _zoned(time: datetime, pattern: str) -> str:
    return f"{time:{pattern}} {time.tzname() or f'{time:%z}'}"
