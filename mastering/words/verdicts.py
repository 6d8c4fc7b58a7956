"""Verdicts in words, for the person with the disc in hand."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from formats.words import counted
from mastering.judging.verdict import Verdict
from mastering.master.serial import slot_words

if TYPE_CHECKING:
    from mastering.master.master import Side

KIND_WORDS = {
    "differs": "other bytes than the master's",
    "data-mark": "marked as deleted data",
    "identity": "its identifier names another disc",
    "serial": "no serial of this title in its place",  # `slot_words` says what is there instead
    "soft": "good only some of the time",
    "density": "right, but at a density that no such machine reads",
    "block-check": "its data fails its check",
    "no-block": "an identifier without data behind it",
    "identifier-check": "its identifier fails its check",
    "misplaced": "numbered as on another track",
    "absent": "never met",
    "unread": "the reader gave up on it",
    "not-tried": "not read at all",
}
LOOKS_WORDS = {
    "volatile": " (the customer's machine may change them)",
    "shifted": " (they belong to a sector further on)",
    "repeats-previous": " (they repeat the sector before)",
    "filled": " (one value throughout: a filler?)",
}
_SHOWN = 6


def hands_text(verdict: Verdict, sides: int) -> str:
    """What to do with the disc, in a sentence or two."""
    if verdict.verdict == "pass":
        good = f"Side {verdict.side} is good; box the disc when both sides are." if sides > 1 else "Good: box it."
        return good + (f" ({filler_text(verdict)})" if verdict.unproven else "")
    if verdict.verdict == "marginal":
        return f"Don't box it yet, read it again: {_sectors(len(verdict.findings))} came right at some turns only."
    if verdict.diagnosis == "blank" and verdict.evidence != "cells":
        return "Read nothing but one value: make sure that the drive reads a good disc, then write this one."
    if verdict.diagnosis == "shifted" and verdict.action == "write-again":
        return "Write it again: its sectors stand in each other's places."
    if verdict.diagnosis:
        return _DIAGNOSED[verdict.diagnosis].format(" or ".join(verdict.matches) or "another master")
    if verdict.side is None:
        return "Ask: it can't be told which side this is; name it with --side."
    return _failed_text(verdict)


def filler_text(verdict: Verdict) -> str:
    """How many sectors of a passing read-back prove nothing."""
    return f"{_sectors(verdict.unproven)} would look the same filled in by the reader"


def holds_marker(verdict: Verdict, sides: "Mapping[str, Side]") -> bool:
    """Whether a copy that is not bad has the master's marker where its serial belongs."""
    return verdict.verdict != "fail" and verdict.side is not None and sides[verdict.side].slot is not None and verdict.serial is None


def found_text(verdict: Verdict) -> str:
    """What is wrong with a read-back, without saying what to do with the disc that it should be of."""
    if verdict.verdict == "marginal":
        return f"{_sectors(len(verdict.findings))} came right at some turns only"
    if verdict.diagnosis:
        return _FOUND[verdict.diagnosis].format(" or ".join(verdict.matches) or "another master")
    if verdict.side is None:
        return "it can't be told which side this is; name it with --side"
    bad = [finding for finding in verdict.findings if finding.kind != "soft"]
    share = f"{len(bad)} of {verdict.expected} sectors"
    if verdict.action == "write-again":
        return f"{share} are recorded, but not as the master's"
    return f"{share} hold other bytes" if all(finding.kind == "differs" for finding in bad) else f"{share} can't be read"


def _failed_text(verdict: Verdict) -> str:
    """A failed read-back without a diagnosis: how many sectors, and whether reading or writing may help."""
    bad = [finding for finding in verdict.findings if finding.kind != "soft"]
    share = f"{len(bad):,} of {counted(verdict.expected, 'sector')}"
    if verdict.is_overwritten:
        return f"Ask where it came from: another disc was written over it ({share} hold other bytes)."
    if verdict.is_used:
        return f"Ask where it came from: the customer's machine changed {' and '.join(verdict.changed) or 'files that it may change'}."
    if verdict.action == "write-again":
        return f"Write it again: {share} were written wrong."
    if all(finding.kind == "differs" for finding in bad):
        return f"Read it again: {share} hold other bytes. The same once more: set it aside, it may be another title."
    return f"Read it again: {share} can't be read."


def _sectors(count: int) -> str:
    return counted(count, "sector")


_DIAGNOSED = {
    "blank": "Write it: nothing is recorded on it.",
    "other-side": "Turn it over: this is {}.",
    "other-master": "Ask where it came from: this is {}.",
    "other-geometry": "Ask where it came from: it is recorded for another machine.",
    "shifted": "Read it again: the reader left sectors out.",
    "short": "Read it again: the reading ended early.",
}
_FOUND = {
    "blank": "nothing is recorded on it, or its reader met nothing",
    "other-side": "it was the wrong way up: this is {}, so the read settles nothing",
    "other-master": "it carries {}: put this one aside and ask where it came from",
    "other-geometry": "it is recorded for another machine: put this one aside and ask where it came from",
    "shifted": "the reader left sectors out",
    "short": "the reading ended early, so the read settles nothing",
}


def findings_text(verdict: Verdict, catalogue: str, shown: int = _SHOWN) -> Iterator[str]:
    """A verdict's first findings, a line each, and how many more there are; what the serial's place holds, for that title's numbers."""
    heads = any(finding.head for finding in verdict.findings)
    for finding in verdict.findings[:shown]:
        head = f" head {finding.head}" if heads else ""
        what = f"{KIND_WORDS[finding.kind]}{LOOKS_WORDS.get(finding.looks or '', '')}"
        if finding.kind == "serial" and verdict.slot:
            what += f": {slot_words(verdict.slot, catalogue)}"
        yield f"track {finding.track}{head} sector {finding.sector}: {what}"
    if len(verdict.findings) > shown:
        yield f"and {_sectors(len(verdict.findings) - shown)} more (all of them with --json)"
