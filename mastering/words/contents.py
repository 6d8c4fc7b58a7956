"""What lies on a side, in words: the files of its volume, and what a dump that nobody knows may be."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from formats.words import counted
from mastering.words.layout import Block, Command, Table

if TYPE_CHECKING:
    from formats.model.geometry import Geometry
    from formats.volumes.interface import VolumeOut
    from mastering.judging.recognise import Guess


def volume_text(name: str, volume: str, content: "VolumeOut") -> Iterator[Block]:
    """The volume of a side and its files."""
    from mastering.master.names import text_of

    yield f"side {name}: {volume} {text_of(content.label)}"
    rows = []
    for file in content.files:
        address = f"0x{file.load_address:04X}" if file.load_address is not None else ""
        kind = "" if file.type is None else str(file.type)
        rows.append((text_of(file.name), kind, address, f"{len(file.data):,}", "locked" if file.locked else ""))
    if rows:
        yield Table([("file", "type", "loads at", "bytes", ""), *rows], "  ")
    yield "  a ready image, without files" if volume == "none" else f"  {counted(content.free, 'unit')} of {content.unit} bytes free"


def guesses_text(
    path: str, length: int, sized: "Sequence[Geometry]", guesses: "Sequence[Guess]", own: Mapping[str, str]
) -> Iterator[Block]:
    """What a dump that nobody knows may be, and the commands that list it. `own`: the job that declares a geometry, by its id."""
    yield f"{length:,} bytes: the length of {', '.join(geometry.id for geometry in sized)}"
    for guess in guesses:
        content = counted(guess.files, "file")
        doubt = f" that can be read, and contradicts itself in {counted(guess.problems, 'place')}" if guess.problems else ""
        order = f", its sectors in the order {guess.order}" if guess.order else ""
        yield f"  {guess.sure}: {guess.volume} on {guess.geometry}{order}; it holds {content}{doubt}"
        words = ["obverse", "contents", path, "--geometry", guess.geometry, "--volume", guess.volume]
        words += ["--order", guess.order] if guess.order else []
        words += ["--job", own[guess.geometry]] if guess.geometry in own else []
        yield Command("    ", tuple(words))
    if not guesses:
        yield "  no volume that is declared here; it may be a ready image (volume none)"
