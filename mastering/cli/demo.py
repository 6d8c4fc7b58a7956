"""`obverse demo`: the whole job on an invented shop, with simulated drives."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.output import lines
from mastering.cli.words import findings_text, hands_text
from mastering.errors import MasteringError

if TYPE_CHECKING:
    from mastering.master import Master
    from mastering.simulator.evening import Copy

_SIGN = "made-by-obverse-demo"  # a file that says: this folder may be replaced by --again
_SIGN_TEXT = b"This folder was made by `obverse demo`; `obverse demo --again` replaces it.\n"


@click.command(short_help="Show the whole job on an invented shop, with simulated drives.")
@click.option("--out", type=click.Path(), default="obverse-demo", show_default=True, metavar="DIR", help="The shop's folder to make.")
@click.option("--again", is_flag=True, help="Replace what an earlier demo made.")
def command(out: str, again: bool) -> None:
    """Build the master of an invented title for two machines, read a dozen copies of it, and say what to do with each disc.

    The discs and drives are simulated: nothing is written but the folder DIR.
    """
    from mastering.files import write_folder

    target = Path(out)
    _make_room(target, again)
    shop = {str(path.relative_to(_shop())): path.read_bytes() for path in sorted(_shop().rglob("*")) if _belongs(path)}
    write_folder(target, shop | {_SIGN: _SIGN_TEXT}, durable=False)
    lines(_day(target))


def _shop() -> Path:
    """The demo's shop: installed beside this package, or in the clone that it runs from."""
    package = Path(__file__).parents[1]
    for folder in (package / "jobs_demo", package.parent / "jobs_demo"):
        if (folder / "job.toml").is_file():
            return folder
    raise MasteringError(f"{package / 'jobs_demo'}: the demo's shop is missing; install the program again")


def _belongs(path: Path) -> bool:
    return path.is_file() and path.suffix != ".pyc" and path.name != "__init__.py"


def _make_room(target: Path, again: bool) -> None:
    """Sees to it that the target does not exist; replaces nothing but a demo's own folder, and that only when asked."""
    if not target.exists() or not again:
        return
    if not (target / _SIGN).is_file():
        raise MasteringError(
            f"{target}: not made by a demo (it has no file {_SIGN}), so it is not replaced; name another folder with --out"
        )
    shutil.rmtree(target)


def _day(shop: Path) -> Iterator[str]:
    """What was built and found, line by line, as it happens."""
    from mastering.simulator.evening import copies

    yield "Saltmarsh Software sells Lamplighter for two machines: one disc, one machine on each side."
    yield "Everything below is simulated: no disc and no drive is involved."
    yield ""
    yield f"1. The master, built from {shop / 'job.toml'}"
    master = _build(shop, "job.toml", "lamplighter-1.2")
    older = _build(shop, "job-1.1.toml", "lamplighter-1.1")
    for name, side in master.sides.items():
        files = ", ".join(f"{file['name']} ({file['bytes']:,} bytes)" for file in side.files)
        yield f"   side {name}  {side.platform}: {side.geometry_id}, {side.volume}"
        yield f"           {files}"
    yield f"   It lies in {master.path}; the revision before it in {older.path}."
    yield ""
    yield "2. Twelve copies, read back and held against the master sector by sector"
    made = list(copies(master, older))
    _write_reads(shop / "copies", made)
    for copy in made:
        yield from _judged(shop, master, older, copy)
    yield ""
    yield "3. Go on by yourself"
    yield from (f"   {line}" for line in _suggestions(shop))


def _build(shop: Path, job: str, name: str) -> "Master":
    from mastering.builder import build, payload, record
    from mastering.job import load
    from mastering.master import open_master, write_master

    (shop / "masters").mkdir(exist_ok=True)
    built = build(load(shop / job))
    write_master(shop / "masters" / name, payload(built), record(built))
    return open_master(shop / "masters" / name)


def _write_reads(folder: Path, made: "list[Copy]") -> None:
    from mastering.files import write_folder

    write_folder(folder, {name: data for copy in made for name, data in copy.files.items()}, durable=False)


def _judged(shop: Path, master: "Master", older: "Master", copy: "Copy") -> Iterator[str]:
    """A copy, what was done to it, its verdict and what to do with the disc."""
    from mastering.readback import Source, report_path
    from mastering.verify import Verifier
    from mastering.view import load

    path = str(shop / "copies" / copy.name)
    source = Source(path, report_path(path) if copy.report else None)
    longest = max(len(side.dump) for side in master.sides.values())
    verdict = Verifier(master, copy.side, lambda: [older]).judge(load(source, longest))
    yield f"   {copy.name:24} wrong with it: {copy.fault}"
    yield f"   {'':24} {verdict.verdict}: {hands_text(verdict, len(master.sides))}"
    if not verdict.diagnosis:
        yield from (f"   {'':24}   {text}" for text in findings_text(verdict.findings[:3], False))


def _suggestions(shop: Path) -> Iterator[str]:
    masters = shop / "masters"
    yield f"obverse contents {masters / 'lamplighter-1.2'}"
    yield f"obverse check {masters / 'lamplighter-1.2'}"
    yield f"obverse verify {masters / 'lamplighter-1.2'} {shop / 'copies'} --masters {masters}"
    yield "obverse new my-title --side A=gcr4to5-35z:zoned-dos   (a job of your own to start from)"
