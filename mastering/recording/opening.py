"""A batch as it is opened: which master, blanks and drives, whether they go together, and what is pinned for as long as it runs."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from formats.words import counted
from mastering.deciding.fitness import Misfit, misfits
from mastering.judging.standing import REWRITES
from mastering.ledger.entities import ACCEPTED, Batch, Disc
from mastering.ledger.geometries import geometry_zones
from mastering.ledger.lines import Line, LineError
from mastering.ledger.log_writer import LogWriter
from mastering.ledger.lookup import Lookup
from mastering.master.master import Master

AFTER_TURNING_OVER, EACH_SIDE = "after-turning-over", "each-side"


@dataclass(frozen=True)
class Rules:
    """What a verdict may depend on, pinned when a batch is opened. The shop's settings hold the usual ones."""

    verify: str = AFTER_TURNING_OVER
    rewrites: int = REWRITES
    accept: tuple[str, ...] = ACCEPTED
    margin: float = 0.01
    practice: bool = False


@dataclass(frozen=True)
class BatchRequest:
    """What a batch is to be: so many good discs, on blanks of these lots, by these drives.

    `unserialled`: the sides that may carry the master's marker. `older`: also of a superseded master. `continues`: the closed batch whose
    unfinished discs it takes over. `reworks`: the batch of another revision whose discs it takes over.
    """

    good: int
    lots: tuple[str, ...]
    drives: tuple[str, ...]
    operator: str | None = None
    rules: Rules = field(default_factory=Rules)
    unserialled: tuple[str, ...] = ()
    older: bool = False
    continues: str | None = None
    reworks: str | None = None


def unfit(lookup: Lookup, master: Master, request: BatchRequest) -> Iterator[Misfit]:
    """What does not go together. UnknownError for a lot or drive that there is not."""
    sides = {name: side.geometry for name, side in master.sides.items()}
    yield from misfits(sides, [lookup.lot(name) for name in request.lots], [lookup.drive(name) for name in request.drives])
    yield from _unserved(lookup, master, request)
    yield from _too_few(lookup, request)
    yield from _of_master(lookup, master, request)
    for side in request.unserialled:
        if side not in master.sides:
            yield Misfit(True, f"--unserialled {side}: {master.label} has no such side")
    without = [name for name, side in master.sides.items() if side.slot is None]
    if without:
        where = f"side{'s' if len(without) > 1 else ''} {' and '.join(without)} of {master.label}"
        yield Misfit(
            False,
            f"{where}: no place for a serial, so two discs' sides can't be told apart: keep finished discs and blanks in separate piles",
        )


def _unserved(lookup: Lookup, master: Master, request: BatchRequest) -> Iterator[Misfit]:
    """Sides whose geometry no drive of the batch writes, or reads, by the lists that the drives were given."""
    for name, side in master.sides.items():
        for role, word in (("writes", "writes"), ("reads", "reads")):
            lists = [lookup.drive(drive).get(role) for drive in request.drives]
            if lists and all(geometries is not None and side.geometry_id not in geometries for geometries in lists):
                yield Misfit(True, f"side {name} ({side.geometry_id}): none of the drives {', '.join(request.drives)} {word} it")


def _too_few(lookup: Lookup, request: BatchRequest) -> Iterator[Misfit]:
    """More good discs are wanted than the lots have blanks left, as far as their counts are known."""
    counts = [lookup.lot(name)["count"] for name in request.lots]
    if None in counts:
        return
    left = max(sum(counts) - sum(lookup.used(name) for name in request.lots), 0)
    if left < request.good:
        named = f"lot{'' if len(request.lots) == 1 else 's'} {' and '.join(request.lots)}"
        yield Misfit(
            False,
            f"{named}: {counted(left, 'blank')} left of {sum(counts)}, where {request.good} good discs are wanted; "
            f"`obverse need --good {request.good}` says how many to load",
        )


def _of_master(lookup: Lookup, master: Master, request: BatchRequest) -> Iterator[Misfit]:
    """What was decided of the master: held, superseded; and whether another revision was opened after it."""
    state = lookup.master_state(master.digest)
    if state == "hold":
        yield Misfit(True, f"{master.label} is held: `obverse master release` ends that")
    if state == "supersede" and not request.older:
        yield Misfit(True, f"{master.label} was superseded: say --older if it is this one that is wanted")
    edition = master.record["title"].get("edition")
    alike = [each for each in lookup.batches() if (each.catalogue, each.line.get("edition")) == (master.catalogue, edition)]
    own = max((each.id for each in alike if each.line["digest"] == master.digest), default=0)
    later = [each for each in alike if each.id > own and each.line["digest"] != master.digest]
    if own and later:
        yield Misfit(False, f"{master.label}: another revision, {later[-1].line['master']}, was opened later (batch {later[-1].name})")


