"""What the ledger knows of a lot, a drive, a batch, a disc: values that are filled from its tables."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from mastering.judging import standing as rules
from mastering.judging.actions import Drive, Step, next_step
from mastering.judging.custody import DiscStanding, disc_standing
from mastering.judging.standing import REWRITES, DiscRows, Read, Standing
from mastering.ledger.lines import Line

_ACCEPTED = ("dump", "report", "cells", "flux")  # evidence that a batch takes which says nothing of it


@dataclass
class Batch:
    """A batch; `line` is what was said when it was opened. `practice`: simulated reads count in it."""

    id: int
    line: Line
    open: bool = True
    practice: bool = False

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

    @property
    def rewrites(self) -> int:
        """How often a side of its discs may be written again."""
        return int(self.line.get("rewrites", REWRITES))

    @property
    def each_side(self) -> bool:
        """Whether a side's verdict stands although the other side is written later: so it is in batches of earlier ledgers."""
        return bool(self.line.get("verify", "each-side") == "each-side")

    def accepts(self, evidence: str) -> bool:
        """Whether reads with this evidence settle anything."""
        return evidence in self.line.get("accept", _ACCEPTED)


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
    by_eye: bool = False
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

    def rows(self) -> DiscRows:
        """What its rows say, for the rules."""
        return DiscRows(
            self.serial,
            tuple(self.batch.sides),
            tuple(rules.Writing(each.id, side, number, each.drive) for (side, number), each in self.writings.items()),
            tuple(self.reads),
            rejects=(self.id,) if self.by_eye else (),
            rewrites=self.batch.rewrites,
            each_side=self.batch.each_side,
        )

    @property
    def standing(self) -> DiscStanding:
        """How it stands."""
        return disc_standing(self.rows())

    @property
    def verdict(self) -> Standing:
        """Its verdict."""
        return self.standing.verdict

    @property
    def rejected(self) -> bool:
        """Whether it is rejected, by eye or for good."""
        return self.standing.rejected

    @property
    def next_step(self) -> Step:
        """What to do with it, on which sides and in which drive."""
        rows, sides = self.rows(), frozenset(self.batch.sides)
        return next_step(rows, disc_standing(rows), [Drive(name, sides, sides) for name in self.batch.drives])

    def plain(self) -> dict[str, Any]:
        """A disc line."""
        standing = self.standing
        return {
            "batch": self.batch.name,
            "serial": self.serial,
            "verdict": standing.verdict,
            "action": self.next_step.action,
            "rejected": standing.rejected,
            "each_side": self.batch.each_side,
            "sides": {name: None if side.verdict == "open" else side.verdict for name, side in standing.sides.items()},
        }
