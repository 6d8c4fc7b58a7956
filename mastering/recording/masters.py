"""Masters at hand: a batch's own, and those that a wrong disc may be of."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from mastering.errors import MasteringError
from mastering.files import digest
from mastering.ledger.entities import Batch
from mastering.ledger.lines import Line
from mastering.master.master import Master, masters_at, open_master


def find_master(batch: Batch, ledger: Path, shelves: Iterable[Path], whole: bool = True) -> Master:
    """The batch's master: where it lay when the batch was opened, else on a shelf. MasteringError when it is nowhere.

    `whole` as for `open_master`.
    """
    wanted = batch.line["digest"]
    places = [] if batch.line.get("path") is None else [ledger.absolute().parent / batch.line["path"]]
    shelves = list(shelves)
    for folder in (*places, *(folder for shelf in shelves for folder in masters_at(shelf))):
        if _digest_at(folder) == wanted:
            return open_master(folder, whole)
    looked = ", ".join(map(str, (*places, *shelves))) or "nowhere"
    raise MasteringError(
        f"batch {batch.name}: its master {batch.line['master']} (digest {wanted}) is not at hand "
        f"(looked in {looked}); name its folder with --masters"
    )


@dataclass(frozen=True)
class AtHand:
    """The masters that a wrong disc may be of: those on some shelves and those of the ledger's batches. Opened when they are asked for."""

    ledger: Path
    batches: tuple[Line, ...]
    shelves: tuple[Path, ...]
    whole: bool = True

    def __iter__(self) -> Iterator[Master]:
        beside = self.ledger.absolute().parent
        known = {(beside / line["path"], line["digest"]) for line in self.batches if line.get("path") is not None}
        shelved = ((each, None) for shelf in self.shelves for each in masters_at(shelf))
        seen: set[str] = set()
        for folder, wanted in (*sorted(known), *shelved):
            if wanted in seen:
                continue
            found = _digest_at(folder)
            if found is None or found in seen or wanted not in (None, found):
                continue
            seen.add(found)
            try:
                yield open_master(folder, self.whole)
            except MasteringError:
                continue  # a broken master can't name a disc; `obverse check` tells of it


def _digest_at(folder: Path) -> str | None:
    """The digest of the master in a folder, before anything of it is proved."""
    try:
        return digest((folder / "manifest-sha256.txt").read_bytes())
    except OSError:
        return None
