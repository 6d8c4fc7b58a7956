"""The bench on a terminal of 80 x 24: a person reads one line, does it, and presses one key."""

import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import termios
import time

import pyte
import pytest
from benchtable import Bench

from mastering.simulator.table import hands

PATIENCE = 60.0


class Console:
    """`batch run` on a pseudo-terminal, and what stands on its screen."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.handle, other = pty.openpty()
        fcntl.ioctl(other, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        command = [sys.executable, "-m", "mastering.cli.main", "batch", "run", bench.batch, "--bench", str(bench.file)]
        self.process = subprocess.Popen(command, stdin=other, stdout=other, stderr=other, cwd=bench.folder, close_fds=True)
        os.close(other)
        self.screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self.screen)
        os.set_blocking(self.handle, False)

    def look(self) -> str:
        """The screen as it stands now."""
        try:
            while data := os.read(self.handle, 65536):
                self._stream.feed(data)
        except (BlockingIOError, OSError):
            pass
        return "\n".join(line.rstrip() for line in self.screen.display)

    def wait_for(self, pattern: str) -> re.Match[str]:
        """Waits until the screen shows something."""
        over = time.monotonic() + PATIENCE
        while time.monotonic() < over:
            match = re.search(pattern, self.look())
            if match:
                return match
            if self.process.poll() is not None:
                break
            time.sleep(0.01)
        raise AssertionError(f"{pattern} never came; the screen:\n{self.look()}")

    def press(self, keys: str) -> None:
        os.write(self.handle, keys.encode())

    def ended(self) -> int:
        """The exit status, once it has ended."""
        over = time.monotonic() + PATIENCE
        while self.process.poll() is None and time.monotonic() < over:
            self.look()
            time.sleep(0.01)
        assert self.process.returncode is not None, self.look()
        return self.process.returncode

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self.handle)


@pytest.fixture
def console(tmp_path):
    made = Console(Bench(tmp_path, good=1))
    yield made
    made.close()


def serial(number: str) -> str:
    return {"0001": "SM-004-0001-X", "0002": "SM-004-0002-V"}[number]


def test_a_disc_takes_three_keys_and_no_typing(console):
    place = console.bench.place
    console.wait_for(r"Put a fresh blank of lot L-07 into D1, label up\. It becomes disc 0001\.")
    hands(place, "insert", "D1", serial("0001"))
    console.press(" ")
    console.wait_for(r"Turn over disc 0001 in D1: label down\.")
    hands(place, "turn-over", "D1", serial("0001"))
    console.press(" ")
    console.wait_for(r"Turn over disc 0001 in D1: label up\.")
    assert "SIMULATED" in console.look() and "0 of 1 good" in console.look()
    hands(place, "turn-over", "D1", serial("0001"))
    console.press(" ")
    console.wait_for(r"Disc 0001 is good\. Take it out of D1: sleeve, good pile\.")
    hands(place, "take-out-good", "D1", serial("0001"))
    console.press(" ")
    assert console.ended() == 0
    assert list(console.bench.verdicts().values()) == ["pass"]


def test_a_key_without_the_deed_is_caught_and_why_stays_behind_a_key(console):
    place = console.bench.place
    console.wait_for("Put a fresh blank")
    assert "head" not in console.look()
    console.press("?")
    console.wait_for("The label's face is side A")
    console.press("?")
    hands(place, "insert", "D1", serial("0001"))
    console.press(" ")
    console.wait_for("Turn over disc 0001 in D1: label down")
    console.press(" ")  # the operator forgot
    console.wait_for("The disc was not turned over")


def test_a_disc_rejected_by_eye_asks_first_and_the_next_one_follows(console):
    place = console.bench.place
    console.wait_for("Put a fresh blank")
    hands(place, "insert", "D1", serial("0001"))
    console.press(" ")
    console.wait_for("Turn over disc 0001")
    console.press("x")
    console.wait_for(r"Reject this disc for good\?")
    console.press("n")
    console.wait_for("Turn over disc 0001")
    console.press("x")
    console.wait_for(r"Reject this disc for good\?")
    console.press("y")
    console.wait_for("Disc 0001 is bad. Take it out of D1: red dot, reject box.")
    console.wait_for("It becomes disc 0002")  # one key answers both
    assert console.bench.verdicts()[serial("0001")] == "fail"
