"""Years at a simulated bench, without cells: the lines of `ledger export` that its batches would have left (contract, section 8).

100,000 discs take some seconds. Every draw is the bench's own, so a disc that fails here fails in the same place when its cells are made.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from hashlib import sha256
from typing import Any

from formats import registry
from mastering.judging.verdict import Finding, State, Verdict
from mastering.master.serial import serial
from mastering.simulator.bench import Bench, Read, Writing
from mastering.simulator.damage import Layout
from mastering.simulator.quality import INNER_BOX

Line = dict[str, Any]
_READS = 4  # of one writing at most; a disc that is marginal after that stays so
_SECONDS = 45  # that a side takes to write or to read


@dataclass(frozen=True)
class Hand:
    """What the operator takes for a disc: a lot and the number of its blank (from 1), the drive that writes and the one that reads."""

    lot: str
    blank: int
    wrote: str
    read_by: str


Deal = Callable[[int], Hand]  # by the number of the disc, from 1


@dataclass(frozen=True)
class Shop:
    """What is copied and how. `sides`: geometry ids; `slots`: the sides that carry the serial; `per_batch`: discs of a batch.

    `turns` of each track a read takes; `rewrites`: how often a side may be written again; `clean_every` so many uses a drive is cleaned
    (0: never).
    """

    title: str = "Lamplighter 1.2"
    catalogue: str = "SM-004"
    sides: Mapping[str, str] = field(default_factory=lambda: {"A": "gcr4to5-35z", "B": "gcr6and2-35x16x256"})
    slots: tuple[str, ...] = ("A",)
    per_batch: int = 40
    turns: int = 1
    rewrites: int = 1
    clean_every: int = 0
    opened: datetime = datetime(2026, 11, 25, 18)  # UTC

    @cached_property
    def layouts(self) -> dict[str, Layout]:
        """Where the fields of each side lie."""
        return {name: Layout(name, registry.geometry(geometry)) for name, geometry in self.sides.items()}


def alternately(bench: Bench) -> Deal:
    """Inner boxes of all lots in turn, the discs of each dealt to all drives in turn; the drive that wrote a disc reads it."""
    lots, drives = list(bench.lots), list(bench.drives)

    def deal(number: int) -> Hand:
        box, place = divmod(number - 1, INNER_BOX)
        turn, lot = divmod(box, len(lots))
        drive = drives[(number - 1) % len(drives)]
        return Hand(lots[lot], turn * INNER_BOX + place + 1, drive, drive)

    return deal


def apart(bench: Bench) -> Deal:
    """Each lot on one drive only, so that nobody can tell which of the two is bad."""
    lots, drives = list(bench.lots), list(bench.drives)

    def deal(number: int) -> Hand:
        turn, lot = divmod(number - 1, len(lots))
        drive = drives[lot % len(drives)]
        return Hand(lots[lot], turn + 1, drive, drive)

    return deal


def history(bench: Bench, discs: int, shop: Shop | None = None, deal: Deal | None = None) -> Iterator[Line]:
    """The export lines of so many discs. Each is written, turned over, written, read, turned over and read.

    A side that failed is read once more, and when it fails again written once more, as often as the shop allows. All read lines say
    `simulated`, and so do the drives. Lines share inner values with one another: look at them, don't change them.
    """
    shop, deal = shop or Shop(), deal or alternately(bench)
    hands = [deal(number) for number in range(1, discs + 1)]
    for lot in bench.lots:
        most = max((hand.blank for hand in hands if hand.lot == lot), default=0)
        yield {"kind": "lot", "name": lot, "count": -(-most // INNER_BOX) * INNER_BOX}
    heads = max(layout.geometry.heads for layout in shop.layouts.values())
    tpi = max(layout.geometry.tpi for layout in shop.layouts.values())
    yield from ({"kind": "drive", "name": name, "tpi": tpi, "heads": heads, "simulated": True} for name in bench.drives)
    evening = _Evening(bench, shop)
    for first in range(0, discs, shop.per_batch):
        yield from evening.batch(first + 1, hands[first : first + shop.per_batch])


class _Evening:
    """Batch after batch at a bench; the clock goes on."""

    def __init__(self, bench: Bench, shop: Shop) -> None:
        self._bench, self._shop = bench, shop
        self._batches, self._uses = 0, 0
        self._sound = {side: _plain("", side, len(layout.geometry.addresses)) for side, layout in shop.layouts.items()}

    def batch(self, first: int, hands: list[Hand]) -> Iterator[Line]:
        """A batch of discs, the first of which has that number."""
        self._batches += 1
        name, shop = f"B-{self._batches:04}", self._shop
        serials = [serial(shop.catalogue, first + place) for place in range(len(hands))]
        yield {
            "kind": "batch",
            "batch": name,
            "master": shop.title,
            "catalogue": shop.catalogue,
            "digest": sha256(shop.title.encode()).hexdigest(),
            "sides": dict(shop.sides),
            "good": len(hands),
            "lots": list(self._bench.lots),
            "drives": list(self._bench.drives),
            "operator": None,
            "at": self._at(),
        }
        yield from ({"kind": "serial", "batch": name, "serial": each, "at": self._at()} for each in serials)
        for number, hand in zip(serials, hands, strict=True):
            yield from self._disc(name, number, hand)
        yield {"kind": "close", "batch": name, "at": self._at()}

    def _disc(self, batch: str, number: str, hand: Hand) -> Iterator[Line]:
        """A disc's reads; the side that was written last is read first."""
        blank = self._bench.blank(hand.lot, hand.blank)

        def write(layout: Layout) -> Writing:
            return self._bench.write(self._used(hand.wrote), blank, layout, number)

        own = {"serial": number, "batch": batch, "lot": hand.lot, "wrote": hand.wrote, "read_by": hand.read_by}
        written = {side: write(layout) for side, layout in self._shop.layouts.items()}
        count = 0
        for side, first in reversed(written.items()):
            for again in range(self._shop.rewrites + 1):
                writing = write(first.layout) if again else first
                seen: list[State] = []
                while not _settled(seen):
                    count += 1
                    judged = self._judged(number, side, count, self._bench.read(self._used(hand.read_by), writing))
                    seen.append(judged["verdict"])
                    yield {"kind": "read", **judged, **own, "read": count, "writing": again + 1, "at": self._at()}
                if seen[-1] != "fail":
                    break

    def _judged(self, number: str, side: str, count: int, read: Read) -> Line:
        """A read as a line of `verify`; all sound ones of a side are alike but for the serial."""
        name = f"copies/{number}-{side}-{count}.capture"
        on_disc = number if side in self._shop.slots else None
        if not read.spots:
            return self._sound[side] | {"readback": name, "on_disc": on_disc}
        found = tuple(Finding(*address, kind) for address, kind in read.findings(self._shop.turns).items())
        return _plain(name, side, len(read.writing.layout.geometry.addresses), found) | {"on_disc": on_disc}

    def _used(self, drive: str) -> str:
        """A drive that is about to be used, cleaned if it is time."""
        self._uses += 1
        wear = self._bench.wear.get(drive)
        if wear and self._shop.clean_every and wear.uses % self._shop.clean_every == 0:
            self._bench.clean(drive)
        return drive

    def _at(self) -> str:
        moment = self._shop.opened + timedelta(seconds=_SECONDS * self._uses)
        return f"{moment.isoformat(timespec='seconds')}Z"


def _plain(name: str, side: str, expected: int, found: tuple[Finding, ...] = ()) -> Line:
    """A capture's verdict as `verify` prints it."""
    good = expected - sum(finding.kind != "soft" for finding in found)
    return Verdict(name, side, None, "cells", None, expected, good, 0, True, found).plain()


def _settled(seen: list[State]) -> bool:
    """Whether a writing needs no further read: passed at once, passed twice after something else, failed twice, or read often enough."""
    return seen == ["pass"] or seen[-2:] == ["pass", "pass"] or seen.count("fail") == 2 or len(seen) == _READS
