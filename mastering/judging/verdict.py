"""What can be said of a read-back: findings, diagnosis, verdict, action. Plain values, to JSON and back."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Literal

# A finding's kinds in the order in which one sector's sightings are judged; a kind's place is its number in arrays, 0 is none.
KINDS = (
    "",
    "differs",
    "data-mark",
    "identity",
    "serial",
    "soft",
    "density",
    "block-check",
    "no-block",
    "identifier-check",
    "misplaced",
    "absent",
    "unread",
    "not-tried",
)
NUMBER = {kind: number for number, kind in enumerate(KINDS)}

Looks = Literal["volatile", "shifted", "repeats-previous", "filled"]
Evidence = Literal["dump", "report", "cells", "flux"]
State = Literal["pass", "marginal", "fail"]
Diagnosis = Literal["blank", "other-side", "other-master", "other-geometry", "shifted", "short"]
Action = Literal["box", "read-again", "turn-over", "write-again", "ask"]

_BY_DIAGNOSIS: dict[Diagnosis, Action] = {
    "other-side": "turn-over",
    "other-master": "ask",
    "other-geometry": "ask",
    "blank": "write-again",
    "shifted": "read-again",
    "short": "read-again",
}
_WRITTEN_WRONG = {"data-mark", "identity", "serial", "density"}  # reading once more can't change these


def sides_text(names: Collection[str]) -> str:
    """Sides as they are called: side A, sides A and B."""
    return f"side{'s' if len(names) > 1 else ''} {' and '.join(names)}"


@dataclass(frozen=True)
class Finding:
    """What is wrong with one sector; the numbers are those of its identifier. `looks`: what a differing sector looks like."""

    track: int
    head: int
    sector: int
    kind: str
    looks: Looks | None = None

    @classmethod
    def from_plain(cls, line: Mapping[str, Any]) -> "Finding":
        """The finding that `plain` made; other keys are passed over."""
        return cls(line["track"], line["head"], line["sector"], line["kind"], line.get("looks"))

    def plain(self) -> dict[str, Any]:
        """As in `verify --json`."""
        made = {"track": self.track, "head": self.head, "sector": self.sector, "kind": self.kind}
        return made | {"looks": self.looks} if self.looks else made


@dataclass(frozen=True)
class Verdict:
    """The judgement of one read-back; `good` is None when no side could be told.

    `slot`: what the serial slot holds where its sector has the finding `serial`, each text once (a byte is a character).
    `changed`: names of the volatile files that the customer's machine changed.
    """

    readback: str
    side: str | None
    serial: str | None
    evidence: Evidence
    diagnosis: Diagnosis | None
    expected: int
    good: int | None
    unproven: int
    simulated: bool
    findings: tuple[Finding, ...]
    matches: tuple[str, ...] = ()
    slot: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()

    @classmethod
    def from_plain(cls, line: Mapping[str, Any]) -> "Verdict":
        """The verdict of a line that `plain` made, or of a ledger's read line."""
        sectors = line["sectors"] or {"expected": 0, "good": None}
        findings = tuple(Finding.from_plain(each) for each in line["findings"])
        return cls(
            line["readback"], line["side"], line.get("on_disc", line["serial"]), line["evidence"], line["diagnosis"], sectors["expected"],
            sectors["good"], line["unproven"], line["simulated"], findings, tuple(line.get("matches", ())),
            tuple(line.get("slot", ())),
        )  # fmt: skip

    @property
    def verdict(self) -> State:
        """`pass` without a finding, `marginal` with soft sectors only, else `fail`; a diagnosis always fails."""
        if self.side is None or self.diagnosis or any(finding.kind != "soft" for finding in self.findings):
            return "fail"
        return "marginal" if self.findings else "pass"

    @property
    def action(self) -> Action:
        """What to do with the disc as far as this read-back tells."""
        if self.verdict != "fail":
            return "box" if self.verdict == "pass" else "read-again"
        if self.diagnosis == "shifted" and self.evidence in ("cells", "flux"):
            return "write-again"  # the identifiers on the disc name the places, so no reader can have left sectors out
        if self.diagnosis:
            return _BY_DIAGNOSIS[self.diagnosis]
        if self.side is None or self.is_overwritten or self.is_used:
            return "ask"
        kinds = {finding.kind for finding in self.findings}
        rewrite = kinds & _WRITTEN_WRONG or ("differs" in kinds and self.evidence != "dump")
        return "write-again" if rewrite else "read-again"

    @property
    def is_overwritten(self) -> bool:
        """Whether more than half of the side's sectors hold other bytes, and no reader can have put them there."""
        return self.evidence != "dump" and 2 * sum(finding.kind == "differs" for finding in self.findings) > self.expected

    @property
    def is_used(self) -> bool:
        """Whether nothing is wrong but that files hold other bytes which the customer's machine may change."""
        return bool(self.findings) and all(finding.looks == "volatile" for finding in self.findings)

    def plain(self) -> dict[str, Any]:
        """A line of `verify --json`."""
        made = {
            "readback": self.readback,
            "side": self.side,
            "serial": self.serial,
            "evidence": self.evidence,
            "verdict": self.verdict,
            "diagnosis": self.diagnosis,
            "action": self.action,
            "sectors": None if self.good is None else {"expected": self.expected, "good": self.good},
            "unproven": self.unproven,
            "simulated": self.simulated,
            "findings": [finding.plain() for finding in self.findings],
        }
        return made | {"matches": list(self.matches)} if self.diagnosis in ("other-side", "other-master") else made
