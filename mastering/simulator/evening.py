"""An evening at the demo's bench: a dozen read-backs, each with a named fault, from one seed."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from formats.geometry import Address
from mastering.master import Master, Side
from mastering.serial import serial
from mastering.simulator import disc, reads
from mastering.simulator.disc import Disc

SEED = 20261125


@dataclass(frozen=True)
class Copy:
    """A copied disc's read-back: its file's name, what was wrong with it, which side the operator says it is, its bytes and report."""

    name: str
    fault: str
    side: str
    data: bytes
    report: bytes | None = None

    @property
    def files(self) -> dict[str, bytes]:
        """The files that the reader left."""
        made = {self.name: self.data}
        return made if self.report is None else made | {self.name.rpartition(".")[0] + ".report.csv": self.report}


def copies(master: Master, older: Master) -> Iterator[Copy]:
    """The read-backs of an evening; `older` is an earlier revision of the same title."""
    rng = np.random.default_rng(SEED)
    a, b = master.sides["A"], master.sides["B"]
    disc_a, disc_b = _written(a), _written(b)
    name = [f"{serial(master.catalogue, number)}" for number in range(1, 10)]

    yield Copy(f"{name[0]}-A.capture", "nothing", "A", reads.read_capture(_written(a, name[0]), rng, 1.2))
    yield Copy(f"{name[0]}-B.dump", "nothing", "B", b.dump)
    spot = Address(17, 0, 4)
    yield Copy(
        f"{name[1]}-A.capture", "a spot without coating on track 17", "A", reads.read_capture(disc.dead_spot(disc_a, spot), rng, 1.2)
    )
    unread = {Address(8, 0, 3), Address(8, 0, 4)}
    bad_b = reads.read_dump(b.geometry, b.dump, unread)
    yield Copy(
        f"{name[1]}-B.dump", "two sectors that the reader gave up on, as its report says", "B", bad_b, reads.report(b.geometry, unread)
    )
    weak = disc.soft_sector(disc_a, Address(30, 0, 7))
    yield Copy(f"{name[2]}-A.capture", "a sector that comes right at every other turn only", "A", reads.read_capture(weak, rng, 3.2))
    yield Copy(f"{name[2]}-B.capture", "nothing: three turns of every track", "B", reads.read_capture(disc_b, rng, 3.2))
    yield Copy(f"{name[3]}-A.dump", "the disc was put in the wrong side up", "A", b.dump)
    yield Copy(f"{name[3]}-B.dump", "the reading was broken off", "B", b.dump[: 400 * b.size])
    yield Copy(f"{name[4]}-A.dump", "written from the older revision's master", "A", older.sides["A"].dump)
    yield Copy(
        f"{name[4]}-B.capture", "never written: a blank slipped through", "B", reads.read_capture(disc.blank(b.geometry, rng), rng, 1.1)
    )
    other = b.geometry.identity_values(b"00", 254)
    stranger = disc.written(b.geometry, b.dump, other)
    yield Copy(f"{name[5]}-B.capture", "written with another volume number", "B", reads.read_capture(stranger, rng, 1.2))
    yield Copy(f"{name[6]}-B.dump", "the reader lost a sector on the way", "B", reads.dropped_sector(b.geometry, b.dump, 200))


def _written(side: Side, number: str | None = None) -> Disc:
    """A side as a drive writes it, with a serial in the slot where one is given."""
    dump = side.dump
    if number is not None and side.slot is not None and side.slot_start is not None:
        slot = number.ljust(side.slot.bytes).encode("ascii")
        dump = dump[: side.slot_start] + slot + dump[side.slot_start + side.slot.bytes :]
    return disc.written(side.geometry, dump, side.identity)
