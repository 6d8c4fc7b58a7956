"""Masters that the program built and the model knows too, damaged read-backs of them, and where the two verdicts differ.

A disagreement names the seed: `read_back(case, seed)` makes the same file again.
"""

import itertools
import json
import random
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import console
from model_capture import Stretch, capture_file
from model_encode import cells_of, random_track
from model_geometry import GEOMETRIES
from model_inject import scenario
from model_judge import ModelMaster, ModelSide, ModelSlot, bodies, check_character
from model_verdict import NoReadBackError, judge

ROOT = Path(__file__).parents[2]
MARKER = "<<SERIAL-GOES-HERE>>"
CATALOGUE = "SM-004"


def image(geo, seed):
    """A side's bytes: most sectors like nothing else, some that a filler could equal."""
    rng = random.Random(seed)
    out = []
    for _ in geo.places():
        how = rng.randrange(20)
        out.append(
            bytes([rng.choice((0, 0xE5, 0xF6))]) * geo.size if how == 0 else out[-1] if how == 1 and out else rng.randbytes(geo.size)
        )
    return b"".join(out)


@dataclass(frozen=True)
class Case:
    """A master twice: as the program built it, and as the model knows it."""

    folder: Path
    model: ModelMaster

    @cached_property
    def plain(self):
        """Good tracks of each side."""
        return {side: good_tracks(one, self.model.name.split()[0] + side) for side, one in self.model.sides.items()}


def obverse(*arguments):
    """The program's answer: exit status and the lines on standard output."""
    run = console.run(*arguments, cwd=ROOT)
    assert run.returncode in (0, 1, 2), run.stderr
    assert "Traceback" not in run.stderr, run.stderr
    return run.returncode, run.stdout.splitlines()


VOLUME = ("volume_number = 37\n", {"volume": 37})
IDENTITIES = {"4to5": ('disc_id = "L1"\n', {"id1": ord("L"), "id2": ord("1")}), "6and2": VOLUME, "5and3": VOLUME}


def build(folder, name, geometries):
    """Write a job, let the program build it, and tell the model the same."""
    job = folder / f"{name}-job"
    job.mkdir()
    dumps = {side: bytearray(image(GEOMETRIES[geo], f"{name}{side}")) for side, geo in geometries.items()}
    if name == "two-zoned":  # half of B's sectors are A's
        for at in range(0, len(dumps["B"]), 512):
            dumps["B"][at : at + 256] = dumps["A"][at : at + 256]
    slot_at = GEOMETRIES[geometries["A"]].size * 101 + 17
    dumps["A"][slot_at : slot_at + len(MARKER)] = MARKER.encode()
    toml = f'[title]\nname = "{name}"\npublisher = "Saltmarsh Software"\ncatalogue = "{CATALOGUE}"\nrevision = "1"\n'
    sides = {}
    for side, geo_id in geometries.items():
        geo = GEOMETRIES[geo_id]
        (job / f"{side}.bin").write_bytes(dumps[side])
        order = "file-order" if geo.code == "6and2" else "as-numbered"
        toml += f'[side.{side}]\nplatform = "machine"\ngeometry = "{geo_id}"\nvolume = "none"\nimage = "{side}.bin"\norder = "{order}"\n'
        extra, identity = IDENTITIES.get(geo.code, ("", {}))
        toml += extra + (f'serial = {{ marker = "{MARKER}" }}\n' if side == "A" else "")
        sides[side] = ModelSide(geo_id, bytes(dumps[side]), identity)
    (job / "job.toml").write_text(toml)
    target = folder / "masters" / name
    target.parent.mkdir(exist_ok=True)
    status, lines = obverse("build", job / "job.toml", "--out", target, "--json")
    assert status == 0, lines
    for side, geo in sides.items():
        assert (target / "data" / f"side-{side}.dump").read_bytes() == geo.dump
    model = ModelMaster(f"{name} 1", CATALOGUE, sides, ModelSlot("A", slot_at, len(MARKER)))
    return Case(target, model)


def good_tracks(side, seed):
    """Each track of a side as a good disc carries it."""
    geo, rng = GEOMETRIES[side.geometry], random.Random(seed)
    out = {}
    for c, h in itertools.product(range(geo.cylinders), range(geo.heads)):
        cells = cells_of(random_track(geo, side.dump, side.identity, c, h, rng, whole=True))
        out[c, h] = Stretch(c, h, cells, geo.cell_ps(c), True)
    return out


# --- read-backs ---------------------------------------------------------------------------------------------------------------


def some_serial(rng):
    """What a serial slot may hold: mostly a right serial, else a wrong one."""
    number = rng.randint(1, 12000)
    right = f"{CATALOGUE}-{number:04d}-{check_character(f'{CATALOGUE}{number:04d}'.replace('-', ''))}"
    return rng.choice([right] * 4 + [right[:-1] + "?", right.replace("004", "005", 1), "", right.lower(), f" {right}", MARKER])


def with_serial(case, side, rng):
    """The side's dump with something in its slot."""
    dump, slot = case.model.sides[side].dump, case.model.slot
    if slot.side != side or rng.random() < 0.3:
        return dump
    text = some_serial(rng)[: slot.size].ljust(slot.size).encode()
    return dump[: slot.at] + text + dump[slot.at + slot.size :]


