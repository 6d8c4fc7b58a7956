"""Runs the loop: starts drives' commands, waits for them and for the hands, judges, records, and tells whoever watches.

The loop decides, the ledger remembers; this module only carries. It never waits for a drive while the hands can be asked for something.
"""

import re
import time
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from formats.errors import ContainerError
from mastering.bench import floor as f
from mastering.bench.drives import GuardError, check_ended, filled, least_seconds, read_file, refuse_stale
from mastering.bench.ledger_floor import LedgerFloor
from mastering.bench.loop import Loop
from mastering.bench.settings import Bench, Drive
from mastering.bench.worksite import Worksite
from mastering.command import Ended, Running
from mastering.errors import MasteringError

Event = dict[str, Any]
_TICK = 0.02  # seconds between two looks at what is at work
_LABEL = re.compile(r"\S+")


class Operator(Protocol):
    """Who does what the hands are asked for: a person at a terminal, or a program."""

    def ask(self, hands: f.Hands) -> None:
        """Begins to ask for an action."""

    def answer(self) -> f.HandsDone | None:
        """What was done, once it was."""

    def tick(self, runner: "Runner") -> None:
        """Called all the time, to draw and to take keys."""


@dataclass
class AtWork:
    """A drive's command at work, and what it is for."""

    command: f.Command
    running: Running
    output: Path | None = None
    written: bytes | None = None
    least: float = 0.0


