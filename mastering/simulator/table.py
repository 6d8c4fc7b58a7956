"""A table that isn't there, as ordinary programs: drives that write and read media files, and hands that move discs between them.

    python -m mastering.simulator.table FOLDER write DRIVE --in CAPTURE
    python -m mastering.simulator.table FOLDER read DRIVE --out FILE [--tracks 0,17]
    python -m mastering.simulator.table FOLDER hands ACTION DRIVE SERIAL

A bench reaches them as it would reach a real drive. A disc is a folder of its own: what a drive wrote on a face lies there as a capture of
one turn, and a read is taken from that file, never from the image that was handed in. `table.json` says which disc lies where, which face
is up, and what goes wrong: `trouble`, a list of mishaps, each used up in its turn. Exit status as a drive's command has it: 0 done,
3 not ready, 4 no disc, 1 broken.
"""

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from formats.containers import capture
from formats.containers.capture import Capture, Track
from mastering.platform import first_in_queue
from mastering.simulator.chance import generator

WRITER = "obverse simulator"
NOT_READY, NO_DISC, BROKEN = 3, 4, 1
_PATIENCE = 60.0  # seconds that a program waits for the table's file


class TroubleError(Exception):
    """A program ends with this status, and says why on its console."""

    def __init__(self, status: int, say: str) -> None:
        self.status = status
        super().__init__(say)


@contextmanager
def table(folder: Path) -> Iterator[dict[str, Any]]:
    """The table's state, one program at a time; what is changed in it is kept."""
    with first_in_queue(folder, _PATIENCE):
        path = folder / "table.json"
        state = json.loads(path.read_text()) if path.exists() else {}
        for key, value in {
            "seed": 1,
            "discs": 0,
            "drives": {},
            "aside": {},
            "good": {},
            "bad": {},
            "labels": {},
            "trouble": [],
            "uses": 0,
        }.items():
            state.setdefault(key, value)
        try:
            yield state
        finally:  # a mishap is used up by the program that it ended
            beside = folder / f"table.{os.getpid()}"
            beside.write_text(json.dumps(state))
            beside.replace(path)


def mishap(state: dict[str, Any], step: str, drive: str, serial: str | None) -> dict[str, Any] | None:
    """The next mishap meant for this step, taken off the list. Each names its `kind` and, where it matters, `serial`, `drive`, `face`."""
    for number, trouble in enumerate(state["trouble"]):
        fits = trouble["at"] == step and trouble.get("drive", drive) == drive and trouble.get("serial", serial) == serial
        lies = state["drives"].get(drive)
        if fits and (lies is None or trouble.get("face", lies["up"]) == lies["up"]):
            del state["trouble"][number]
            return dict(trouble)
    return None


# Drives


def write(folder: Path, drive: str, source: Path) -> str:
    """Lays an image on the face that is up."""
    face, trouble, _ = _begun(folder, drive, "write")
    image = capture.read(source.read_bytes(), str(source))
    if trouble.get("kind") == "hangs":
        time.sleep(trouble.get("seconds", 3600))
    if trouble.get("kind") == "writes-nothing":
        return "done"
    tracks = tuple(_spoilt(track, trouble) for track in image.tracks) if trouble.get("kind") == "spoils" else image.tracks
    face.write_bytes(capture.write(Capture(image.rpm, WRITER, tracks, simulated=True)))
    return "done"


def read(folder: Path, drive: str, target: Path, cylinders: Sequence[int] | None) -> str:
    """Takes a read of the face that is up: a turn and a fifth of each track, begun anywhere."""
    face, trouble, use = _begun(folder, drive, "read" if cylinders is None else "probe")
    if trouble.get("kind") == "hands-back":
        target.write_bytes(Path(trouble["file"]).read_bytes())
        return "done"
    written = capture.read(face.read_bytes(), str(face)) if face.exists() else _never_written()
    chosen = [track for track in written.tracks if cylinders is None or track.cylinder in cylinders]
    passing = [_passing(track, use) for track in chosen]
    if trouble.get("kind") == "misreads":
        passing = [_spoilt(track, trouble) for track in passing]
    target.write_bytes(capture.write(Capture(written.rpm, WRITER, tuple(passing), simulated=True)))
    return "done"


def _begun(folder: Path, drive: str, step: str) -> tuple[Path, dict[str, Any], int]:
    """The file of the face that a drive's head reaches, what goes wrong there, and how often a drive was used at this table."""
    with table(folder) as state:
        lies = _in_drive(state, drive)
        trouble = mishap(state, step, drive, lies["serial"]) or {}
        state["uses"] += 1
        use = state["uses"]
    if trouble.get("kind") == "not-ready":
        raise TroubleError(NOT_READY, "door open")
    if trouble.get("kind") == "breaks":
        raise TroubleError(BROKEN, "seek error")
    return folder / lies["disc"] / f"{lies['up']}.capture", trouble, use


def _in_drive(state: dict[str, Any], drive: str) -> dict[str, Any]:
    lies: dict[str, Any] | None = state["drives"].get(drive)
    if lies is None:
        raise TroubleError(NO_DISC, "no disc")
    return lies


def _never_written() -> Capture:
    """What a head meets on a face on which nothing was ever recorded: here and there a transition."""
    import numpy as np

    rng = np.random.default_rng(0)
    tracks = (Track(cylinder, 0, False, 2_000_000, 100_000, np.packbits(rng.random(100_000) < 0.02).tobytes()) for cylinder in range(40))
    return Capture(300, WRITER, tuple(tracks), simulated=True)


