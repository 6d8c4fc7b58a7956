"""A day's work: discs and blanks for so many boxes, and who is busy when, a pair of hands and one or more drives. Pure.

Every drive goes through a disc's steps; between them it waits for the hands. The hands serve the drive that has waited longest,
and pack the good discs while no drive waits; packing can be put down at any moment. A step takes what was given, else what the
ledger says, else a default.
"""

import heapq
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from typing import Any, Literal

from mastering.deciding.planning import Need
from mastering.errors import MasteringError

Who = Literal["hands", "drive"]
From = Literal["ledger", "given", "default"]

# Seconds. They come to 7 minutes a box with one drive, 2 h 20 min for 20 boxes: common practice; how the steps share them is from memory.
DEFAULTS = {"insert": 15.0, "write": 85.0, "turn-over": 15.0, "read": 80.0, "take-out": 15.0, "pack": 210.0}


@dataclass(frozen=True)
class Steps:
    """Seconds of each step, and where each number is from."""

    seconds: Mapping[str, float]
    origin: Mapping[str, From]

    @classmethod
    def of(cls, ledger: Mapping[str, float] | None = None, given: Mapping[str, float] | None = None) -> "Steps":
        """What was given, else what the ledger's own times say, else the default. MasteringError for an unknown step or no time."""
        ledger, given = ledger or {}, given or {}
        for name, seconds in {**ledger, **given}.items():
            if name not in DEFAULTS:
                raise MasteringError(f"step {name}: not a step of the work; known: {', '.join(DEFAULTS)}")
            if not 0 <= seconds < 86_400:
                raise MasteringError(f"step {name}: {seconds} seconds: expected 0 or more, and less than a day")
        origin: dict[str, From] = {name: "given" if name in given else "ledger" if name in ledger else "default" for name in DEFAULTS}
        return cls({**DEFAULTS, **ledger, **given}, origin)


@dataclass(frozen=True)
class Work:
    """What is to be made. `per_box`: discs in a box; `sides`: of a disc; `each_side`: read right after writing, before turning over."""

    boxes: int
    per_box: int = 1
    sides: int = 2
    each_side: bool = False

    def __post_init__(self) -> None:
        if self.boxes < 1 or self.per_box < 1 or self.sides not in (1, 2):
            asked = f"{self.boxes} boxes of {self.per_box} discs with {self.sides} sides"
            raise MasteringError(f"plan: {asked}: expected 1 or more of each, and 1 or 2 sides")

    @property
    def discs(self) -> int:
        """Good discs that are wanted."""
        return self.boxes * self.per_box


@dataclass(frozen=True)
class Day:
    """When it is done: minutes from the start, the minutes that the hands and the drives (summed) are busy."""

    minutes: float
    hand_minutes: float
    drive_minutes: float


@dataclass(frozen=True)
class DayPlan:
    """A day's work. `written`: the blanks that it takes on average; `blanks`: those to lay out, to be sure; `one_more`: one drive more.

    `backlog`: boxes that wait to be made, today's among them; `left`: the blanks that the usable lots have left; None when nobody said.
    """

    work: Work
    drives: int
    blanks: int
    written: int
    day: Day
    one_more: Day
    steps: Steps
    start: datetime
    backlog: int | None = None
    left: int | None = None

    @property
    def finish(self) -> datetime:
        """When the last box is sealed."""
        return self.start + timedelta(minutes=self.day.minutes)

    @property
    def days(self) -> int | None:
        """How many days like this the backlog lasts."""
        return None if self.backlog is None else ceil(self.backlog / self.work.boxes)

    def plain(self) -> dict[str, Any]:
        """A line of `plan --json`."""
        line: dict[str, Any] = {
            "boxes": self.work.boxes,
            "discs": self.work.discs,
            "blanks": self.blanks,
            "sides": self.written * self.work.sides,
        }
        line |= {"minutes": round(self.day.minutes, 1), "hand_minutes": round(self.day.hand_minutes, 1)}
        line |= {"drive_minutes": round(self.day.drive_minutes, 1), "finish": self.finish.strftime("%Y-%m-%dT%H:%M:%SZ")}
        line |= {"drives": self.drives, "one_more_drive_saves": round(self.saves, 1), "steps": dict(self.steps.origin)}
        line |= {"seconds": {name: round(seconds, 1) for name, seconds in self.steps.seconds.items()}}
        return line | {"backlog": self.backlog, "days": self.days, "left": self.left}

    @property
    def saves(self) -> float:
        """Minutes that one more drive would save."""
        return max(self.day.minutes - self.one_more.minutes, 0.0)


