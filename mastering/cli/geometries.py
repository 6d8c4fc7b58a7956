"""`obverse geometries`: what kinds of recorded side are declared."""

from typing import TYPE_CHECKING, Any

import click

from mastering.cli.output import json_lines, lines, table
from mastering.errors import MasteringError, unknown

if TYPE_CHECKING:
    from formats.geometry import Geometry


@click.command(short_help="List the declared geometries, or tell all about one.")
@click.argument("geometry", required=False, metavar="[ID]")
@click.option("--bytes", "dump_bytes", type=int, metavar="N", help="Only those whose dump has N bytes.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each.")
def command(geometry: str | None, dump_bytes: int | None, as_json: bool) -> int:
    """List the declared geometries: how a recorded side is divided. With an ID tell all about one."""
    from formats import registry

    names = registry.names("geometries")
    if geometry is not None and geometry not in names:
        raise MasteringError(unknown(geometry, names))
    chosen = [registry.geometry(name) for name in names if geometry in (None, name)]
    chosen = [each for each in chosen if dump_bytes in (None, each.dump_bytes)]
    if as_json:
        json_lines(map(_plain, chosen))
    elif geometry is not None:
        lines(line for each in chosen for line in _told(each))
    elif chosen:
        head = ("id", "bytes", "tracks", "sectors", "of", "rpm", "speed margin")
        lines(table([head, *map(_row, chosen)]))
    if not chosen:
        click.echo(f"no declared geometry has a dump of {dump_bytes:,} bytes", err=True)
    return 0 if chosen else 1


def _plain(geometry: "Geometry") -> dict[str, Any]:
    """The contract's line."""
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


def _row(geometry: "Geometry") -> tuple[str, ...]:
    sectors = "/".join(str(zone.sectors) for zone in geometry.zones)
    margin = min(geometry.speed_margin(zone) for zone in geometry.zones)
    tracks = f"{geometry.cylinders}" + (" x 2" if geometry.heads == 2 else "")
    return geometry.id, f"{geometry.dump_bytes:,}", tracks, sectors, str(geometry.size), str(geometry.rpm), f"{100 * margin:.2f} %"


def _told(geometry: "Geometry") -> list[str]:
    """One geometry, for people."""
    told = [
        geometry.id,
        f"  dump          {geometry.dump_bytes:,} bytes, {len(geometry.addresses):,} sectors of {geometry.size}",
        f"  tracks        {geometry.cylinders} from {geometry.first_track}, {geometry.tpi} to the inch, heads: {geometry.heads}",
        f"  speed         {geometry.rpm} rpm; the index hole is {'needed' if geometry.index else 'not used'}",
        f"  blank         coercivity {geometry.coercivity}",
    ]
    for zone in geometry.zones:
        cells = geometry.track_cells(zone.first - geometry.first_track)
        told.append(
            f"  tracks {zone.first:>2}-{zone.last:<3} {zone.sectors} sectors, cells of {float(zone.cell_ns):g} ns, {cells:,} a turn, "
            f"{geometry.needed_cells(zone):,} needed: a drive may turn {100 * geometry.speed_margin(zone):.2f} % faster"
        )
    if geometry.dump_order:
        told.append(f"  dump order    {' '.join(map(str, geometry.dump_order))}")
    told += [f"  {name:13} {' '.join(map(str, numbers))}" for name, numbers in geometry.orders]
    told += [
        f"  source        {source.title}: {source.section} ({source.how}){f'; {source.note}' if source.note else ''}"
        for source in geometry.sources
    ]
    return told
