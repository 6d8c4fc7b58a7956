"""Sectors that no turn of a capture of times reads plainly: read without suspected noise, or from several turns put together.

What comes right so is no good sector: a customer's drive leaves nothing out and puts nothing together. It is said, so that a person
knows whether the disc or the read was at fault.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from formats.containers.capture import Track
from formats.containers.shared.times import Times
from formats.tracks.combine import combine, turns_of
from mastering.judging.compare import Judged, compare_cells
from mastering.judging.flux import Flux, FluxTrack, decoded, without_noise
from mastering.judging.sightings import Sighted, see
from mastering.judging.verdict import NUMBER, Looks

Floats = npt.NDArray[np.float64]

_FAILING = [NUMBER[kind] for kind in ("block-check", "no-block", "identifier-check", "absent")]
_LONGEST = 1 << 22  # transitions of a read that is worked at
_OFF = 0.1  # share by which a measured turn may be off the nominal one


def rescued(judged: Judged, sighted: Sighted, flux: Flux, reads: Sequence[Times]) -> Judged:
    """A side's judgement with what could still be read of the sectors that failed; `reads` are those that `sighted` shows."""
    geometry = judged.target.geometry
    inside = [read for read in reads if read.cylinder < geometry.cylinders and read.head < geometry.heads]
    identifiers = sighted.reading.identifiers
    heard = set(identifiers.stretch[identifiers.sound].tolist())  # without one nothing can be said of a track's sectors
    for (cylinder, head), places in geometry.places_of_tracks.items():
        failing = {place for place in places if judged.kinds[place] in _FAILING}
        numbers = [at for at, read in enumerate(inside) if (read.cylinder, read.head) == (cylinder, head) and read.count < _LONGEST]
        if not failing or heard.isdisjoint(numbers):
            continue
        tracks = flux.tracks(geometry, reads)
        for track in _cleaned([inside[at] for at in numbers], tracks[numbers[0]], flux):
            judged = _with_cleaned(judged, _alone(judged, track, flux.rpm), failing)
        failing -= judged.rescued.keys()
        turns = [turn for at in numbers for turn in _turns(tracks[at], sighted, at)] if failing else []
        if (track_together := _together(tracks[numbers[0]], turns)) is not None:
            right = failing & _right(_alone(judged, track_together, flux.rpm))
            together: dict[int, Looks] = dict.fromkeys(right, "combined")
            judged = replace(judged, rescued={**judged.rescued, **together})
    return judged


def _alone(judged: Judged, track: Track, rpm: float) -> Judged:
    """What one track is worth."""
    return compare_cells(judged.target, see(judged.target.geometry, [track], rpm))


def _right(judged: Judged) -> set[int]:
    """Places of the sectors that are the master's."""
    return set(np.flatnonzero(judged.equal & judged.known).tolist())


def _cleaned(reads: Sequence[Times], like: FluxTrack, flux: Flux) -> Iterator[Track]:
    """The reads of a track that hold suspected noise, without it."""
    for read in reads:
        if (cleaner := without_noise(read, like.rules)) is not None:
            yield decoded(cleaner, like.rules, flux.turned_round).track


def _with_cleaned(judged: Judged, cleaned: Judged, failing: set[int]) -> Judged:
    """A judgement in which failing sectors that are right without the noise are soft."""
    places = failing & _right(cleaned)
    if not places:
        return judged
    at = sorted(places)
    kinds, equal, known = judged.kinds.copy(), judged.equal.copy(), judged.known.copy()
    kinds[at], equal[at], known[at] = NUMBER["soft"], True, True
    slot = judged.target.slot
    serial = cleaned.serial if slot is not None and slot[0] in places else judged.serial
    looks: dict[int, Looks] = {**judged.rescued, **dict.fromkeys(at, "cleaned")}
    return replace(judged, kinds=kinds, equal=equal, known=known, serial=serial, rescued=looks)


def _turns(read: FluxTrack, sighted: Sighted, number: int) -> Iterator[tuple[float, Floats]]:
    """The turns of a read, each with its length in cells."""
    nominal = sighted.geometry.track_cells(read.track.cylinder)
    identifiers = sighted.reading.identifiers
    own = np.flatnonzero(identifiers.sound & (identifiers.stretch == number))
    sector, start = identifiers.number("sector")[own], identifiers.start[own]
    order = np.lexsort((start, sector))
    same = np.diff(start[order])[np.diff(sector[order]) == 0]
    apart = np.concatenate((np.diff(np.array(read.track.marks, np.int64)), same))
    near = apart[np.abs(apart / nominal - 1) < _OFF]
    turn = float(np.median(near)) if len(near) else float(nominal)
    there = np.flatnonzero(np.unpackbits(np.frombuffer(read.track.bits, np.uint8)))
    yield from ((turn, each) for each in turns_of(there + read.residual / 100, turn))


def _together(like: FluxTrack, turns: Sequence[tuple[float, Floats]]) -> Track | None:
    """A track's turns put together; None where that can't be done."""
    if len(turns) < 2:
        return None
    made = combine([each for _, each in turns], float(np.median([turn for turn, _ in turns])), like.rules)
    return None if made is None else replace(like.track, cells=made.count, bits=made.bits, marks=())
