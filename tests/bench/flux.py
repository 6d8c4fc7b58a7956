"""The flux decoder's figures: sector errors by jitter beside a plain loop's, and time a turn beside the drive's.

python -m tests.bench.flux [errors|speed|all] [GEOMETRY...]
"""

import sys
import time

import numpy as np

from formats import registry
from formats.tracks import intervals, plain_loop
from formats.tracks.encode import encode_side
from formats.tracks.reading import Stretch, read_fields
from tests.helpers.flux import Noise, magnetise, play, ticks

CASES = {  # geometry: jitters about 1 % sector errors, without and with 300 ns peak shift
    "mfm-40x9x512": ((0.105, 0.11, 0.115, 0.12), (0.086, 0.09, 0.094, 0.098)),
    "gcr4to5-35z": ((0.107, 0.112, 0.117, 0.122), (0.093, 0.097, 0.101, 0.105)),
    "gcr6and2-35x16x256": ((0.107, 0.112, 0.117, 0.122), (0.095, 0.099, 0.103, 0.107)),
    "gcr5and3-35x13x256": ((0.107, 0.112, 0.117, 0.122), (0.095, 0.099, 0.103, 0.107)),
    "fm-40x10x256": ((0.11, 0.12, 0.13, 0.14), (0.095, 0.1, 0.105, 0.11)),
}


def track(name: str):
    """A geometry, its first track's cells, and the length of a cell."""
    geometry = registry.geometry(name)
    dump = np.random.default_rng(5).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()
    packed = encode_side(geometry, dump, geometry.identity_values(b"SM", 254))[0]
    return geometry, np.unpackbits(np.frombuffer(packed, np.uint8))[: geometry.track_cells(0)], float(geometry.zones[0].cell_ns)


def sound(geometry, bits, count) -> int:
    """Blocks that are sound and belong to a sound identifier."""
    reading = read_fields(geometry, [Stretch(bits, count, False)])
    own = reading.block_of[reading.identifiers.sound]
    return int(reading.blocks.sound[own[own >= 0]].sum())


def lost(name: str, jitter: float, shift: float, turns: int, seed: int = 0) -> tuple[float, float, int]:
    """Share of sectors lost by the decoder and by the plain loop, of how many."""
    geometry, cells, cell_ns = track(name)
    rules = intervals.rules_of(geometry, 0, geometry.rpm)
    bad, plain = 0, 0
    for turn in range(turns):
        rng = np.random.default_rng((seed, turn))
        noise = Noise(jitter, peak_shift_ns=shift, speed=rng.uniform(-0.03, 0.03), wow=rng.uniform(0.005, 0.01))
        medium = magnetise(cells, cell_ns, noise, rng)
        at = np.cumsum(ticks(play(medium, rng, 1.015, 0.99)[0])) * 25.0
        gaps = np.diff(at, prepend=0.0)
        made = intervals.recover([gaps], rules)
        bad += geometry.zones[0].sectors - sound(geometry, made.bits, made.count)
        looped = np.zeros(int(at[-1] / cell_ns * 1.1), np.bool_)
        looped[np.cumsum(plain_loop.runs(gaps.tolist(), cell_ns / (1 + noise.speed)))] = True
        plain += geometry.zones[0].sectors - sound(geometry, np.packbits(looped).tobytes(), len(looped))
    total = turns * geometry.zones[0].sectors
    return bad / total, plain / total, total


def at_one_percent(jitters, shares, total) -> float:
    """The jitter at which one sector in a hundred is lost: a straight line through the logarithms."""
    y = np.log((np.array(shares) * total + 0.3) / total)
    slope, base = np.polyfit(jitters, y, 1, w=np.sqrt(np.array(shares) * total + 0.3))
    return float((np.log(0.01) - base) / slope)


