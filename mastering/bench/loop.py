"""The order of the work at the bench: one state machine, events in, instructions out.

It has no screen, no clock and no thread of its own. What a disc needs next is never remembered: it follows, each time, from how the ledger
says that the disc stands (`route.next_work`) and from where the disc lies. So a run that was killed goes on where the discs really are.

One operator has one pair of hands: at most one `Hands` is asked for at a time, the others wait in the order in which they came up, those
that bring a drive to work first. Drives work beside each other.
"""

from collections import Counter, deque
from collections.abc import Sequence
from typing import cast

from mastering.bench.floor import (
    BatchDone,
    BatchWork,
    Command,
    DiscState,
    Event,
    Face,
    Floor,
    Guard,
    Guarded,
    GuardKind,
    Hands,
    HandsAction,
    HandsDone,
    Instruction,
    PrintLabel,
    Probed,
    Station,
    WasRead,
    What,
    Written,
)
from mastering.bench.hands_queue import GONE, HandsQueue, Job
from mastering.bench.route import Work, drives_for, is_served, next_work, writers

MOST_GUARDS = 3  # of a kind in one step: then the disc is put aside
MOST_DISCS_ASIDE = 2  # running, at one drive: then the drive is used no more in this run
_STRANGERS = {"finished-disc", "rejected-disc", "other-title", "returned-disc", "wrong-drive", "no-disc"}