@dataclass
class Runner:
    """A run of some batches at a bench. `sites`: the batches by name; `report`: takes each event as it happens."""

    bench: Bench
    ledger_floor: LedgerFloor
    loop: Loop
    sites: Mapping[str, Worksite]
    operator: Operator
    report: Callable[[Event], None]
    site_of: Callable[[str], Worksite]
    print_label: Callable[[str], None] = lambda serial: None
    simulated: bool = False
    at_work: dict[str, AtWork] = field(default_factory=dict)
    _events: deque[f.Event] = field(default_factory=deque)

    def run(self) -> None:
        """Runs until there is nothing left to do. Commands at work are ended when it is interrupted."""
        try:
            self.carry_out(self.loop.start())
            while not self.loop.over:
                self.step()
        finally:
            for work in self.at_work.values():
                work.running.stop()

    @property
    def current_site(self) -> Worksite | None:
        """The batch that is worked on now; None when there is none."""
        return next((self.sites[job.batch.name] for job in self.loop.jobs), None)

    @property
    def progress(self) -> tuple[int, int]:
        """How many discs the batch that is worked on wants, and how many good ones it has."""
        job = next(iter(self.loop.jobs), None)
        return (job.batch.wanted, self.ledger_floor.good(job.batch.name)) if job else (0, 0)

    def step(self) -> None:
        """One look at everything that is at work, and all that follows from it."""
        self.operator.tick(self)
        done = self.operator.answer()
        if done is not None:
            self.carry_out(self.loop.handle(done))
        for drive, work in list(self.at_work.items()):
            ended = work.running.poll()
            if ended is not None:
                del self.at_work[drive]
                self._events.append(self._finished(work, ended))
        if not self._events and done is None:
            time.sleep(_TICK)
        while self._events:
            self.carry_out(self.loop.handle(self._events.popleft()))

    # Instructions

    def carry_out(self, instructions: list[f.Instruction]) -> None:
        """Does what the loop asks for."""
        for each in instructions:
            if isinstance(each, f.Hands):
                self._say("hands", each.drive, each.serial, None, action=each.action, face=each.face, why=each.why)
                self.operator.ask(each)
            elif isinstance(each, f.Command):
                self._start(each)
            elif isinstance(each, f.PrintLabel):
                self.print_label(each.serial)
            elif isinstance(each, f.Guard):
                self._say("guard", each.drive, each.serial, each.side, kind=each.kind, say=each.say)
            else:
                self._batch_done(each)

    def _start(self, command: f.Command) -> None:
        """Starts a drive's command; what can't be started is the loop's next event."""
        try:
            self.at_work[command.drive] = self._begun(command)
        except (GuardError, MasteringError) as error:
            kind = error.kind if isinstance(error, GuardError) else "command-failed"
            self._events.append(f.Guarded(command.drive, kind, str(error)))

    def _begun(self, command: f.Command) -> AtWork:
        drive, site = self.bench.drives[command.drive], self.site_of(command.serial)
        values = {"side": command.side, "serial": command.serial, "drive": command.drive}
        if command.what == "write":
            self._say("writing", command.drive, command.serial, command.side)
            for key in ("dump", "capture"):
                if any(f"{{{key}}}" in argument for argument in drive.write):
                    values[key] = str(site.image(command.serial, command.side, key == "capture"))
            return AtWork(command, Running(filled(drive.write, values), drive.seconds))
        if command.what == "read":
            self._say("reading", command.drive, command.serial, command.side)
        return self._reading(command, drive, site, values)

    def _reading(self, command: f.Command, drive: Drive, site: Worksite, values: dict[str, str]) -> AtWork:
        """A read, or a probe, by the drive's own command for it."""
        output = site.new_output(command.serial, command.side, command.what, drive.output)
        refuse_stale(output)
        cylinders = site.probe_cylinders(command.side)
        short = command.what == "probe" and bool(drive.probe)
        values |= {"output": str(output), "tracks": ",".join(map(str, cylinders))}
        arguments = drive.probe if short else drive.read
        least = least_seconds(site.geometry(command.side), drive.turns, len(cylinders) if short else None)
        written = (
            site.image(command.serial, command.side, True).read_bytes() if drive.output == ".capture" and command.what == "read" else None
        )
        return AtWork(command, Running(filled(arguments, values), drive.seconds), output, written, least)

    # What came of it

    def _finished(self, work: AtWork, ended: Ended) -> f.Event:
        """What the end of a command means."""
        command = work.command
        drive, site = self.bench.drives[command.drive], self.site_of(command.serial)
        try:
            if command.what == "write":
                check_ended(ended, drive)
                self.ledger_floor.wrote(command.serial, command.side, command.drive)
                return f.Written(command.drive)
            assert work.output is not None
            read = read_file(ended, drive, work.output, site.geometry(command.side), work.least, work.written)
            if command.what == "probe":
                return self._probed(site, command, read)
            return self._recorded(site, command, read)
        except GuardError as error:
            return f.Guarded(command.drive, error.kind, str(error))
        except (MasteringError, ContainerError) as error:
            return f.Guarded(command.drive, "command-failed", str(error))

    def _probed(self, site: Worksite, command: f.Command, read: Path) -> f.Event:
        try:
            return site.met(read, command.serial, command.side, command.drive)
        finally:
            with suppress(OSError):
                read.unlink()

    def _recorded(self, site: Worksite, command: f.Command, read: Path) -> f.Event:
        line = site.record(read, command.serial, command.side, command.drive)
        geometry = site.geometry(command.side)
        held, again = self.ledger_floor.hold_after(line, geometry.cylinders * geometry.heads)
        with self.ledger_floor.ledger.read() as known:
            disc = known.known_disc(command.serial).plain()
        self._say(
            "verdict", command.drive, command.serial, command.side, **(disc | {"read": line["verdict"], "diagnosis": line["diagnosis"]})
        )
        for drive in held:
            self._say("hold", drive, command.serial, command.side, why=self.ledger_floor.watch.reason(drive))
        return f.WasRead(command.drive, line["verdict"], line["diagnosis"], held, again)

    def _batch_done(self, done: f.BatchDone) -> None:
        with self.ledger_floor.ledger.read() as known:
            batch = known.batch(done.batch)
            counts = known.counts(batch)
            good = [disc.serial for disc in known.discs(batch) if disc.verdict == "pass"]
        if self.bench.label and self.bench.label_when == "after":
            for serial in good:
                self.print_label(serial)
        self._say("done", None, None, None, batch=done.batch, good=counts["pass"], wanted=batch.line["good"], discs=counts)

    def _say(self, event: str, drive: str | None, serial: str | None, side: str | None, /, **more: Any) -> None:
        from mastering.clock import now

        self.report({"event": event, "at": now(), "drive": drive, "serial": serial, "side": side} | more)


@dataclass
class ProgramHands:
    """Hands that are a program: a loader, or a script that does what a person's hands would. `say`: takes what it reports."""

    arguments: tuple[str, ...]
    seconds: float = 600.0
    _running: Running | None = None
    _hands: f.Hands | None = None

    def ask(self, hands: f.Hands) -> None:
        """Starts the program for one action."""
        values = {"action": hands.action, "drive": hands.drive or "", "serial": hands.serial, "side": hands.face}
        self._hands, self._running = hands, Running(filled(self.arguments, values), self.seconds)

    def answer(self) -> f.HandsDone | None:
        """What the program did, once it has ended. MasteringError when it could not do it: nobody else has hands here."""
        if self._running is None or self._hands is None:
            return None
        ended = self._running.poll()
        if ended is None:
            return None
        hands, self._running = self._hands, None
        if hands.action == "look" and ended.why == "ended":
            return f.HandsDone(rubbed=ended.status != 0)
        if ended.why != "ended" or ended.status != 0:
            raise MasteringError(f"hands: {hands.action} of {hands.serial} in {hands.drive} was not done: {ended.last_line or ended.why}")
        label = _LABEL.findall(ended.console)
        return f.HandsDone(label[-1] if label and hands.action == "label" else None)

    def tick(self, runner: Runner) -> None:
        """Nothing to draw."""