def errors(names, sectors: int = 1800) -> None:
    for name in names:
        for shift, jitters in zip((0.0, 300.0), CASES[name], strict=True):
            turns = sectors // registry.geometry(name).zones[0].sectors
            rows = [lost(name, jitter, shift, turns) for jitter in jitters]
            ours, plain = (at_one_percent(jitters, [row[way] for row in rows], rows[0][2]) for way in (0, 1))
            shares = " ".join(f"{row[0]:.3f}/{row[1]:.3f}" for row in rows)
            print(
                f"{name:20} shift {shift:3.0f} ns: 1 % at {100 * ours:5.2f} % of the cell, plain loop {100 * plain:5.2f} %   {shares}",
                flush=True,
            )


def speed(names) -> None:
    for name in names:
        geometry, cells, cell_ns = track(name)
        rng = np.random.default_rng(3)
        at = np.cumsum(ticks(play(magnetise(cells, cell_ns, Noise(0.05), rng), rng, 3.0)[0])) * 25.0
        rules = intervals.rules_of(geometry, 0, geometry.rpm)
        took = []
        for _ in range(5):
            start = time.process_time()
            intervals.recover([np.diff(at, prepend=0.0)], rules)
            took.append(time.process_time() - start)
        print(f"{name:20} {1e3 * min(took) / 3:5.1f} ms a turn, 1/{at[-1] / 1e9 / min(took):.0f} of the drive's time", flush=True)


def margin(names, later: int = 12) -> None:
    """How well the chances from three turns rank and predict the failures of later reads: a side whose tracks differ in jitter."""
    sys.path.insert(0, "tests/helpers")
    from bench import master_of
    from scipy.stats import rankdata

    from formats.containers import capture
    from mastering.judging.evidence import CaptureReadBack
    from mastering.judging.verify import Verifier
    from tests.helpers.fluxdisc import file, media, reads

    for name in names:
        for tail in (0, 5):
            master = master_of(name)
            side, made, rng = master.sides["A"], {}, np.random.default_rng(8)
            high = 0.095 if tail else 0.122
            for cylinder in range(side.geometry.cylinders):
                noise = Noise(rng.uniform(0.04, high), rng.uniform(0.2, 0.9), tail, peak_shift_ns=rng.uniform(0, 200))
                made |= media(side.geometry, side.dump, side.identity, noise, cylinder, {cylinder})
            judge = Verifier(master, margins=True)
            first = judge.judge(CaptureReadBack("first", capture.read(file(reads(made, 3.1)), "first")))
            bad = {(each.track, each.sector) for each in first.findings}
            chance = {(each["track"], each["sector"]): each["chance"] for each in first.margins}
            kept = [key for key in chance if key not in bad]
            fails = dict.fromkeys(kept, 0)
            for seed in range(later):
                view = CaptureReadBack("later", capture.read(file(reads(made, 1.15, seed=100 + seed)), "later"))
                for each in judge.judge(view).findings:
                    if (each.track, each.sector) in fails:
                        fails[each.track, each.sector] += 1
            p, f = np.array([chance[key] for key in kept]), np.array([fails[key] for key in kept])
            ranks = rankdata(p)
            area = ((ranks * f).sum() / f.sum() - (ranks * (later - f)).sum() / (later - f).sum()) / len(p) + 0.5
            bins = [(p >= low) & (p < high) for low, high in ((0, 1e-4), (1e-4, 1e-3), (1e-3, 1e-2), (1e-2, 0.1), (0.1, 1))]
            told = ", ".join(
                f"{each.sum()}: {p[each].mean():.2g} -> {f[each].sum() / later / each.sum():.2g}" for each in bins if each.any()
            )
            print(
                f"{name:20} tail {tail or 'Gauss'}: {len(kept)} sectors that all read, area {area:.3f}; predicted -> observed {told}",
                flush=True,
            )


if __name__ == "__main__":
    what, chosen = (sys.argv[1:2] or ["all"])[0], sys.argv[2:] or list(CASES)
    if what in ("speed", "all"):
        speed(chosen)
    if what in ("errors", "all"):
        errors(chosen)
    if what in ("margin", "all"):
        margin(chosen)
