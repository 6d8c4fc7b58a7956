"""A shop with several titles in several revisions, every disc with its serial; and what a drive reads of a disc, sound or damaged."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from itertools import count
from pathlib import Path

import numpy as np
from bench import MARKER, Copy, make_master, random_dump

from formats import registry
from formats.containers import capture, sector_report
from formats.model.geometry import Address
from mastering.judging.readback import Source
from mastering.ledger.log_writer import LogWriter
from mastering.ledger.store import Ledger, memory
from mastering.master.master import Master, Side
from mastering.master.serial import serial as serial_of
from mastering.master.stamp import image
from mastering.recording.opening import BatchRequest, batch_line
from mastering.recording.recorder import Judge, Recorder, Said

NAMES = ("Lamplighter", "Undertow", "Ferryman", "Tinker's Yard", "Night Post")
SIDES = (  # of each title: its sides, and those that carry the serial
    ({"A": "gcr4to5-35z", "B": "mfm-40x9x512"}, "A"),
    ({"A": "gcr4to5-35z"}, "A"),
    ({"A": "mfm-40x9x512", "B": "gcr6and2-35x16x256"}, "AB"),
    ({"A": "fm-40x16x128"}, "A"),
    ({"A": "gcr6and2-35x16x256", "B": "gcr4to5-35z"}, "B"),
)
SLOT = 41_000  # where the marker begins
CHANGED = 9  # sectors in which a revision differs from the one before
_READS = count(1)
AT = "2026-11-25T09:00:00Z"


@cache
def master(title: int, revision: int) -> Master:
    """A title's revision. Each changes a few sectors, every second one the serial's sector among them, and moves the serial there."""
    sides, slotted = SIDES[title]
    made = {}
    for side, name in sides.items():
        geometry = registry.geometry(name)
        dump = np.frombuffer(random_dump(geometry, 100 * title + ord(side)), np.uint8).reshape(-1, geometry.size).copy()
        at = SLOT // geometry.size
        for step in range(1, revision + 1):
            rng = np.random.default_rng((title, ord(side), step))
            places = rng.choice(np.delete(np.arange(len(dump)), at), CHANGED, replace=False)
            places = np.append(places, at) if step % 2 == 0 else places
            dump[places] = rng.integers(0, 256, (len(places), geometry.size), np.uint8)
        data = dump.tobytes()
        start = at * geometry.size + 8 * (revision // 2)
        made[side] = name, data[:start] + MARKER + data[start + len(MARKER) :] if side in slotted else data
    return make_master(made, name=NAMES[title], revision=f"1.{revision}", catalogue=f"SM-{100 + title}", slot_side=slotted)


@dataclass(frozen=True)
class Disc:
    """A finished disc."""

    master: Master
    serial: str

    @property
    def side(self) -> Side:
        """The side that tells who it is."""
        return next(side for side in self.master.sides.values() if side.slot)

    @property
    def label(self) -> str:
        return f"{self.master.label} {self.side.name}"

    @property
    def dump(self) -> bytes:
        return self.side.stamped(self.serial)

    @property
    def capture(self) -> bytes:
        """A new one each time: no two reads of a disc give the same bytes."""
        made = capture.read(image(self.side, self.serial, as_capture=True), self.serial)
        return capture.write(replace(made, writer=f"read {next(_READS)}"))

    @property
    def report(self) -> bytes:
        """A reader's report that is pleased with every sector."""
        return sector_report.write((address, "good", 1) for address in self.side.geometry.addresses)


class Forgetful(Ledger):
    """A ledger that checks all that is to be written, and lets go of it: 160,000 reads would fill it."""

    @contextmanager
    def write(self) -> Iterator[LogWriter]:
        with self._transaction("BEGIN"):
            yield LogWriter(self._connection)


