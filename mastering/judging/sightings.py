"""Every time that a sector passed the head: what a capture's fields say of each sector, before any master is asked.

The rules are those of the contract's section 6; its words (sighting, missed, cut off, turn) are used here as it defines them.
Positions and lengths are in cells, counted from the start of their stretch.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from formats.containers.capture import Track
from formats.model.geometry import Geometry
from formats.tracks.known_fields import KnownFields
from formats.tracks.reading import Fields, Ints, Reading, Stretch, joined, read_fields
from mastering.judging.missed import NOT_HERE, Gaps, usual_distance

Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]

_PART = 8 << 20  # bytes of cells that are looked through at a time
_SHORTEST = 0.9  # nominal turns: a shorter distance between a few sightings is that of a sector recorded twice
_LONGEST = 1e12  # cells: a turn at a speed that no drive has, whatever its HEAD says
_LOST = 1.5  # nominal turns: at a longer distance between index marks one was lost
_DENSITY = 0.03  # how far from the geometry's a density may be, as a share


@dataclass(frozen=True, eq=False)
class Sighted:
    """What a capture shows of each sector of a geometry, by its place in the dump (arrays of n), and every sound sighting (arrays of m).

    `density`: some sighting was all but sound, at another density than the geometry's;
    `block_check`, `no_block`, `identifier_check`: some sighting got that far and no farther; `cut_off`: an end of a stretch cut one
    off; `missed`: there was a turn on which it was not met; `misplaced`: its track holds a sound identifier with its number and
    another track's.
    `any_sound_identifier`, `any_sound_field`: an identifier, an identifier or a block, of this geometry was sound.
    `place`, `block`, `identifier`: the sector, the block and the identifier of each sound sighting, in the order of the capture.
    """

    geometry: Geometry
    reading: Reading
    density: Flags
    block_check: Flags
    no_block: Flags
    identifier_check: Flags
    cut_off: Flags
    misplaced: Flags
    missed: Flags
    any_sound_identifier: bool
    any_sound_field: bool
    place: Places
    block: Places
    identifier: Places


def see(geometry: Geometry, tracks: Sequence[Track], rpm: float, known: KnownFields | None = None) -> Sighted:
    """What a capture's tracks (upright, cylinders as the geometry counts them) show of a geometry's sectors.

    `known`: the fields that the caller remembers from earlier captures.
    """
    kept = [track for track in tracks if track.cylinder < geometry.cylinders and track.head < geometry.heads]
    parts = [_without_crowds(_Look(geometry, part, rpm, known).result(), part) for part in _parts(kept)]
    return parts[0] if len(parts) == 1 else _together(parts, kept)


def _parts(tracks: Sequence[Track]) -> Iterator[Sequence[Track]]:
    """The reads of tracks, some megabytes at a time: what is missed on one says nothing of another."""
    first, size = 0, 0
    for place, track in enumerate(tracks):
        size += len(track.bits)
        if size >= _PART:
            yield tracks[first : place + 1]
            first, size = place + 1, 0
    if first < len(tracks) or not tracks:
        yield tracks[first:]


def _without_crowds(sighted: Sighted, tracks: Sequence[Track]) -> Sighted:
    """Sightings without the fields that none of them rests on, where there are more than any disc has: they would fill the memory."""
    geometry, reading = sighted.geometry, sighted.reading
    room = sum(track.cells for track in tracks) // min(geometry.pitches) + len(tracks)
    if len(reading.identifiers) <= 2 * room and len(reading.blocks) <= 2 * room:
        return sighted
    failed = np.flatnonzero((reading.blocks.row >= 0) & ~reading.blocks.sound)
    chosen = np.unique(np.concatenate((sighted.block, failed)))
    block_of = np.searchsorted(chosen, sighted.block)
    kept = Reading(reading.identifiers.select(sighted.identifier), reading.blocks.select(chosen), block_of)
    return replace(sighted, reading=kept, block=block_of, identifier=np.arange(len(sighted.identifier)))


def _together(parts: Sequence[Sighted], tracks: Sequence[Track]) -> Sighted:
    """What the parts of a capture show, as that of one capture."""
    stretches = np.cumsum([0, *(len(part) for part in _parts(tracks))])[:-1]
    readings = [part.reading for part in parts]
    identifiers = joined([each.identifiers for each in readings], stretches)
    blocks = joined([each.blocks for each in readings], stretches)
    block_at = np.cumsum([0, *(len(each.blocks) for each in readings)])[:-1]
    identifier_at = np.cumsum([0, *(len(each.identifiers) for each in readings)])[:-1]
    block_of = [np.where(each.block_of < 0, -1, each.block_of + at) for each, at in zip(readings, block_at, strict=True)]
    anywhere = {name: np.logical_or.reduce([getattr(part, name) for part in parts]) for name in _FLAGS}
    return Sighted(
        parts[0].geometry,
        Reading(identifiers, blocks, np.concatenate(block_of)),
        **anywhere,
        any_sound_identifier=any(part.any_sound_identifier for part in parts),
        any_sound_field=any(part.any_sound_field for part in parts),
        place=np.concatenate([part.place for part in parts]),
        block=np.concatenate([part.block + at for part, at in zip(parts, block_at, strict=True)]),
        identifier=np.concatenate([part.identifier + at for part, at in zip(parts, identifier_at, strict=True)]),
    )


_FLAGS = ("density", "block_check", "no_block", "identifier_check", "cut_off", "misplaced", "missed")


class _Look:
    """The steps of `see`, which share the stretches and their fields. `turns`: cells of a turn; `dense`: stretches at another density."""

    def __init__(self, geometry: Geometry, tracks: Sequence[Track], rpm: float, known: KnownFields | None) -> None:
        self.geometry, self.tracks = geometry, tracks
        self.reading = read_fields(geometry, [Stretch(track.bits, track.cells, track.turn) for track in tracks], known)
        self.counts = np.array([track.cells for track in tracks], np.int64)
        self.circular = np.array([track.turn for track in tracks], np.bool_)
        self.widest = max(zone.sectors for zone in geometry.zones)
        self.sector_of = self._sector_table()
        self.identifiers = self.reading.identifiers
        self.own = self._own_places(self.identifiers)
        turns = np.array([self._turn(stretch, rpm) for stretch in range(len(tracks))], np.float64).reshape(-1, 2)
        self.turns = turns.max(axis=1)
        self.dense = self._dense(turns[:, 0], rpm)
        self.pitch = np.array([geometry.pitches[track.cylinder] for track in tracks], np.float64)

    def _sector_table(self) -> Places:
        """For each stretch the place in the dump of each sector number, counted from the first, or -1."""
        places = (self.geometry.places_of_tracks[track.cylinder, track.head] for track in self.tracks)
        table = [(*row, *(NOT_HERE,) * (self.widest - len(row))) for row in places]
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

    def _turn(self, stretch: int, rpm: float) -> tuple[float, float]:
        """Cells of a turn as measured by index marks, else by sightings of the same sector, or 0; and by the drive's speed, or 0."""
        track = self.tracks[stretch]
        if track.turn and track.cells:
            return track.cells, 0
        nominal = min(max(60e12 / rpm / track.cell_ps, 1), _LONGEST)
        marks = np.array(track.marks, np.int64)
        apart = marks[1:] - marks[:-1]
        marked, _ = usual_distance(apart[apart <= _LOST * nominal])
        if marked:
            return marked, 0
        seen, shared = usual_distance(self._distances(stretch))
        seen /= max(1, round(seen / nominal))  # sightings on every second turn only are two turns apart
        most = 2 * shared >= (self.sector_of[stretch] != NOT_HERE).sum()
        return (seen, 0) if seen and (most or seen > _SHORTEST * nominal) else (0, nominal)

    def _dense(self, measured: npt.NDArray[np.float64], rpm: float) -> Flags:
        """Which stretches are at another density: by the length of their cells, or by the cells of a turn where they were `measured`."""
        wanted = np.array([self.geometry.densities[track.cylinder] for track in self.tracks], np.float64).reshape(-1, 2)
        cell = np.array([track.cell_ps * rpm for track in self.tracks], np.float64)
        off = np.abs(cell - wanted[:, 0]) > _DENSITY * wanted[:, 0]
        longer = np.maximum(measured, wanted[:, 1])  # so that a drive that was 3 % slow, which is not judged, is not off
        dense: Flags = off | (measured > 0) & (np.abs(measured - wanted[:, 1]) > _DENSITY * longer)
        return dense

    def _distances(self, stretch: int) -> Places:
        """Cells between sound identifiers of the same sector, each and the next."""
        first, last = np.searchsorted(self.identifiers.stretch, [stretch, stretch + 1])
        chosen = first + np.flatnonzero(self.identifiers.sound[first:last] & (self.own[first:last] != NOT_HERE))
        order = chosen[np.lexsort((self.identifiers.start[chosen], self.own[chosen]))]
        same = self.own[order][1:] == self.own[order][:-1]
        distances: Places = np.diff(self.identifiers.start[order])[same]
        return distances

    def _gaps(self, counted: Places) -> Gaps:
        """Where a sector was missed, when each identifier counts for the sector given (or -1)."""
        met = np.flatnonzero(counted != NOT_HERE)
        stretch, start = self.identifiers.stretch[met], self.identifiers.start[met]
        column = _columns(self.sector_of, stretch, counted[met])
        seen = np.zeros(self.sector_of.shape, np.bool_)
        seen[stretch, column] = True
        whole = self.circular | (self.counts == 0) | (self.counts >= self.turns + self.pitch)
        never = np.nonzero(~seen & whole[:, None] & (self.sector_of != NOT_HERE))
        line = np.flatnonzero(~self.circular[stretch])  # what is met on a turn that runs on is not missed on it
        order = line[np.lexsort((start[line], column[line], stretch[line]))]
        stretch, start, column = stretch[order], start[order], column[order]
        new = np.ones(len(start), np.bool_)
        new[1:] = (stretch[1:] != stretch[:-1]) | (column[1:] != column[:-1])
        old = np.roll(new, -1)
        turn, limit = self.turns[stretch], (self.turns + self.pitch)[stretch]
        before = np.roll(start, 1)
        begins = new & (start > limit)
        between = ~new & (start - before > 1.5 * turn)
        ends = old & (self.counts[stretch] - start > limit)
        return Gaps(
            np.concatenate((stretch[begins], stretch[between], stretch[ends], never[0])),
            np.concatenate((column[begins], column[between], column[ends], never[1])),
            np.concatenate((np.full(begins.sum(), -1), before[between], start[ends], np.full(len(never[0]), -1))),
            np.concatenate((start[begins], start[between], self.counts[stretch[ends]], self.counts[never[0]])),
        )

    # Unsound identifiers

    def _assign(self, sound: Places) -> Places:
        """For each identifier the sector that it counts for, or -1.

        Sound ones count for their own; of the others first those that name a sector without a sound sighting near by (`sound`:
        the identifiers of sound sightings), then those in whose place just one sector is missed.
        """
        counted = np.where(self.identifiers.sound, self.own, NOT_HERE)
        naming = np.flatnonzero(~self.identifiers.sound & (self.own != NOT_HERE))
        lonely = naming[~self._near(naming, sound)]
        counted[lonely] = self.own[lonely]
        rest = np.flatnonzero(~self.identifiers.sound & (counted == NOT_HERE))
        if len(rest):
            stretch = self.identifiers.stretch[rest]
            column = self._gaps(counted).only_one_at(stretch, self.identifiers.start[rest])
            counted[rest] = np.where(column >= 0, self.sector_of[stretch, column], NOT_HERE)
        return counted

    def _near(self, naming: Places, sound: Places) -> Flags:
        """Whether a sound sighting of the sector that each of some identifiers names lies within half a turn of it.

        On a turn that runs on from its end to its start nothing lies farther away than that.
        """
        if not len(naming):
            return np.zeros(0, np.bool_)
        key = self.identifiers.stretch * len(self.geometry.addresses) + self.own
        reach = 2 * (int(self.counts.max(initial=0)) + 1)
        of_sound = np.sort(key[sound] * reach + self.identifiers.start[sound])
        if not len(of_sound):
            return np.zeros(len(naming), np.bool_)
        at = key[naming] * reach + self.identifiers.start[naming]
        after = np.searchsorted(of_sound, at)
        near = np.zeros(len(naming), np.bool_)
        for other in (of_sound[np.minimum(after, len(of_sound) - 1)], of_sound[np.maximum(after - 1, 0)]):
            same = other // reach == key[naming]
            close = np.abs(other - at) <= self.turns[self.identifiers.stretch[naming]] / 2
            near |= same & (close | self.circular[self.identifiers.stretch[naming]])
        return near

    # All together

    def result(self) -> Sighted:
        """The sightings of every sector."""
        identifiers, blocks, block_of = self.identifiers, self.reading.blocks, self.reading.block_of
        named = np.flatnonzero(identifiers.sound & (self.own != NOT_HERE))
        block = block_of[named]
        has = block >= 0
        cut = np.zeros(len(named), np.bool_)
        cut[has] = blocks.cut[block[has]]
        room = self.counts[identifiers.stretch[named]] - identifiers.end[named]
        length = len(self.geometry.block.mark.laid) + self.geometry.record_cells(self.geometry.block)
        cut |= ~has & ~self.circular[identifiers.stretch[named]] & (room < length)
        whole = np.zeros(len(named), np.bool_)
        whole[has] = blocks.sound[block[has]]
        here = ~self.dense[identifiers.stretch[named]]
        sound = named[whole & here]
        counted = self._assign(sound)
        gaps = self._gaps(counted)
        stray = identifiers.sound & (identifiers.number("track") != self.track_of[identifiers.stretch])
        return Sighted(
            self.geometry,
            self.reading,
            density=self._at(self.own[named[whole & ~here]]),
            block_check=self._at(self.own[named[has & ~whole & ~cut]]),
            no_block=self._at(self.own[named[~has & ~cut]]),
            identifier_check=self._at(counted[~identifiers.sound]),
            cut_off=self._at(self.own[named[cut]]),
            misplaced=self._at(self._numbered(identifiers)[stray]),
            missed=self._at(self.sector_of[gaps.stretch, gaps.column]),
            any_sound_identifier=bool(identifiers.sound.any()),
            any_sound_field=bool(identifiers.sound.any() or blocks.sound.any()),
            place=self.own[sound],
            block=block[whole & here],
            identifier=sound,
        )

    def _at(self, places: Places) -> Flags:
        """A flag for each sector of the dump, set at these places (those that are nowhere left out)."""
        flags = np.zeros(len(self.geometry.addresses), np.bool_)
        flags[places[places != NOT_HERE]] = True
        return flags


def _columns(table: Places, stretch: Ints, place: Places) -> Places:
    """The column of each place in its stretch's row of a table."""
    columns: Places = np.argmax(table[stretch] == place[:, None], axis=1)
    return columns
