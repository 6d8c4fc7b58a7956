"""`obverse geometries`: what kinds of recorded side are declared."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mastering.cli.options import job_geometries
from mastering.cli.output import columns, json_lines, lines, warning
from mastering.errors import MasteringError, unknown

if TYPE_CHECKING:
    from formats.errors import DefinitionError
    from formats.model.geometry import Geometry


@click.command(short_help="List the declared geometries, or tell all about one.")
@click.argument("geometry", required=False, metavar="[ID]")
@click.option("--bytes", "dump_bytes", type=int, metavar="N", help="Only those whose dump has N bytes.")
@click.option("--job", type=click.Path(), metavar="JOB", help="Those that a job declares, in place of the program's.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each.")
def command(geometry: str | None, dump_bytes: int | None, job: str | None, as_json: bool) -> int:
    """List the declared geometries: how a recorded side is divided. With an ID tell all about one.

    All about one: its track drawn to scale, every part's bytes, cells and microseconds, where a dump's bytes lie, the disc that it
    needs, its speed margin, its sources.
    """
    known, broken = _declared(geometry) if job is None else (job_geometries(Path(job)), [])
    if geometry is not None and geometry not in known:
        raise MasteringError(unknown(geometry, list(known)) if known else f"{job}: declares no geometry; a job does so in [geometry.NAME]")
    chosen = [each for name, each in known.items() if geometry in (None, name)]
    chosen = [each for each in chosen if dump_bytes in (None, each.dump_bytes)]
    if as_json:
        json_lines(map(_plain, chosen))
    elif geometry is not None:
        from mastering.words.geometries import geometry_text

        lines(block for each in chosen for block in geometry_text(each, columns(sys.stdout)))
    elif chosen:
        from mastering.words.geometries import geometries_table

        lines([geometries_table(chosen)])
    for error in broken:
        warning(str(error))
    if not chosen:
        what = "none is declared" if dump_bytes is None else f"no declared geometry has a dump of {dump_bytes:,} bytes"
        warning(f"{what}")
    return MasteringError.status if broken else 0 if chosen else 1


def _declared(name: str | None) -> "tuple[dict[str, Geometry], Sequence[DefinitionError]]":
    """The declared geometries by id, or only the one of that name; and the faults of those that other packages declare."""
    from formats import registry

    if name in registry.names("geometries"):
        return {name: registry.geometry(name)}, ()
    made, broken = registry.geometries()
    return {each.id: each for each in made}, broken


def _plain(geometry: "Geometry") -> dict[str, Any]:
    """A line of `geometries --json`."""
    cylinders = range(geometry.cylinders)
    return {
        "id": geometry.id,
        "code": geometry.code,
        "heads": geometry.heads,
        "tracks": geometry.cylinders,
        "first_track": geometry.first_track,
        "sectors": [geometry.zone(cylinder).sectors for cylinder in cylinders],
        "bytes": geometry.size,
        "first_sector": geometry.first_sector,
        "dump_bytes": geometry.dump_bytes,
        "rpm": geometry.rpm,
        "cell_ns": [round(float(geometry.zone(cylinder).cell_ns), 3) for cylinder in cylinders],
        "track_cells": [geometry.track_cells(cylinder) for cylinder in cylinders],
    }
