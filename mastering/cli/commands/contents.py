"""`obverse contents`: what is on a master's sides, or on a dump."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from formats.words import counted
from mastering.cli.options import job_geometries
from mastering.cli.output import json_lines, lines, warning
from mastering.errors import MasteringError, unknown
from mastering.words.contents import guesses_text, volume_text

if TYPE_CHECKING:
    from formats.model.geometry import Geometry
    from formats.volumes.interface import FileOut, VolumeOut
    from formats.volumes.shared.image import Image


@click.command(short_help="List or extract the files of a master or a dump.")
@click.argument("master", type=click.Path(), metavar="MASTER|DUMP")
@click.option("--geometry", metavar="ID", help="The geometry of a dump.")
@click.option("--volume", metavar="ID", help="The volume of a dump.")
@click.option("--order", metavar="NAME", help="The order of its sectors, where it is not that of a dump.")
@click.option("--job", type=click.Path(), metavar="JOB", help="A job that declares geometries of its own, which the dump may be of.")
@click.option("--extract", type=click.Path(), metavar="DIR", help="Write the files into DIR/A and DIR/B; DIR must not exist.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each file, then one for each side.")
def command(
    master: str, geometry: str | None, volume: str | None, order: str | None, job: str | None, extract: str | None, as_json: bool
) -> int:
    """List the files of a MASTER, or of a bare dump whose geometry and volume are given.

    Of a dump without them, say which geometries have its length and which volume it seems to hold, and how to list it.
    """
    if (geometry is None) != (volume is None):
        raise click.UsageError("a dump needs both --geometry and --volume; give neither to be told what it may be")
    if geometry is None and Path(master).is_file():
        given = [name for name, value in (("extract from a dump", extract), ("name the order of one", order)) if value is not None]
        if given:
            raise click.UsageError(f"{master} is a file: to {given[0]} give --geometry and --volume")
        return _recognise(Path(master), job, as_json)
    if geometry is None and (order, job) != (None, None):
        raise click.UsageError(f"{master} is no file: --order and --job go with a dump")
    own = job_geometries(Path(job)) if job is not None else {}
    sides = list(_of_master(Path(master)) if geometry is None or volume is None else _of_dump(Path(master), geometry, volume, order, own))
    if extract is not None:
        _extract(Path(extract), sides)
    if as_json:
        json_lines(_file(name, file) for name, _, held in sides for file in held.files)
        json_lines(
            {"side": name, "volume": volume_id, "label": _text(held.label), "free": held.free, "unit": held.unit}
            for name, volume_id, held in sides
        )
    else:
        lines(block for side in sides for block in volume_text(*side))
    return 0


Side = tuple[str, str, "VolumeOut"]


def _of_master(path: Path) -> Iterator[Side]:
    from formats.volumes.shared.image import Image
    from mastering.master.master import open_master

    for name, side in open_master(path).sides.items():
        yield name, side.volume, _read(side.volume, Image(side.geometry, side.dump), f"{path}, side {name}")


def _of_dump(path: Path, geometry: str, volume: str, order: str | None, own: "Mapping[str, Geometry]") -> Iterator[Side]:
    """The side of a dump. `own`: the geometries that a job declares, by id, of which the dump may be one."""
    from formats import registry
    from formats.volumes.shared.image import Image, order_names
    from mastering.judging.readback import read_bounded

    for name, known in ((geometry, [*registry.names("geometries"), *own]), (volume, registry.names("volumes"))):
        if name not in known:
            raise MasteringError(unknown(name, known))
    declared = own[geometry] if geometry in own else registry.geometry(geometry)
    if order is not None and order not in (orders := order_names(declared)):
        raise MasteringError(f"{geometry} has no order {order!r}; it has {', '.join(orders)}")
    if not registry.volume(volume).fits(declared):
        raise MasteringError(f"{volume} is not defined on {geometry}")
    try:
        data = read_bounded(str(path), declared.dump_bytes)
        image = Image(declared, data) if order is None else Image.in_order(declared, order, data)
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
    from mastering.master.names import text_of

    return text_of(name)


def _file(side: str, file: "FileOut") -> dict[str, Any]:
    from mastering.master.builder import file_record

    kept = file_record(file, False)
    return {"side": side} | {key: kept[key] for key in ("name", "type", "load_address", "bytes", "sha256", "sectors")}


def _extract(target: Path, sides: list[Side]) -> None:
    """Writes the files' own bytes into a new folder. MasteringError where two names differ only in case and this machine's names know none.

    Further files of one name have ~2, ~3 behind it, which no name has of its own: its ~ would be %7E.
    """
    from mastering.files import write_folder
    from mastering.master.names import safe_name

    files: dict[str, bytes] = {}
    seen: Counter[tuple[str, str]] = Counter()
    for side, _, held in sides:
        for file in held.files:
            name = safe_name(file.name)
            if name in (".", ".."):
                name = name.replace(".", "%2E")
            if not name or len(name) > 250:
                raise MasteringError(f"side {side}: a file called {name!r} can't be extracted under that name")
            seen[side, name] += 1
            if (count := seen[side, name]) > 1:
                warning(f"side {side}: file {count} of the name {name} is extracted as {name}~{count}")
                name += f"~{count}"
            files[f"{side}/{name}"] = file.data
    write_folder(target, files)


# An unknown dump


def _recognise(path: Path, job: str | None, as_json: bool) -> int:
    """Prints what a file may be, also of the geometries that a job declares. Returns the exit status."""
    from formats import registry
    from formats.bounds import SIGNATURE
    from mastering.judging.readback import read_bounded
    from mastering.judging.recognise import geometries_of, guesses

    own = list(job_geometries(Path(job)).values()) if job is not None else []
    broken = registry.geometries()[1]
    length = path.stat().st_size
    if read_bounded(str(path), length, len(SIGNATURE)) == SIGNATURE:
        raise MasteringError(f"{path}: a capture; `obverse contents` lists masters and dumps, `obverse verify` judges captures")
    sized = geometries_of(length, own)
    found = guesses(read_bounded(str(path), length), own) if sized else []
    if as_json:
        unread = [each.id for each in sized if each.id not in {guess.geometry for guess in found}]
        nothing = {"volume": None, "order": None, "sure": None, "files": None, "problems": None}
        json_lines([*map(asdict, found), *({"geometry": name} | nothing for name in unread)])
    elif sized:
        lines(guesses_text(str(path), length, sized, found, {each.id: str(job) for each in own}))
    for error in broken:
        warning(str(error))
    if not sized:
        warning(f"{path}: no declared geometry has a dump of {counted(length, 'byte')}")
    return MasteringError.status if broken else 0 if sized else 1