def plan(
    work: Work, blanks: Need, drives: int, steps: Steps, start: datetime, backlog: int | None = None, left: int | None = None
) -> DayPlan:
    """The day. `blanks`: what `need` says for `work.discs`; its rate of bad discs is what the schedule reckons with.

    MasteringError without a drive.
    """
    if drives < 1:
        raise MasteringError(f"plan: {drives} drives that can work: expected 1 or more; name a number with --drives, or see `drive list`")
    written = max(work.discs, round(work.discs / (1 - blanks.rate)))
    days = [schedule(work, written, count, steps) for count in (drives, drives + 1)]
    return DayPlan(work, drives, blanks.load, written, days[0], days[1], steps, start, backlog, left)


def cycle(work: Work) -> list[tuple[Who, str]]:
    """A disc's steps in their order, and who does them."""
    write: tuple[Who, str] = ("drive", "write")
    read: tuple[Who, str] = ("drive", "read")
    turn: tuple[Who, str] = ("hands", "turn-over")
    if work.sides == 1:
        middle = [write, read]
    elif work.each_side:
        middle = [write, read, turn, write, read]
    else:
        middle = [write, turn, write, read, turn, read]
    return [("hands", "insert"), *middle, ("hands", "take-out")]


def schedule(work: Work, written: int, drives: int, steps: Steps) -> Day:
    """Discs dealt to the drives as they become free; the bad ones are spread evenly among them."""
    bench = _Bench(work, written, drives, steps)
    while bench.busy:
        bench.step()
    return Day(bench.now / 60, bench.hands / 60, bench.drives / 60)


class _Bench:
    """Who does what, in seconds; one event after another."""

    def __init__(self, work: Work, written: int, drives: int, steps: Steps) -> None:
        self.now = self.hands = self.drives = 0.0
        self._seconds, self._cycle = steps.seconds, cycle(work)
        self._per_box, self._written, self._good = work.per_box, written, work.discs
        self._done = self._loose = 0
        self._to_pack = 0.0
        self._begun = min(drives, written)
        self._waiting: deque[tuple[int, int]] = deque((drive, 0) for drive in range(self._begun))  # drive, its next step
        self._running: list[tuple[float, int, int]] = []  # until, drive, the step behind

    @property
    def busy(self) -> bool:
        return bool(self._waiting or self._running or self._to_pack)

    def step(self) -> None:
        """The hands' next step, or packing until a drive needs them, or the time until one does."""
        while self._running and self._running[0][0] <= self.now:
            self._waiting.append(heapq.heappop(self._running)[1:])
        if self._waiting:
            self._serve(*self._waiting.popleft())
            return
        packed = min(self._running[0][0] - self.now, self._to_pack) if self._running else self._to_pack
        self.now = self._running[0][0] if self._running else self.now + packed
        self._to_pack -= packed
        self.hands += packed

    def _serve(self, drive: int, place: int) -> None:
        """One step of the hands at a drive, which then runs on by itself."""
        self._work(self._cycle[place][1])
        place += 1
        if place == len(self._cycle):
            self._take_out(drive)
            return
        seconds = 0.0
        while self._cycle[place][0] == "drive":
            seconds += self._seconds[self._cycle[place][1]]
            place += 1
        self.drives += seconds
        heapq.heappush(self._running, (self.now + seconds, drive, place))

    def _take_out(self, drive: int) -> None:
        """A disc is done; the next blank goes in."""
        self._done += 1
        before, after = ((count * self._good) // self._written for count in (self._done - 1, self._done))
        boxes, self._loose = divmod(self._loose + after - before, self._per_box)
        self._to_pack += boxes * self._seconds["pack"]
        if self._begun < self._written:
            self._begun += 1
            self._waiting.appendleft((drive, 0))

    def _work(self, step: str) -> None:
        self.now += self._seconds[step]
        self.hands += self._seconds[step]