def damaged_dump(case, side, rng):
    """A dump as readers deliver it on bad days."""
    size = GEOMETRIES[case.model.sides[side].geometry].size
    rows = bodies(replace(case.model.sides[side], dump=with_serial(case, side, rng)))
    for _ in range(rng.choice((0, 0, 1, 1, 2, 3))):
        how, k = rng.randrange(8), rng.randrange(len(rows))
        if how < 3:
            rows[k] = [bytes([rng.choice((0, 0xE5))]) * size, rng.randbytes(size), rows[k - 1]][how]
        elif how == 3:  # sectors lost: what follows moves up
            step = rng.choice((1, 3, 16, 17))
            rows = rows[:k] + rows[k + step :] + [bytes(size)] * len(rows[k : k + step])
        elif how == 4 and k:  # the reader stopped
            rows = rows[:k]
        elif how == 5:  # some of another side
            other = rng.choice(sorted(case.model.sides))
            others = bodies(case.model.sides[other])
            if len(others) == len(rows) and len(others[0]) == size:
                rows = rows[:k] + others[k:]
        elif how == 6:
            a, b = sorted((k, rng.randrange(len(rows))))
            rows[a:b] = [rows[a]] * (b - a)
        elif how == 7 and rng.random() < 0.3:
            rows = [bytes(size)] * len(rows)
    return b"".join(rows)


def some_report(case, side, rng):
    """A report in which most sectors are good."""
    states = ["good", "soft", "unread", "not-tried", "data-mark", "identity", "serial", "density", "block-check", "no-block",
              "identifier-check", "misplaced", "absent"]  # fmt: skip
    lines = ["track,head,sector,state,tries"]
    for _, head, track, sector in GEOMETRIES[case.model.sides[side].geometry].places():
        state = rng.choice(states) if rng.random() < 0.02 else "good"
        if rng.random() > 0.005:
            lines.append(f"{track},{head},{sector},{state},{rng.choice(('', '1', '1', '1', '2')) if rng.random() < 0.03 else 1}")
    return "\n".join(lines) + "\n"


def read_back(case, seed, tracks=(1, 3, 6, 6, 200)):
    """(bytes, report or None): the read-back of this seed, of either side; of a capture so many `tracks` are damaged, at most."""
    rng = random.Random(f"{case.model.name} {seed}")
    side = rng.choice(sorted(case.model.sides))
    if rng.random() < 0.35:
        data = damaged_dump(case, side, rng)
        return data, some_report(case, side, rng) if rng.random() < 0.4 else None
    one = case.model.sides[side]
    geo = GEOMETRIES[one.geometry]
    dump = with_serial(case, side, rng)
    plain = case.plain[side]
    if dump != one.dump:
        plain = dict(plain)
        cylinder, head = geo.places()[case.model.slot.at // geo.size][:2]
        cells = cells_of(random_track(geo, dump, one.identity, cylinder, head, rng))
        plain[cylinder, head] = replace(plain[cylinder, head], cells=cells)
    if rng.random() < 0.03:  # a disc that nobody wrote
        return capture_file([replace(one, cells="0" * len(one.cells)) for _, one in sorted(plain.items())]), None
    return scenario(geo, dump, one.identity, plain, f"{case.model.name} {seed}", rng.choice(tracks)), None


def model_line(case, data, report=None, side=None, masters=()):
    """The line that the model expects, an error being just that."""
    try:
        return judge(case.model, data, report, side, masters)
    except NoReadBackError:
        return "error"


def read_backs(case, seeds, tracks=(1, 3, 6, 6, 200)):
    """{name: (bytes, report or None)} of so many seeds."""
    return {f"r-{seed:06d}": read_back(case, seed, tracks) for seed in seeds}


def disagreements(case, made, folder, side=None):
    """Judge read-backs `{name: (bytes, report or None)}` twice; the differing answers."""
    for name, (data, report) in made.items():
        (folder / f"{name}.{'dump' if report is not None else 'any'}").write_bytes(data)
        if report is not None:
            (folder / f"{name}.report.csv").write_text(report)
    _, lines = obverse("verify", case.folder, folder, "--json", *(["--side", side] if side else []))
    answers = {Path(line.pop("readback")).stem: line for line in map(json.loads, lines)}
    assert sorted(answers) == sorted(made), lines[:3]
    out = []
    for name, line in answers.items():
        told = "error" if "error" in line else line
        want = model_line(case, *made[name], side)
        if told != want:
            out.append((case.model.name, side, name, *difference(told, want)))
    return out


def difference(told, want):
    """What differs, and no more."""
    if "error" in (told, want):
        return told, want
    a = {key: value for key, value in told.items() if want.get(key) != value and key != "findings"}
    b = {key: value for key, value in want.items() if told.get(key) != value and key != "findings"}
    a["findings"] = [one for one in told["findings"] if one not in want["findings"]]
    b["findings"] = [one for one in want["findings"] if one not in told["findings"]]
    if a == b:
        a, b = {"order": told["findings"]}, {"order": want["findings"]}
    return a, b
