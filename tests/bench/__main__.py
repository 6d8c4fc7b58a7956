"""Ratios against named baselines, all in one run: `python -m tests.bench [--files N] [--geometries]`. Prints a table; nothing here is a test.

Each line names what was measured, the baseline beside it, their ratio (median of the pairs) and the bound that the project set
itself. Baselines: `cat` of the same files to /dev/null, the interpreter's own start (`python -c pass`), the time that a drive
needs for the turns (0.2 s each at 300 rpm), or a second where a person waits.
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from formats import registry
from formats.tracks.encode import encode_side
from tests.bench import identity, ledger

FULL = """
[title]
name = "Bench"
publisher = "Saltmarsh Software"
catalogue = "SM-998"
revision = "1.0"

[side.A]
geometry = "gcr4to5-35z"
volume = "zoned-dos"

[side.B]
geometry = "gcr6and2-35x16x256"
volume = "catalog-dos"
"""
JOB = """
[title]
name = "Bench"
publisher = "Saltmarsh Software"
catalogue = "SM-999"
revision = "1.0"

[side.A]
platform = "any"
geometry = "{geometry}"
volume = "none"
image = "image.bin"
"""
OBVERSE = [sys.executable, "-m", "mastering.cli.main"]
ROUNDS = 5


def seconds(act: Callable[[], object]) -> float:
    """Wall time of one call."""
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def run(arguments: Sequence[str | Path]) -> None:
    """A command whose output nobody reads; any exit status but a crash will do."""
    done = subprocess.run([str(each) for each in arguments], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
    assert done.returncode in (0, 1), arguments


def ratio(name: str, measured: Callable[[], object], baseline: Callable[[], object], what: str, bound: float, share: float = 1) -> None:
    """Times two things in turn and prints the median ratio; `share` scales it (one of a hundred files, say)."""
    measured(), baseline()
    ratios = [seconds(measured) / seconds(baseline) * share for _ in range(ROUNDS)]
    report(name, statistics.median(ratios), what, bound)


def report(name: str, value: float, what: str, bound: float) -> None:
    """One line of the table."""
    print(f"{name:58} {value:9.4f} x {what:24} bound {bound:g}{'' if value <= bound else '   OVER'}")


def master(folder: Path, geometry: str) -> Path:
    """A master of random bytes in one geometry, built by the program."""
    job = folder / f"job-{geometry}"
    job.mkdir()
    rng = np.random.default_rng(1)
    (job / "image.bin").write_bytes(rng.integers(0, 256, registry.geometry(geometry).dump_bytes, np.uint8).tobytes())
    (job / "job.toml").write_text(JOB.format(geometry=geometry))
    made = folder / f"master-{geometry}"
    run([*OBVERSE, "build", job / "job.toml", "--out", made])
    return made


def copies(folder: Path, name: str, data: Sequence[bytes], suffix: str) -> Path:
    """A folder of read-backs."""
    made = folder / name
    made.mkdir()
    for number, each in enumerate(data):
        (made / f"{number:05}{suffix}").write_bytes(each)
    return made


def dumps(folder: Path, count: int) -> None:
    """Passing and failing dumps in one command, against reading the same files."""
    made = master(folder, "gcr4to5-35z")
    dump = (made / "data" / "side-A.dump").read_bytes()
    damaged = dump[:91_400] + bytes([dump[91_400] ^ 1]) + dump[91_401:]
    for name, data, bound in (("passing", dump, 0.7), ("one bad sector in each", damaged, 1.5)):
        kept = copies(folder, name.replace(" ", "-"), [data] * count, ".dump")
        files = sorted(map(str, kept.iterdir()))
        with Path(os.devnull).open("wb") as nowhere:
            judged = lambda: run([*OBVERSE, "verify", made, kept])
            named = lambda: run([*OBVERSE, "verify", made, *files])
            cat = lambda: subprocess.run(["cat", *files], stdout=nowhere, check=True)
            digest = lambda: subprocess.run(["sha256sum", *files], stdout=nowhere, check=True)
            ratio(f"{count:,} dumps, {name}", judged, cat, "cat", bound)
            ratio("  each of them named on the command line", named, cat, "cat", bound)
            ratio(f"  beside it: sha256sum of {count:,} dumps", digest, cat, "cat", float("inf"))


def geometries(folder: Path) -> None:
    """A table of every geometry: one-turn captures judged in a batch of 100, and a side encoded, as shares of the drive's own time.

    Where a cell is 1 microsecond the bounds are twice as wide: the drive turns faster under more cells.
    """
    head = ("a drive", "judged", "of 1/1000", "bound", "encoded", "of 1/500", "bound")
    print(f"{'side of a disc':24}" + "".join(f"{each:>11}" for each in head))
    for geometry in map(registry.geometry, registry.names("geometries", foreign=False)):
        made = folder / f"master-{geometry.id}"
        made = made if made.exists() else master(folder, geometry.id)
        drive = geometry.cylinders * geometry.heads * 60 / geometry.rpm
        bound = 2 if min(zone.cell_ns for zone in geometry.zones) <= 1000 else 1
        one = (made / "data" / "side-A.capture").read_bytes()
        kept = copies(folder, f"captures-{geometry.id}", [one] * 100, ".capture")
        dump, identity = bytes(geometry.dump_bytes), geometry.identity_values(b"SM", 254)
        judged = usual(lambda: run([*OBVERSE, "verify", made, kept])) / 100
        encoded = usual(lambda: encode_side(geometry, dump, identity))
        shares = judged / drive * 1000, encoded / drive * 500
        cells = [f"{drive:.1f} s"]
        for taken, share in zip((judged, encoded), shares, strict=True):
            cells += [f"{1000 * taken:.2f} ms", f"{share:.2f}", str(bound)]
        print(f"{geometry.id:24}" + "".join(f"{each:>11}" for each in cells) + ("   OVER" if max(shares) > bound else ""))


def usual(act: Callable[[], object]) -> float:
    """The median time of a call, its first one left out."""
    act()
    return statistics.median(seconds(act) for _ in range(ROUNDS))


def starts(folder: Path) -> None:
    """Whole commands, in starts of the interpreter."""
    made = folder / "master-gcr4to5-35z"
    passing = next((folder / "passing").iterdir())
    failing = next((folder / "one-bad-sector-in-each").iterdir())
    capture = next((folder / "captures-gcr4to5-35z").iterdir())
    nothing = lambda: run([sys.executable, "-c", "pass"])
    for name, arguments, bound in (
        ("--help", ["--help"], 6),
        ("verify, one passing dump", ["verify", made, passing], 12),
        ("verify, one failing dump", ["verify", made, failing], 25),
        ("verify, one capture", ["verify", made, capture], 25),
    ):
        ratio(name, lambda: run([*OBVERSE, *arguments]), nothing, "python -c pass", bound)
    imports(nothing)


def imports(nothing: Callable[[], object]) -> None:
    """The package without the program: with one geometry, and with all its modules."""
    one = "import formats, formats.registry; formats.registry.geometry('gcr4to5-35z')"
    every = (
        "import formats, pkgutil, importlib\nfor m in pkgutil.walk_packages(formats.__path__, 'formats.'): importlib.import_module(m.name)"
    )
    for name, code in (("import formats, one geometry", one), ("import every module of formats", every)):
        ratio(name, lambda: run([sys.executable, "-c", code]), nothing, "python -c pass", 18)


def searches(folder: Path) -> None:
    """A piece of data in 100 masters of two full sides each, across a link: in seconds, as a person waits for it."""
    job = folder / "job-full"
    job.mkdir()
    data = np.random.default_rng(2).integers(0, 256, 5000, np.uint8).tobytes()
    text = FULL
    for side, count, type_ in (("A", 31, "program"), ("B", 22, "binary")):
        for number in range(count):
            (job / f"{side}{number}.bin").write_bytes(bytes([number, ord(side)]) + data)
            text += f'[[side.{side}.file]]\nname = "F{number}"\nsource = "{side}{number}.bin"\ntype = "{type_}"\nload_address = 0x2000\n'
    (job / "job.toml").write_text(text)
    shelf = folder / "shelf"
    shelf.mkdir()
    run([*OBVERSE, "build", job / "job.toml", "--out", shelf / "000"])
    for number in range(1, 100):
        shutil.copytree(shelf / "000", shelf / f"{number:03}")
    for name, piece in (("everywhere", data[1000:1400]), ("nowhere", b"\xa5" * 8)):
        (folder / "piece").write_bytes(piece)
        find = lambda: run([*OBVERSE, "find", "--bytes", folder / "piece", shelf])
        find()
        report(f"find in 100 masters: {name}", statistics.median(seconds(find) for _ in range(ROUNDS)), "seconds", 1)


def ledgers(folder: Path) -> None:
    """Recording a read, and questions to ledgers that grow."""
    ours, bare = ledger.recording(folder)
    report("a read recorded durably", ours / bare, "bare inserts", 3)
    bounds = {"rates": 1, "advis": 3, "need ": 2}
    for words, size, taken in ledger.questions(folder):
        report(f"{words}: {size:,} discs", taken, "seconds", bounds.get(words[:5], float("inf")))


def identities(folder: Path) -> None:
    """What a disc is, among a hundred masters; what is to be written on one."""
    for measured in identity.identities(folder):
        report(*measured)


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=10_000, help="how many dumps (default 10,000)")
    parser.add_argument("--geometries", action="store_true", help="only the table of geometries, and what importing them costs")
    arguments = parser.parse_args()
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # where it is set every start would compile the program anew
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        if arguments.geometries:
            geometries(folder)
            imports(lambda: run([sys.executable, "-c", "pass"]))
            return
        dumps(folder, arguments.files)
        geometries(folder)
        starts(folder)
        searches(folder)
        ledgers(folder)
        identities(folder)


if __name__ == "__main__":
    main()
