"""The discs at the table, and the one pair of hands: what it was asked for, what waits, and which drive that leaves free. Pure."""

from collections import Counter, deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from mastering.bench.floor import BatchWork, Face, Hands, HandsAction

GONE: tuple[HandsAction, ...] = ("take-out", "take-out-good", "take-out-bad")

State = Literal["idle", "hands", "command", "waiting"]


@dataclass
class Job:
    """A disc at the table. `drive`: the one that it lies in, None while it lies in none; `face`: the side that is up there.

    `probed`: what lies in the drive was looked at since hands last touched it. `removal`: how it leaves the table, whatever it still needs.
    `look`: it must be looked at before. `reread`: the side that is read once more, whatever its verdict. `guards`: how often each guard
    stopped this `step`.
    """

    serial: str
    batch: BatchWork
    fresh: bool
    drive: str | None = None
    face: Face = "A"
    labelled: bool = False
    printed: bool = False
    probed: bool = False
    state: State = "idle"
    removal: HandsAction | None = None
    look: bool = False
    reread: str | None = None
    guards: Counter[str] = field(default_factory=Counter)
    step: tuple[str, str | None] = ("", None)


class HandsQueue:
    """What one pair of hands is asked for: one action at a time, the others in the order in which they came up."""

    def __init__(self) -> None:
        self._asked: deque[tuple[Job, Hands]] = deque()
        self._now: tuple[Job, Hands] | None = None

    @property
    def now(self) -> Hands | None:
        """What the hands were asked to do and have not done yet."""
        return self._now[1] if self._now else None

    @property
    def after_that(self) -> Hands | None:
        """What they are asked to do when that is done, as far as it is known by now."""
        return self._asked[0][1] if self._asked else None

    @property
    def idle(self) -> bool:
        """Whether nothing is asked of them."""
        return self._now is None and not self._asked

    @property
    def coming_back(self) -> int:
        """How many discs they are to lay aside that are put in again later."""
        return sum(hands.returns for _, hands in self._pending())

    def ask(self, job: Job, hands: Hands) -> None:
        """Queues an action on a disc."""
        job.state = "hands"
        self._asked.append((job, hands))

    def next(self) -> Hands | None:
        """The next action, if the hands are free and one waits."""
        if self._now is None and self._asked:
            self._now = self._asked.popleft()
            return self._now[1]
        return None

    def done(self) -> tuple[Job, Hands]:
        """The action that the hands had, and its disc: they are free now."""
        assert self._now is not None
        done, self._now = self._now, None
        done[0].state = "idle"
        return done

    def lies_in(self, jobs: Iterable[Job], drive: str, soon: bool = False) -> Job | None:
        """The disc that lies in a drive, or is to be put into it. `soon`: one that the hands are to take away leaves room."""
        pending = self._pending()
        leaving = {id(job) for job, hands in pending if soon and (hands.action in GONE or hands.action == "move")}
        lying = (job for job in jobs if job.drive == drive and id(job) not in leaving)
        coming = (job for job, hands in pending if hands.action in ("insert", "move") and hands.drive == drive)
        return next(lying, None) or next(coming, None)

    def _pending(self) -> list[tuple[Job, Hands]]:
        return [*([self._now] if self._now else []), *self._asked]
