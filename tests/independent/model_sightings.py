"""Sightings: each time that a sector passes the head, handed to its sector by the rules, and where a sector was missed."""

import itertools
import statistics
from dataclasses import dataclass
from fractions import Fraction

from model_fields import Field, fields_of, shape_of


@dataclass
class Sighting:
    """A sector passing the head: its identifier, what became of its block ("sound", "unsound", "none" or "cut"), and at another density?"""

    at: int
    identifier: Field
    state: str
    block: Field | None
    off: bool = False

    @property
    def all_but_sound(self):
        """Its identifier and block both are sound, at whatever density."""
        return self.identifier.sound and self.state == "sound"

    @property
    def sound(self):
        """A sighting is sound when its identifier and block both are, unless its chunk is at another density."""
        return self.all_but_sound and not self.off

    @property
    def cut_off(self):
        """An identifier without fault whose block lies past an end of the stretch: not seen, which is no fault."""
        return self.identifier.sound and self.state == "cut"


def meet(shape, stretch):
    """The sightings of one stretch, each block with the nearest identifier mark before it."""
    head_size, block_size = shape.identifier, shape.block
    found = fields_of(shape, stretch.cells, stretch.circular)
    size = len(stretch.cells)
    # "A field cut off by an end of the stretch was not seen"
    sightings = [Sighting(one.start, one, "none", None) for one in found if one.kind == "identifier" and not one.cut]
    blocks = [one for one in found if one.kind == "block"]
    if stretch.circular and sightings:  # the blocks before the first identifier are behind the last one
        blocks.sort(key=lambda one: (one.start - sightings[0].at) % size)
    for one in blocks:
        before = [s for s in sightings if s.at < one.start] or (sightings if stretch.circular else [])
        if not before:
            continue
        owner = before[-1]
        # "only if it begins less than a block's length behind that identifier": from the identifier's end to the block's first cell.
        behind = (one.start - owner.at) % size - head_size if stretch.circular else one.start - owner.at - head_size
        # READING: more than one block behind an identifier: the first counts.
        if 0 <= behind < block_size and owner.block is None:
            owner.block = one
            owner.state = "cut" if one.cut else "sound" if one.sound else "unsound"
    for one in sightings:
        # READING: no block was met and the stretch ends where it could still have begun: cut off, no fault.
        if one.state == "none" and not stretch.circular and size - (one.at + head_size) < block_size:
            one.state = "cut"
    return sightings


def turn_cells(stretch, sightings, rpm, sectors):
    """(the length of a turn in cells, whether anything in the chunk shows it), as the capture file's description has it."""
    if stretch.circular:
        return len(stretch.cells), True
    nominal = 60e12 / rpm / stretch.cell_ps
    # READING: "or where they lie more than 1.5 nominal turns apart (one was lost)": such a pair of marks says nothing, another may.
    near = [b - a for a, b in itertools.pairwise(stretch.marks or []) if b - a <= 1.5 * nominal]
    if near:
        return statistics.median(near), True
    distances, last = [], {}
    for one in sightings:
        who = one.identifier.values["sector"]
        if who in last:
            distances.append(one.at - last[who])
        last[who] = one.at
    # READING: "the usual distance between sightings of the same sector": that which most of them share (within 2 %), sound identifiers
    # of this track in this stretch. Where a turn in between was missed the distance is that of two turns: it is parted into as many as
    # come nearest to nominal ones. A number that stands twice on a track is no measure of a turn: the distance must be more than nine
    # tenths of the nominal turn, or half of the track's sectors must show it.
    like = lambda one: sum(abs(one - other) <= one / 50 for other in distances)
    if not distances:
        return nominal, False
    usual = max(distances, key=lambda one: (like(one), one))
    turn = usual / max(1, round(usual / nominal))
    return (turn, True) if turn > nominal * 9 / 10 or like(usual) * 2 >= sectors else (nominal, False)


