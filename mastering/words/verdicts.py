"""Verdicts in words, for the person with the disc in hand."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from formats.model.geometry import Address
from formats.words import counted
from mastering.judging.kinds import FINDINGS
from mastering.judging.verdict import DIAGNOSED, Finding, Verdict
from mastering.judging.volatile import volatile_sectors
from mastering.master.serial import slot_words
from mastering.words.layout import Block, Line

if TYPE_CHECKING:
    from mastering.master.master import Master, Side

KIND_WORDS = {kind.id: kind.words for kind in FINDINGS}  # for `serial`, `slot_words` says what is there instead
LOOKS_WORDS = {
    "volatile": " (of a file that the customer's machine may change)",
    "shifted": " (those of a later sector)",
    "repeats-previous": " (those of the sector before)",
    "filled": " (one value throughout: filled in by the reader?)",
    "combined": "; right only when several turns are put together, which no customer's drive does",
    "cleaned": "; right only when suspected noise is left out",
}
_SHOWN = 6


def hands_text(verdict: Verdict, sides: "Mapping[str, Side]") -> str:
    """What to do with the disc, in a sentence or two; `sides`: its master's."""
    if verdict.verdict == "pass":
        good = f"Side {verdict.side} is good; box the disc when both sides are." if len(sides) > 1 else "Good: box it."
        return good + (f" ({filler_text(verdict)})" if verdict.unproven else "")
    if verdict.verdict == "marginal":
        return f"Don't box it yet, read it again: {_sectors(len(verdict.findings))} came right at some turns only."
    if verdict.diagnosis == "blank" and verdict.evidence not in ("cells", "flux"):
        return "Every sector reads as one value. Check the drive with a good disc, then write this one."
    if verdict.diagnosis:
        return DIAGNOSED[verdict.diagnosis].asks_for(verdict.evidence)[1].format(_matches(verdict))
    if verdict.side is None:
        return "Can't tell which side this is: name it with --side."
    return _failed_text(verdict, sides[verdict.side])


def _failed_text(verdict: Verdict, side: "Side") -> str:
    """What to do with a disc that failed without a diagnosis; `side`: its master's."""
    bad, share = _bad(verdict)
    if verdict.changed_by_right:
        return f"Ask where it was: {_changed_files(verdict, side)}."
    if verdict.overwritten:
        return f"Ask where it came from: another disc was written over it ({share} hold something else)."
    if verdict.action == "write-again":
        return f"Write it again: {share} {_was(bad)} written wrong."
    if all(finding.kind == "differs" for finding in bad):
        return f"Read it again: {share} {_was(bad, 'holds', 'hold')} other bytes. {_AGAIN}"
    return f"Read it again: {share} can't be read."


def _changed_files(verdict: Verdict, side: "Side") -> str:
    """Which files a customer's machine changed."""
    names = volatile_sectors(side)
    changed = dict.fromkeys(names.get(Address(each.track, each.head, each.sector), "a file") for each in verdict.findings)
    return f"the customer's machine changed {' and '.join(changed)}"


def read_text(verdict: Verdict, sides: "Mapping[str, Side]") -> str:
    """What is wrong with a read-back, without what to do with the disc: that is its disc's line to say; `sides`: its master's."""
    if verdict.verdict == "marginal":
        return f"{_sectors(len(verdict.findings))} came right at some turns only"
    if verdict.diagnosis:
        return DIAGNOSED[verdict.diagnosis].read.format(_matches(verdict))
    if verdict.side is None:
        return "can't tell which side this is; name it with --side"
    return _wrong_text(verdict, sides[verdict.side])


def _wrong_text(verdict: Verdict, side: "Side") -> str:
    """What is wrong with a read-back that failed without a diagnosis; `side`: its master's."""
    bad, share = _bad(verdict)
    if verdict.changed_by_right:
        return _changed_files(verdict, side)
    if verdict.overwritten:
        return f"another disc was written over it: {share} hold something else"
    if verdict.action == "write-again":
        return f"{share} {_was(bad, 'is', 'are')} recorded, but not as the master's"
    differ = all(finding.kind == "differs" for finding in bad)
    return f"{share} {_was(bad, 'holds', 'hold')} other bytes" if differ else f"{share} can't be read"


def recorded_text(line: Mapping[str, Any], master: "Master") -> Iterator[Block]:
    """What a ledger's read line says, where the read-back was not simply good."""
    verdict = Verdict.from_plain(line)
    name = line["readback"].rpartition("/")[2]
    if line.get("again"):
        yield Line(f"{name}: ", f"recorded before, as read {line['read']}; nothing was changed")
    elif verdict.verdict != "pass":
        yield Line(f"{name}: ", read_text(verdict, master.sides))
    elif verdict.unproven:
        yield Line(f"{name}: ", filler_text(verdict))
    if line["verdict"] == "marginal" and verdict.verdict == "pass":
        yield Line(f"{name}: ", "its margin is too small: one fresh turn may lose a sector")
    if verdict.verdict != "pass" and not verdict.diagnosis:
        yield from (f"    {text}" for text in findings_text(verdict, master.catalogue))


def verdict_text(verdict: Verdict, name: str, width: int, master: "Master") -> Iterator[Block]:
    """A verdict for the person with the disc in hand: a line, then its first findings where no diagnosis explains them.

    `name`: how the read-back is called, in a column of this `width`.
    """
    yield Line(f"{name:{width}}  {verdict.verdict:8}  ", verdict_sentence(verdict, master))
    if not verdict.diagnosis:
        yield from (Line(" " * (width + 12), text) for text in findings_text(verdict, master.catalogue))


def verdict_sentence(verdict: Verdict, master: "Master") -> str:
    """What to do with the disc, and whether it lacks its serial."""
    marker = " It carries the master's marker, no serial." if holds_marker(verdict, master.sides) else ""
    return hands_text(verdict, master.sides) + marker


def summary_text(counts: Mapping[str, int]) -> str:
    """How many read-backs came out how; `error`: those that could not be judged."""
    total = sum(counts.values())
    each = ", ".join(f"{counts[state]} {state}" for state in ("pass", "marginal", "fail", "error") if counts.get(state))
    return f"{counted(total, 'read-back')}: {each}" if total else "no read-back was found"


def filler_text(verdict: Verdict) -> str:
    """How many sectors of a passing read-back prove nothing."""
    return f"{_sectors(verdict.unproven)} would look the same filled in by the reader"


def holds_marker(verdict: Verdict, sides: "Mapping[str, Side]") -> bool:
    """Whether a copy that is not bad has the master's marker where its serial belongs."""
    return verdict.verdict != "fail" and verdict.side is not None and sides[verdict.side].slot is not None and verdict.serial is None


def _bad(verdict: Verdict) -> tuple[list[Finding], str]:
    """The findings that make a read-back fail, and how many of its sectors that is, in words."""
    bad = [finding for finding in verdict.findings if finding.kind != "soft"]
    return bad, f"{len(bad):,} of {_sectors(verdict.expected)}"


def _was(bad: list[Finding], one: str = "was", several: str = "were") -> str:
    return one if len(bad) == 1 else several


def _matches(verdict: Verdict) -> str:
    """The masters' sides that a wrong disc is."""
    return " or ".join(verdict.matches) or "another master"


def _sectors(count: int) -> str:
    return counted(count, "sector")


_AGAIN = "If the next read says the same, set it aside: it may be another title."


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
