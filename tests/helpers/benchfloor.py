"""A table in a test: a floor that stands for the ledger, drives and hands that take simulated time and go wrong as they are told.

Simple rules of its own: a side is good by its newest read, a writing that failed twice is spent, side A's pass falls with a newer writing of B.
"""

import heapq
from collections import Counter
from dataclasses import dataclass, field

from mastering.bench import floor as f
from mastering.bench.loop import Loop

WRITE, READ, PROBE, HANDS = 30.0, 25.0, 3.0, 6.0


@dataclass
class Side:
    row_written: int = 0
    writings: int = 0
    wrote: str | None = None
    reads: list[tuple[int, str, bool]] = field(default_factory=list)  # of the newest writing: row, drive, passed

    def standing(self, others_written: int) -> f.SideState:
        fails = [drive for _, drive, passed in self.reads if not passed]
        spent = len(fails) >= 2
        newest = self.reads[-1] if self.reads else None
        verdict = "open" if newest is None else "fail" if spent or not newest[2] else "pass"
        if verdict == "pass" and newest is not None and newest[0] < others_written:
            verdict = "open"
        return f.SideState(verdict, self.writings == 0 or (spent and self.writings < 2), self.wrote, tuple(fails))

    @property
    def lost(self) -> bool:
        return self.writings >= 2 and sum(not passed for *_, passed in self.reads) >= 2


class Floor:
    """The ledger of the test."""

    def __init__(self, sides=("A", "B"), blanks: int = 1000, each_side: bool = False) -> None:
        self.each_side = each_side
        self.sides, self.blanks = sides, blanks
        self.discs: dict[str, dict[str, Side]] = {}
        self.by_eye: set[str] = set()
        self.row = 0
        self.on_hold: set[str] = set()
        self.stop = False

    def disc(self, serial: str) -> f.DiscState:
        sides = self.discs[serial]
        states = {
            name: side.standing(0 if self.each_side else max((o.row_written for n, o in sides.items() if n != name), default=0))
            for name, side in sides.items()
        }
        rejected = serial in self.by_eye or any(side.lost for side in sides.values())
        order = ("pass", "open", "fail")
        verdict = "fail" if rejected else order[max(order.index(state.verdict) for state in states.values())]
        return f.DiscState(serial, verdict, rejected, states)

    def good(self, batch: str) -> int:
        return sum(self.disc(serial).verdict == "pass" for serial in self.discs)

    def hand_out(self, batch: str) -> str | None:
        if len(self.discs) >= self.blanks:
            return None
        serial = f"{len(self.discs) + 1:04}"
        self.discs[serial] = {side: Side() for side in self.sides}
        return serial

    def held(self, drive: str) -> bool:
        return drive in self.on_hold

    def stopped(self, batch: str) -> bool:
        return self.stop

    def wrote(self, serial: str, side: str, drive: str) -> None:
        self.row += 1
        old = self.discs[serial][side]
        self.discs[serial][side] = Side(self.row, old.writings + 1, drive)

    def read(self, serial: str, side: str, drive: str, passed: bool) -> None:
        self.row += 1
        self.discs[serial][side].reads.append((self.row, drive, passed))


@dataclass
class Medium:
    """What really lies somewhere: which serial was written on each face (None: nothing), and which face is up."""

    faces: dict[str, str | None]
    up: str = "A"
    number: str = ""


class Table:
    """Runs a loop over simulated time. `trouble`: called for each hands action and command, may answer with an event of its own."""

    def __init__(self, floor: Floor, works, trouble=None) -> None:
        self.floor, self.loop, self.trouble = floor, Loop(floor, works), trouble or (lambda table, what: None)
        self.now = 0.0
        self.queue: list = []
        self.log: list = []
        self.drives: dict[str, Medium] = {}
        self.aside: dict[str, Medium] = {}
        self.piles: dict[str, list[str]] = {"good": [], "bad": []}
        self.busy: Counter[str] = Counter()
        self.hand_time = 0.0
        self.count = 0

    def run(self, most: int = 3_000) -> "Table":
        self._take(self.loop.start())
        while self.queue:
            most -= 1
            assert most, "the loop never ends"
            self.now, _, event = heapq.heappop(self.queue)
            if callable(event):
                event = event()
            self._take(self.loop.handle(event))
        return self

    def _take(self, instructions) -> None:
        for each in instructions:
            self.log.append(each)
            if isinstance(each, f.Hands):
                self._later(HANDS, each, self._hands)
                self.hand_time += HANDS
                if each.drive:
                    self.busy[each.drive] += HANDS
            elif isinstance(each, f.Command):
                seconds = {"probe": PROBE, "write": WRITE, "read": READ}[each.what]
                self.busy[each.drive] += seconds
                self._later(seconds, each, self._command)

    def _later(self, seconds, instruction, act) -> None:
        self.count += 1
        heapq.heappush(self.queue, (self.now + seconds, self.count, lambda: self.trouble(self, instruction) or act(instruction)))

    def _hands(self, hands: f.Hands) -> f.HandsDone:
        label = None
        if hands.action == "insert":
            assert hands.drive not in self.drives, f"{hands.drive} holds a disc already"
            medium = Medium(dict.fromkeys(self.floor.sides)) if hands.fresh else self.aside.pop(hands.serial)
            medium.up, medium.number = "A", hands.serial
            for pile in self.piles.values():
                pile[:] = [serial for serial in pile if serial != hands.serial]
            self.drives[hands.drive] = medium
        elif hands.action == "move":
            source = next(name for name, medium in self.drives.items() if medium.number == hands.serial)
            assert hands.drive not in self.drives
            self.drives[hands.drive] = self.drives.pop(source)
        elif hands.action == "turn-over":
            self.drives[hands.drive].up = "B" if self.drives[hands.drive].up == "A" else "A"
        elif hands.action == "label":
            self.drives[hands.drive].up = "A"
            label = hands.serial
        elif hands.action.startswith("take-out"):
            medium = self.drives.pop(hands.drive)
            pile = hands.action.removeprefix("take-out").removeprefix("-")
            if pile:
                self.piles[pile].append(hands.serial)
            self.aside[hands.serial] = medium
        return f.HandsDone(label)

    def _command(self, command: f.Command):
        medium = self.drives[command.drive]
        if command.what == "probe":
            return f.Probed(command.drive, medium.faces[medium.up], medium.up if medium.faces[medium.up] else None)
        assert medium.up == command.side, f"{command} with {medium.up} up"
        if command.what == "write":
            medium.faces[medium.up] = command.serial
            self.floor.wrote(command.serial, command.side, command.drive)
            return f.Written(command.drive)
        assert medium.faces[medium.up] == command.serial
        self.floor.read(command.serial, command.side, command.drive, True)
        return f.WasRead(command.drive, "pass")
