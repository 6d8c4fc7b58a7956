"""The loop's questions answered from the ledger, and what the bench did entered into it. Every answer is what the rows say now."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from mastering.bench.drives import Stranger
from mastering.bench.floor import BatchWork, DiscState, Rules, SideState, Station
from mastering.bench.holds import HoldWatch
from mastering.bench.settings import Drive
from mastering.ledger.entities import Disc
from mastering.ledger.in_use import stopped_lots
from mastering.ledger.log_writer import LogWriter
from mastering.ledger.lookup import Lookup
from mastering.ledger.store import Ledger
from mastering.recording.writing import hand_out

Stamp = Callable[[LogWriter], str]


@dataclass
class LedgerFloor:
    """One ledger seen from the table. `stamp`: the time of a new row; `lots`: which lot each disc of several was taken from."""

    ledger: Ledger
    stamp: Stamp
    watch: HoldWatch
    lots: dict[str, str] = field(default_factory=dict)

    # What the loop asks

    def disc(self, serial: str) -> DiscState:
        """How a disc stands."""
        with self.ledger.read() as known:
            return disc_state(known.known_disc(serial))

    def good(self, batch: str) -> int:
        """How many good discs a batch has."""
        with self.ledger.read() as known:
            return known.counts(known.batch(batch))["pass"]

    def hand_out(self, batch: str) -> str | None:
        """The next disc's serial, and its lot where the batch has several; None where no lot may be used."""
        with self.ledger.read() as known:
            stopped = stopped_lots(known)
        with self.ledger.write() as writer:
            found = writer.batch(batch)
            lots = [lot for lot in found.lots if lot not in stopped]
            if not lots:
                return None
            [serial] = hand_out(writer, found, 1, self.stamp(writer))
        self.lots[serial] = lots[len(self.lots) % len(lots)]
        return serial

    def held(self, drive: str) -> bool:
        """Whether a drive is on hold."""
        with self.ledger.read() as known:
            return drive in known.held()

    def stopped(self, batch: str) -> bool:
        """Whether no more discs of a batch may be begun: it was closed, or its master is held or superseded."""
        with self.ledger.read() as known:
            found = known.batch(batch)
            return not found.open or known.master_state(found.line["digest"]) in ("hold", "supersede")

    # What the bench says

    def lot_of(self, serial: str) -> str | None:
        """The lot of a disc; None where its batch has one only or nobody knows it."""
        with self.ledger.read() as known:
            disc = known.known_disc(serial)
        return disc.lot or self.lots.get(serial) or (disc.batch.lots[0] if disc.batch.lots else None)

    def wrote(self, serial: str, side: str, drive: str) -> None:
        """Enters a writing that ended well."""
        with self.ledger.write() as writer:
            disc = writer.known_disc(serial)
            line: Mapping[str, Any] = {
                "kind": "writing", "batch": disc.batch.name, "serial": serial, "side": side, "writing": disc.newest_writing(side) + 1,
                "drive": drive, "bench": True, "at": self.stamp(writer),
            }  # fmt: skip
            writer.add(line)

    def reject(self, serial: str, reason: str) -> None:
        """Enters that a disc was rejected by eye."""
        with self.ledger.write() as writer:
            disc = writer.known_disc(serial)
            lot = disc.lot or self.lots.get(serial)
            writer.add(
                {"kind": "reject", "batch": disc.batch.name, "serial": serial, "lot": lot, "reason": reason, "at": self.stamp(writer)}
            )

    def hold_after(self, line: Mapping[str, Any], tracks: int) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
        """Puts drives on hold where a read says so: their names, and the discs' sides that are to be read again elsewhere."""
        with self.ledger.read() as known:
            why = self.watch.after(line, tracks, line["lot"] in stopped_lots(known))
        again: list[tuple[str, str]] = []
        with self.ledger.write() as writer:
            for drive, reason in why.items():
                if drive not in writer.held():
                    again += reads_since_last_pass(writer, drive, str(line["serial"]))
                    writer.add(
                        {
                            "kind": "hold", "drive": drive, "serial": line["serial"], "side": line["side"], "why": reason,
                            "at": self.stamp(writer),
                        }
                    )  # fmt: skip
        return tuple(why), tuple(dict.fromkeys(again))

    def stranger(self, serial: str, meant: str) -> Stranger | None:
        """What a disc with another serial than the one that was meant is."""
        if serial == meant:
            return None
        with self.ledger.read() as known:
            disc = known.find(serial)
        if disc is None:
            return "other-title"
        if disc.rejected:
            return "rejected-disc"
        return "finished-disc" if disc.verdict == "pass" else "wrong-drive"


def disc_state(disc: Disc) -> DiscState:
    """A disc of the ledger as the loop must know it."""
    standing = disc.standing
    sides = {}
    for name, side in standing.sides.items():
        writing = side.writing
        of_writing = (read for read in disc.reads if writing and (read.side, read.writing) == (name, writing.number) and not read.void)
        tried = tuple(dict.fromkeys(read.read_by for read in of_writing if read.read_by and read.verdict != "pass"))
        to_write = writing is None or (side.spent and name not in standing.spent_sides)
        sides[name] = SideState(side.verdict, to_write, writing.drive if writing else None, tried)
    return DiscState(disc.serial, standing.verdict, standing.rejected, sides, disc.next_step.action == "ask")


def batch_work(known: Lookup, name: str, drives: Mapping[str, Drive], rules: Rules) -> BatchWork:
    """A batch as the loop takes it: its discs that are not finished, and those of the table's drives that serve it by their commands."""
    batch = known.batch(name)
    stations = tuple(
        Station(
            drive.name,
            frozenset(drive.writes if drives[drive.name].write else ()),
            frozenset(drive.reads if drives[drive.name].read else ()),
        )
        for drive in batch.serving
        if drive.name in drives and not drive.retired
    )
    open_discs = [disc for disc in known.discs(batch) if not (disc.dropped or disc.rejected or disc.verdict == "pass")]
    begun = sorted(open_discs, key=lambda disc: not disc.begun)
    return BatchWork(name, tuple(batch.sides), int(batch.line["good"]), rules, stations, tuple(disc.serial for disc in begun))


def reads_since_last_pass(known: Lookup, drive: str, but: str) -> list[tuple[str, str]]:
    """The discs' sides that a drive read from its last good disc on, that one included."""
    from mastering.ledger.tables import DRIVES

    key = known.id_of(DRIVES, "drive", drive)
    newest = known.newest_pass(key)
    found = []
    for disc in known.discs_read_by(key, newest - 1):
        found += [
            (disc.serial, read.side)
            for read in disc.reads
            if read.read_by == drive and read.row >= newest and read.side and not read.void and disc.serial != but
        ]
    return found
