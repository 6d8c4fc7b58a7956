"""The helper's table: a shop with a ledger, lots, drives and a batch, worked by the program's own command line in this process."""

import io
import json
from collections.abc import Iterable, Iterator
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from bench import MARKER, Copy, make_master, random_dump

from formats import registry
from formats.containers import capture
from mastering.cli.main import run
from mastering.ledger.store import Ledger
from mastering.master.master import Master
from mastering.master.serial import serial

CATALOGUE = "SM-004"
SIDES = {"A": "gcr6and2-35x16x256", "B": "mfm-40x9x512"}
SLOT = 40_000  # where the marker begins in side A's dump
HEADER = "track,head,sector,state,tries\n"


@cache
def two_sides(revision: str = "1.2", seed: int = 1) -> Master:
    """A master with a side for each of two machines, and the serial on side A."""
    dumps = {side: random_dump(registry.geometry(geometry), seed + k) for k, (side, geometry) in enumerate(SIDES.items())}
    dumps["A"] = dumps["A"][:SLOT] + MARKER + dumps["A"][SLOT + len(MARKER) :]
    sides = {side: (geometry, dumps[side]) for side, geometry in SIDES.items()}
    return make_master(sides, revision=revision, catalogue=CATALOGUE, slot_side="A")


@cache
def one_side(catalogue: str = CATALOGUE, revision: str = "1.0", name: str = "Lamplighter") -> Master:
    """A master with side A only, and no serial on it."""
    geometry = registry.geometry(SIDES["B"])
    return make_master({"A": (geometry.id, random_dump(geometry, 7))}, name=name, revision=revision, catalogue=catalogue)


def capture_of(master: Master, side: str, creator: str = "test") -> bytes:
    """A capture of a good copy; another `creator` makes other bytes of it."""
    made = Copy(master, side).capture()
    return capture.write(capture.Capture(made.rpm, creator, made.tracks))


@dataclass(frozen=True)
class Answer:
    """What the program said: its exit status, its lines, its messages."""

    status: int
    out: list[str]
    err: list[str]

    @property
    def json(self) -> list[dict]:
        return [json.loads(line) for line in self.out]

    @property
    def reads(self) -> list[dict]:
        """The read lines of `batch record --json`."""
        return [line for line in self.json if "verdict" in line and "readback" in line]

    @property
    def errors(self) -> list[str]:
        """What it refused: error lines of read-backs, or its messages."""
        return [line["error"] for line in self.json if "error" in line] if self.out else self.err

    @property
    def discs(self) -> list[dict]:
        """The disc lines of `batch record --json`."""
        return [line for line in self.json if "readback" not in line]


def said(*arguments: object, folder: Path | None = None) -> Answer:
    """Runs a command line as if in a folder."""
    out, err = io.StringIO(), io.StringIO()
    with chdir(folder or Path.cwd()), redirect_stdout(out), redirect_stderr(err):
        status = run(list(map(str, arguments)))
    assert "Traceback" not in err.getvalue()
    return Answer(status, out.getvalue().splitlines(), err.getvalue().splitlines())


def done(*arguments: object, folder: Path | None = None) -> Answer:
    """Runs a command line that must be carried out."""
    answer = said(*arguments, folder=folder)
    assert answer.status == 0, (arguments, answer.err)
    return answer


_LAID: dict[tuple[object, ...], bytes] = {}  # ledgers laid once and copied for other tests: flushing them takes most of the time