class Shop:
    """So many titles in so many revisions, a batch of each with its discs, and a ledger of it in memory."""

    def __init__(self, folder: Path, titles: int, revisions: int, discs: int) -> None:
        self.folder, self.ledger, self._names = folder, memory(), count()
        self.masters = [master(title, revision) for title in range(titles) for revision in range(revisions)]
        self.discs: list[Disc] = []
        self.recorders: dict[str, Recorder] = {}
        lines = [{"kind": "lot", "name": "L-07", "count": None}]
        lines += [{"kind": "drive", "name": "D1", "tpi": 96, "heads": 2, "simulated": False}]
        _add(self.ledger, *lines)
        for each in self.masters:
            self._open(each, discs)

    def _open(self, each: Master, discs: int) -> None:
        with self.ledger.write() as writer:
            line = batch_line(writer, each, BatchRequest(discs, ("L-07",), ("D1",)), self.folder / "ledger.sqlite") | {"at": AT}
            first = writer.next_number(each.catalogue)
        made = [Disc(each, serial_of(each.catalogue, number)) for number in range(first, first + discs)]
        _add(self.ledger, line, *({"kind": "serial", "batch": line["batch"], "serial": disc.serial, "at": AT} for disc in made))
        with self.ledger.read() as known:
            batch = known.batch(line["batch"])
        self.recorders[each.digest] = Recorder(self.ledger, batch, Judge(each, self.masters), Said(), lambda _: AT)
        self.discs += made

    def put_in_as(self, told: Disc, data: bytes, report: bytes | None = None, side: str | None = None) -> dict:
        """Records a read-back as that of the disc whose turn it is. Raises what refuses it."""
        stem = self.folder / f"{told.serial}-{side or told.side.name}-{next(self._names)}"
        path = stem.with_suffix(".readback")
        path.write_bytes(data)
        if report is not None:
            stem.with_suffix(".report.csv").write_bytes(report)
        try:
            return self.recorders[told.master.digest].record(Source(str(path), report and str(stem.with_suffix(".report.csv"))))
        finally:
            path.unlink()
            stem.with_suffix(".report.csv").unlink(missing_ok=True)

    def forget(self) -> None:
        """From now on nothing stays in the ledger."""
        for recorder in self.recorders.values():
            recorder.ledger = Forgetful(self.ledger.path, self.ledger._connection)

    def reject(self, disc: Disc) -> None:
        batch = self.recorders[disc.master.digest].batch.name
        line = {"batch": batch, "serial": disc.serial, "lot": None, "reason": "a scratch", "at": AT}
        _add(self.ledger, {"kind": "reject"} | line)

    def standing(self, disc: Disc) -> str:
        [found] = self.recorders[disc.master.digest].discs([disc.serial])
        return found.verdict


def _add(ledger: Ledger, *lines: dict) -> None:
    with ledger.write() as writer:
        for line in lines:
            writer.add(line)


# Damage


FILLERS = ("noise", "zero", "repeat")


def damaged_dump(disc: Disc, places: np.ndarray, filler: str, rng: np.random.Generator) -> bytes:
    """A dump whose reader could not read some sectors, and what it put there instead."""
    rows = np.frombuffer(disc.dump, np.uint8).reshape(-1, disc.side.size).copy()
    for place in sorted(places.tolist()):
        if filler == "repeat":
            rows[place] = rows[place - 1] if place else 0
        else:
            rows[place] = rng.integers(0, 256, disc.side.size, np.uint8) if filler == "noise" else 0
    return rows.tobytes()


def damaged_report(disc: Disc, places: np.ndarray) -> dict[Address, tuple[str, int | None]]:
    """What a careful reader says of it: all others are good."""
    bad = set(places.tolist())
    return {address: ("unread", 9) if place in bad else ("good", 1) for place, address in enumerate(disc.side.geometry.addresses)}


def damaged_capture(disc: Disc, places: np.ndarray, rng: np.random.Generator):
    """A capture in which the cells about some sectors are noise."""
    copy = Copy(disc.master, disc.side.name, dump=disc.dump)
    for place in places.tolist():
        address = disc.side.geometry.addresses[place]
        cells = copy.cells[copy.place(address)]
        numbers = disc.side.geometry.numbers(copy.place(address)[0])
        each = len(cells) // len(numbers)
        start = (address.sector - numbers[0]) * each
        cells[start : start + each] = rng.integers(0, 2, each, np.uint8)
    return copy.capture()