def off_density(geo, cylinder, stretch, rpm, turn, shown):
    """Whether a chunk is at another density than the geometry has on that track."""
    want = geo.zone(cylinder).cell * 1_000_000 * geo.rpm
    if abs(Fraction(stretch.cell_ps) * Fraction(rpm) - want) > want * Fraction(3, 100):
        return True
    # READING: "whose turn in cells": where neither flag, marks nor sightings show a turn, there is nothing beside the cell length.
    # READING: "Not judged: ... speed (±3 %...)" beside "more than 3 %": a drive at 97 % of its speed lays 1/0.97 of a turn's cells; that much passes.
    nominal = geo.track_cells(cylinder)
    return shown and not nominal * Fraction(97, 100) <= Fraction(turn) <= nominal / Fraction(97, 100)


def holes(stretch, places, turn, sector):
    """The intervals of a stretch in which a sector with identifiers at `places` is missed."""
    size = len(stretch.cells)
    if stretch.circular:
        if not places:
            return [(0, size)]
        around = [*places, places[0] + size]
        return [(a, b) for a, b in itertools.pairwise(around) if b - a > 1.5 * turn]
    if not places:
        # "of which nothing was met in stretches that are all shorter than one turn and one sector": a longer one, or one as long, missed it.
        return [(0, size)] if size >= turn + sector or size == 0 else []
    out = [(a, b) for a, b in itertools.pairwise(places) if b - a > 1.5 * turn]
    if places[0] > turn + sector:
        out.append((0, places[0]))
    if size - places[-1] > turn + sector:
        out.append((places[-1], size))
    return out


@dataclass
class TrackReads:
    """All that was met of one track: per sector its sightings, whether it was missed somewhere, what other tracks' numbers stood there."""

    sightings: dict
    missed: set
    strangers: set
    any_sound: bool = False


def near(stretch, a, b, turn):
    """Within half a turn of each other."""
    apart = abs(a - b)
    if stretch.circular:
        apart = min(apart, len(stretch.cells) - apart)
    return apart <= turn / 2


# READING: "more than one turn and one sector": from sync to the end of gap3 as formatted, `Zone.cells`.
def read_track(geo, cylinder, head, stretches, rpm):
    """Hand every sighting of a track's stretches to its sector."""
    numbers = geo.sectors(cylinder)
    track = geo.track(cylinder, head)
    shape, one_sector = shape_of(geo), geo.zone(cylinder).cells
    out = TrackReads({n: [] for n in numbers}, set(), set())
    for stretch in stretches:
        met = meet(shape, stretch) if stretch.cells else []
        out.any_sound |= any(f.sound for f in fields_of(shape, stretch.cells, stretch.circular)) if stretch.cells else False
        own = [one for one in met if one.identifier.sound and one.identifier.values["track"] == track]
        turn, shown = turn_cells(stretch, own, rpm, len(numbers))
        for one in met:
            one.off = off_density(geo, cylinder, stretch, rpm, turn, shown)
        here = {n: [] for n in numbers}
        lost = []
        for one in met:
            values = one.identifier.values
            if one.identifier.sound and values["track"] == track and values["sector"] in here:
                here[values["sector"]].append(one)
            elif one.identifier.sound and values["track"] != track:
                # READING: "another track's": any other number, whether the geometry has such a track or not.
                out.strangers.add(values["sector"])
            elif not one.identifier.sound:
                lost.append(one)
        named = {n: list(found) for n, found in here.items()}
        rest = []
        for one in lost:
            # READING: "counts for the sector that it names on this track": its track number must be this track's; one whose track number
            # was damaged names a sector of another track.
            values = one.identifier.values
            n = values.get("sector")
            named_here = values.get("track") == track and n in here
            if named_here and not any(s.sound and near(stretch, s.at, one.at, turn) for s in here[n]):
                named[n].append(one)
            else:
                rest.append(one)
        gaps = {n: holes(stretch, sorted(s.at for s in found), turn, one_sector) for n, found in named.items()}
        for one in rest:
            absent = [n for n in numbers if any(a <= one.at < b for a, b in gaps[n])]
            if len(absent) == 1:
                named[absent[0]].append(one)
        for n in numbers:
            out.sightings[n] += sorted(named[n], key=lambda s: s.at)
            if holes(stretch, sorted(s.at for s in named[n]), turn, one_sector):
                out.missed.add(n)
    return out
