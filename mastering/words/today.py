"""The morning screen in words."""

from collections.abc import Iterator
from typing import Any

from formats.words import counted
from mastering.recording.morning import Morning
from mastering.words.batches import disc_text
from mastering.words.layout import Block, indented

_SHOWN = 8


def today_plain(found: Morning) -> dict[str, Any]:
    """As in `today --json`."""
    return {
        "batches": [
            {
                "batch": each.batch.name,
                "master": each.batch.line["master"],
                "good": each.batch.line["good"],
                "wanted": each.wanted,
                "discs": dict(each.counts),
                "waiting": [disc.plain() for disc in each.waiting],
            }
            for each in found.batches
        ],
        "held": list(found.held),
        "stopped": [{"lot": line["lot"], "inner": line["inner"], "reason": line["reason"]} for line in found.stopped],
        "doubted": list(found.doubted),
        "orders": list(found.orders),
        "backup": None if found.backup is None else {"file": found.backup[0], "hours": round(found.backup[1], 1)},
    }


def today_text(found: Morning) -> Iterator[Block]:
    """The same for people: what wants a hand first."""
    for serial in found.doubted:
        yield f"take {serial} out of its box: it is good no more (`obverse disc show {serial}`)"
    for drive in found.held:
        yield f"drive {drive} is on hold: clean it, then `obverse drive check {drive}`"
    for line in found.stopped:
        box = f"/{line['inner']}" if line["inner"] else ""
        yield f"lot {line['lot']}{box} is stopped: {line['reason']}"
    for each in found.batches:
        rest = f"{each.wanted} more wanted" if each.wanted else f"enough are good: `obverse batch close {each.batch.name}`"
        yield f"{each.batch.line['master']}, batch {each.batch.name}: {each.counts['pass']} good of {each.batch.line['good']}; {rest}"
        yield from indented(disc_text(disc) for disc in each.waiting[:_SHOWN])
        if len(each.waiting) > _SHOWN:
            yield f"  and {len(each.waiting) - _SHOWN} more that wait for something"
    if not found.batches:
        yield "no batch is open"
    if found.orders:
        yield f"{counted(len(found.orders), 'open order')}: {', '.join(found.orders[:_SHOWN])}"
    if found.backup is None:
        yield "no backup yet: `obverse ledger backup FILE`"
    else:
        name, hours = found.backup
        yield f"the newest backup is {_age(hours)} old: {name}"


def _age(hours: float) -> str:
    return counted(max(0, round(hours)), "hour") if hours < 48 else counted(round(hours / 24), "day")
