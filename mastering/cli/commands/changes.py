"""`obverse changes`: what is other in a new master than in an old one."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from formats.words import counted
from mastering.cli.output import json_lines, lines

if TYPE_CHECKING:
    from mastering.master.changes import Change
    from mastering.master.master import Master


@click.command(short_help="Say what is other in a new master than in an old one.")
@click.argument("old", type=click.Path())
@click.argument("new", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each change.")
def command(old: str, new: str, as_json: bool) -> None:
    """Say what is other in the master NEW than in the master OLD: files added, removed, changed or renamed, and the sectors that differ.

    A side that keeps its bytes is named as such: its discs are good for either master. Free sectors that differ in their text only are
    counted apart. Exit status 0 whether anything is other or not.
    """
    from mastering.master.changes import changes
    from mastering.master.master import open_master

    was, now = (open_master(Path(each), whole=False) for each in (old, new))
    found = list(changes(was, now))
    if as_json:
        json_lines(found)
    else:
        lines(_told(was, now, found))


def _told(was: "Master", now: "Master", found: "list[Change]") -> Iterator[str]:
    """Side by side, for people."""
    from mastering.master.changes import keeps_bytes

    yield f"{was.label} ({was.catalogue}) -> {now.label} ({now.catalogue})"
    if was.publisher != now.publisher:
        yield f"publisher: {was.publisher} -> {now.publisher}"
    for name in sorted({*was.sides, *now.sides}):
        of_side = [change for change in found if change["side"] == name]
        whole = next((change for change in of_side if change["change"] == "side"), None)
        said = ("is new: " + _words(whole["new"]) if whole["new"] else "is gone: " + _words(whole["old"])) if whole else ""
        same = f"side {name} keeps its bytes" if keeps_bytes(name, was, now) else f"side {name}"
        yield f"side {name} {said}" if whole else same + ":" if of_side else same
        yield from (f"  {line}" for change in of_side if change is not whole for line in _line(change))


def _line(change: "Change") -> Iterator[str]:
    """A change of a side."""
    kind: str = change["change"]
    old: Any = change.get("old")
    new: Any = change.get("new")
    if kind == "sectors":
        yield from _sectors(change)
    elif kind == "declaration":
        yield "geometry: the same id, declared otherwise"
    elif kind == "renamed":
        yield f"renamed   {old['name']} -> {new['name']}{_other(old, new)}"
    elif kind in ("added", "removed"):
        file = new or old
        yield f"{kind:9} {file['name']}, {file['bytes']:,} bytes"
    elif kind == "changed":
        yield f"changed   {new['name']}{_other(old, new)}"
    else:
        yield f"{kind}: {_words(old)} -> {_words(new)}"


def _other(old: dict[str, Any], new: dict[str, Any]) -> str:
    """What of a file is other, but for its name."""
    said = []
    if (old["bytes"], old["sha256"]) != (new["bytes"], new["sha256"]):
        size = f"{old['bytes']:,} -> {new['bytes']:,} bytes"
        said.append(size if old["bytes"] != new["bytes"] else f"other content, {new['bytes']:,} bytes as before")
    for key in ("type", "load_address", "locked", "volatile"):
        if old[key] != new[key]:
            said.append(f"{key} {old[key]} -> {new[key]}")
    return ", ".join(["", *said])


def _words(value: Any) -> str:
    """A value for people."""
    if isinstance(value, dict):
        return ", ".join(f"{each}" if key in ("geometry", "volume") else f"{key} {each}" for key, each in value.items())
    return "none" if value in (None, "") else str(value)


def _sectors(change: "Change") -> Iterator[str]:
    """The sectors that differ, a line a track."""
    yield f"{change['sectors']:,} of {change['of']:,} sectors differ" + (":" if change["tracks"] else "")
    for track in change["tracks"]:
        head = f" head {track['head']}" if track["head"] else ""
        yield f"  track {track['track']}{head}: {' '.join(map(str, track['sectors']))}"
    free = sum(len(track["sectors"]) for track in change["free"])
    if free:
        yield f"another {counted(free, 'free sector differs', 'free sectors differ')} only in the text that fills free sectors"
