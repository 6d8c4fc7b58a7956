"""What an unknown dump may be: the geometries of its length, and which volume it seems to hold. Pure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from formats import registry
from formats.errors import VolumeError
from formats.model.geometry import Geometry
from formats.volumes.interface import Volume
from formats.volumes.shared.image import Image, order_names

Sure = Literal["likely", "possible"]


@dataclass(frozen=True)
class Guess:
    """A volume that a dump can be read as. `order`: the named order in which its sectors stand, None for that of a dump.

    `likely`: it holds files or has a name, and contradicts itself nowhere; `possible`: it is empty, or it holds so many `files` but
    also contradicts itself, in so many `problems`. One of whose files half or more can't be read is none.
    """

    geometry: str
    volume: str
    order: str | None
    sure: Sure
    files: int
    problems: int


def geometries_of(length: int, own: Sequence[Geometry] = ()) -> list[Geometry]:
    """The geometries whose dump has that many bytes: a job's own, and the declared ones but those that contradict themselves."""
    return [each for each in (*own, *registry.geometries()[0]) if each.dump_bytes == length]


def guesses(data: bytes, own: Sequence[Geometry] = ()) -> list[Guess]:
    """The volumes that a dump can be read as, the surest first; where one is likely, only what is. `own`: a job's own geometries.

    A volume whose tables lie on one track can't tell in which order the others follow: where it is likely in the order of a dump, the
    other orders are possible.
    """
    found = [guess for geometry in geometries_of(len(data), own) for guess in _on(geometry, data)]
    likely = [guess for guess in found if guess.sure == "likely"]
    plainly = {(guess.geometry, guess.volume) for guess in likely if guess.order is None}
    kept = [replace(guess, sure="possible") if guess.order and (guess.geometry, guess.volume) in plainly else guess for guess in likely]
    return sorted(kept or found, key=lambda guess: (guess.problems, -guess.files, guess.order is not None))


def _on(geometry: Geometry, data: bytes) -> Iterator[Guess]:
    """Every volume that is defined on a geometry, tried in every order in which an image may come."""
    fitting = [volume for volume in registry.usable_volumes() if volume.is_file_system and volume.fits(geometry)]
    for order in _orders(geometry) if fitting else ():
        image = Image(geometry, data) if order is None else Image.in_order(geometry, order, data)
        yield from (guess for volume in fitting if (guess := _as(volume, image, order)))


def _orders(geometry: Geometry) -> Iterator[str | None]:
    """The orders in which a side's sectors may stand in a file, each once; that of a dump first."""
    seen = {geometry.addresses}
    yield None
    for name in order_names(geometry):
        addresses = geometry.image_order(name)
        if addresses is not None and addresses not in seen:
            seen.add(addresses)
            yield name


def _as(volume: Volume, image: Image, order: str | None) -> Guess | None:
    """A dump read as a volume; None when it is none."""
    try:
        held, broken = volume.readable(image)
    except VolumeError:
        return None
    problems, lost = len(volume.check(image)), len({problem.where for problem in broken})
    if problems and len(held.files) <= lost:
        return None
    sure: Sure = "likely" if not problems and (held.files or held.label.strip(b"\0 \xa0")) else "possible"
    return Guess(image.geometry.id, volume.id, order, sure, len(held.files), problems)
