"""A batch of a practice shop, its bench file, and a simulated table with drives and hands that are programs of their own."""

import json
import sys
from pathlib import Path

from table import done, said, two_sides

from mastering.simulator.table import table as simulated

PROGRAM = [sys.executable, "-m", "mastering.simulator.table"]


class Bench:
    """A batch of a practice shop, a bench file, and a simulated table."""

    def __init__(
        self, folder: Path, drives: tuple[str, ...] = ("D1",), good: int = 2, label: bool = False, hold_after: int = 3, master=None
    ) -> None:
        self.folder, self.batch = folder / "shop", "B-0001"
        done("shop", "new", self.folder, "--practice")
        self.done("lot", "add", "L-07")
        for drive in drives:
            self.done("drive", "add", drive, "--tpi", 48, "--heads", 1, "--simulated")
        words = [word for drive in drives for word in ("--drive", drive)]
        self.done("batch", "open", (master or two_sides()).path, "--good", good, "--lot", "L-07", *words)
        self.place = folder / "place"
        self.place.mkdir()
        self.file = folder / "bench.toml"
        lines = ["[bench]", f"hold_after = {hold_after}", f"hands = {self._command('hands', '{action}', '{drive}', '{serial}')}"]
        lines += [f"label = {json.dumps([sys.executable, '-c', '0', '{pdf}'])}"] if label else []
        for drive in drives:
            lines += [
                f"[drive.{drive}]", f"write = {self._command('write', drive, '--in', '{capture}')}",
                f"read = {self._command('read', drive, '--out', '{output}')}",
                f"probe = {self._command('read', drive, '--out', '{output}', '--tracks', '{tracks}')}", "turns = 0", "seconds = 60",
            ]  # fmt: skip
        self.file.write_text("\n".join(lines) + "\n")

    def _command(self, kind: str, *rest: str) -> str:
        return json.dumps([*PROGRAM, str(self.place), kind, *rest])

    def done(self, *arguments):
        return done(*arguments, folder=self.folder)

    def goes_wrong(self, *troubles: dict) -> None:
        with simulated(self.place) as state:
            state["trouble"] += troubles

    def run(self) -> list[dict]:
        answer = said("batch", "run", self.batch, "--bench", self.file, "--auto", "--json", folder=self.folder)
        self.status, self.errors = answer.status, answer.err
        return answer.json

    def verdicts(self) -> dict[str, str]:
        return {line["serial"]: line["verdict"] for line in self.done("batch", "show", self.batch, "--json").json if "serial" in line}

    def sound(self) -> bool:
        return said("ledger", "check", folder=self.folder).status == 0
