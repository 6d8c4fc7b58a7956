"""Every time that a sector passed the head: what a capture's fields say of each sector, before any master is asked.

The rules are those of the contract's section 6; its words (sighting, missed, cut off, turn) are used here as it defines them.
Positions and lengths are in cells, counted from the start of their stretch.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from formats.containers.capture import Track
from formats.geometry import Address, Geometry
from formats.reading import Fields, Ints, Reading, Stretch, read_fields

Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]

NOT_HERE = -1
_SPEED = 0.1  # how far from its nominal speed a drive may be before what it shows is taken for something else than a turn


@dataclass(frozen=True)
class Sighted:
    """What was met of each sector of a geometry, by its place in the dump (arrays of n), and every sound sighting (arrays of m).

    `block_check`, `no_block`, `identifier_check`: some sighting got that far and no farther; `cut_off`: an end of a stretch cut one
    off; `missed`: there was a turn on which it was not met; `misplaced`: its track holds a sound identifier with its number and
    another track's.
    `place`, `block`, `identifier`: the sector, the block and the identifier of each sound sighting, in the order of the capture.
    """

    geometry: Geometry
    reading: Reading
    block_check: Flags
    no_block: Flags
    identifier_check: Flags
    cut_off: Flags
    misplaced: Flags
    missed: Flags
    place: Places
    block: Places
    identifier: Places

    @property
    def any_sound_field(self) -> bool:
        """Whether an identifier or a block of this geometry was read at all."""
        return bool(self.reading.identifiers.sound.any() or self.reading.blocks.sound.any())

    @property
    def any_sound_identifier(self) -> bool:
        """Whether a sound identifier was read at all."""
        return bool(self.reading.identifiers.sound.any())


def see(geometry: Geometry, tracks: Sequence[Track], rpm: float) -> Sighted:
    """What a capture's tracks (upright, cylinders as the geometry counts them) show of a geometry's sectors."""
    kept = [track for track in tracks if track.cylinder < geometry.cylinders and track.head < geometry.heads]
    return _Look(geometry, kept, rpm).result()


class _Look:
    """The steps of `see`, which share the stretches and the fields found in them."""

    def __init__(self, geometry: Geometry, tracks: Sequence[Track], rpm: float) -> None:
        self.geometry, self.tracks = geometry, tracks
        self.reading = read_fields(geometry, [Stretch(track.bits, track.cells, track.turn) for track in tracks])
        self.counts = np.array([track.cells for track in tracks], np.int64)
        self.circular = np.array([track.turn for track in tracks], np.bool_)
        self.widest = max(zone.sectors for zone in geometry.zones)
        self.sector_of = self._sector_table()
        self.found = self.reading.identifiers
        self.own = self._own_places(self.found)
        self.turns = np.array([self._turn(stretch, rpm) for stretch in range(len(tracks))], np.float64)
        pitch = [geometry.sector_cells(geometry.zone(track.cylinder)) for track in tracks]
        self.pitch = np.array(pitch, np.float64)

    def _sector_table(self) -> Places:
        """For each stretch the place in the dump of each sector number, counted from the first, or -1."""
        geometry = self.geometry
        rows = {}
        for cylinder, head in geometry.sides:
            track = geometry.track(cylinder, head)
            row = [geometry.places[Address(track, head, number)] for number in geometry.numbers(cylinder)]
            rows[cylinder, head] = row + [NOT_HERE] * (self.widest - len(row))
        table = [rows[track.cylinder, track.head] for track in self.tracks]
        return np.array(table, np.int64).reshape(len(table), self.widest)

    @cached_property
    def track_of(self) -> Places:
        """The track number that each stretch's identifiers should name."""
        return np.array([self.geometry.track(track.cylinder, track.head) for track in self.tracks], np.int64)

    def _numbered(self, fields: Fields) -> Places:
        """The place of the sector with each identifier's sector number on the track where it was met, or -1."""
        number = fields.number("sector") - self.geometry.first_sector
        inside = (number >= 0) & (number < self.widest)
        return np.where(inside, self.sector_of[fields.stretch, np.clip(number, 0, self.widest - 1)], NOT_HERE)

    def _own_places(self, fields: Fields) -> Places:
        """The place of the sector that each identifier, sound or not, names on the track where it was met, or -1."""
        legal = fields.is_legal("sector") & fields.is_legal("track")
        here = legal & (fields.number("track") == self.track_of[fields.stretch])
        return np.where(here, self._numbered(fields), NOT_HERE)

    # Turns and what was missed on them

    def _turn(self, stretch: int, rpm: float) -> float:
        """Cells of a turn: by index marks, else by sightings of the same sector, else by the drive's speed."""
        track = self.tracks[stretch]
        if track.turn and track.cells:
            return track.cells
        nominal = 60e12 / rpm / track.cell_ps
        marks = np.array(track.marks, np.int64)
        for distances in (np.diff(marks), self._distances(stretch)):
            turns = distances / np.maximum(1, np.round(distances / nominal))
            likely = turns[np.abs(turns / nominal - 1) < _SPEED]  # else a sector that was recorded twice, or a mark too many
            if len(likely):
                return float(np.median(likely))
        return nominal

    def _distances(self, stretch: int) -> Places:
        """Cells between sound identifiers of the same sector, each and the next."""
        first, last = np.searchsorted(self.found.stretch, [stretch, stretch + 1])
        chosen = first + np.flatnonzero(self.found.sound[first:last] & (self.own[first:last] != NOT_HERE))
        order = chosen[np.lexsort((self.found.start[chosen], self.own[chosen]))]
        same = self.own[order][1:] == self.own[order][:-1]
        made: Places = np.diff(self.found.start[order])[same]
        return made

    def _missed(self, stretch: Ints, start: Ints, place: Places) -> Flags:
        """By stretch and sector of its track: whether there is a turn without one of these identifiers."""
        shape = self.sector_of.shape
        column = _columns(self.sector_of, stretch, place)
        order = np.lexsort((start, column, stretch))
        stretch, start, column = stretch[order], start[order], column[order]
        key = stretch * self.widest + column
        seen = np.zeros(shape, np.bool_)
        seen[stretch, column] = True
        gap = np.zeros(shape, np.bool_)
        new = np.ones(len(key), np.bool_)
        new[1:] = key[1:] != key[:-1]
        old = np.roll(new, -1)
        line = ~self.circular[stretch]
        limit = (self.turns + self.pitch)[stretch]
        wide = line & ((new & (start > limit)) | (old & (self.counts[stretch] - start > limit)))
        wide[1:] |= ~new[1:] & (np.diff(start) > 1.5 * self.turns[stretch[1:]])
        gap[stretch[wide], column[wide]] = True
        whole = self.circular | (self.counts == 0) | (self.counts >= self.turns + self.pitch)
        missed: Flags = (gap | (~seen & whole[:, None])) & (self.sector_of != NOT_HERE)
        return missed

    # Unsound identifiers

    def _assign(self, sound_places: Places, sound_fields: Places) -> Places:
        """For each identifier the sector that it counts for, or -1.

        Sound ones count for their own; of the others first those that name a sector without a sound sighting near by, then those
        in whose place just one sector is missed.
        """
        found = self.found
        counted = np.where(found.sound, self.own, NOT_HERE)
        unsound = np.flatnonzero(~found.sound)
        if not len(unsound):
            return counted
        for each in unsound.tolist():
            if self.own[each] != NOT_HERE and not self._near(each, sound_fields[sound_places == self.own[each]]):
                counted[each] = self.own[each]
        settled = counted.copy()
        for each in unsound[counted[unsound] == NOT_HERE].tolist():
            missing = self._missing_at(each, settled)
            if len(missing) == 1:
                counted[each] = missing[0]
        return counted

    def _near(self, identifier: int, others: Places) -> bool:
        """Whether one of the other identifiers lies within half a turn in the same stretch."""
        stretch = self.found.stretch[identifier]
        others = others[self.found.stretch[others] == stretch]
        apart = np.abs(self.found.start[others] - self.found.start[identifier])
        if self.circular[stretch]:
            apart = np.minimum(apart, self.counts[stretch] - apart)
        return bool((apart <= self.turns[stretch] / 2).any())

    def _missing_at(self, identifier: int, counted: Places) -> list[int]:
        """The sectors that are missed around an identifier's place."""
        stretch, at = self.found.stretch[identifier], self.found.start[identifier]
        here = np.flatnonzero((self.found.stretch == stretch) & (counted != NOT_HERE))
        turn, pitch, count = self.turns[stretch], self.pitch[stretch], self.counts[stretch]
        missing = []
        for place in self.sector_of[stretch]:
            starts = self.found.start[here[counted[here] == place]]
            before, after = starts[starts < at], starts[starts > at]
            if place == NOT_HERE or (self.circular[stretch] and len(starts)):
                continue
            if len(before) and len(after):
                lost = after.min() - before.max() > 1.5 * turn
            elif len(starts):
                lost = (count - before.max() if len(before) else after.min()) > turn + pitch
            else:
                lost = bool(self.circular[stretch]) or count >= turn + pitch
            if lost:
                missing.append(int(place))
        return missing

    # All together

    def result(self) -> Sighted:
        """The sightings of every sector."""
        found, blocks, block_of = self.found, self.reading.blocks, self.reading.block_of
        named = np.flatnonzero(found.sound & (self.own != NOT_HERE))
        block = block_of[named]
        has = block >= 0
        cut = np.zeros(len(named), np.bool_)
        cut[has] = blocks.cut[block[has]]
        room = self.counts[found.stretch[named]] - found.end[named]
        length = len(self.geometry.block.mark.laid) + self.geometry.record_cells(self.geometry.block)
        cut |= ~has & ~self.circular[found.stretch[named]] & (room < length)
        whole = np.zeros(len(named), np.bool_)
        whole[has] = blocks.sound[block[has]]
        sound = named[whole]
        counted = self._assign(self.own[sound], sound)
        met = np.flatnonzero(counted != NOT_HERE)
        missed = self._missed(found.stretch[met], found.start[met], counted[met])
        stray = found.sound & (found.number("track") != self.track_of[found.stretch])
        return Sighted(
            self.geometry,
            self.reading,
            block_check=self._at(self.own[named[has & ~whole & ~cut]]),
            no_block=self._at(self.own[named[~has & ~cut]]),
            identifier_check=self._at(counted[~found.sound]),
            cut_off=self._at(self.own[named[cut]]),
            misplaced=self._at(self._numbered(found)[stray]),
            missed=self._at(self.sector_of[missed]),
            place=self.own[sound],
            block=block[whole],
            identifier=sound,
        )

    def _at(self, places: Places) -> Flags:
        made = np.zeros(len(self.geometry.addresses), np.bool_)
        made[places[places != NOT_HERE]] = True
        return made


def _columns(table: Places, stretch: Ints, place: Places) -> Places:
    """The column of each place in its stretch's row of a table."""
    made: Places = np.argmax(table[stretch] == place[:, None], axis=1)
    return made
