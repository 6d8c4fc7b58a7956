"""`obverse demo`: the whole job on an invented shop, with simulated drives."""

import shlex
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from formats.words import counted
from mastering.cli.output import lines
from mastering.errors import MasteringError
from mastering.words.verdicts import findings_text, hands_text

if TYPE_CHECKING:
    from mastering.judging.verdict import Verdict
    from mastering.master.master import Master
    from mastering.simulator.evening import Copy

_SIGN = "made-by-obverse-demo"  # a file that lists what the demo made: --again deletes these files and no other
_MASTERS = {"lamplighter-1.2": "job.toml", "lamplighter-1.1": "job-1.1.toml"}
_SHOWN = 3  # findings of a read-back


@click.command(short_help="Show the whole job on an invented shop, with simulated drives.")
@click.option("--out", type=click.Path(), default="obverse-demo", show_default=True, metavar="DIR", help="The shop's folder to make.")
@click.option("--again", is_flag=True, help="Replace what an earlier demo made.")
def command(out: str, again: bool) -> None:
    """Build an invented title's master for two machines, judge a dozen practice reads, make a batch of forty discs, rate lots and drives.

    The discs and drives are simulated: nothing is written but the folder DIR.
    """
    target = Path(out)
    _refuse(target, again)
    try:
        with tempfile.TemporaryDirectory(prefix=".obverse-demo-", dir=target.absolute().parent) as beside:
            shop = Path(beside) / "shop"
            told = list(_evening(shop, target))
            if target.exists():
                shutil.rmtree(target)  # nothing but a demo's own files is in it
            shop.rename(target)
    except OSError as error:
        raise MasteringError(f"{target}: can't be made: {error.strerror or error}") from error
    lines(told)


# The folder


def _refuse(target: Path, again: bool) -> None:
    """MasteringError unless the target is free, or holds just what an earlier demo made and is to be replaced."""
    if not (target.exists() or target.is_symlink()):
        return
    if target.is_symlink() or not (target / _SIGN).is_file():
        raise MasteringError(f"{target}: exists, and no demo made it (it has no file {_SIGN}); name another folder with --out")
    if not again:
        raise MasteringError(f"{target}: exists already; --again replaces what a demo made, --out names another folder")
    made = set((target / _SIGN).read_bytes().decode("utf-8", "replace").splitlines())
    present = [path for path in sorted(target.rglob("*")) if path.is_symlink() or not path.is_dir()]
    kept = [path for path in present if path != target / _SIGN and not (_is_plain(path) and _listed(target, path) in made)]
    if kept:
        raise MasteringError(f"{kept[0]}: not as a demo left it, so nothing is replaced; move it away, or name another folder with --out")


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _listed(folder: Path, path: Path) -> str:
    """A file's line in the list: digest and name."""
    from mastering.files import digest

    return f"{digest(path.read_bytes())}  {path.relative_to(folder).as_posix()}"


def _shop() -> Path:
    """The folder of the demo's shop: it lies beside both packages, in a clone and where they are installed."""
    folder = Path(__file__).parents[3] / "jobs_demo"
    if not (folder / "job.toml").is_file():
        raise MasteringError(f"{folder}: the demo's shop is missing; install the program again")
    return folder


def _belongs(path: Path) -> bool:
    return path.is_file() and path.suffix != ".pyc" and path.name != "__init__.py"


# The job


def _evening(shop: Path, target: Path) -> Iterator[str]:
    """Makes the shop's folder and all in it; what there is to tell, with the name that the folder will have."""
    from mastering.cli.demo_batch import batch_evening
    from mastering.files import write_folder
    from mastering.simulator.evening import copies

    files = {path.relative_to(_shop()).as_posix(): path.read_bytes() for path in sorted(_shop().rglob("*")) if _belongs(path)}
    write_folder(shop, files, durable=False)
    (shop / "masters").mkdir()
    master, older = (_build(shop, name, job) for name, job in _MASTERS.items())
    made = list(copies(master, older))
    write_folder(shop / "practice", {name: data for copy in made for name, data in copy.files.items()}, durable=False)
    told = list(batch_evening(shop, master, target))
    present = [path for path in sorted(shop.rglob("*")) if path.is_file()]
    (shop / _SIGN).write_bytes("".join(f"{_listed(shop, path)}\n" for path in present).encode("utf-8", "replace"))
    verdicts = [_judge(shop, master, older, copy) for copy in made]
    yield from _told_master(target, master)
    yield from _told_copies(master, made, verdicts)
    yield from ("", "3. A batch: every disc is written, turned over and written again, then both sides are read", *told)
    yield from _suggestions(target)


