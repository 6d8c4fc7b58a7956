"""External programs: started from a list of arguments without a shell, ended with all their children when their time is up.

The only module that starts a process for somebody else's program. What the program prints is drained all the time and kept, so that
it never waits for a full pipe; whoever started it goes on and asks with `poll`.
"""

import subprocess
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import IO, Literal

from mastering.platform import end_process_group, process_group_flags

Why = Literal["ended", "time-limit", "stopped", "not-started"]

LARGEST_OUTPUT = 4 << 20  # bytes that are kept of what a program prints: a report line for every sector is a fortieth of it
_CHUNK = 1 << 16
_LAST_WORDS = 1.0  # seconds that the rest of the output may take once the program and its children have ended


@dataclass(frozen=True)
class Ended:
    """How a program ended: its exit `status` (None unless it ended by itself), the `seconds` that it ran, and all that it printed."""

    why: Why
    status: int | None
    seconds: float
    console: str

    @property
    def last_line(self) -> str:
        """The last line that the program printed; empty where it printed none."""
        lines = [line for line in self.console.splitlines() if line.strip()]
        return lines[-1].strip() if lines else ""


class Running:
    """A program at work, which has `seconds` to end by itself. Both of its output streams go into one text, in the order of printing."""

    def __init__(self, arguments: Sequence[str], seconds: float) -> None:
        self._started = time.monotonic()
        self._limit = seconds
        self._ended: Ended | None = None
        self._printed = bytearray()
        try:
            self._process = subprocess.Popen(
                list(arguments), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, **process_group_flags()
            )
        except (OSError, ValueError) as error:  # ValueError: a NUL in an argument
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            self._ended = Ended("not-started", None, 0.0, f"{arguments[0]}: {reason}")
            return
        assert self._process.stdout is not None
        self._drain = threading.Thread(target=self._read_all, args=(self._process.stdout,), daemon=True)
        self._drain.start()

    def poll(self) -> Ended | None:
        """How the program ended; None while it is at work and has time left."""
        if self._ended is None:
            if self._process.poll() is not None:
                self._close("ended")
            elif time.monotonic() - self._started > self._limit:
                self._close("time-limit")
        return self._ended

    def stop(self) -> Ended:
        """Ends the program and its children now, unless it has ended already."""
        return self.poll() or self._close("stopped")

    def wait(self) -> Ended:
        """Waits until the program has ended or its time is up."""
        while self.poll() is None:
            left = self._limit - (time.monotonic() - self._started)
            try:
                self._process.wait(max(left, 0.01))
            except subprocess.TimeoutExpired:
                continue
        return self.stop()

    def _close(self, why: Why) -> Ended:
        seconds = time.monotonic() - self._started
        end_process_group(self._process)
        self._process.wait()
        self._drain.join(_LAST_WORDS)  # a child that left the group may hold the pipe open for ever
        status = self._process.returncode if why == "ended" else None
        self._ended = Ended(why, status, seconds, bytes(self._printed).decode("utf-8", "replace"))
        return self._ended

    def _read_all(self, pipe: IO[bytes]) -> None:
        """Reads the pipe to its end; what is printed beyond `LARGEST_OUTPUT` is read and dropped."""
        with pipe:
            while chunk := pipe.read1(_CHUNK) if hasattr(pipe, "read1") else pipe.read(_CHUNK):
                self._printed += chunk[: LARGEST_OUTPUT - len(self._printed)]
