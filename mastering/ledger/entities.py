"""What the ledger knows of a lot, a drive, a batch, a disc: values that are filled from its tables."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from mastering.judging.standing import DiscAction, Read, SideStanding, Standing, disc_action, disc_verdict, side_standing
from mastering.ledger.lines import Line


@dataclass
class Batch:
    """A batch; `line` is what was said when it was opened."""

    id: int
    line: Line
    open: bool = True

    @property
    def name(self) -> str:
        """Its name."""
        return str(self.line["batch"])

    @property
    def sides(self) -> Mapping[str, str]:
        """The geometry of each side."""
        made: Mapping[str, str] = self.line["sides"]
        return made

    @property
    def lots(self) -> tuple[str, ...]:
        """The lots that its blanks come from."""
        return tuple(self.line["lots"])

    @property
    def drives(self) -> tuple[str, ...]:
        """The drives that it is made on."""
        return tuple(self.line["drives"])


@dataclass
class Writing:
    """One time that a side was written; `drive` is None where nobody knows it."""

    id: int
    drive: str | None


@dataclass(frozen=True)
class File:
    """A read's file: its name without folder, and its bytes' SHA-256 (with its report's, where it has one)."""

    name: str
    sha256: str | None
    capture: bool

    @classmethod
    def at(cls, path: str, sha256: str | None, capture: bool) -> "File":
        """The file at a path, whose name may be in no encoding at all."""
        return cls(path.rpartition("/")[2].encode("utf-8", "backslashreplace").decode(), sha256, capture)

    @classmethod
    def of(cls, line: Line) -> "File":
        """The file that a read line tells of."""
        return cls.at(line["readback"], line.get("file_sha256"), line["evidence"] in ("cells", "flux"))


@dataclass
class Disc:
    """A disc, from the serial that was handed out on."""

    id: int
    serial: str
    number: int
    batch: Batch
    lot: str | None = None
    rejected: bool = False
    reads: list[Read] = field(default_factory=list)
    files: dict[int, File] = field(default_factory=dict)  # by the read's number
    writings: dict[tuple[str, int], Writing] = field(default_factory=dict)

    def newest_writing(self, side: str) -> int:
        """The number of a side's newest writing; 0 before the first one."""
        return max((number for of, number in self.writings if of == side), default=0)

    def again(self, file: File) -> Read | None:
        """The read that a file was recorded as before: a capture with the same bytes, or any file with the same name and bytes."""
        for read in self.reads:
            known = self.files[read.number]
            if known.sha256 == file.sha256 and (file.capture or known.name == file.name):
                return read
        return None

    def standings(self) -> dict[str, SideStanding]:
        """How its sides stand."""
        return {
            side: side_standing((read for read in self.reads if read.side == side), [number for of, number in self.writings if of == side])
            for side in self.batch.sides
        }

    def verdict(self) -> Standing:
        """Its verdict."""
        return disc_verdict(self.standings().values(), self.rejected)

    def action(self) -> DiscAction:
        """What to do with it."""
        return disc_action(self.standings(), self.rejected, self.batch.drives)

    def plain(self) -> dict[str, Any]:
        """A disc line."""
        standings = self.standings()
        return {
            "batch": self.batch.name,
            "serial": self.serial,
            "verdict": disc_verdict(standings.values(), self.rejected),
            "action": disc_action(standings, self.rejected, self.batch.drives),
            "sides": {name: None if side.verdict == "open" else side.verdict for name, side in standings.items()},
        }
