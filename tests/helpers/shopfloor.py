"""Ledgers whose culprit is known, dealt by a seeded generator: the statistics' judges."""

from dataclasses import dataclass

import numpy as np

from mastering.deciding.statistics.history import NO_INNER_BOX, NOT_ELSEWHERE, History, Surface

A, B = Surface("A", 0, 1, 35), Surface("B", 0, 0, 35)


@dataclass(frozen=True)
class Fault:
    """`kind` and `name` of what fails with `rate` from disc `first` to `last`; for a head the name is a drive and a side, `D1 A`."""

    kind: str
    name: str
    rate: float = 0.20
    first: int = 0
    last: int = 10**9
    ramp: int = 0


def ledger(rng, discs=200, fault=None, *, lots=3, drives=2, usual=0.03, both=0.3, mixed=False, confounded=False):
    """A history of discs with two sides, both written by one drive.

    Lots follow each other, or are mixed; drives take turns, or each lot has its own. A bad disc fails on both sides with the chance
    `both`, else on one of them.
    """
    place = np.arange(discs)
    lot = rng.permutation(place % lots) if mixed else place * lots // discs
    drive = lot % drives if confounded else place % drives
    rate, only = np.full(discs, usual), None
    if fault is not None:
        now = (place >= fault.first) & (place <= fault.last)
        risen = np.clip((place - fault.first) / fault.ramp, 0, 1) if fault.ramp else np.ones(discs)
        raised = usual + (fault.rate - usual) * risen
        name, _, side = fault.name.partition(" ")
        hit = (
            {"lot": lot == int(name[1:]) - 1, "drive": drive == int(name[1:]) - 1}.get(fault.kind)
            if name not in "AB"
            else np.ones(discs, bool)
        )
        if fault.kind in ("head", "side"):
            hit, only = (drive == int(name[1:]) - 1 if side else hit), side or name
            extra = now & hit & (rng.random(discs) < raised - usual)
        else:
            rate = np.where(now & hit, raised, usual)
    bad = rng.random(discs) < rate
    whole, on_b = rng.random(discs) < both, rng.random(discs) < 0.5
    failed = np.stack((bad & (whole | ~on_b), bad & (whole | on_b)), axis=1)
    if only:
        failed[:, "AB".index(only)] |= extra
    return history_of(lot, drive, failed, lots, drives)


def history_of(lot, drive, failed, lots, drives, *, read=None, title=None, bad=None, elsewhere=None, again=()):
    """The columns; `failed` has the shape (discs, 2). `title`: a number a disc, which is its batch's too; `again`: (disc, drive, failed)."""
    discs = len(lot)
    nothing = np.zeros(0, np.int64)
    titles = np.zeros(discs, np.int64) if title is None else title
    count = int(titles.max(initial=0)) + 1
    later = np.array(again, np.int64).reshape(-1, 3)
    return History(
        lots=tuple(f"L{number + 1}" for number in range(lots)),
        batches=tuple(f"B-{number + 1:04}" for number in range(count)),
        drives=tuple(f"D{number + 1}" for number in range(drives)),
        titles=tuple(f"T{number + 1}" for number in range(count)),
        inners=(),
        surfaces=(A, B),
        serials=[f"SM-004-{number + 1:04}" for number in range(discs)],
        lot=lot,
        batch=titles,
        inner=np.full(discs, NO_INNER_BOX),
        bad=failed.any(axis=1) if bad is None else bad,
        decided=np.ones(discs, bool),
        working=np.zeros(discs, bool),
        written=np.arange(discs),
        first_read=np.arange(discs),
        title=np.arange(count),
        disc=np.repeat(np.arange(discs), 2),
        surface=np.tile([0, 1], discs),
        wrote=np.repeat(drive, 2),
        read=np.repeat(drive if read is None else read, 2),
        failed=failed.ravel(),
        elsewhere=np.full(2 * discs, NOT_ELSEWHERE) if elsewhere is None else elsewhere.ravel(),
        at=nothing,
        track=nothing,
        again_disc=later[:, 0],
        again_drive=later[:, 1],
        again_failed=later[:, 2] > 0,
    )


def part(history, discs):
    """The first discs of a history."""
    return history_of(
        history.lot[:discs],
        history.wrote[: 2 * discs : 2],
        history.failed[: 2 * discs].reshape(-1, 2),
        len(history.lots),
        len(history.drives),
    )
