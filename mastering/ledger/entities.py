"""A lot, a drive, a batch, a disc as the ledger holds them: values that are filled from its tables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from mastering.judging.actions import Drive, Step, next_step
from mastering.judging.custody import DiscStanding, disc_standing
from mastering.judging.standing import REWRITES, DiscRows, Hold, Read, Standing, Take, Writing
from mastering.ledger.lines import Line

ACCEPTED = ("dump", "report", "cells", "flux")  # evidence, where neither shop nor batch says otherwise


@dataclass
class Batch:
    """A batch; `line` is what was decided when it was opened, with what `batch change` changed since.

    `simulated`: all of its drives are simulated. `serving`: its drives as they are now, with the sides that each one serves.
    """

    id: int
    line: Line
    open: bool = True
    simulated: bool = False
    serving: tuple[Drive, ...] = ()

    @property
    def name(self) -> str:
        """Its name."""
        return str(self.line["batch"])

    @property
    def catalogue(self) -> str:
        """Its title's catalogue number."""
        return str(self.line["catalogue"])

    @property
    def sides(self) -> Mapping[str, str]:
        """The geometry of each side."""
        sides: Mapping[str, str] = self.line["sides"]
        return sides

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
        """How often each side of a disc may be written again."""
        return int(self.line.get("rewrites", REWRITES))

    @property
    def each_side(self) -> bool:
        """Whether a writing of one side leaves the other's verdict alone: said of it, or nothing is said (batches of earlier ledgers)."""
        return self.line.get("verify") in (None, "each-side")

    @property
    def practice(self) -> bool:
        """Whether simulated reads count: said of it, or (batches of earlier ledgers) all of its drives are simulated."""
        return bool(self.line["practice"]) if "practice" in self.line else "verify" not in self.line and self.simulated

    def accepts(self, evidence: str) -> bool:
        """Whether a read with this evidence can settle anything."""
        return evidence in self.line.get("accept", ACCEPTED)

    def unserialled(self, side: str) -> bool:
        """Whether its discs may carry the master's marker on this side."""
        return side in self.line.get("unserialled", ())


@dataclass(frozen=True)
class File:
    """A read's file: its name without folder, the SHA-256 of its bytes and of its report's (None where it has none).

    Rows of earlier ledgers have one digest over both.
    """

    name: str
    sha256: str | None
    report: str | None
    capture: bool

    @classmethod
    def at(cls, path: str, sha256: str | None, report: str | None, capture: bool) -> "File":
        """The file at a path, whose name may be in no encoding at all."""
        return cls(path.rpartition("/")[2].encode("utf-8", "backslashreplace").decode(), sha256, report, capture)

    @classmethod
    def of(cls, line: Line) -> "File":
        """The file that a read line tells of."""
        capture = line["evidence"] in ("cells", "flux")
        return cls.at(line["readback"], line.get("file_sha256"), line.get("report_sha256"), capture)

    def same_bytes(self, other: "File") -> bool:
        """Whether another file, of which both digests are known, has the same bytes."""
        from mastering.files import digest

        if (self.sha256, self.report) == (other.sha256, other.report):
            return True
        both = None if other.report is None else digest(f"{other.sha256}{other.report}".encode())
        return self.report is None and both is not None and self.sha256 == both


_AFTER: Mapping[str, str] = {  # what a step of a disc's life after the bench makes of it
    "box": "boxed",
    "keep": "kept",
    "withdraw": "withdrawn",
    "pack": "packed",
    "ship": "shipped",
    "return": "returned",
}
_BACK = ("unbox", "unpack", "undo")  # steps that lead back to where it was before


def state_of(on_the_bench: str, life: Sequence[str]) -> str:
    """Where a disc is after the steps of its life; where its reads alone put it before the first one."""
    states = [on_the_bench]
    for step in life:
        if step in _AFTER:
            states.append(_AFTER[step])
        elif step in _BACK and len(states) > 1:
            states.pop()
    return states[-1]


@dataclass
class Disc:
    """A disc, from the serial that was handed out on. `batch`: its newest one. `dropped`: its serial was never used."""

    id: int
    serial: str
    number: int
    batch: Batch
    lot: str | None = None
    inner: int | None = None
    dropped: bool = False
    imaged: bool = False
    reads: list[Read] = field(default_factory=list)
    files: dict[int, File] = field(default_factory=dict)  # by the read's number
    operators: dict[int, str | None] = field(default_factory=dict)  # likewise
    times: dict[int, str] = field(default_factory=dict)  # likewise
    writings: dict[tuple[str, int], Writing] = field(default_factory=dict)
    rejects: list[int] = field(default_factory=list)
    restores: list[int] = field(default_factory=list)
    takes: list[Take] = field(default_factory=list)
    holds: tuple[Hold, ...] = ()
    life: list[str] = field(default_factory=list)  # what was done with it after the bench, in its order

    @property
    def state(self) -> str:
        """Where it is in its life."""
        return state_of(self.bench_state, self.life)

    @property
    def bench_state(self) -> str:
        """Where its reads alone put it."""
        if self.unused:
            return "unused"
        if self.rejected:
            return "rejected"
        if self.verdict == "pass":
            return "in-stock"
        if self.abandoned:
            return "abandoned"
        return "working" if self.begun else "handed-out"

    @property
    def begun(self) -> bool:
        """Whether anything was written on it or read from it."""
        return bool(self.writings or self.reads)

    @property
    def unused(self) -> bool:
        """Whether it stands for no disc: dropped, or its batch was closed before anything was done with it."""
        return self.dropped or not (self.begun or self.batch.open or self.rejects)

    @property
    def abandoned(self) -> bool:
        """Whether its batch was closed before it was finished."""
        return not self.batch.open and self.begun and not self.standing.decided

    @cached_property
    def rows(self) -> DiscRows:
        """What the rules go by."""
        return DiscRows(
            self.serial, tuple(self.batch.sides), tuple(self.writings.values()), tuple(self.reads), tuple(self.rejects),
            tuple(self.restores), tuple(self.takes), self.holds, self.batch.rewrites, self.batch.each_side,
        )  # fmt: skip

    @cached_property
    def standing(self) -> DiscStanding:
        """How it stands."""
        return disc_standing(self.rows)

    def changed(self) -> None:
        """Says that rows were added: how it stands is worked out anew."""
        self.__dict__.pop("rows", None)
        self.__dict__.pop("standing", None)

    @property
    def verdict(self) -> Standing:
        """Its verdict."""
        return self.standing.verdict

    @property
    def rejected(self) -> bool:
        """Whether it is rejected, by eye or for good."""
        return self.standing.rejected

    def newest_writing(self, side: str) -> int:
        """The number of a side's newest writing; 0 before the first one."""
        return max((number for of, number in self.writings if of == side), default=0)

    @property
    def next_step(self) -> Step:
        """What to do with it."""
        return next_step(self.rows, self.standing, self.batch.serving)

    def again(self, file: File, new_read: bool = False) -> Read | None:
        """The read that a file was recorded as before: a capture with the same bytes, or any file with the same name and bytes.

        `new_read`: a dump of the same name and bytes is another read all the same.
        """
        for read in self.reads:
            before = self.files[read.number]
            if before.same_bytes(file) and (file.capture or (before.name == file.name and not new_read)):
                return read
        return None

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
