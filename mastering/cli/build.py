"""`obverse build`: a job to its master."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mastering.cli.output import json_lines, lines
from mastering.errors import ProblemsError

if TYPE_CHECKING:
    from mastering.builder import Built


@click.command(short_help="Build the two-sided master of a job.")
@click.argument("job", type=click.Path())
@click.option("--out", type=click.Path(), metavar="DIR", help="The master's folder, which must not exist.")
@click.option("--dry-run", is_flag=True, help="Say what is wrong and how full each side is; write nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON line.")
def command(job: str, out: str | None, dry_run: bool, as_json: bool) -> None:
    """Build the master of a JOB file: both sides, their captures, and a record of what is in them, in a BagIt bag.

    The same job and sources give the same bytes on every machine and day.
    """
    if (out is None) != dry_run:
        raise click.UsageError("give either --out DIR or --dry-run")
    from mastering.builder import build, payload, record
    from mastering.files import refuse_existing
    from mastering.job import load
    from mastering.master import write_master
    from mastering.own_geometry import thin_margins

    if out is not None:
        refuse_existing(Path(out))  # before the work
    try:
        built = build(load(Path(job)))
    except ProblemsError as error:
        raise ProblemsError([problem if problem.startswith(f"{job}: ") else f"{job}: {problem}" for problem in error.problems]) from error
    for warning in thin_margins(side.plan.geometry for side in built.sides.values()):
        click.echo(f"obverse: {job}: {warning}", err=True)
    digest = None if out is None else write_master(Path(out), payload(built), record(built))
    if as_json:
        json_lines([_plain(built, out, digest)])
    else:
        lines(_told(built, out, digest))


def _plain(built: "Built", out: str | None, digest: str | None) -> dict[str, Any]:
    from mastering.files import digest as sha256

    sides = {
        name: {"geometry": side.plan.geometry.id, "volume": side.plan.volume.id, "sha256": sha256(side.dump)}
        for name, side in built.sides.items()
    }  # fmt: skip
    return {"master": out, "digest": digest, "sides": sides}


def _told(built: "Built", out: str | None, digest: str | None) -> list[str]:
    """What was built, for people."""
    from mastering.builder import blanks, text_of, unproven

    title = built.job.title
    told = [f"{title.name} {title.revision} ({title.catalogue}, {title.publisher})"]
    for name, side in built.sides.items():
        geometry = side.plan.geometry
        count = len(geometry.addresses)
        words = (side.plan.platform, f"{geometry.id}, {side.plan.volume.id}")
        told.append(f"  side {name}: {': '.join(filter(None, words))}")
        told += [f"    {text_of(file.name):32} {len(file.data):>8,} bytes, sectors: {len(file.sectors)}" for file in side.files]
        room = f", {side.free:,} units of {side.unit} bytes free" if side.files else ""
        told.append(f"    {side.used:,} of {count:,} sectors used ({100 * side.used // count} %){room}")
        doubtful = len(unproven(side.dump, geometry.size))
        if doubtful:
            many = f"{doubtful} sector{'' if doubtful == 1 else 's'}"
            told.append(f"    {many} would look the same filled in by a reader: read copies as captures, or with reports")
    for slot in built.slots:
        told.append(f"  serial: {slot['bytes']} bytes on side {slot['side']}, track {slot['track']} sector {slot['sector']}")
    told.append(f"  blanks: {_blanks_text(blanks([side.plan.geometry for side in built.sides.values()]))}")
    told.append(f"  master: {out}, digest {digest}" if out else "  nothing was written (--dry-run)")
    return told


def _blanks_text(need: dict[str, Any]) -> str:
    cuts = [
        name
        for name, wanted in (("a second notch", need["second_notch"]), ("a second index window", need["second_index_window"]))
        if wanted
    ]
    tpi = " and ".join(map(str, need["tpi"]))
    return ", ".join(
        [
            f"coercivity {' and '.join(need['coercivity'])}",
            f"{tpi} tracks per inch",
            f"{'one face' if need['faces'] == 1 else 'both faces'} to record",
            *cuts,
        ]
    )
