"""What the loop knows of the table, and what it asks of the ledger. Values and one protocol; nothing here does anything.

A *face* is the side that is up: with A up the label is up, and the drive's head reaches side A.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

from mastering.bench.drives import CommandGuard, Stranger
from mastering.judging.standing import Standing

Face = Literal["A", "B"]
What = Literal["probe", "write", "read"]
HandsAction = Literal["insert", "turn-over", "reseat", "move", "label", "look", "take-out", "take-out-good", "take-out-bad"]
GuardKind = CommandGuard | Stranger | Literal["not-turned-over", "faces-swapped", "wrong-label", "no-label"]


@dataclass(frozen=True)
class Station:
    """A drive of the table, and the sides of one batch's discs that it writes and reads."""

    name: str
    writes: frozenset[str]
    reads: frozenset[str]


@dataclass(frozen=True)
class SideState:
    """A side of a disc as the bench must know it.

    `to_write`: it was never written, or its newest writing is spent and another is allowed. `wrote`: the drive of its newest writing.
    `tried`: the drives that read this writing without passing it, oldest first.
    """

    verdict: Standing
    to_write: bool
    wrote: str | None = None
    tried: tuple[str, ...] = ()


@dataclass(frozen=True)
class DiscState:
    """A disc as the ledger has it. `ask`: its newest read says that a person must look what it is."""

    serial: str
    verdict: Standing
    rejected: bool
    sides: Mapping[str, SideState]
    ask: bool = False


@dataclass(frozen=True)
class Rules:
    """What bench.toml and the batch say of the order of work."""

    each_side: bool = False
    probe: bool = True
    label: bool = False
    label_when: Literal["before-last-look", "on-pass", "after"] = "before-last-look"


@dataclass(frozen=True)
class BatchWork:
    """A batch to be worked on, with the discs of it that were begun before and are still open."""

    name: str
    sides: tuple[str, ...]
    wanted: int
    rules: Rules
    stations: tuple[Station, ...]
    begun: tuple[str, ...] = ()


class Floor(Protocol):
    """What the loop asks of the ledger, and of it alone: every answer is what the rows say now."""

    def disc(self, serial: str) -> DiscState:
        """How a disc stands."""

    def good(self, batch: str) -> int:
        """How many good discs a batch has."""

    def hand_out(self, batch: str) -> str | None:
        """The next disc's serial; None where there is nothing to make it of, as when every lot is stopped."""

    def held(self, drive: str) -> bool:
        """Whether a drive is on hold."""

    def stopped(self, batch: str) -> bool:
        """Whether no more discs may be begun: its master is held or superseded, or it was closed elsewhere."""


# What the loop asks for


@dataclass(frozen=True)
class Hands:
    """One action of the operator's hands.

    `drive`: where, or to where; `source`: the drive that a disc is moved from; `face`: the side that is up afterwards; `fresh`: a blank is
    put in, not a disc with a number; `returns`: what is taken out makes room, as this disc is put in (again) later; `why`: the
    guard that asks for it.
    """

    action: HandsAction
    serial: str
    drive: str | None
    face: Face = "A"
    fresh: bool = False
    returns: bool = False
    why: GuardKind | None = None
    source: str | None = None


@dataclass(frozen=True)
class Command:
    """A drive's command for one side of a disc."""

    what: What
    drive: str
    serial: str
    side: str


@dataclass(frozen=True)
class PrintLabel:
    """A label to be printed."""

    serial: str


@dataclass(frozen=True)
class Guard:
    """Something was stopped in time. `say`: what was met, where a command told it."""

    kind: GuardKind
    drive: str | None
    serial: str
    side: str | None
    say: str = ""


@dataclass(frozen=True)
class BatchDone:
    """A batch has no more work."""

    batch: str


Instruction = Hands | Command | PrintLabel | Guard | BatchDone


# What happens


@dataclass(frozen=True)
class HandsDone:
    """The operator has done what was asked. `label`: the serial that stands on the label that was stuck; `rubbed`: what `look` showed."""

    label: str | None = None
    rubbed: bool = False


@dataclass(frozen=True)
class Probed:
    """A probe ended. `serial`, `side`: what the face that is up carries, None where nothing known; `stranger`: another disc's kind."""

    drive: str
    serial: str | None = None
    side: str | None = None
    stranger: Stranger | None = None


@dataclass(frozen=True)
class Written:
    """A writing ended, and its row is in the ledger."""

    drive: str


@dataclass(frozen=True)
class WasRead:
    """A read ended, and is in the ledger. `diagnosis`: the read's own.

    `held`: the drives that this read put on hold; `again`: discs and their sides that must be read again because of that.
    """

    drive: str
    verdict: str
    diagnosis: str | None = None
    held: tuple[str, ...] = ()
    again: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Guarded:
    """A command, or what it read, stopped at a guard; nothing was entered as a writing or a read."""

    drive: str
    kind: GuardKind
    say: str = ""


Event = HandsDone | Probed | Written | WasRead | Guarded
