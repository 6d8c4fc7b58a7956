"""What a disc needs next at the bench, and in which drive. Pure."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from mastering.bench.floor import DiscState, Rules, Station

Need = Literal["write", "read", "label", "good", "bad", "aside"]


@dataclass(frozen=True)
class Work:
    """What a disc needs next; `side` for a writing and a read, `last_look`: the read that proves the label, with the face that it says."""

    need: Need
    side: str | None = None
    last_look: bool = False


def next_work(disc: DiscState, rules: Rules, face: str | None, labelled: bool) -> Work:
    """What a disc needs next; `face` is the side that is up where it lies, None where that is unknown."""
    if disc.rejected:
        return Work("bad")
    if disc.ask:
        return Work("aside")
    if disc.verdict == "pass":
        return Work("label") if rules.label and not labelled and rules.label_when == "on-pass" else Work("good")
    if rules.each_side:
        return _each_side(disc)
    to_write = [side for side, state in disc.sides.items() if state.to_write]
    if to_write:
        return Work("write", to_write[0])
    unproved = [side for side, state in disc.sides.items() if state.verdict != "pass"]
    if unproved == ["A"] and len(disc.sides) > 1:
        before = rules.label and rules.label_when == "before-last-look" and not labelled
        return Work("label") if before else Work("read", "A", last_look=True)
    later = [side for side in unproved if side != "A"] or unproved
    return Work("read", face if face in later else later[0])


def _each_side(disc: DiscState) -> Work:
    """The need of a disc whose sides are finished one after the other: a side that failed is not turned over."""
    side, state = next((side, state) for side, state in disc.sides.items() if state.verdict != "pass")
    return Work("write" if state.to_write else "read", side)


def drives_for(work: Work, disc: DiscState, stations: Sequence[Station], swapped: bool) -> list[str]:
    """The drives that may do a disc's next work, the best first.

    Where a side has several drives, some write and the others read, as a misaligned drive reads its own writings well; `swapped`: the
    second half of a batch, in which the parts are exchanged. A read that did not pass is made again in a drive that has not tried it.
    """
    assert work.side is not None
    state = disc.sides[work.side]
    if work.need == "write":
        serving = [station.name for station in stations if work.side in station.writes]
        others = [name for name in serving if name != state.wrote]
        if state.wrote is not None and others:
            return others  # a second writing is made on another drive
        return _part(serving, swapped, writers=True)
    serving = [station.name for station in stations if work.side in station.reads]
    untried = [name for name in serving if name not in state.tried]
    others = [name for name in untried or serving if name != state.wrote]
    readers = [] if state.tried else [name for name in _part(serving, swapped, writers=False) if name != state.wrote]
    return readers or others or untried or serving


def _part(serving: list[str], swapped: bool, writers: bool) -> list[str]:
    """The drives that write (or read) in this half of a batch: of two one, of three two, of four two."""
    ordered = serving[::-1] if swapped else serving
    count = (len(ordered) + 1) // 2
    return ordered[:count] if writers else ordered[count:] or ordered


def is_blocked(drives: Sequence[str], held: Collection[str]) -> bool:
    """Whether no drive is left for a disc's next work."""
    return all(name in held for name in drives)
