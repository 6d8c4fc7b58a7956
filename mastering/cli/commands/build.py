"""`obverse build`: a job to its master."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mastering.cli.output import json_lines, lines, progress, warning
from mastering.errors import MasteringError, unknown
from mastering.words.masters import built_text

if TYPE_CHECKING:
    from mastering.master.builder import Built


@click.command(short_help="Build the two-sided master of a job.")
@click.argument("job", type=click.Path())
@click.option("--out", type=click.Path(), metavar="DIR", help="The master's folder, which must not exist.")
@click.option("--edition", metavar="NAME", help="Build that edition of the job, not the job itself.")
@click.option("--all", "every", is_flag=True, help="Build the job into DIR/plain and each of its editions into DIR/NAME.")
@click.option("--dry-run", is_flag=True, help="Say what is wrong and how full each side is; write nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each master.")
def command(job: str, out: str | None, edition: str | None, every: bool, dry_run: bool, as_json: bool) -> None:
    """Build the master of a JOB file: both sides, their captures, and a record of what is in them, in a BagIt bag.

    The same job and sources give the same bytes on every machine and day. Whatever is built, the job and all its editions are proved.
    """
    if (out is None) != dry_run:
        raise click.UsageError("give either --out DIR or --dry-run")
    if edition is not None and every:
        raise click.UsageError("give either --edition NAME or --all")
    from mastering.files import refuse_existing
    from mastering.job.editions import PLAIN
    from mastering.job.own_geometry import thin_margins
    from mastering.master.all_editions import build_all
    from mastering.master.doubts import doubts

    if out is not None:
        refuse_existing(Path(out))  # before the work
    built = build_all(Path(job), lambda variants: progress(variants, "editions"))
    if edition is not None and edition not in (names := [name for name in built if name != PLAIN]):
        raise MasteringError(f"{job}: --edition: {unknown(edition, names) if names else 'the job has no editions'}")
    chosen = built if every else {name: built[name] for name in [edition or PLAIN]}
    written = _written(chosen, Path(out), every) if out is not None else dict.fromkeys(chosen, (None, None))
    sides = [side.plan.geometry for master in chosen.values() for side in master.sides.values()]
    overlooked = (str(doubt) for master in chosen.values() for doubt in doubts(master))
    for text in dict.fromkeys((*thin_margins(sides), *overlooked)):
        warning(f"{job}: {text}")
    for name, master in chosen.items():
        named = {"edition": None if name == PLAIN else name} if every or edition is not None else {}
        if as_json:
            json_lines([_plain(master, *written[name]) | named])
        else:
            lines(built_text(master, *written[name]))


def _written(chosen: "dict[str, Built]", out: Path, every: bool) -> dict[str, tuple[str | None, str | None]]:
    """Writes the masters, all or none. Returns for each its folder and its digest, by name."""
    from mastering.master.builder import payload, record
    from mastering.master.master import write_master, write_masters

    made = {name: (payload(built), record(built)) for name, built in chosen.items()}
    if every:
        return {name: (str(out / name), digest) for name, digest in write_masters(out, made).items()}
    return {name: (str(out), write_master(out, *each)) for name, each in made.items()}


def _plain(built: "Built", out: str | None, digest: str | None) -> dict[str, Any]:
    from mastering.files import digest as sha256

    sides = {
        name: {"geometry": side.plan.geometry.id, "volume": side.plan.volume.id, "sha256": sha256(side.dump)}
        for name, side in built.sides.items()
    }  # fmt: skip
    return {"master": out, "digest": digest, "sides": sides}
