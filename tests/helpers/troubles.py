"""Ledgers of troubles that come together or can't be told apart at once, dealt by a seeded generator; beside `shopfloor`'s single faults."""

import numpy as np
from shopfloor import history_of

from mastering.deciding.statistics.history import NOT_ELSEWHERE

USUAL = 0.03


def surfaces(rng, bad):
    """Which of a bad disc's two sides fail: both in 3 of 10 cases."""
    whole, on_b = rng.random(len(bad)) < 0.3, rng.random(len(bad)) < 0.5
    return np.stack((bad & (whole | ~on_b), bad & (whole | on_b)), axis=1)


def lot_and_drive(rng, discs=120, lot_rate=0.20, drive_rate=0.20):
    """Lot L2 and drive D1 are bad at once; lots follow each other, drives take turns."""
    place = np.arange(discs)
    lot, drive = place * 2 // discs, place % 2
    bad = (rng.random(discs) < USUAL) | ((lot == 1) & (rng.random(discs) < lot_rate)) | ((drive == 0) & (rng.random(discs) < drive_rate))
    return history_of(lot, drive, surfaces(rng, bad), 2, 2)


def bad_title(rng, discs=120, rate=0.20, with_new_lot=True):
    """Title T2 is bad. It came with the new lot L2 half-way, or both titles take turns on both lots."""
    place = np.arange(discs)
    lot, drive = place * 2 // discs, place % 2
    title = lot if with_new_lot else place // 10 % 2
    bad = (rng.random(discs) < USUAL) | ((title == 1) & (rng.random(discs) < rate))
    return history_of(lot, drive, surfaces(rng, bad), 2, 2, title=title)


def going_bad(rng, hazard, chart, rate=0.20, discs=8000, per_lot=100, keep=700):
    """Two drives that go bad once in `1 / hazard` of their discs each, up to the first alarm and some discs more.

    Returns a function of how many discs more, that gives the history's last discs; the drive that alarmed; those that were bad by then.
    """
    from mastering.deciding.statistics.charts import scores

    place = np.arange(discs)
    drive, onset = place % 2, 2 * rng.geometric(hazard, 2)
    bad = rng.random(discs) < np.where(place >= onset[drive], rate, USUAL)
    failed = surfaces(rng, bad)
    alarms = [(int((scores(chart, bad[number::2]) >= chart.stop).argmax()) * 2 + number, number) for number in (0, 1)]
    alarms = [(at, number) for at, number in alarms if at > 1]
    if not alarms:
        return None
    at, number = min(alarms)

    def after(more):
        end = at + 1 + more
        first = max(end - keep, 0) // per_lot * per_lot
        lot = place[first:end] // per_lot - first // per_lot
        return history_of(lot, drive[first:end], failed[first:end], int(lot.max()) + 1, 2)

    return after, f"D{number + 1}", {f"D{each + 1}" for each in (0, 1) if onset[each] <= at}


def reader(rng, dirty, discs=200, rate=0.20, seen_elsewhere=True):
    """Each drive's discs are first read by the other one. D2 reads badly (`dirty`), or D1 writes badly.

    Where `seen_elsewhere`, what failed was read by the drive that wrote it too: well in 9 of 10 cases of a bad reader, in 1 of 10 of a bad
    writer, in 4 of 10 of other failures.
    """
    place = np.arange(discs)
    lot, wrote = place * 3 // discs, place % 2
    cause = (wrote == 0) & (rng.random(discs) < rate)
    failed = surfaces(rng, cause | (rng.random(discs) < USUAL))
    denied = rng.random(discs) < np.where(cause, 0.9 if dirty else 0.1, 0.4)
    elsewhere = np.where(failed & seen_elsewhere, denied[:, None].astype(np.int64), NOT_ELSEWHERE)
    bad = failed.any(axis=1) & ~(cause & dirty)
    return history_of(lot, wrote, failed, 3, 2, read=1 - wrote, bad=bad, elsewhere=elsewhere)


def confounded(rng, discs=100, rate=0.20):
    """Lot L1 only ran on drive D1, L2 only on D2, and L1 or D1 is bad. Returns the history without second writings, a function that adds
    those (disc, drive, failed), and which discs failed for the culprit.
    """
    lot = np.arange(discs) % 2
    cause = (lot == 0) & (rng.random(discs) < rate)
    failed = surfaces(rng, cause | (rng.random(discs) < USUAL))
    return history_of(lot, lot, failed, 2, 2), lambda again: history_of(lot, lot, failed, 2, 2, again=again), cause