def batch_line(lookup: LogWriter, master: Master, request: BatchRequest, ledger: Path) -> dict[str, Any]:
    """The line that opens a batch of a master, but for its time."""
    title, sides, rules = master.record["title"], master.sides.items(), request.rules
    return {
        "kind": "batch",
        "batch": lookup.next_batch(),
        "master": master.label,
        "catalogue": master.catalogue,
        "digest": master.digest,
        "sides": {name: side.geometry_id for name, side in sides},
        "good": request.good,
        "lots": list(request.lots),
        "drives": list(request.drives),
        "operator": request.operator,
        "rewrites": rules.rewrites,
        "verify": rules.verify,
        "accept": list(rules.accept),
        "unserialled": list(request.unserialled),
        "practice": rules.practice,
        "continues": request.continues,
        "reworks": request.reworks,
        "margin": rules.margin,
        "revision": master.revision,
        "edition": title.get("edition"),
        "disc": title.get("disc") or 1,
        "slots": [name for name, side in sides if side.slot is not None],
        "path": beside(master.path, ledger),
        "needs": {name: {"tpi": side.geometry.tpi, "heads": side.geometry.heads} for name, side in sides},
        "first_sector": {name: side.geometry.first_sector for name, side in sides},
        "zones": {name: [list(zone) for zone in geometry_zones(side.geometry)] for name, side in sides},
    }


def taken_over(lookup: Lookup, master: Master, name: str) -> list[Disc]:
    """The unfinished discs of a closed batch of the same master. LineError when it is none."""
    batch = lookup.batch(name)
    if batch.open:
        raise LineError(f"batch {name} is open: go on with it, or close it first")
    if batch.line["digest"] != master.digest:
        raise LineError(f"batch {name} is of {batch.line['master']}, another master; --rework takes its discs over")
    return [disc for disc in lookup.discs(batch) if disc.abandoned]


def take_lines(batch: Line, discs: list[Disc]) -> Iterator[dict[str, Any]]:
    """The lines by which a batch takes over unfinished discs of another; `sides`: those that were not written yet."""
    for disc in discs:
        unwritten = [side for side in batch["sides"] if not disc.newest_writing(side)]
        yield {
            "kind": "take",
            "batch": batch["batch"],
            "serial": disc.serial,
            "from": disc.batch.name,
            "sides": unwritten,
            "at": batch["at"],
        }


@dataclass(frozen=True)
class Rework:
    """What becomes of another batch's discs: those taken over, those that are boxed or gone, and the sides that are to be written."""

    taken: tuple[Disc, ...]
    away: tuple[Disc, ...]
    sides: tuple[str, ...]


def reworked(lookup: Lookup, master: Master, name: str, old: Master) -> Rework:
    """The discs of a batch that another master's can be made of. LineError when the two masters are of different titles.

    Taken are those in stock or unfinished whose unchanged sides are good or open; a side that the new master leaves alone is not written.
    """
    batch = lookup.batch(name)
    if batch.catalogue != master.catalogue:
        raise LineError(f"batch {name} is of {batch.line['master']} ({batch.catalogue}), {master.label} of {master.catalogue}")
    if batch.line["digest"] == master.digest:
        raise LineError(f"batch {name} is of this very master: --continue takes its unfinished discs over, once it is closed")
    changed = tuple(side for side in master.sides if not _is_same_side(master, old, side))
    discs = [disc for disc in lookup.discs(batch) if disc.begun]
    taken = [
        disc
        for disc in discs
        if disc.state in ("in-stock", "working", "abandoned")
        and all(disc.standing.sides[side].verdict in ("pass", "open") for side in master.sides if side not in changed)
    ]
    return Rework(tuple(taken), tuple(disc for disc in discs if disc.state in ("boxed", "packed", "shipped")), changed)


def _is_same_side(master: Master, old: Master, side: str) -> bool:
    """Whether two masters have the same side, sector for sector."""
    if side not in old.sides:
        return False
    new, before = master.sides[side], old.sides[side]
    return (new.sha256, new.geometry_digest, new.identity) == (before.sha256, before.geometry_digest, before.identity)


def rework_lines(batch: Line, rework: Rework, source: Batch) -> Iterator[dict[str, Any]]:
    """The lines by which a batch takes over the discs of another revision's, which then closes."""
    for disc in rework.taken:
        sides = list(rework.sides)
        yield {"kind": "take", "batch": batch["batch"], "serial": disc.serial, "from": source.name, "sides": sides, "at": batch["at"]}
    if source.open:
        yield {"kind": "close", "batch": source.name, "counted": None, "at": batch["at"]}


def beside(path: Path, ledger: Path) -> str | None:
    """A path as seen from the ledger's folder where it lies in it, so that the shop can be moved; else whole.

    None where a name in it is no text: no export could print it again. Such a master is found with --masters.
    """
    whole, folder = path.resolve(), ledger.absolute().parent.resolve()
    text = str(whole.relative_to(folder)) if whole.is_relative_to(folder) else str(whole)
    return text if text.isprintable() or not any("\ud800" <= character <= "\udfff" for character in text) else None