class Loop:
    """The work of a bench on some batches, one after the other."""

    def __init__(self, floor: Floor, batches: Sequence[BatchWork]) -> None:
        self._floor = floor
        self._batches = deque(batches)
        self._begun: deque[tuple[str, str | None]] = deque()
        self._out_of_use: Counter[str] = Counter()
        self._jobs: list[Job] = []
        self._hands = HandsQueue()
        self._out: list[Instruction] = []
        self._paused = False
        self._stopping = False
        self._take_up()

    # What others ask and say

    @property
    def over(self) -> bool:
        """Whether there is nothing left to do."""
        return not self._jobs and (self._stopping or not self._batches)

    @property
    def jobs(self) -> Sequence[Job]:
        """The discs at the table."""
        return tuple(self._jobs)

    @property
    def in_hand(self) -> Hands | None:
        """What the operator was asked to do and has not done yet."""
        return self._hands.now

    @property
    def after_that(self) -> Hands | None:
        """What the operator is asked to do when that is done, as far as it is known by now."""
        return self._hands.after_that

    def start(self) -> list[Instruction]:
        """The first instructions."""
        return self._advance()

    def pause(self, paused: bool) -> list[Instruction]:
        """Begins no command and asks for no hands while it is paused; what is at work ends."""
        self._paused = paused
        return self._advance()

    def stop(self) -> list[Instruction]:
        """Begins no more discs; those at the table are finished."""
        self._stopping = True
        return self._advance()

    def reject(self) -> list[Instruction]:
        """The disc in hand was rejected by eye (its row is in the ledger): what was asked for is asked no more."""
        if self._hands.now:
            self._hands.done()
        return self._advance()

    def handle(self, event: Event) -> list[Instruction]:
        """What follows from something that happened."""
        if isinstance(event, HandsDone):
            self._hands_done(event)
        else:
            job = next(job for job in self._jobs if job.drive == event.drive and job.state == "command")
            job.state = "idle"
            self._command_ended(job, event)
        return self._advance()

    # What happened

    def _hands_done(self, event: HandsDone) -> None:
        job, hands = self._hands.done()
        job.probed = False
        if hands.action in GONE:
            self._taken_out(job, hands)
        elif hands.action == "label":
            self._label_stuck(job, event)
        elif hands.action == "look":
            job.look = False
            job.removal = "take-out-bad" if event.rubbed else "take-out"
        else:
            job.drive, job.face = hands.drive, hands.face

    def _taken_out(self, job: Job, hands: Hands) -> None:
        job.drive = None
        if not hands.returns:
            self._jobs.remove(job)  # good, bad, or put aside: it is at this table no more

    def _label_stuck(self, job: Job, event: HandsDone) -> None:
        job.face = "A"
        if event.label == job.serial:
            job.labelled = True
        else:
            job.printed = False
            self._stop_at(job, "wrong-label" if event.label else "no-label", event.label or "")

    def _command_ended(self, job: Job, event: Event) -> None:
        if isinstance(event, Guarded):
            self._stop_at(job, event.kind, event.say)
        elif isinstance(event, Probed):
            self._probe_ended(job, event)
        elif isinstance(event, Written):
            job.fresh = False
            self._out_of_use.pop(event.drive, None)
        elif isinstance(event, WasRead):
            self._was_read(job, event)

    def _was_read(self, job: Job, event: WasRead) -> None:
        job.reread = None
        self._out_of_use.pop(event.drive, None)
        self._begun.extend(event.again)
        if event.held:
            job.look, job.removal = True, "take-out"
        elif event.diagnosis == "other-side":
            self._other_side(job)

    def _probe_ended(self, job: Job, event: Probed) -> None:
        if event.stranger is not None:
            self._stop_at(job, event.stranger)
        elif event.serial == job.serial and event.side not in (None, job.face):
            self._stop_at(job, "not-turned-over")
        else:
            job.probed = True

    def _other_side(self, job: Job) -> None:
        """The face that is up is not the one that was asked for: at the last look of a labelled disc its label is on the wrong face."""
        self._stop_at(job, "faces-swapped" if job.labelled and job.face == "A" else "not-turned-over")

    def _stop_at(self, job: Job, kind: GuardKind, say: str = "") -> None:
        """A guard: what it asks of the hands; the third of a kind in one step puts the disc aside."""
        self._out.append(Guard(kind, job.drive, job.serial, job.step[1], say))
        job.guards[kind] += 1
        if job.guards[kind] >= MOST_GUARDS:
            job.removal = "take-out"
            if job.drive is not None:
                self._out_of_use[job.drive] += 1
        elif kind == "not-turned-over":
            self._ask(job, "turn-over", why=kind)
        elif kind in _STRANGERS:
            self._ask(job, "take-out", returns=True, why=kind)
        elif kind not in ("wrong-label", "no-label", "faces-swapped"):
            self._ask(job, "reseat", why=kind)

    # What follows

    def _advance(self) -> list[Instruction]:
        if not self._paused:
            for job in list(self._jobs):
                if job.state in ("idle", "waiting"):
                    self._decide(job)
            self._begin_discs()
            self._untangle()
            self._next_hands()
        self._end_batches()
        out, self._out = self._out, []
        return out

    def _decide(self, job: Job) -> None:
        """The next thing for a disc that nobody works on."""
        disc = self._floor.disc(job.serial)
        if job.removal is None and job.drive is not None and self._is_out(job.drive):
            job.removal = "take-out"
        if job.look:
            self._ask(job, "look")
        elif job.removal is not None:
            self._finish(job, "take-out-bad" if disc.rejected else job.removal)
        else:
            self._go_on(job, disc, self._work_for(job, disc))

    def _work_for(self, job: Job, disc: DiscState) -> Work:
        again = job.reread is not None and not disc.rejected
        return Work("read", job.reread) if again else next_work(disc, job.batch.rules, job.face, job.labelled)

    def _is_out(self, drive: str) -> bool:
        """Whether a drive is not to be used: it is on hold, or its commands failed with one disc after the other."""
        return self._floor.held(drive) or self._out_of_use[drive] >= MOST_DISCS_ASIDE

    def _go_on(self, job: Job, disc: DiscState, work: Work) -> None:
        if (work.need, work.side) != job.step:
            job.step, job.guards = (work.need, work.side), Counter()
        if work.need in ("good", "bad", "aside"):
            actions: dict[str, HandsAction] = {"good": "take-out-good", "bad": "take-out-bad", "aside": "take-out"}
            self._finish(job, actions[work.need])
        elif work.need == "label":
            self._label(job)
        else:
            self._work_on_side(job, disc, work)

    def _finish(self, job: Job, action: HandsAction) -> None:
        if job.drive is None:  # it stands so already: nobody needs it at the table
            self._jobs.remove(job)
        else:
            self._ask(job, action)

    def _label(self, job: Job) -> None:
        if not job.printed:
            job.printed = True
            self._out.append(PrintLabel(job.serial))
        self._ask(job, "label")

    def _work_on_side(self, job: Job, disc: DiscState, work: Work) -> None:
        """Brings a disc into a drive for a writing or a read, the right face up, and begins it."""
        side = cast(Face, work.side)
        wanted = drives_for(work, disc, self._in_use(job.batch), self._swapped(job.batch))
        if not wanted:
            self._finish(job, "take-out")  # a drive's check comes first
            return
        soon = job.fresh and job.drive is None and not any(each.state == "waiting" for each in self._jobs)
        free = [name for name in wanted if self._hands.lies_in(self._jobs, name, soon) in (None, job)]
        if not free:
            self._wait_for_a_drive(job)
        elif job.drive is None:
            self._ask(job, "insert", free[0])
        elif job.drive not in free:
            self._ask(job, "move", free[0])
        elif job.face != side:
            self._ask(job, "turn-over")
        elif work.need == "write" and job.batch.rules.probe and not job.probed:
            self._begin(job, "probe", side)
        else:
            self._begin(job, "write" if work.need == "write" else "read", side)

    def _wait_for_a_drive(self, job: Job) -> None:
        """Lets a disc wait where it is; from three drives on the table has room for a few, so that their drives go on with other discs."""
        if job.drive is not None and self._on_the_table() < len(self._in_use(job.batch)) - 2:
            self._ask(job, "take-out", returns=True)
        else:
            job.state = "waiting"

    def _on_the_table(self) -> int:
        """The discs that lie in no drive and wait for one, or are to be laid there."""
        return sum(job.drive is None and job.state == "waiting" for job in self._jobs) + self._hands.coming_back

    def _swapped(self, batch: BatchWork) -> bool:
        """Whether the second half of a batch is at work."""
        return 2 * self._floor.good(batch.name) >= batch.wanted

    def _begin(self, job: Job, what: What, side: str) -> None:
        assert job.drive is not None
        job.state = "command"
        self._out.append(Command(what, job.drive, job.serial, side))

    def _ask(self, job: Job, action: HandsAction, drive: str | None = None, *, returns: bool = False, why: GuardKind | None = None) -> None:
        """Queues an action of the hands on a disc; `drive` where it is another one than the one that it lies in."""
        turned: Face = job.face if why == "not-turned-over" else "B" if job.face == "A" else "A"
        faces: dict[HandsAction, Face] = {"insert": "A", "label": "A", "turn-over": turned}
        source, fresh = job.drive if action == "move" else None, job.fresh and action == "insert"
        hands = Hands(action, job.serial, drive or job.drive, faces.get(action, job.face), fresh, returns, why, source)
        self._hands.ask(job, hands)

    # Discs begun, drives that wait for each other, hands

    def _begin_discs(self) -> None:
        """Brings discs to drives that have none, those that were begun before first."""
        while self._batches and not self._stopping and self._has_room(self._batches[0]):
            job = self._next_job(self._batches[0])
            if job is None:
                return
            self._jobs.append(job)
            self._decide(job)

    def _has_room(self, batch: BatchWork) -> bool:
        """Whether a drive is free: for a disc that was begun before any, for a new one one that writes the first side."""
        stations = self._in_use(batch)
        names = [each.name for each in stations] if self._begun else writers(stations, batch.sides[0], self._swapped(batch))
        soon = not any(job.state == "waiting" for job in self._jobs)
        few = self._on_the_table() < max(1, len(stations) - 1)
        return few and is_served(stations, batch.sides) and any(self._hands.lies_in(self._jobs, name, soon) is None for name in names)

    def _in_use(self, batch: BatchWork) -> list[Station]:
        return [station for station in batch.stations if not self._is_out(station.name)]

    def _next_job(self, batch: BatchWork) -> Job | None:
        for _ in range(len(self._begun)):
            serial, reread = self._begun.popleft()
            disc = self._floor.disc(serial)
            if any(job.serial == serial for job in self._jobs):
                self._begun.append((serial, reread))  # it has to leave the table first
            elif not disc.rejected and (reread or disc.verdict != "pass"):
                return Job(serial, batch, fresh=all(state.to_write for state in disc.sides.values()), reread=reread)
        if self._floor.stopped(batch.name) or self._floor.good(batch.name) + self._at_work(batch) >= batch.wanted:
            return None
        serial_new = self._floor.hand_out(batch.name)
        return None if serial_new is None else Job(serial_new, batch, fresh=True)

    def _at_work(self, batch: BatchWork) -> int:
        """The discs at the table that may still become good."""
        discs = (self._floor.disc(job.serial) for job in self._jobs if job.batch is batch and job.removal is None)
        return sum(not disc.rejected and disc.verdict != "pass" for disc in discs)

    def _untangle(self) -> None:
        """Puts a disc aside where all that lie in drives wait for each other's drive."""
        if self._hands.idle and all(job.state == "waiting" for job in self._jobs):
            job = next((job for job in self._jobs if job.drive is not None), None)
            if job is not None:
                self._ask(job, "take-out", returns=True)

    def _next_hands(self) -> None:
        hands = self._hands.next()
        if hands is not None:
            self._out.append(hands)

    def _end_batches(self) -> None:
        """Goes on to the next batch when one has no more work."""
        while self._batches and not self._jobs and not self._paused:
            self._out.append(BatchDone(self._batches.popleft().name))
            self._take_up()
            if not self._stopping:
                self._begin_discs()
                self._next_hands()

    def _take_up(self) -> None:
        """Takes up the discs of the first batch that were begun before."""
        self._begun = deque((serial, None) for serial in self._batches[0].begun) if self._batches else deque()
