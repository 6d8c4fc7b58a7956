"""A disc's label, made and handed to the program that prints it; each printing is a row of the ledger."""

from dataclasses import dataclass
from pathlib import Path

from mastering.bench.drives import filled
from mastering.bench.ledger_floor import LedgerFloor
from mastering.command import Running
from mastering.errors import MasteringError
from mastering.paper.label import label_pdf
from mastering.words.hands import number_of

_SECONDS = 60.0  # that a label's program may take


@dataclass(frozen=True)
class LabelPrinter:
    """The program under `label` in bench.toml; `folder`: where the labels' files lie."""

    arguments: tuple[str, ...]
    floor: LedgerFloor
    folder: Path

    def print(self, serial: str) -> None:
        """Prints a disc's label. MasteringError when the program did not."""
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self.folder / f"{serial}.pdf"
        path.write_bytes(label_pdf(serial, number_of(serial)))
        ended = Running(filled(self.arguments, {"pdf": str(path), "serial": serial}), _SECONDS).wait()
        if ended.why != "ended" or ended.status != 0:
            raise MasteringError(f"bench.label: the label of {serial} was not printed: {ended.last_line or ended.why}")
        with self.floor.ledger.write() as writer:
            disc = writer.known_disc(serial)
            writer.add({"kind": "label", "batch": disc.batch.name, "serial": serial, "at": self.floor.stamp(writer)})
