"""What can be said of a read-back: findings, diagnosis, verdict, action. Plain values, to JSON and back."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from mastering.judging.kinds import DIAGNOSES, FINDINGS, Action

KINDS = ("", *(kind.id for kind in FINDINGS))  # a kind's place is its number in arrays, 0 is none
NUMBER = {kind: number for number, kind in enumerate(KINDS)}
DIAGNOSED = {diagnosis.id: diagnosis for diagnosis in DIAGNOSES}

Looks = Literal["volatile", "shifted", "repeats-previous", "filled", "combined", "cleaned"]
Evidence = Literal["dump", "report", "cells", "flux"]
State = Literal["pass", "marginal", "fail"]
_WRITTEN_WRONG = {kind.id for kind in FINDINGS if kind.written_wrong}


def sides_text(names: Collection[str]) -> str:
    """Sides as they are called: side A, sides A and B."""
    return f"side{'s' if len(names) > 1 else ''} {' and '.join(names)}"


@dataclass(frozen=True)
class Finding:
    """What is wrong with one sector; the numbers are those of its identifier. `looks`: what it looks like, or how it was read after all."""

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

    `margin`, `margins`, `drive`: with evidence `flux`, how close the sectors are to failing and what the drive shows, as section 6 has it.
    `slot`: what the serial slot holds where its sector has the finding `serial`, each text once (a byte is a character).
    """

    readback: str
    side: str | None
    serial: str | None
    evidence: Evidence
    diagnosis: str | None
    expected: int
    good: int | None
    unproven: int
    simulated: bool
    findings: tuple[Finding, ...]
    matches: tuple[str, ...] = ()
    slot: tuple[str, ...] = ()
    margin: Mapping[str, Any] | None = None
    margins: tuple[Mapping[str, Any], ...] | None = None
    drive: Mapping[str, float] | None = None

    @classmethod
    def from_plain(cls, line: Mapping[str, Any]) -> "Verdict":
        """The verdict of a line that `plain` made, or of a ledger's read line."""
        sectors = line["sectors"] or {"expected": 0, "good": None}
        findings = tuple(Finding.from_plain(each) for each in line["findings"])
        return cls(
            line["readback"], line["side"], line.get("on_disc", line["serial"]), line["evidence"], line["diagnosis"], sectors["expected"],
            sectors["good"], line["unproven"], line["simulated"], findings, tuple(line.get("matches", ())),
            tuple(line.get("slot", ())), line.get("margin"), None, line.get("drive"),
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
        if self.diagnosis:
            return DIAGNOSED[self.diagnosis].asks_for(self.evidence)[0]
        if self.side is None or self.overwritten or self.changed_by_right:
            return "ask"
        kinds = {finding.kind for finding in self.findings}
        rewrite = kinds & _WRITTEN_WRONG or ("differs" in kinds and self.evidence != "dump")
        return "write-again" if rewrite else "read-again"

    @property
    def overwritten(self) -> bool:
        """Whether most sectors are sound and another program's: another disc was written over it. A dump's may be a reader's filler."""
        differing = sum(finding.kind == "differs" for finding in self.findings)
        return self.diagnosis is None and self.evidence != "dump" and 2 * differing > self.expected

    @property
    def changed_by_right(self) -> bool:
        """Whether nothing is wrong but what a customer's machine may change: sectors of volatile files."""
        by_right = all(finding.kind == "differs" and finding.looks == "volatile" for finding in self.findings)
        return self.diagnosis is None and bool(self.findings) and by_right

    def plain(self) -> dict[str, Any]:
        """A line of `verify --json`."""
        made: dict[str, Any] = {
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
        if self.diagnosis in ("other-side", "other-master"):
            made["matches"] = list(self.matches)
        if self.margin is not None:
            made |= {"margin": self.margin, "drive": self.drive}
        return made if self.margins is None else made | {"margins": list(self.margins)}