class Table:
    """A shop's folder with a ledger and one open batch."""

    def __init__(self, folder: Path, master: Master, lots=("L-07",), drives=("D1",), discs=4, rules=()) -> None:
        self.folder, self.master, self.ledger = folder, master, folder / "ledger.sqlite"
        self.bench = ["--unserialled", "both"]  # its dumps are the master's own: what stamped images change stands in tests of its own
        self.bench += rules
        self.bench += [word for lot in lots for word in ("--lot", lot)] + [word for drive in drives for word in ("--drive", drive)]
        self.batch, self.serials = "B-0001", serials(discs, master.catalogue)
        kind = (master.path, lots, drives, discs, rules)
        if kind in _LAID:
            self.ledger.write_bytes(_LAID[kind])
            return
        self._lay(lots, drives, discs)
        if not master.path.is_relative_to(folder):  # its path in the ledger is whole, so that it is the same in any folder
            _LAID[kind] = self.ledger.read_bytes()

    def _lay(self, lots: Iterable[str], drives: Iterable[str], discs: int) -> None:
        Ledger.open(self.ledger, create=True).__exit__()
        for lot in lots:
            self.done("lot", "add", lot)
        for drive in drives:
            self.done("drive", "add", drive, "--tpi", 48, "--heads", 1)
        assert self.open(self.master) == self.batch
        assert self.hand_out(discs) == self.serials

    def said(self, *arguments: object) -> Answer:
        return said(*arguments, "--ledger", self.ledger, folder=self.folder)

    def done(self, *arguments: object) -> Answer:
        return done(*arguments, "--ledger", self.ledger, folder=self.folder)

    def refused(self, *arguments: object) -> str:
        """The one line that a refused command prints; nothing may have changed."""
        before = self.rows()
        answer = self.said(*arguments)
        assert answer.status == 2, answer
        assert self.rows() == before
        [line] = answer.errors
        return line

    def open(self, master: Master) -> str:
        """Opens a batch; returns its name."""
        return self.done("batch", "open", master.path, "--good", 2, *self.bench, "--json").json[0]["batch"]

    def hand_out(self, count: int, batch: str | None = None) -> list[str]:
        """The next serials."""
        return self.done("batch", "serials", batch or self.batch, "--count", count).out if count else []

    def file(self, name: str, data: bytes, report: str | None = None) -> Path:
        """A read-back's file."""
        path = self.folder / name
        path.write_bytes(data)
        if report is not None:
            path.with_suffix(".report.csv").write_text(HEADER + report)
        return path

    def record(self, *arguments: object) -> Answer:
        return self.said("batch", "record", self.batch, *arguments, "--json")

    def read(self, disc: str, side: str, day: str = "pass", *arguments: object, tag: str = "") -> Answer:
        """Records a dump of a disc's side on a good or bad day. `tag` tells files apart."""
        name = f"{disc}-{side}{f'-{tag}' if tag else ''}.dump"
        return self.record(self.file(name, *self.on_a_day(side, day)), *arguments)

    def on_a_day(self, side: str, day: str) -> tuple[bytes, str | None]:
        """A dump, and its report where it takes one to get this verdict or diagnosis."""
        geometry, dump = self.master.sides[side].geometry, self.master.sides[side].dump
        if day == "pass":
            return dump, None
        if day == "fail":
            return bytes(geometry.size) + dump[geometry.size :], None
        if day == "marginal":
            first = geometry.addresses[0]
            rows = ((a, "soft" if a == first else "good") for a in geometry.addresses)
            return dump, "".join(f"{a.track},{a.head},{a.sector},{state},1\n" for a, state in rows)
        if day == "blank":
            return b"\xe5" * len(dump), None
        if day == "short":
            return dump[: 20 * geometry.size], None
        assert day == "other-side"
        return self.master.sides["B" if side == "A" else "A"].dump, None

    def disc(self, serial: str) -> dict:
        """The disc's line as it is now."""
        return self.done("batch", "show", self.batch, serial, "--json").json[0]

    def rows(self) -> list[dict]:
        """Every row of the ledger."""
        return [{key: value for key, value in row.items() if key != "chain"} for row in self.done("ledger", "export").json]

    def reads(self) -> list[dict]:
        """The ledger's read rows."""
        return [row for row in self.rows() if row["kind"] == "read"]

    def sound(self) -> bool:
        """Whether the ledger passes its check."""
        return self.said("ledger", "check").status == 0


def serials(count: int, catalogue: str = CATALOGUE) -> list[str]:
    """The first serials of a catalogue number."""
    return [serial(catalogue, number) for number in range(1, count + 1)]


@contextmanager
def clock(monkeypatch, time: str) -> Iterator[None]:
    """What is done meanwhile is done at this time."""
    with monkeypatch.context() as patched:
        patched.setenv("OBVERSE_NOW", time)
        yield
