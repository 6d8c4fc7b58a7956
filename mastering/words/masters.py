"""Masters in words: what was built, how its checks came out, what differs between two of them, which of them carry a piece of data."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from formats.words import counted
from mastering.words.layout import TIE, Block, Line, Table

if TYPE_CHECKING:
    from mastering.master.builder import Built
    from mastering.master.changes import Change
    from mastering.master.master import Master

_SHOWN = 6  # places of a piece of data on a side


def built_text(built: "Built", out: str | None, digest: str | None) -> Iterator[Block]:
    """What was built and where it lies; `out` None: nothing was written."""
    from mastering.master.builder import blanks

    title = built.job.title
    yield f"{title.name} {title.revision} ({title.catalogue}, {title.publisher})"
    for name, side in built.sides.items():
        yield from _built_side(name, side)
    yield f"  blanks: {_blanks_text(blanks([side.plan.geometry for side in built.sides.values()]))}"
    if out is None:
        yield "  nothing was written (--dry-run)"
    else:
        yield f"  master: {out}"
        yield f"  digest: {digest}"


def _built_side(name: str, side: Any) -> Iterator[Block]:
    """A side of a master that was built: its files, how full it is, and how much of it a reader could fill in unseen."""
    from mastering.master.builder import unproven

    geometry = side.plan.geometry
    count = len(geometry.addresses)
    yield f"  side {name}: {', '.join(filter(None, (side.plan.platform, geometry.id, side.plan.volume.id)))}"
    if side.files:
        yield Table([("file", "address", "bytes", "sectors"), *map(_built_file, side.files)], "    ")
    room = "" if side.plan.volume.id == "none" else f", {counted(side.free, 'unit')} of {side.unit} bytes free"
    yield f"    {side.used:,} of {count:,} sectors used ({100 * side.used // count}{TIE}%){room}"
    if slot := side.slot:
        head = f" head {slot.head}" if geometry.heads == 2 else ""
        yield f"    serial: {slot.bytes} bytes on track {slot.track}{head} sector {slot.sector}"
    if doubtful := len(unproven(side.dump, geometry.size)):
        would = f"{counted(doubtful, 'sector')} would look the same filled in by a reader"
        yield f"    {would}: read copies as captures, or with reports"


def _built_file(file: Any) -> tuple[str, ...]:
    """A file's row: its name, load address, bytes and sectors."""
    from mastering.master.names import text_of

    address = "" if file.load_address is None else f"0x{file.load_address:04X}"
    return text_of(file.name), address, f"{len(file.data):,}", f"{len(file.sectors):,}"


def _blanks_text(blanks: Mapping[str, Any]) -> str:
    """The blanks that a master needs."""
    cuts = (("second_notch", "a second notch"), ("second_index_window", "a second index window"))
    return ", ".join(
        [
            f"coercivity {' and '.join(blanks['coercivity'])}",
            f"{' and '.join(map(str, blanks['tpi']))} tracks per inch",
            f"{'one face' if blanks['faces'] == 1 else 'both faces'} to record",
            *(words for key, words in cuts if blanks[key]),
        ]
    )


# Checks


def checks_text(checks: Iterable[Mapping[str, Any]]) -> Iterator[Block]:
    """The checks of a master, each with its problems below it."""
    for check in checks:
        good, wrong = _CHECKS[check["check"]]
        what = f"side {check['side']}: " if check["side"] else ""
        yield f"{'good' if check['ok'] else 'WRONG':5}  {what}{good if check['ok'] else wrong}"
        yield from (Line("       ", ": ".join(filter(None, problem.values()))) for problem in check["problems"])


UNCHECKED = "not checked: sides, as the master's files are not what they were"
_CHECKS = {
    "fixity": ("files unchanged", "files changed, missing or added"),
    "fields": ("the capture carries every sector", "the capture carries something else"),
    "volume": ("the volume agrees with itself", "the volume contradicts itself"),
    "side": ("the record agrees with the bytes", "the record contradicts the bytes"),
}


# What differs between two masters


