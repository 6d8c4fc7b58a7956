"""What tests of the judgement share: masters of random bytes, the cells of their sides, and read-backs made by hand."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp

import numpy as np

from formats import registry
from formats.containers import capture
from formats.containers.capture import Capture, Track
from formats.model.geometry import Address, Geometry
from formats.model.record import Part
from formats.tracks.encode import encode_side
from formats.tracks.reading import Stretch, read_fields
from mastering.job.job import load
from mastering.judging.evidence import CaptureReadBack, DumpReadBack
from mastering.judging.verdict import Verdict
from mastering.judging.verify import Verifier
from mastering.master.builder import build, payload, record
from mastering.master.master import Master, open_master, write_master

_SCRATCH = TemporaryDirectory()  # goes when the tests have ended
MARKER = b"<<SERIAL-GOES-HERE>>"
IDS = [
    "gcr4to5-35z",
    "gcr4to5-77z-2s",
    "gcr5and3-35x13x256",
    "gcr6and2-35x16x256",
    "mfm-40x9x512",
    "mfm-40x9x512-2s",
    "fm-40x18x128-288rpm",
]
TITLE = '[title]\nname = "{name}"\npublisher = "Saltmarsh Software"\ncatalogue = "{catalogue}"\nrevision = "{revision}"\n'
SIDE = '[side.{side}]\nplatform = "machine"\ngeometry = "{geometry}"\nvolume = "none"\nimage = "{side}.bin"\ndisc_id = "SM"\n'


def random_dump(geometry: Geometry, seed: int) -> bytes:
    return np.random.default_rng(seed).integers(0, 256, geometry.dump_bytes, np.uint8).tobytes()


def make_master(sides: dict[str, tuple[str, bytes]], *, name="Lamplighter", revision="1.2", catalogue="SM-004", slot_side=None) -> Master:
    """A master of ready images: side to geometry and bytes. Each side in `slot_side` (A, B, AB) must hold the marker."""
    folder = Path(mkdtemp(dir=_SCRATCH.name))
    text = TITLE.format(name=name, revision=revision, catalogue=catalogue)
    for side, (geometry, dump) in sides.items():
        (folder / f"{side}.bin").write_bytes(dump)
        text += SIDE.format(side=side, geometry=geometry)
        if side in (slot_side or ""):
            text += f'serial = {{ marker = "{MARKER.decode()}" }}\n'
        if registry.geometry(geometry).dump_order:
            text += 'order = "file-order"\n'
    (folder / "job.toml").write_text(text)
    built = build(load(folder / "job.toml"))
    write_master(folder / "master", payload(built), record(built))
    return open_master(folder / "master")


@cache
def master_of(geometry: str, seed: int = 1, marked_at: int | None = None) -> Master:
    """A one-sided master of random bytes, with a serial's marker at a byte of its dump."""
    dump = random_dump(registry.geometry(geometry), seed)
    if marked_at is not None:
        dump = dump[:marked_at] + MARKER + dump[marked_at + len(MARKER) :]
    return make_master({"A": (geometry, dump)}, slot_side="A" if marked_at is not None else None)


@dataclass(frozen=True)
class Span:
    """First and behind-last cell of a field, its mark left out: `start` is where the mark begins."""

    start: int
    body: int
    end: int


class Copy:
    """A copied side's tracks, one turn of cells (a byte each) a track, to be damaged."""

    def __init__(self, master: Master, side: str = "A", geometry: Geometry | None = None, **changes) -> None:
        self.master, self.side = master, master.sides[side]
        self.geometry = geometry or self.side.geometry
        self.dump = changes.get("dump", self.side.dump)
        tracks = encode_side(self.geometry, self.dump, {**self.side.identity, **changes.get("identity", {})})
        heads = self.geometry.heads
        self.cells = {
            divmod(number, heads): np.unpackbits(np.frombuffer(track, np.uint8))[: self.geometry.track_cells(number // heads)].copy()
            for number, track in enumerate(tracks)
        }

    def place(self, address: Address) -> tuple[int, int]:
        return self.geometry.cylinder(address.track, address.head), address.head

    def fields(self, address: Address) -> tuple[Span, Span]:
        """Where a sector's identifier and block lie on its track."""
        cells = self.cells[self.place(address)]
        reading = read_fields(self.geometry, [Stretch(np.packbits(cells).tobytes(), len(cells), True)])
        number = reading.identifiers.number("sector").tolist().index(address.sector)
        block = int(reading.block_of[number])
        spans = []
        for fields, at in ((reading.identifiers, number), (reading.blocks, block)):
            start, end = int(fields.start[at]), int(fields.end[at])
            spans.append(Span(start, start + (fields.record.mark.lead or 16), end))  # of FM the mark is the field's first byte
        return spans[0], spans[1]

    def flip(self, address: Address, *cells: int) -> None:
        for cell in cells:
            self.cells[self.place(address)][cell] ^= 1

    def splice(self, address: Address, span: Span, other: "Copy", source: Address | None = None, source_span: Span | None = None) -> None:
        """Puts another copy's cells in the place of a field."""
        taken = source_span or span
        mine, theirs = self.cells[self.place(address)], other.cells[other.place(source or address)]
        mine[span.start : span.end] = theirs[taken.start : taken.end]

    # Read-backs

    def track(self, place: tuple[int, int], cells: np.ndarray | None = None, turn: bool = True, marks: Iterable[int] = ()) -> Track:
        cells = self.cells[place] if cells is None else cells
        cell_ps = round(self.geometry.zone(place[0]).cell_ns * 1000)
        return Track(*place, turn, cell_ps, len(cells), np.packbits(cells).tobytes(), tuple(marks))

    def turns(self, place: tuple[int, int], count: float, first: int = 0) -> np.ndarray:
        """So many turns of a track, from a cell on, as one run of cells."""
        cells = self.cells[place]
        return np.resize(np.roll(cells, -first), int(len(cells) * count)).copy()

    def capture(self, instead: dict[tuple[int, int], list[Track]] | None = None, **keys) -> Capture:
        """A capture of one turn of every track, with other reads instead of some."""
        tracks = [each for place in sorted(self.cells) for each in (instead or {}).get(place, [self.track(place)])]
        return Capture(self.geometry.rpm, "test", tuple(tracks), **keys)

    def verdict(self, instead=None, side=None, others=(), **keys) -> Verdict:
        return judge(self.master, self.capture(instead, **keys), side, others)


def judge(master: Master, read: Capture, side: str | None = None, others=()) -> Verdict:
    """The verdict of a capture, by way of its file."""
    view = CaptureReadBack("copy.capture", capture.read(capture.write(read), "copy.capture"))
    return Verifier(master, side, list(others)).judge(view)


def judge_dump(master: Master, dump: bytes, report=None, side=None, others=()) -> Verdict:
    return Verifier(master, side, list(others)).judge(DumpReadBack("copy.dump", dump, report))


def found(verdict: Verdict) -> dict[Address, str]:
    """Kind of finding by sector."""
    return {Address(finding.track, finding.head, finding.sector): finding.kind for finding in verdict.findings}


def with_tag(geometry: Geometry, tag: bytes) -> Geometry:
    """The geometry as a writer of other block marks would have it."""

    def part(each: Part) -> Part:
        return replace(each, fields=tuple(replace(field, value=tag) if field.name == "type" else field for field in each.fields))

    block = geometry.block
    other = replace(block, parts=tuple(map(part, block.parts)), deleted=b"")
    return replace(geometry, sector=tuple(other if each is block else each for each in geometry.sector))