def _passing(track: Track, use: int) -> Track:
    """A turn and a fifth of a track, from a place that is another one at each use; the index hole passes at its first cell."""
    import numpy as np

    cells = np.unpackbits(np.frombuffer(track.bits, np.uint8))[: track.cells]
    first = int(generator(use, "passing", track.cylinder, track.head).integers(track.cells)) if track.turn else 0
    count = track.cells * 6 // 5 if track.turn else track.cells
    run = np.resize(np.roll(cells, -first), count)
    marks = tuple(range((-first) % track.cells, count + 1, track.cells)) if track.turn else ()
    return Track(track.cylinder, track.head, False, track.cell_ps, count, np.packbits(run).tobytes(), marks)


def _spoilt(track: Track, trouble: dict[str, Any]) -> Track:
    """A track whose coating is gone for a tenth of its turn, where the mishap names its cylinder."""
    if track.cylinder not in trouble.get("cylinders", [10]):
        return track
    spoilt = bytearray(track.bits)
    at, length = len(spoilt) // 3, len(spoilt) // 10
    spoilt[at : at + length] = bytes(length)
    return Track(track.cylinder, track.head, track.turn, track.cell_ps, track.cells, bytes(spoilt), track.marks)


# Hands


def hands(folder: Path, action: str, drive: str, serial: str) -> str:
    """Does what an operator's hands do; of `label` the serial that stands on the label."""
    with table(folder) as state:
        trouble = mishap(state, action, drive, serial)
        kind = trouble["kind"] if trouble else ""
        if kind == "forgets":
            return ""
        if kind == "breaks":
            raise TroubleError(BROKEN, "arm stuck")
        printed: str = _ACTIONS[action](state, folder, drive, serial, kind)
        return printed


def _insert(state: dict[str, Any], folder: Path, drive: str, serial: str, kind: str) -> str:
    holder = next((name for name, there in state["drives"].items() if there["serial"] == serial), None)
    lies = state["drives"].pop(holder) if holder else None
    if state["drives"].get(drive):
        raise TroubleError(BROKEN, f"{drive} holds a disc")
    lies = lies or next((state[pile].pop(serial) for pile in ("aside", "good", "bad") if serial in state[pile]), None)
    if kind == "finished-disc" and state["good"]:
        lies = state["good"].pop(next(iter(state["good"])))
    if lies is None:
        state["discs"] += 1
        lies = {"disc": f"disc-{state['discs']:04}", "serial": serial}
        (folder / lies["disc"]).mkdir()
    state["drives"][drive] = lies | {"up": "B" if kind == "upside-down" else "A"}
    return ""


def _turn_over(state: dict[str, Any], folder: Path, drive: str, serial: str, kind: str) -> str:
    lies = _in_drive(state, drive)
    lies["up"] = "B" if lies["up"] == "A" else "A"
    return ""


def _move(state: dict[str, Any], folder: Path, drive: str, serial: str, kind: str) -> str:
    source = next(name for name, lies in state["drives"].items() if lies and lies["serial"] == serial)
    if state["drives"].get(drive):
        raise TroubleError(BROKEN, f"{drive} holds a disc")
    state["drives"][drive] = state["drives"].pop(source)
    return ""


def _label(state: dict[str, Any], folder: Path, drive: str, serial: str, kind: str) -> str:
    lies = _in_drive(state, drive)
    lies["up"] = "B" if kind == "wrong-face" else "A"
    state["labels"][lies["disc"]] = serial
    return serial if kind != "wrong-label" else "SM-000-0000-0"


def _look(state: dict[str, Any], folder: Path, drive: str, serial: str, kind: str) -> str:
    if kind == "rubbed":
        raise TroubleError(BROKEN, "rubbed")
    return ""


def _reseat(state: dict[str, Any], folder: Path, drive: str, serial: str, kind: str) -> str:
    return ""


def _take_out(pile: str) -> Any:
    def act(state: dict[str, Any], folder: Path, drive: str, serial: str, kind: str) -> str:
        lies = state["drives"].pop(drive, None)
        if lies is not None:
            home = "good" if lies["serial"] != serial else pile  # a stranger goes back where it belongs
            state[home][lies["serial"]] = {"disc": lies["disc"], "serial": lies["serial"]}
        return ""

    return act


_ACTIONS = {
    "insert": _insert, "turn-over": _turn_over, "reseat": _reseat, "move": _move, "label": _label, "look": _look,
    "take-out": _take_out("aside"), "take-out-good": _take_out("good"), "take-out-bad": _take_out("bad"),
}  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """One action of the table; its exit status."""
    parser = argparse.ArgumentParser(prog="table", description="A simulated drive or pair of hands; no disc is involved.")
    parser.add_argument("folder", type=Path)
    kinds = parser.add_subparsers(dest="kind", required=True)
    for kind, option in (("write", "--in"), ("read", "--out")):
        drive = kinds.add_parser(kind)
        drive.add_argument("drive")
        drive.add_argument(option, dest="file", type=Path, required=True)
        drive.add_argument("--tracks", type=lambda text: [int(number) for number in text.split(",")])
    act = kinds.add_parser("hands")
    act.add_argument("action", choices=_ACTIONS)
    act.add_argument("drive")
    act.add_argument("serial")
    given = parser.parse_args(arguments)
    try:
        if given.kind == "write":
            said = write(given.folder, given.drive, given.file)
        elif given.kind == "read":
            said = read(given.folder, given.drive, given.file, given.tracks)
        else:
            said = hands(given.folder, given.action, given.drive, given.serial)
    except TroubleError as trouble:
        sys.stdout.write(f"{trouble}\n")
        return trouble.status
    sys.stdout.write(f"{said}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