def changes_text(old: "Master", new: "Master", changes: "Sequence[Change]") -> Iterator[Block]:
    """The differences between two masters, side after side; a side that keeps its bytes is said to."""
    from mastering.master.changes import keeps_bytes

    yield f"{old.label} ({old.catalogue}) -> {new.label} ({new.catalogue})"
    if old.publisher != new.publisher:
        yield f"publisher: {old.publisher} -> {new.publisher}"
    for name in sorted({*old.sides, *new.sides}):
        of_side = [change for change in changes if change["side"] == name]
        whole = next((change for change in of_side if change["change"] == "side"), None)
        if whole is not None:
            yield f"side {name} " + (f"is new: {_value(whole['new'])}" if whole["new"] else f"is gone: {_value(whole['old'])}")
        else:
            same = f"side {name} keeps its bytes" if keeps_bytes(name, old, new) else f"side {name}"
            yield f"{same}:" if of_side else same
        yield from (line for change in of_side if change is not whole for line in _change(change))


def _change(change: "Change") -> Iterator[Block]:
    """One difference of a side."""
    kind: str = change["change"]
    old: Any = change.get("old")
    new: Any = change.get("new")
    if kind == "sectors":
        yield from _changed_sectors(change)
    elif kind == "declaration":
        yield "  geometry: the same id, but declared differently"
    elif kind == "renamed":
        yield Line("  renamed   ", f"{old['name']} -> {new['name']}{_changed_file(old, new)}")
    elif kind in ("added", "removed"):
        file = new or old
        yield Line(f"  {kind:9} ", f"{file['name']}, {counted(file['bytes'], 'byte')}")
    elif kind == "changed":
        yield Line("  changed   ", f"{new['name']}{_changed_file(old, new)}")
    else:
        yield f"  {kind}: {_value(old)} -> {_value(new)}"


def _changed_file(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """The properties of a file that differ, except its name."""
    differences = []
    if old["bytes"] != new["bytes"]:
        differences.append(f"{old['bytes']:,} -> {new['bytes']:,} bytes")
    elif old["sha256"] != new["sha256"]:
        differences.append(f"other content, {new['bytes']:,} bytes as before")
    differences += [f"{key} {old[key]} -> {new[key]}" for key in ("type", "load_address", "locked", "volatile") if old[key] != new[key]]
    return ", ".join(["", *differences])


def _value(value: Any) -> str:
    """A value of a side's or a file's record."""
    if isinstance(value, dict):
        return ", ".join(f"{each}" if key in ("geometry", "volume") else f"{key} {each}" for key, each in value.items())
    return "none" if value in (None, "") else str(value)


def _changed_sectors(change: "Change") -> Iterator[Block]:
    """The sectors of a side that differ, a line for each track; free sectors are counted apart."""
    differ = "differs" if change["sectors"] == 1 else "differ"
    yield f"  {change['sectors']:,} of {counted(change['of'], 'sector')} {differ}" + (":" if change["tracks"] else "")
    for track in change["tracks"]:
        head = f" head {track['head']}" if track["head"] else ""
        yield Line(f"    track {track['track']}{head}: ", " ".join(map(str, track["sectors"])))
    if free := sum(len(track["sectors"]) for track in change["free"]):
        yield f"  another {counted(free, 'free sector')} {'differs' if free == 1 else 'differ'} only in the text that fills them"


# Which masters carry a piece of data


def search_text(line: Mapping[str, Any]) -> Iterator[Block]:
    """A side that was searched, and where the piece lies on it."""
    platform = f" ({line['platform']})" if line["platform"] else ""
    count = line["found"]
    how_often = "not there" if not count else "once" if count == 1 else f"{count:,} times"
    yield f"{line['title']} side {line['side']}{platform}: {how_often}"
    for hit in line["hits"][:_SHOWN]:
        where = f"{hit['file']}, byte {hit['offset']:,}" if hit["file"] is not None else f"in no file, byte {hit['offset']:,} of the side"
        yield f"  {where}: {_places(hit['sectors'])}"
    if count > _SHOWN:
        yield f"  and {count - _SHOWN:,} more (all of them with --json)"


def _places(sectors: Sequence[Sequence[int]]) -> str:
    """The sectors that a piece of data lies in; of many the first and the last."""
    places = [f"track {track}{f' head {head}' if head else ''} sector {sector}" for track, head, sector in sectors]
    return ", ".join(places) if len(places) <= _SHOWN else f"{places[0]} to {places[-1]}, {len(places)} sectors"


def search_summary(carried: Sequence[str], without: Sequence[str]) -> str:
    """How many sides carry the piece, and which do not."""
    total = len(carried) + len(without)
    missing = ", ".join(without[:_SHOWN]) + (f" and {len(without) - _SHOWN} more" if len(without) > _SHOWN else "")
    carry = "carries" if len(carried) == 1 else "carry"
    return f"{len(carried):,} of {counted(total, 'side')} {carry} it" + (f"; not: {missing}" if without else "")
