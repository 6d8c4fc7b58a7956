"""The demo's batch: forty simulated discs of two lots, made on two simulated drives, recorded as a helper would record them."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from mastering.clock import spelled
from mastering.deciding.advice import Entry, advise
from mastering.deciding.rates import Rate
from mastering.deciding.statistics.settings import Settings
from mastering.judging.readback import Source
from mastering.ledger.entities import Batch, Disc
from mastering.ledger.in_use import in_use
from mastering.ledger.outcomes import history
from mastering.ledger.store import Ledger
from mastering.master.master import Master
from mastering.master.serial import serial
from mastering.recording.opening import BatchRequest, Rules, batch_line
from mastering.recording.recorder import Judge, Recorder, Said
from mastering.simulator.bench import Bench, Read, Writing
from mastering.simulator.quality import Course, DriveQuality, LotQuality
from mastering.simulator.render import Renderer

SEED = 14
DISCS, GOOD = 40, 36
LOTS = {"L-07": LotQuality(Course(0.02)), "L-23": LotQuality(Course(0.4), clumped=0.7)}
DRIVES = {"D1": DriveQuality(), "D2": DriveQuality(failing_writes=Course(0.01, 0.2, 60, 110))}
TRUTH = (
    "a sound lot: 2 in 100 are bad",
    "a poor one: 40 in 100 are bad, most of them in the same inner boxes",
    "a sound drive",
    "a drive that wears",
)
_START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
_TURN = timedelta(seconds=75)  # to write or read a side, and to handle the disc


@dataclass
class Evening:
    """The batch while it is made: its ledger, its simulated bench, and what is on the simulated discs."""

    shop: Path
    master: Master
    ledger: Ledger
    bench: Bench = field(default_factory=lambda: Bench(SEED, LOTS, DRIVES))
    writings: dict[tuple[str, str], Writing] = field(default_factory=dict)
    stories: dict[str, list[str]] = field(default_factory=dict)
    time: datetime = _START

    def __post_init__(self) -> None:
        self.renderer, self.judge = Renderer(self.master), Judge(self.master)

    def clock(self) -> str:
        """The time of the simulated evening, as the ledger spells it."""
        return spelled(self.time)

    def open(self) -> Batch:
        """Adds lots and drives, opens the batch, hands out the serials."""
        with self.ledger.write() as writer:
            at = {"at": self.clock()}
            for lot in LOTS:
                writer.add({"kind": "lot", "name": lot, "count": 100, "condition": "erased", "inner_box": 10, **at})
            for drive in DRIVES:
                writer.add({"kind": "drive", "name": drive, "tpi": 48, "heads": 1, "index": "ignored", "simulated": True, **at})
            request = BatchRequest(GOOD, tuple(LOTS), tuple(DRIVES), rules=Rules(practice=True))
            line = batch_line(writer, self.master, request, self.ledger.path) | at
            writer.add(line)
            for number in range(1, DISCS + 1):
                writer.add({"kind": "serial", "batch": line["batch"], "serial": serial(self.master.catalogue, number), **at})
            return writer.batch(line["batch"])

    def make(self, batch: Batch, number: int) -> Disc:
        """Makes one disc: writes both sides, reads both, and does what each verdict asks for until it is boxed or rejected."""
        name = serial(self.master.catalogue, number)
        lot, drive = list(LOTS)[number % 2], list(DRIVES)[number // 2 % 2]  # every lot on every drive
        blank = self.bench.blank(lot, number)
        sides = tuple(self.master.sides)
        for side in sides:
            self._write(name, side, self.bench.write(drive, blank, self.renderer.layouts[side], name))
        for side in reversed(sides):  # side B lies up after it was written
            disc = self._read(batch, name, side, drive, Said(lot=lot, wrote=drive))
        while (step := disc.next_step).action not in ("box", "reject"):
            side = step.sides[0]
            used = step.drives.get(side, drive)
            if step.action == "write-again":
                self._write(name, side, self.bench.write(used, blank, self.renderer.layouts[side], name))
            said = Said(lot=lot, wrote=used, rewritten=True) if step.action == "write-again" else Said(lot=lot)
            disc = self._read(batch, name, side, used, said)
        return disc

    def called(self, path: str) -> str:
        """The name that the ledger gives a file: its path within the shop, wherever the shop will lie."""
        return str(Path(path).relative_to(self.shop))

    def _write(self, name: str, side: str, writing: Writing) -> None:
        self.time += _TURN
        self.writings[name, side] = writing

    def _read(self, batch: Batch, name: str, side: str, drive: str, said: Said) -> Disc:
        """Reads a side, and records the file that the read leaves."""
        self.time += _TURN
        read = self.bench.read(drive, self.writings[name, side])
        path = self._file(name, side, read)
        said = Said(lot=said.lot, wrote=said.wrote, read_by=drive, rewritten=said.rewritten)
        recorder = Recorder(self.ledger, batch, self.judge, said, lambda _: self.clock(), self.called, same_anywhere=True)
        line = recorder.record(Source(str(path)))
        if line["verdict"] != "pass" and read.story not in self.stories.setdefault(name, []):
            self.stories[name].append(read.story)
        [disc] = recorder.discs([name])
        return disc

    def _file(self, name: str, side: str, read: Read) -> Path:
        folder = self.shop / "reads"
        folder.mkdir(exist_ok=True)
        for number in range(1, 100):
            stem = f"{name}-{side}" + (f"-{number}" if number > 1 else "")
            if not (folder / f"{stem}.capture").exists():
                break
        [(file, data)] = self.renderer.read_back(read, turns=1).files(stem).items()
        (folder / file).write_bytes(data)
        return folder / file


@dataclass(frozen=True)
class MadeBatch:
    """The batch when it is done: how its discs stand, what the simulation did to those that needed more than one look, and what follows."""

    discs: Sequence[Disc]
    stories: Mapping[str, Sequence[str]]  # by serial
    counts: Mapping[str, int]
    by_lot: Sequence[Rate]
    by_drive: Sequence[Rate]
    advice: Sequence[Entry]


def make_batch(shop: Path, master: Master, each: Callable[[Iterable[int]], Iterable[int]]) -> MadeBatch:
    """Makes the batch in the shop's folder. `each` is given the discs' numbers and gives them back one by one, to show how far it is."""
    with Ledger.open(shop / "ledger.sqlite", create=True) as ledger:
        evening = Evening(shop, master, ledger)
        batch = evening.open()
        discs = [evening.make(batch, number) for number in each(range(1, DISCS + 1))]
        with ledger.read() as known:
            advice = advise(history(known), in_use(known), Settings(), np.random.default_rng(SEED))
            return MadeBatch(discs, evening.stories, known.counts(batch), known.rates("lot"), known.rates("drive"), advice)