def _build(shop: Path, name: str, job: str) -> "Master":
    from mastering.job.job import load
    from mastering.master.builder import build, payload, record
    from mastering.master.master import open_master, write_master

    built = build(load(shop / job))
    write_master(shop / "masters" / name, payload(built), record(built))
    return open_master(shop / "masters" / name)


def _judge(shop: Path, master: "Master", older: "Master", copy: "Copy") -> "Verdict":
    """The verdict of a copy's files. MasteringError when it is not the one that the demo was made to show."""
    from mastering.judging.evidence import load
    from mastering.judging.readback import Source, report_path
    from mastering.judging.verify import Verifier

    path = str(shop / "practice" / copy.name)
    source = Source(path, report_path(path) if copy.report else None)
    longest = max(len(side.dump) for side in master.sides.values())
    verdict = Verifier(master, copy.side, [older]).judge(load(source, longest))
    answer = verdict.diagnosis or verdict.verdict
    if answer != copy.answer:
        raise MasteringError(f"{copy.name}: judged as {answer}, where {copy.answer} was expected (a defect of this program)")
    return verdict


# What is told


def _told_master(target: Path, master: "Master") -> Iterator[str]:
    yield f"{master.publisher} sells {master.title} for two machines: one disc, one machine on each side."
    yield "Everything below is simulated: no disc and no drive is involved."
    yield ""
    yield f"1. The master, built from {target / 'job.toml'}"
    for name, side in master.sides.items():
        files = ", ".join(f"{file['name']} ({file['bytes']:,} bytes)" for file in side.files)
        yield f"   side {name}  {side.platform}: {side.geometry_id}, {side.volume}"
        yield f"           {files}"
    this, before = (target / "masters" / name for name in _MASTERS)
    yield f"   It lies in {this}; the revision before it in {before}."


def _told_copies(master: "Master", made: "list[Copy]", verdicts: "list[Verdict]") -> Iterator[str]:
    """Every copy, what happened to it, its verdict and what to do with the disc; and which discs can be boxed."""
    yield ""
    yield f"2. Read-backs of {len({copy.disc for copy in made})} practice discs, most of them bad, held against the master"
    for copy, verdict in zip(made, verdicts, strict=True):
        yield f"   {copy.name:24} {copy.story}"
        yield f"   {'':24} {verdict.verdict}: {hands_text(verdict, len(master.sides))}"
        if not verdict.diagnosis:
            more = len(verdict.findings) - _SHOWN
            yield from (f"   {'':24}   {text}" for text in islice(findings_text(verdict, master.catalogue), _SHOWN))
            yield from [f"   {'':24}   and {counted(more, 'sector')} more"] if more > 0 else []
    counts = Counter(verdict.verdict for verdict in verdicts)
    summary = ", ".join(f"{counts[state]} {state}" for state in ("pass", "marginal", "fail"))
    yield f"   {len(made)} read-backs: {summary}. Each came out as it should."
    sides = Counter(copy.disc for copy, verdict in zip(made, verdicts, strict=True) if verdict.verdict == "pass")
    good = [disc for disc, count in sides.items() if count == len(master.sides)]
    yield f"   A disc is boxed when both its sides pass. Of these: {', '.join(good)}."


def _suggestions(target: Path) -> Iterator[str]:
    """Commands to try, as a shell takes them."""
    from mastering.simulator.evening import practice_serial

    copies, masters = target / "practice", target / "masters"
    ledger = target / "ledger.sqlite"
    new, wrong = next(iter(_MASTERS)), f"{practice_serial('SM-004', 4)}-A.dump"
    yield from ("", "4. Go on by yourself")
    for why, words in (
        ("What is on the disc?", ["contents", masters / new]),
        ("Is the master still what it was?", ["check", masters / new]),
        ("How does the batch stand, and which discs wait for what?", ["batch", "show", "B-0001", "--ledger", ledger]),
        ("How bad is each lot, and each drive?", ["rates", "--by", "lot", "--ledger", ledger]),
        ("", ["rates", "--by", "drive", "--ledger", ledger]),
        ("What is to be done about it, and why?", ["advise", "--why", "--ledger", ledger]),
        ("Judge the practice discs once more, with the older master at hand:", ["verify", masters / new, copies, "--masters", masters]),
        (
            "The side is told from the bytes there; for the disc that was put in the wrong side up say which one was wanted:",
            ["verify", masters / new, copies / wrong, "--side", "A"],
        ),
        ("Make a job of your own to start from:", ["new", "my-title", "--side", "A=gcr4to5-35z:zoned-dos"]),
    ):
        yield from [f"   {why}"] if why else []
        yield f"      obverse {shlex.join(map(str, words))}"
