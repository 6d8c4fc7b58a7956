"""One batch's discs between drive and ledger: what a drive is given to write, what its reads are recorded as, whose disc a probe met."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from mastering.bench.drives import GuardError
from mastering.bench.floor import Face, Probed
from mastering.bench.ledger_floor import LedgerFloor
from mastering.errors import MasteringError
from mastering.files import digest
from mastering.judging.evidence import load
from mastering.judging.identify import identify
from mastering.judging.readback import Source
from mastering.ledger.lines import LineError
from mastering.master.master import Master
from mastering.recording.recorder import Judge, Recorder, Said
from mastering.recording.storing import store_images
from mastering.recording.writing import claim, images

if TYPE_CHECKING:
    from formats.model.geometry import Geometry


@dataclass
class Worksite:
    """A batch at the bench. `folder`: where its images and read-backs lie; `others`: masters that a strange disc may be of."""

    floor: LedgerFloor
    batch: str
    master: Master
    others: Iterable[Master]
    folder: Path
    operator: str | None = None
    _judge: Judge = field(init=False)

    def __post_init__(self) -> None:
        self._judge = Judge(self.master, self.others)
        self.folder.mkdir(parents=True, exist_ok=True)

    def geometry(self, side: str) -> "Geometry":
        """The geometry of a side."""
        return self.master.sides[side].geometry

    @cached_property
    def _longest(self) -> int:
        return max(len(side.dump) for side in self.master.sides.values())

    def image(self, serial: str, side: str, as_capture: bool) -> Path:
        """The stamped image of a disc's side, made and claimed if it does not lie there yet."""
        to_write = self.folder / "to-write"
        with self.floor.ledger.write() as writer:
            disc = writer.disc(serial, writer.batch(self.batch))
            [made] = images(self.master, [(disc, side)], as_capture)
            path = to_write / made.file
            if path.is_file() and digest(path.read_bytes()) == made.sha256:
                return path
            path.unlink(missing_ok=True)
            store = store_images(to_write, [made])
            claim(writer, writer.batch(self.batch), [made], self.floor.stamp)
        store()
        return path

    def new_output(self, serial: str, side: str, what: str, suffix: str) -> Path:
        """A name for a read-back that no file had before."""
        folder = self.folder / ("reads" if what == "read" else "probes")
        folder.mkdir(exist_ok=True)
        number = 1
        while (path := folder / f"{serial}-{side}-{number}{suffix}").exists():
            number += 1
        return path

    def probe_cylinders(self, side: str) -> tuple[int, ...]:
        """The cylinders that a probe looks at: the first, and the one that holds the serial's slot."""
        slot, geometry = self.master.sides[side].slot, self.geometry(side)
        return tuple(sorted({0} | ({geometry.cylinder(slot.track, slot.head)} if slot else set())))

    def record(self, path: Path, serial: str, side: str, drive: str) -> dict[str, Any]:
        """Judges a read-back and enters it: its line. GuardError where it is another disc's."""
        said = Said(disc=serial, side=side, lot=self.floor.lot_of(serial), read_by=drive, operator=self.operator, new_read=True)
        with self.floor.ledger.read() as known:
            recorder_batch = known.batch(self.batch)
        try:
            return Recorder(self.floor.ledger, recorder_batch, self._judge, said, self.floor.stamp).record(Source(str(path)))
        except LineError as error:
            met = self.met(path, serial, side)
            raise GuardError("command-failed" if met.stranger is None else met.stranger, str(error)) from error

    def met(self, path: Path, serial: str, face: str, drive: str = "") -> Probed:
        """Whose disc a probe's file shows, where `serial` was to have `face` up."""
        try:
            view = load(Source(str(path)), self._longest)
        except MasteringError as error:
            raise GuardError("command-failed", str(error)) from error
        identified = identify(view, [self.master])
        if not identified.matches:
            strange = identify(view, self.others)
            other = strange.matches and strange.matches[0].master.catalogue != self.master.catalogue
            return Probed(drive, stranger=self._whose(strange.serial, serial) if strange.serial else "other-title" if other else None)
        side: Face = "A" if identified.matches[0].target.name == "A" else "B"
        if identified.serial is None:  # of this title, and its serial can't be read or there is none
            begun = self._begun(serial, side)
            return Probed(drive, serial, side) if begun else Probed(drive, stranger="finished-disc")
        if identified.serial == serial:
            return Probed(drive, serial, side)
        return Probed(drive, identified.serial, side, self._whose(identified.serial, serial))

    def _begun(self, serial: str, side: str) -> bool:
        """Whether this disc's own side was written, or a writing of it was begun: else what lies there is another disc's."""
        with self.floor.ledger.read() as known:
            disc = known.known_disc(serial)
            return bool(disc.newest_writing(side)) or side in known.images_of(disc)

    def _whose(self, met: str, meant: str) -> Any:
        return self.floor.stranger(met, meant)
