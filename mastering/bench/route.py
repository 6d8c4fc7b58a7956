"""What a disc needs next at the bench, and in which drive. Pure."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from mastering.bench.floor import DiscState, Rules, Station

TWO = 2

Need = Literal["write", "read", "label", "good", "bad", "aside"]


@dataclass(frozen=True)
class Work:
    """What a disc needs next; `side` for a writing and a read, `last_look`: the read that proves the label, with the face that it says."""

    need: Need
    side: str | None = None
    last_look: bool = False


def next_work(disc: DiscState, rules: Rules, face: str, labelled: bool) -> Work:
    """What a disc needs next; `face` is the side that is up where it lies."""
    if disc.rejected or disc.ask:
        return Work("bad" if disc.rejected else "aside")
    if disc.verdict == "pass":
        return Work("label" if rules.label and not labelled and rules.label_when == "on-pass" else "good")
    return _each_side(disc) if rules.each_side else _after_turning_over(disc, rules, face, labelled)


def _after_turning_over(disc: DiscState, rules: Rules, face: str, labelled: bool) -> Work:
    """The need of a disc whose sides are all written before any is read; the last look at side A proves its label, too."""
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
    """The drives of these that may do a disc's next work, the best first; empty where none serves the side.

    What one drive wrote another one reads, as a misaligned drive reads its own writings well. Of two drives one writes and the other reads;
    `swapped`: the second half of a batch, in which they change parts. A second writing is made on another drive than the first, and a read
    that did not pass is made again in a drive that has not tried it.
    """
    assert work.side is not None
    state = disc.sides[work.side]
    if work.need == "write":
        others = [station.name for station in stations if work.side in station.writes and station.name != state.wrote]
        return others if state.wrote is not None and others else writers(stations, work.side, swapped)
    serving = [station.name for station in stations if work.side in station.reads]
    untried = [name for name in serving if name not in state.tried]
    return [name for name in untried or serving if name != state.wrote] or untried or serving


def writers(stations: Sequence[Station], side: str, swapped: bool) -> list[str]:
    """The drives that write a side of new discs in this half of a batch."""
    serving = [station.name for station in stations if side in station.writes]
    if len(serving) == TWO:
        return [serving[-1 if swapped else 0]]
    return serving


def is_served(stations: Sequence[Station], sides: Collection[str]) -> bool:
    """Whether these drives write and read every side, so that a disc which is begun can be finished."""
    return all(any(side in each.writes for each in stations) and any(side in each.reads for each in stations) for side in sides)
