"""A run as it is opened: bench file against ledger, batches against drives; all problems come before anything is written."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mastering.bench.floor import BatchWork, Rules
from mastering.bench.holds import HoldWatch
from mastering.bench.label_printer import LabelPrinter
from mastering.bench.ledger_floor import LedgerFloor, Stamp, batch_work
from mastering.bench.loop import Loop
from mastering.bench.runner import Operator, Runner
from mastering.bench.settings import Bench
from mastering.bench.worksite import Worksite
from mastering.errors import MasteringError, ProblemsError
from mastering.ledger.lookup import Lookup
from mastering.ledger.store import Ledger
from mastering.ledger.tables import DRIVES
from mastering.recording.masters import AtHand, find_master


@dataclass(frozen=True)
class RunRequest:
    """What a run was asked to do. `folder`: where its images and read-backs lie; `shelves`: folders in which masters are looked for."""

    batches: tuple[str, ...]
    folder: Path
    shelves: tuple[Path, ...] = ()
    probe: bool = True
    operator: str | None = None


def open_run(
    ledger: Ledger, bench: Bench, request: RunRequest, operator: Operator, stamp: Stamp, report: Callable[[dict[str, Any]], None]
) -> Runner:
    """A run that is ready to go. ProblemsError names all that does not fit together."""
    floor = LedgerFloor(ledger, stamp, HoldWatch(bench.hold_after, bench.hold_share))
    with ledger.read() as known:
        problems = [*_unfit_drives(known, bench), *_unfit(known, request.batches)]
        if problems:
            raise ProblemsError(problems)
        rules = {name: _rules(known, name, bench, request) for name in request.batches}
        works = [batch_work(known, name, bench.drives, rules[name]) for name in request.batches]
        lines = tuple(each.line for each in known.batches())
        found = {name: known.batch(name) for name in request.batches}
        simulated = all(known.drive(name)["simulated"] for name in bench.drives)
    problems = [problem for work in works for problem in _unserved(work)]
    if problems:
        raise ProblemsError(problems)
    others = AtHand(ledger.path, lines, request.shelves)
    sites = {
        name: Worksite(floor, name, find_master(batch, ledger.path, request.shelves), others, request.folder / name, request.operator)
        for name, batch in found.items()
    }
    runner_sites = _SitesBySerial(ledger, sites)
    printer = LabelPrinter(bench.label, floor, request.folder / "labels")
    return Runner(bench, floor, Loop(floor, works), sites, operator, report, runner_sites.site, printer.print, simulated)


@dataclass
class _SitesBySerial:
    """The batch that each disc is of."""

    ledger: Ledger
    sites: dict[str, Worksite]

    def site(self, serial: str) -> Worksite:
        with self.ledger.read() as known:
            return self.sites[known.known_disc(serial).batch.name]


def _rules(known: Lookup, name: str, bench: Bench, request: RunRequest) -> Rules:
    batch = known.batch(name)
    return Rules(batch.each_side, request.probe, bool(bench.label), bench.label_when)


def _unfit_drives(known: Lookup, bench: Bench) -> list[str]:
    names = known.ids(DRIVES)
    problems = [
        f"drive.{name}: the ledger knows no such drive; `obverse drive add {name}` makes one" for name in bench.drives if name not in names
    ]
    return problems + [
        f"drive.{drive.name}.by_hand: `batch run` leads drives with commands only so far; record what this one reads with `batch record`"
        for drive in bench.drives.values()
        if drive.by_hand is not None
    ]


def _unfit(known: Lookup, batches: Sequence[str]) -> list[str]:
    problems = []
    for name in batches:
        batch = known.batch(name)
        if not batch.open:
            problems.append(f"batch {name} is closed; `obverse batch open ... --continue {name}` takes over its unfinished discs")
    return problems


def _unserved(work: BatchWork) -> list[str]:
    """The sides of a batch that no drive of the table writes or reads."""
    problems = []
    for side in work.sides:
        if not any(side in station.writes for station in work.stations):
            problems.append(f"batch {work.name}: no drive of this bench that the batch was opened with writes side {side}")
        if not any(side in station.reads for station in work.stations):
            problems.append(f"batch {work.name}: no drive of this bench that the batch was opened with reads side {side}")
    return problems


def check_automatic(bench: Bench) -> None:
    """MasteringError where nobody is there to do what hands do."""
    if not bench.hands:
        raise MasteringError("bench.hands: missing; --auto needs a program that does what hands do")
