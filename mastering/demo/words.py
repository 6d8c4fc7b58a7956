"""What the demo says when it is done."""

from collections import Counter
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from formats.words import counted
from mastering.demo.batch import DISCS, DRIVES, LOTS, TRUTH, MadeBatch
from mastering.demo.shop import MASTERS, Demo
from mastering.simulator.evening import practice_serial
from mastering.words.advice import sentence
from mastering.words.batches import counts_text
from mastering.words.layout import Block, Command, Line
from mastering.words.rates import rates_text
from mastering.words.verdicts import findings_text, hands_text

_SHOWN = 3  # findings of a read-back


def demo_text(demo: Demo, target: Path, columns: int) -> Iterator[Block]:
    """What was made in the folder `target`, in so many columns."""
    yield from _master_text(demo, target)
    yield ""
    yield from _copies_text(demo)
    yield ""
    yield "3. A batch: every disc is written, turned over and written again, then both sides are read"
    yield from _batch_text(demo.batch, target, columns)
    yield ""
    yield "4. Go on by yourself"
    yield from _suggestions(target)


def _master_text(demo: Demo, target: Path) -> Iterator[Block]:
    master = demo.master
    yield f"{master.publisher} sells {master.title} for two machines: one disc, one machine on each side."
    yield "Everything below is simulated: no disc and no drive is involved."
    yield ""
    yield f"1. The master, built from {target / 'job.toml'}"
    for name, side in master.sides.items():
        yield Line(f"   side {name}  ", f"{side.platform}: {side.geometry_id}, {side.volume}")
        yield Line("           ", ", ".join(f"{file['name']} ({counted(file['bytes'], 'byte')})" for file in side.files))
    this, before = (target / "masters" / name for name in MASTERS)
    yield f"   It lies in {this}; the revision before it in {before}."


def _copies_text(demo: Demo) -> Iterator[Block]:
    """Every copy, what happened to it, its verdict and what to do with the disc; and which discs can be boxed."""
    copies, verdicts, sides = demo.copies, demo.verdicts, demo.master.sides
    yield f"2. Read-backs of {len({copy.disc for copy in copies})} practice discs, most of them bad, held against the master"
    for copy, verdict in zip(copies, verdicts, strict=True):
        yield Line(f"   {copy.name:24} ", copy.story)
        yield Line(f"   {'':24} ", f"{verdict.verdict}: {hands_text(verdict, sides)}")
        if not verdict.diagnosis:
            more = len(verdict.findings) - _SHOWN
            yield from (Line(f"   {'':24}   ", text) for text in islice(findings_text(verdict, demo.master.catalogue), _SHOWN))
            yield from [Line(f"   {'':24}   ", f"and {counted(more, 'sector')} more")] if more > 0 else []
    counts = Counter(verdict.verdict for verdict in verdicts)
    summary = ", ".join(f"{counts[state]} {state}" for state in ("pass", "marginal", "fail"))
    yield f"   {len(copies)} read-backs: {summary}. Each came out as it should."
    passed = Counter(copy.disc for copy, verdict in zip(copies, verdicts, strict=True) if verdict.verdict == "pass")
    good = [disc for disc, count in passed.items() if count == len(sides)]
    yield f"   A disc is boxed when both its sides pass. Of these: {', '.join(good)}."


def _batch_text(batch: MadeBatch, target: Path, columns: int) -> Iterator[Block]:
    """The batch's discs that needed more than one look, its rates, and what the program says of them beside the simulation's truth."""
    made = f"{DISCS} blanks of lots {' and '.join(LOTS)}, written and read on drives {' and '.join(DRIVES)}"
    yield f"   {made}: {counts_text(batch.counts)}."
    yield f"   Every read-back lies in {target / 'reads'}, every verdict in {target / 'ledger.sqlite'}."
    yield "   These needed more than one look (in brackets what the simulation had done to them):"
    for disc in batch.discs:
        if disc.serial in batch.stories:
            end = "rejected" if disc.next_step.action == "reject" else f"boxed after {len(disc.reads)} reads"
            yield Line(f"   {disc.serial}  {end:21}  ", f"[{'; '.join(batch.stories[disc.serial])}]")
    for rates in (batch.by_lot, batch.by_drive):
        yield ""
        yield from rates_text(rates, columns, "   ")
    yield ""
    yield "   What that says (`obverse advise`):"
    yield from (Line(f"   {entry.level:5} ", sentence(entry)) for entry in batch.advice)
    truth = "; ".join(f"{name} is {what}" for name, what in zip((*LOTS, *DRIVES), TRUTH, strict=True))
    yield f"   The truth of this simulation: {truth}."


def _suggestions(target: Path) -> Iterator[Block]:
    """Commands to try, as a shell takes them."""
    copies, masters, ledger = target / "practice", target / "masters", target / "ledger.sqlite"
    new, wrong = masters / next(iter(MASTERS)), copies / f"{practice_serial('SM-004', 4)}-A.dump"
    for why, words in (
        ("What is on the disc?", ["contents", new]),
        ("Is the master still what it was?", ["check", new]),
        ("How does the batch stand, and which discs wait for what?", ["batch", "show", "B-0001", "--ledger", ledger]),
        ("How bad is each lot, and each drive?", ["rates", "--by", "lot", "--ledger", ledger]),
        ("", ["rates", "--by", "drive", "--ledger", ledger]),
        ("What is to be done about it, and why?", ["advise", "--why", "--ledger", ledger]),
        ("Judge the practice discs once more, with the older master at hand:", ["verify", new, copies, "--masters", masters]),
        (
            "There the side is told from the bytes; for the disc that was put in the wrong side up say which one was wanted:",
            ["verify", new, wrong, "--side", "A"],
        ),
        ("Make a job of your own to start from:", ["new", "my-title", "--side", "A=gcr4to5-35z:zoned-dos"]),
    ):
        yield from [f"   {why}"] if why else []
        yield Command("      ", ("obverse", *map(str, words)))
