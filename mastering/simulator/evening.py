"""An evening at the demo's bench: a dozen read-backs, most with a named fault, from one seed."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from formats.bounds import SIGNATURE
from formats.model.geometry import Address
from mastering.master.master import Master, Side
from mastering.master.serial import serial
from mastering.simulator import disc, reads
from mastering.simulator.disc import Disc

SEED = 20261125
DISCS = 7
_FIRST = 9001  # numbers that no batch of the demo comes to


@dataclass(frozen=True)
class Copy:
    """A copied disc's read-back: its disc, the side that the operator believes it is, what happened to it, its bytes and report.

    `answer`: the diagnosis that it should get, or the verdict where it should get none.
    """

    disc: str
    side: str
    story: str
    answer: str
    data: bytes
    report: bytes | None = None

    @property
    def name(self) -> str:
        """The file's name."""
        return f"{self.disc}-{self.side}.{'capture' if self.data.startswith(SIGNATURE) else 'dump'}"

    @property
    def files(self) -> dict[str, bytes]:
        """The files that the reader left."""
        made = {self.name: self.data}
        return made if self.report is None else made | {self.name.rpartition(".")[0] + ".report.csv": self.report}


def practice_serial(catalogue: str, number: int) -> str:
    """The serial of practice disc `number`, from 1."""
    return serial(catalogue, _FIRST + number - 1)


def copies(master: Master, older: Master) -> Iterator[Copy]:
    """The read-backs of an evening; `older` is an earlier revision of the same title."""
    rng = np.random.default_rng(SEED)
    a, b = master.sides["A"], master.sides["B"]
    number = [practice_serial(master.catalogue, each) for each in range(1, DISCS + 1)]
    ready_a = [_written(a, each, rng) for each in number]
    ready_b = [_written(b, each, rng) for each in number]

    yield Copy(number[0], "A", "a sound copy, one turn of every track", "pass", reads.read_capture(ready_a[0], rng, 1))
    yield Copy(number[0], "B", "a sound copy, its bytes only", "pass", b.dump)
    spot = disc.dead_spot(ready_a[1], Address(17, 0, 4))
    yield Copy(number[1], "A", "a spot without coating on track 17", "fail", reads.read_capture(spot, rng))
    unread = dict.fromkeys((Address(8, 0, 3), Address(8, 0, 4)), "block-check")
    bad, report = reads.read_dump(b.geometry, b.dump, unread), reads.report(b.geometry, unread)
    yield Copy(number[1], "B", "two sectors that the reader gave up on, as its report says", "fail", bad, report)
    weak = disc.soft_sector(ready_a[2], Address(30, 0, 7))
    yield Copy(number[2], "A", "a sector that comes right at every other turn only", "marginal", reads.read_capture(weak, rng, 3.2))
    yield Copy(number[2], "B", "a sound copy, three turns of every track", "pass", reads.read_capture(ready_b[2], rng, 3.2))
    yield Copy(number[3], "A", "put in with the wrong side up", "other-side", b.dump)
    yield Copy(number[3], "B", "the reading was broken off", "short", b.dump[: 400 * b.size])
    yield Copy(number[4], "A", "written from the older revision's master", "other-master", older.sides["A"].stamped(number[4]))
    empty = disc.blank(b.geometry, rng)
    yield Copy(number[4], "B", "never written: a blank slipped through", "blank", reads.read_capture(empty, rng))
    stranger = disc.written(b.geometry, b.dump, b.geometry.identity_values(b"00", 254))
    yield Copy(number[5], "B", "written with another volume number", "fail", reads.read_capture(stranger, rng))
    yield Copy(number[6], "B", "the reader lost a sector on the way", "shifted", reads.dropped_sector(b.geometry, b.dump, 200))


def _written(side: Side, number: str, rng: np.random.Generator) -> Disc:
    """A side as a drive writes it whose speed is off by up to one per cent."""
    return disc.written(side.geometry, side.stamped(number), side.identity, rng.uniform(0.99, 1.01))
