"""Times for people: local, with their zone."""

from datetime import datetime


def local(at: str) -> str:
    """A UTC time of the ledger in the local zone."""
    return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M %Z")
