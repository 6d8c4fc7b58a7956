"""What differs between two masters: files, sectors, and what is said of each side. Pure.

A free sector's text may differ too (another catalogue number, or a master of version 1, whose text names the revision): such sectors are
kept apart from those that hold something.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from formats.model.geometry import Address
from mastering.master.filler import is_free
from mastering.master.master import Master, Side
from mastering.master.slot import Slot

Change = dict[str, Any]

_OF_A_SIDE = ("platform", "geometry", "volume", "label", "identity")
_Said = Mapping[str, Any]
_OF_A_FILE = ("name", "type", "load_address", "bytes", "sha256", "locked", "volatile")


def changes(old: Master, new: Master) -> Iterator[Change]:
    """Every change, a JSON object each: `change` says what kind, `side` where (null: the title), `old` and `new` what it was and is.

    Kinds: `title`; of a side `side` (it came or went), `platform`, `geometry`, `declaration` (of a geometry of the same id), `volume`,
    `label`, `identity`, `serial`; of a file `added`, `removed`, `changed`, `renamed`; and one `sectors` for each side whose dumps have
    the same sectors and differ.
    """
    if (titles := [_title(master) for master in (old, new)])[0] != titles[1]:
        yield _change("title", None, *titles)
    for name in sorted({*old.sides, *new.sides}):
        was, now = old.sides.get(name), new.sides.get(name)
        if was is None or now is None:
            yield _change("side", name, *(side and {"geometry": side.geometry_id, "volume": side.volume} for side in (was, now)))
        else:
            yield from _said(name, old.record["sides"][name], new.record["sides"][name])
        if (slots := [_slot(side) for side in (was, now)])[0] != slots[1]:
            yield _change("serial", name, *slots)
        yield from _files(name, was.files if was else (), now.files if now else ())
        if was and now and was.size == now.size and was.geometry.places.keys() == now.geometry.places.keys():
            yield from _sectors(name, old, new)


def _title(master: Master) -> dict[str, Any]:
    """What a master says of its title; one of version 1 says no edition and no number of discs."""
    return {"edition": master.edition, "disc": master.disc, "discs": master.discs, **master.record["title"]}


def _change(kind: str, side: str | None, old: Any, new: Any) -> Change:
    return {"change": kind, "side": side, "old": old, "new": new}


def _said(name: str, was: _Said, now: _Said) -> Iterator[Change]:
    """Changes of what the records say of a side that both masters have."""
    for key in _OF_A_SIDE:
        if was[key] != now[key]:
            yield _change(key, name, was[key], now[key])
    if was["geometry"] == now["geometry"] and _declared(was) != _declared(now):
        yield _change("declaration", name, was["geometry_digest"], now["geometry_digest"])


def _declared(side: _Said) -> dict[str, Any]:
    """What a side's geometry was declared to be; masters of before 2026-11-26 hold its sources, too, which are no part of that."""
    return {key: value for key, value in side["geometry_plain"].items() if key != "sources"}


def _slot(side: Side | None) -> dict[str, int] | None:
    """Where the serial lies on a side."""
    slot: Slot | None = side.slot if side else None
    return None if slot is None else {key: getattr(slot, key) for key in ("track", "head", "sector", "offset", "bytes")}


# Files


def _files(side: str, was: Iterable[_Said], now: Iterable[_Said]) -> Iterator[Change]:
    """Changes of files, by their names. A file that went and one that came with the same bytes are one file that was renamed."""
    old, new = ({file["name"]: {key: file.get(key) for key in _OF_A_FILE} for file in files} for files in (was, now))
    gone = [file for name, file in old.items() if name not in new]
    for name, file in new.items():
        if name not in old:
            before = next((each for each in gone if (each["bytes"], each["sha256"]) == (file["bytes"], file["sha256"])), None)
            if before is not None:
                gone.remove(before)
            yield _change("added" if before is None else "renamed", side, before, file)
        elif old[name] != file:
            yield _change("changed", side, old[name], file)
    yield from (_change("removed", side, file, None) for file in gone)


# Sectors


def _sectors(side: str, old: Master, new: Master) -> Iterator[Change]:
    """The sectors of a side that differ, track by track; `free` are those that were and are free."""
    differing = list(_differing(old.sides[side], new.sides[side]))
    free = [address for address in differing if all(is_free(master.sides[side], master.free_title, address) for master in (old, new))]
    held = [address for address in differing if address not in set(free)]
    if differing:
        count = len(new.sides[side].geometry.addresses)
        yield {"change": "sectors", "side": side, "sectors": len(held), "of": count, "tracks": _by_track(held), "free": _by_track(free)}


def _differing(was: Side, now: Side) -> Iterator[Address]:
    size = now.size
    for place, address in enumerate(now.geometry.addresses):
        start = was.geometry.places[address] * size
        if was.dump[start : start + size] != now.dump[place * size : (place + 1) * size]:
            yield address


def keeps_bytes(side: str, old: Master, new: Master) -> bool:
    """Whether a side of a new master is recorded as that of an old one: the same geometry, sectors and identifiers."""
    was, now = old.sides.get(side), new.sides.get(side)
    if was is None or now is None or was.dump != now.dump or was.identity != now.identity:
        return False
    return _declared(old.record["sides"][side]) == _declared(new.record["sides"][side])


def _by_track(addresses: Sequence[Address]) -> list[dict[str, Any]]:
    """Addresses in the order of a dump, those of a track together."""
    tracks: dict[tuple[int, int], list[int]] = {}
    for address in addresses:
        tracks.setdefault((address.track, address.head), []).append(address.sector)
    return [{"track": track, "head": head, "sectors": sorted(sectors)} for (track, head), sectors in tracks.items()]
