"""`obverse new`: a commented job to start from."""

from pathlib import Path

import click

from mastering.cli.output import lines
from mastering.errors import MasteringError, unknown

_TITLE = """\
# A job: what goes onto both sides of a disc. Build it, in this file's folder, with
#   obverse build job.toml --out ../master-1.0
# and ask beforehand what is wrong and how full each side is:
#   obverse build job.toml --dry-run

[title]
name = "My title"
publisher = "My shop"
catalogue = "MT-001"          # A-Z, 0-9 and hyphens; serials begin with it
revision = "1.0"
# date = 2026-11-25           # what volumes stamp; default 1980-01-01
# disc = 1                    # of a title on several discs: which one
# discs = 1                   # of how many
"""

_SIDE = """
[side.{side}]                      # {face}
platform = "the machine of side {side}"
geometry = "{geometry}"
volume = "{volume}"
# free = "numbered"           # free sectors are filled with texts of their own; or "zero"
# serial = "free"             # each disc carries its serial in the last free sector; or {{ marker = "<<SERIAL-GOES-HERE>>" }}; or "none"
# suffix = "img"              # a copy of the dump under that suffix, for other programs
"""

_EDITIONS = """
# [edition.demo]              # a variant of this job: built by --edition demo, or with all the others by --all
# leave_out = ["FIRST"]       # files by name, on every side; or {side = "A", name = "FIRST"}
# name = "My title, a taste"  # or publisher, catalogue, revision, date; its revision is the job's and -demo, if you give no other
#
# [[edition.demo.replace]]    # another source for a file, or another type, load_address ...
# side = "A"
# name = "FIRST"
# source = "side-a/demo.bin"
#
# [edition.demo.side.A]       # what else differs on a side; files and places given here are added to the side's
# platform = "the same machine"
"""

_GEOMETRY = """
# [geometry.my-disc]          # a geometry of your own, a declared one with changes; a side names it: geometry = "my-disc"
# base = "mfm-40x9x512"       # whatever is not changed is its; `obverse geometries --job job.toml my-disc` draws the track
# source = "Handbook, page 5" # where the changes are from
# tracks = 41                 # cylinders
# first_track = 0
# heads = 1                   # with 2: tracks_count_on = true (head 1's identifiers count on), heads_apart = true (so in a dump)
# sectors = 10                # of a track; where the base has zones a list, one number for each: [21, 19, 18, 17]
# sector_bytes = 512
# first_sector = 0
# order = [0, 2, 4, 6, 8, 1, 3, 5, 7, 9]   # round the track; or "as-numbered"
# dump_order = "as-numbered"  # of each track in a dump; or a list
# complemented = true         # the sectors' bytes stand inverted on the track
# index_mark = true           # false leaves out the base's
# index_gap = 80              # bytes before the index mark
# first_gap = 50              # bytes before the first sector
# identifier_gap = 22         # bytes between a sector's identifier and its block
# data_gap = 30               # bytes behind its block; on zones a list
# rpm = 300
# cell_nanoseconds = 2000     # how long a cell lasts, a cell being half a data bit in FM and MFM; on zones a list
# speed_tolerance = 1.5       # percent that a drive may be off; a margin below it is a warning
# tracks_per_inch = 48
# coercivity = 300            # oersted
# index_hole = true           # whether drives for it need the index hole
"""


@click.command(short_help="Make a commented job to start from.")
@click.argument("folder", type=click.Path(), metavar="DIR")
@click.option("--side", "sides", multiple=True, required=True, metavar="A=GEOMETRY:VOLUME", help="A side. Repeat for side B.")
def command(folder: str, sides: tuple[str, ...]) -> None:
    """Make the folder DIR, which must not exist, with a commented job that builds as it is."""
    from mastering.files import write_folder

    target = Path(folder)
    files = _files([_parsed(side) for side in sides])
    write_folder(target, files)
    lines([f"{target / 'job.toml'} is ready; put your own files in place of {', '.join(sorted(set(files) - {'job.toml'}))}"])


def _parsed(text: str) -> tuple[str, str, str]:
    """The side, the geometry's id and the volume's id of a `--side` option."""
    side, equals, rest = text.partition("=")
    geometry, colon, volume = rest.partition(":")
    if side not in ("A", "B") or not equals or not colon:
        raise MasteringError(f"--side {text}: A=GEOMETRY:VOLUME or B=GEOMETRY:VOLUME was expected")
    return side, geometry, volume


def _files(sides: list[tuple[str, str, str]]) -> dict[str, bytes]:
    """The bytes of `job.toml` and of its first sources, by relative name."""
    from formats import registry

    if len({side for side, _, _ in sides}) < len(sides) or sides[0][0] != "A":
        raise MasteringError("--side: name side A first, then side B where there is one")
    text, files = _TITLE, {}
    for side, geometry_id, volume_id in sides:
        geometry = registry.geometry(_known("geometries", geometry_id))
        volume = registry.volume(_known("volumes", volume_id))
        if not volume.fits(geometry):
            raise MasteringError(f"--side {side}: {volume_id} is not defined on {geometry_id}")
        if len(sides) == 2 and geometry.heads == 2:
            raise MasteringError(f"--side {side}: {geometry_id} records both faces, so such a job has side A only")
        part = volume.job_part
        source = f"side-{side.lower()}/{part.source}"
        face = "label up" if side == "A" else "the disc turned over"
        text += _SIDE.format(side=side, face=face, geometry=geometry_id, volume=volume_id)
        text += part.text.format(side=side, source=source)
        size = geometry.dump_bytes if part.size is None else part.size
        files[source] = (bytes(range(256)) * (size // 256 + 1))[:size] if size > 256 else bytes(range(1, size + 1))
    return {"job.toml": (text + _GEOMETRY + _EDITIONS).encode(), **files}


def _known(kind: str, name: str) -> str:
    """The name, if something of that kind is declared under it. MasteringError with the nearest one otherwise."""
    from formats import registry

    if name not in registry.names(kind):
        raise MasteringError(unknown(name, registry.names(kind)))
    return name
