"""The demo's shop: its folder, its masters, a dozen practice reads and their verdicts, its batch; and which folder it may replace."""

import shutil
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from mastering.demo.batch import MadeBatch, make_batch
from mastering.errors import MasteringError
from mastering.files import digest, write_folder
from mastering.job.job import load
from mastering.judging.evidence import load as load_evidence
from mastering.judging.readback import Source, report_path
from mastering.judging.verdict import Verdict
from mastering.judging.verify import Verifier
from mastering.master.builder import build, payload, record
from mastering.master.master import Master, open_master, write_master
from mastering.platform import give_folder_name
from mastering.simulator.evening import Copy, copies

SIGN = "made-by-obverse-demo"  # a file that lists what the demo made: --again deletes these files and no other
MASTERS = {"lamplighter-1.2": "job.toml", "lamplighter-1.1": "job-1.1.toml"}


@dataclass(frozen=True)
class Demo:
    """What the demo made: a master, practice reads of its copies with their verdicts, a batch."""

    master: Master
    copies: Sequence[Copy]
    verdicts: Sequence[Verdict]
    batch: MadeBatch


def make_demo(target: Path, again: bool, each: Callable[[Iterable[int]], Iterable[int]]) -> Demo:
    """Makes the demo's folder, whole or not at all. `again`: it may replace what an earlier demo made. `each`: see `make_batch`.

    MasteringError when something is there that no demo made, or the folder can't be made.
    """
    _refuse(target, again)
    try:
        with tempfile.TemporaryDirectory(prefix=".obverse-demo-", dir=target.absolute().parent) as beside:
            shop = Path(beside) / "shop"
            demo = _make(shop, each)
            _put_away(target, again, Path(beside) / "before")
            _give_name(shop, target)
    except OSError as error:
        raise MasteringError(f"{target}: can't be made: {error.strerror or error}") from error
    return demo


def _make(shop: Path, each: Callable[[Iterable[int]], Iterable[int]]) -> Demo:
    """Makes the shop's folder and all in it."""
    source = _source()
    write_folder(
        shop, {path.relative_to(source).as_posix(): path.read_bytes() for path in sorted(source.rglob("*")) if _belongs(path)}, False
    )
    (shop / "masters").mkdir()
    master, older = (_build(shop, name, job) for name, job in MASTERS.items())
    practice = list(copies(master, older))
    write_folder(shop / "practice", {name: data for copy in practice for name, data in copy.files.items()}, durable=False)
    batch = make_batch(shop, master, each)
    present = [path for path in sorted(shop.rglob("*")) if path.is_file()]
    (shop / SIGN).write_bytes("".join(f"{_listed(shop, path)}\n" for path in present).encode("utf-8", "replace"))
    return Demo(master, practice, [_judge(shop, master, older, copy) for copy in practice], batch)


def _source() -> Path:
    """The folder of the demo's shop: it lies beside both packages, in a clone and where they are installed."""
    folder = Path(__file__).parents[2] / "jobs_demo"
    if not (folder / "job.toml").is_file():
        raise MasteringError(f"{folder}: the demo's shop is missing; install the program again")
    return folder


def _belongs(path: Path) -> bool:
    return path.is_file() and path.suffix != ".pyc" and path.name != "__init__.py"


def _build(shop: Path, name: str, job: str) -> Master:
    built = build(load(shop / job))
    write_master(shop / "masters" / name, payload(built), record(built))
    return open_master(shop / "masters" / name)


def _judge(shop: Path, master: Master, older: Master, copy: Copy) -> Verdict:
    """The verdict of a copy's files. MasteringError when it is not the one that the demo was made to show."""
    path = str(shop / "practice" / copy.name)
    source = Source(path, report_path(path) if copy.report else None)
    longest = max(len(side.dump) for side in master.sides.values())
    verdict = Verifier(master, copy.side, [older]).judge(load_evidence(source, longest))
    answer = verdict.diagnosis or verdict.verdict
    if answer != copy.answer:
        raise MasteringError(f"{copy.name}: judged as {answer}, where {copy.answer} was expected (a defect of this program)")
    return verdict


# The folder that it may replace


def _refuse(target: Path, again: bool) -> None:
    """MasteringError unless the target is free, or holds just what an earlier demo made and is to be replaced."""
    if not (target.exists() or target.is_symlink()):
        return
    if target.is_symlink() or not (target / SIGN).is_file():
        raise MasteringError(f"{target}: exists, and no demo made it (it has no file {SIGN}); name another folder with --out")
    if not again:
        raise MasteringError(f"{target}: exists already; --again replaces what a demo made, --out names another folder")
    made = set((target / SIGN).read_bytes().decode("utf-8", "replace").splitlines())
    present = [path for path in sorted(target.rglob("*")) if path.is_symlink() or not path.is_dir()]
    kept = [path for path in present if path != target / SIGN and not (_is_plain(path) and _listed(target, path) in made)]
    if kept:
        raise MasteringError(f"{kept[0]}: not as a demo left it, so nothing is replaced; move it away, or name another folder with --out")


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _listed(folder: Path, path: Path) -> str:
    """A file's line in the list: digest and name."""
    return f"{digest(path.read_bytes())}  {path.relative_to(folder).as_posix()}"


def _put_away(target: Path, again: bool, aside: Path) -> None:
    """Moves an earlier demo's folder aside, to be deleted; looked at once more where it then lies, as it may have changed meanwhile.

    MasteringError when something else came to be there while the demo was made; then it is left as it is.
    """
    _refuse(target, again)
    if not target.exists():
        return
    target.rename(aside)
    try:
        _refuse(aside, again)
    except MasteringError:
        _give_name(aside, target)
        raise
    shutil.rmtree(aside)


def _give_name(folder: Path, target: Path) -> None:
    """Gives a finished folder its name. MasteringError when something came to have it meanwhile: nothing is replaced."""
    try:
        give_folder_name(folder, target)
    except FileExistsError as error:
        raise MasteringError(f"{target}: came to exist while the demo was made, and was left as it is") from error
