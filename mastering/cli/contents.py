"""`obverse contents`: what is on a master's sides, or on a dump."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

import click

from mastering.cli.output import json_lines, lines
from mastering.errors import MasteringError, unknown

if TYPE_CHECKING:
    from formats.geometry import Geometry
    from formats.image import Image
    from formats.volumes.interface import FileOut, VolumeOut
    from mastering.recognise import Guess


@click.command(short_help="List or extract the files of a master or a dump.")
@click.argument("master", type=click.Path(), metavar="MASTER|DUMP")
@click.option("--geometry", metavar="ID", help="The geometry of a dump.")
@click.option("--volume", metavar="ID", help="The volume of a dump.")
@click.option("--extract", type=click.Path(), metavar="DIR", help="Write the files into DIR/A and DIR/B; DIR must not exist.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each file, then one for each side.")
def command(master: str, geometry: str | None, volume: str | None, extract: str | None, as_json: bool) -> int:
    """List the files of a MASTER, or of a bare dump whose geometry and volume are given.

    Of a dump without them, say which geometries have its length and which volume it seems to hold.
    """
    if (geometry is None) != (volume is None):
        raise click.UsageError("a dump needs both --geometry and --volume; give neither to be told what it may be")
    if geometry is None and Path(master).is_file():
        if extract is not None:
            raise click.UsageError(f"{master} is a file: to extract from a dump give --geometry and --volume")
        return _recognise(Path(master), as_json)
    sides = list(_of_master(Path(master)) if geometry is None or volume is None else _of_dump(Path(master), geometry, volume))
    if extract is not None:
        _extract(Path(extract), sides)
    if as_json:
        json_lines(_file(name, file) for name, _, held in sides for file in held.files)
        json_lines(
            {"side": name, "volume": volume_id, "label": _text(held.label), "free": held.free, "unit": held.unit}
            for name, volume_id, held in sides
        )
    else:
        lines(line for side in sides for line in _told(*side))
    return 0


Side = tuple[str, str, "VolumeOut"]


def _of_master(path: Path) -> Iterator[Side]:
    from formats.image import Image
    from mastering.master import open_master

    for name, side in open_master(path).sides.items():
        yield name, side.volume, _read(side.volume, Image(side.geometry, side.dump), f"{path}, side {name}")


def _of_dump(path: Path, geometry: str, volume: str) -> Iterator[Side]:
    from formats import registry
    from formats.image import Image
    from mastering.readback import read_bounded

    for kind, name in (("geometries", geometry), ("volumes", volume)):
        if name not in registry.names(kind):
            raise MasteringError(unknown(name, registry.names(kind)))
    declared = registry.geometry(geometry)
    if not registry.volume(volume).fits(declared):
        raise MasteringError(f"{volume} is not defined on {geometry}")
    try:
        image = Image(declared, read_bounded(str(path), declared.dump_bytes))
    except ValueError as error:
        raise MasteringError(f"{path}: {error}") from error
    yield "A", volume, _read(volume, image, str(path))


def _read(volume: str, image: "Image", where: str) -> "VolumeOut":
    from formats import registry
    from formats.errors import VolumeError

    try:
        return registry.volume(volume).read(image)
    except KeyError as error:
        raise MasteringError(f"{where}: no volume {volume!r} is declared here") from error
    except VolumeError as error:
        raise MasteringError(f"{where}: {error}") from error


def _text(name: bytes) -> str:
    from mastering.builder import text_of

    return text_of(name)


def _file(side: str, file: "FileOut") -> dict[str, Any]:
    from mastering.builder import file_record

    kept = file_record(file, False)
    return {"side": side} | {key: kept[key] for key in ("name", "type", "load_address", "bytes", "sha256", "sectors")}


def _told(name: str, volume: str, held: "VolumeOut") -> Iterator[str]:
    """A side's files, for people."""
    yield f"side {name}: {volume} {_text(held.label)}".rstrip()
    for file in held.files:
        where = f"${file.load_address:04X}" if file.load_address is not None else ""
        kind = "" if file.type is None else str(file.type)
        yield f"  {_text(file.name):32} {kind:12} {where:6} {len(file.data):>8,} bytes  {'locked' if file.locked else ''}"
    yield "  a ready image, without files" if volume == "none" else f"  {held.free:,} units of {held.unit} bytes free"


def _extract(target: Path, sides: list[Side]) -> None:
    """The files' own bytes, in a folder that did not exist. Where this machine's names know no case, names that differ in it meet."""
    from mastering.builder import safe_name
    from mastering.files import write_folder

    files: dict[str, bytes] = {}
    for side, _, held in sides:
        for file in held.files:
            name = safe_name(file.name)
            if name in (".", ".."):
                name = name.replace(".", "%2E")
            if not name or len(name) > 250:
                raise MasteringError(f"side {side}: a file called {name!r} can't be extracted under that name")
            if f"{side}/{name}" in files:
                raise MasteringError(f"side {side}: two files would be extracted as {name}")
            files[f"{side}/{name}"] = file.data
    write_folder(target, files)


# An unknown dump


def _recognise(path: Path, as_json: bool) -> int:
    """Says what a file may be; the exit status."""
    from mastering.readback import SIGNATURE, read_bounded
    from mastering.recognise import geometries_of, guesses

    length = path.stat().st_size
    if read_bounded(str(path), length, len(SIGNATURE)) == SIGNATURE:
        raise MasteringError(f"{path}: a capture; `obverse contents` lists masters and dumps, `obverse verify` judges captures")
    sized = geometries_of(length)
    found = guesses(read_bounded(str(path), length)) if sized else []
    if as_json:
        unread = [each.id for each in sized if each.id not in {guess.geometry for guess in found}]
        nothing = {"volume": None, "order": None, "sure": None, "files": None, "problems": None}
        json_lines([*map(asdict, found), *({"geometry": name} | nothing for name in unread)])
    elif sized:
        lines(_recognised(path, length, sized, found))
    if not sized:
        click.echo(f"obverse: {path}: {length:,} bytes is the length of no declared geometry's dump", err=True)
    return 0 if sized else 1


def _recognised(path: Path, length: int, sized: "Sequence[Geometry]", found: "Sequence[Guess]") -> Iterator[str]:
    """What an unknown dump may be, for people."""
    yield f"{length:,} bytes: the length of {', '.join(each.id for each in sized)}"
    for guess in found:
        held = f"{guess.files} file{'' if guess.files == 1 else 's'}"
        doubt = f", and contradicts itself in {guess.problems} place{'' if guess.problems == 1 else 's'}" if guess.problems else ""
        order = f", its sectors in the order {guess.order}" if guess.order else ""
        yield f"  {guess.sure}: {guess.volume} on {guess.geometry}{order}; it holds {held}{doubt}"
        if not guess.order:
            yield f"    obverse contents {quote(str(path))} --geometry {guess.geometry} --volume {guess.volume}"
    if not found:
        yield "  no volume that is known here; it may be a ready image (volume none)"
