"""A second, slow maker and reader of every volume: what they share, and what awkward but legal files look like.

Written from facts.md sections 7a to 7d, contract.md section 3 and check_values.json alone; it knows nothing of the program but its command line. Each volume has
a module `model_NAME.py` with a disc, on which files are put wherever one likes, and a function `held` that reads one.
"""

import io
import json
import random
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field

from mastering.cli.main import run


@dataclass(frozen=True)
class File:
    """A file as its owner knows it. `name` is what the machine shows; `type` and `load` are as the contract names them."""

    name: bytes
    data: bytes
    type: object = None
    load: int | None = None
    locked: bool = False


@dataclass
class Held:
    """What a disc holds: the files in the order of its directory, where each one's bytes lie, and how much room is left."""

    label: bytes
    files: list[File]
    free: int
    unit: int
    sectors: list[list[tuple[int, int, int]]] = field(default_factory=list)


class DamageError(Exception):
    """The model's own reader met something that no sound volume has."""


def must(holds, what):
    """A sentence of the texts that has to be true of a sound volume."""
    if not holds:
        raise DamageError(what)


def little(number, count=2):
    """A number, low byte first."""
    out = []
    for _ in range(count):
        out.append(number % 256)
        number //= 256
    return bytes(out)


def number(data, at, count=2):
    """The number whose low byte is at `at`."""
    return sum(data[at + k] * 256**k for k in range(count))


def noise(rng, length):
    """Bytes of which no sector is like another."""
    return rng.randbytes(length)


def text(rng, length):
    """High-bit text: no byte of it is 00."""
    return bytes(rng.randrange(0xA0, 0xE0) for _ in range(length))


class Room:
    """The units of a disc that are free, handed out in no order at all."""

    def __init__(self, units, rng):
        self.free, self.rng = list(units), rng
        rng.shuffle(self.free)

    def take(self, count=1):
        """So many, anywhere."""
        assert count <= len(self.free)
        return [self.free.pop() for _ in range(count)]

    def take_this(self, unit):
        """This one."""
        self.free.remove(unit)
        return unit


def lengths(unit, many):
    """Awkward lengths for a volume that puts `unit` bytes into a sector, block or cluster."""
    return [0, 1, unit - 1, unit, unit + 1, 2 * unit, 2 * unit + 1, 7 * unit + 3, many]


ODD = [bytes(range(first, first + 16)) for first in range(0x20, 0x60, 16)]
"""Names of all characters 20 to 5F, 16 at a time; the first begins with a space."""


def plain(rng, longest, count):
    """Different names that every volume takes: a letter, then letters and digits; the first is the shortest, the second the longest."""
    out = [b"Q", b"L" * longest]
    while len(out) < count:
        made = ("".join(rng.choice("LTUFSKMV") for _ in range(2)) + str(len(out))).encode()
        out.append(made + b"X" * rng.randint(0, longest - len(made)))
    return out


def carrying(sectors, data, size, before=0):
    """Those of a file's sectors that carry bytes of it. `size`: of each; `before`: words of the volume's own that are told with them."""
    return sectors[: -(-(before + len(data)) // size)]


def rng_of(*words):
    """The same random numbers for the same words."""
    return random.Random("/".join(map(str, words)))


def obverse(*arguments):
    """The program's answer: exit status, lines on standard output, lines on standard error."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = run([str(each) for each in arguments])
    return status, out.getvalue().splitlines(), err.getvalue().splitlines()


def job(folder, volume, geometry, files, extra="", tail=""):
    """A job of one side. `files`: (what a reader finds, keys of the job, source)."""
    folder.mkdir()
    lines = ["[title]", 'name = "Ferryman"', 'publisher = "Saltmarsh"', 'catalogue = "SM-031"', 'revision = "1.0"', "[side.A]"]
    lines += [f'geometry = "{geometry}"', f'volume = "{volume}"', extra]
    for k, (file, keys, source) in enumerate(files):
        (folder / f"{k}.bin").write_bytes(source)
        name = f'name_bytes = "{file.name.hex(" ")}"' if file.name in ODD else f"name = {json.dumps(file.name.decode())}"
        lines += ["[[side.A.file]]", name, f'source = "{k}.bin"', *keys, "locked = true" * file.locked]
    (folder / "job.toml").write_text("\n".join([*lines, tail]))
    return folder / "job.toml"
