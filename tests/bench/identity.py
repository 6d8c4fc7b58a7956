"""A disc's identity on the bench: `identify` among a hundred masters, and the image of one disc of a batch."""

import json
import resource
import statistics
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from formats import registry
from mastering.files import digest
from mastering.ledger.store import Ledger
from mastering.master.master import open_master, write_master
from mastering.master.serial import serial
from mastering.master.stamp import image
from mastering.recording.opening import BatchRequest, batch_line

JOB = """
[title]
name = "{name}"
publisher = "Saltmarsh Software"
catalogue = "SM-{number}"
revision = "1.0"
"""
SIDE = """
[side.{side}]
platform = "any"
geometry = "{geometry}"
volume = "none"
image = "{side}.bin"
"""
TITLES = (  # ten titles with ten revisions each
    ("gcr4to5-35z",), ("gcr4to5-35z", "gcr6and2-35x16x256"), ("mfm-40x9x512", "gcr4to5-35z"), ("gcr6and2-35x16x256",),
    ("gcr6and2-35x16x256", "gcr4to5-35z"), ("mfm-40x9x512-2s",), ("gcr4to5-35z", "mfm-40x9x512"), ("fm-40x18x128",),
    ("mfm-80x9x512-2s",), ("gcr4to5-77z-2s",),
)  # fmt: skip
REVISIONS, DISCS = 10, 4
AT = "2026-11-25T09:00:00Z"
OBVERSE = [sys.executable, "-m", "mastering.cli.main"]
ROUNDS = 7
_MARKER, _SLOT = b"<<SERIAL-GOES-HERE>>", 40_000 // 512 * 512


def process_seconds(arguments: Sequence[str | Path], cwd: Path) -> float:
    """The processor's time for a command; what else the machine does counts for little in it."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([str(each) for each in arguments], stdout=subprocess.DEVNULL, check=True, cwd=cwd)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def build(folder: Path, number: int, geometries: Sequence[str]) -> Path:
    """A title's first revision, built by the program."""
    job = folder / f"job-{number}"
    job.mkdir(parents=True)
    rng = np.random.default_rng(number)
    text = JOB.format(name=f"Title {number}", number=number)
    for side, geometry in zip("AB", geometries, strict=False):
        data = bytearray(rng.bytes(registry.geometry(geometry).dump_bytes))
        if side == "A":
            data[_SLOT : _SLOT + len(_MARKER)] = _MARKER
        (job / f"{side}.bin").write_bytes(data)
        text += SIDE.format(side=side, geometry=geometry)
    (job / "job.toml").write_text(text)
    made = folder / "masters" / f"title-{number}-1.0"
    made.parent.mkdir(exist_ok=True)
    subprocess.run([*OBVERSE, "build", job / "job.toml", "--out", made], stdout=subprocess.DEVNULL, check=True)
    return made


def revise(first: Path, revision: int) -> None:
    """Another revision of it, a few sectors changed: its capture stays the first one's, as nobody looks at it here."""
    payload = {path.name: path.read_bytes() for path in (first / "data").iterdir() if path.name != "master.json"}
    record = json.loads((first / "data" / "master.json").read_bytes())
    record["title"]["revision"] = f"1.{revision}"
    for side, said in record["sides"].items():
        dump = payload[f"side-{side}.dump"]
        payload[f"side-{side}.dump"] = dump[:-2048] + np.random.default_rng(revision).bytes(2048)
        said["sha256"] = digest(payload[f"side-{side}.dump"])
    write_master(first.with_name(first.name[:-1] + str(revision)), payload, record)


def shop(folder: Path) -> Path:
    """A shop with a hundred masters, each opened as a batch of four discs."""
    folder.mkdir()
    (folder / "shop.toml").write_text('masters = "masters"\n')
    for number, geometries in enumerate(TITLES, 101):
        first = build(folder, number, geometries)
        for revision in range(1, REVISIONS):
            revise(first, revision)
    path = folder / "ledger.sqlite"
    with Ledger.open(path, create=True) as ledger, ledger.write() as writer:
        writer.add({"kind": "lot", "name": "L-07", "count": None})
        writer.add({"kind": "drive", "name": "D1", "tpi": 96, "heads": 2, "simulated": False})
        for each in sorted((folder / "masters").iterdir()):
            master = open_master(each, whole=False)
            line = batch_line(writer, master, BatchRequest(DISCS, ("L-07",), ("D1",)), path) | {"at": AT}
            writer.add(line)
            for _ in range(DISCS):
                number = serial(master.catalogue, writer.next_number(master.catalogue))
                writer.add({"kind": "serial", "batch": line["batch"], "serial": number, "at": AT})
    return folder


def identities(folder: Path) -> Iterator[tuple[str, float, str, float]]:
    """What was measured, its value, in what, and its bound."""
    made = shop(folder / "shop")
    side = open_master(made / "masters" / "title-102-1.4").sides["A"]
    number = serial("SM-102", 17)
    for suffix in ("capture", "dump"):
        (made / f"found.{suffix}").write_bytes(image(side, number, suffix == "capture"))
        for name, words, cwd in (("with the ledger", (), made), ("without one", ("--masters", made / "masters"), folder)):
            taken = [process_seconds([*OBVERSE, "identify", made / f"found.{suffix}", *words], cwd) for _ in range(ROUNDS)]
            yield f"identify a {suffix} among 100 masters, {name}", statistics.median(taken), "seconds of process time", 0.5
    for suffix in ("capture", "dump"):
        ratios = []
        for count in range(ROUNDS):
            words = ["batch", "image", "B-0015", number, "--side", "A", "--out", made / f"{count}.{suffix}"]
            sql, nothing = (process_seconds([sys.executable, "-c", each], made) for each in ("import sqlalchemy", "pass"))
            ratios.append((process_seconds([*OBVERSE, *words], made) - sql) / nothing)
        yield f"batch image, a {suffix}, beyond `import sqlalchemy`", statistics.median(ratios), "python -c pass", 15
