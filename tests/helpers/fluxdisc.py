"""Whole sides as flux: what a reader of times delivers of a disc that carries a dump, through named noise."""

from collections.abc import Collection, Mapping

import numpy as np

from formats.containers import capture
from formats.containers.capture import Capture
from formats.containers.shared.times import Times, pack
from formats.model.geometry import Geometry
from formats.tracks.encode import encode_side
from tests.helpers.flux import Medium, Noise, magnetise, play, ticks

TICKS = 40_000_000  # 25 ns


def media(
    geometry: Geometry, dump: bytes, identity: Mapping[str, int], noise: Noise, seed: int = 1, cylinders: Collection[int] | None = None
) -> dict[tuple[int, int], Medium]:
    """A side as it is magnetised, by cylinder and head; some cylinders of it, or all."""
    made = {}
    for number, packed in enumerate(encode_side(geometry, dump, identity)):
        cylinder, head = divmod(number, geometry.heads)
        if cylinders is not None and cylinder not in cylinders:
            continue
        cells = np.unpackbits(np.frombuffer(packed, np.uint8))[: geometry.track_cells(cylinder)]
        rng = np.random.default_rng((seed, number))
        made[cylinder, head] = magnetise(cells, float(geometry.zone(cylinder).cell_ns), noise, rng)
    return made


def reads(made: Mapping[tuple[int, int], Medium], turns: float = 1.3, marks: bool = True, seed: int = 2) -> tuple[Times, ...]:
    """A read of each track, begun anywhere."""
    rng = np.random.default_rng(seed)
    found = []
    for (cylinder, head), medium in made.items():
        times, index = play(medium, rng, turns, rng.random())
        passed = tuple(np.unique(np.rint(index / 25)).astype(int).tolist()) if marks else ()
        found.append(pack(cylinder, head, TICKS, ticks(times), passed))
    return tuple(found)


def backwards(read: Times) -> Times:
    """The same read with the medium running the other way."""
    counted = np.concatenate(list(read.intervals())).astype(np.int64)
    end = max(int(counted.sum()), *read.marks) + 40
    at = end - np.cumsum(counted)[::-1]
    return pack(read.cylinder, read.head, read.ticks, np.diff(at, prepend=0), tuple(end - mark for mark in reversed(read.marks)))


def file(times: tuple[Times, ...], rpm: float = 300, **changes: object) -> bytes:
    """The capture file."""
    return capture.write(Capture(rpm, "a reader of times", (), times=times, **changes))  # type: ignore[arg-type]
