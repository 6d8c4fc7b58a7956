"""Command lines: carried out in this process where only the answer counts, as a process of its own where that is the point."""

import io
import os
import subprocess
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path

from mastering.cli import main

REPO = Path(__file__).parents[2]
OBVERSE = [sys.executable, "-m", "mastering.cli.main"]


def run(*arguments: object, cwd: Path | None = None) -> subprocess.CompletedProcess:
    """Carries out a command line in this process, as if in a folder: exit status, and what it printed."""
    words = list(map(str, arguments))
    streams = [io.TextIOWrapper(io.BytesIO(), "utf-8") for _ in range(2)]
    with chdir(cwd or Path.cwd()), redirect_stdout(streams[0]), redirect_stderr(streams[1]):
        status = main.run(words)
    out, err = ((stream.flush(), stream.buffer.getvalue().decode())[1] for stream in streams)
    return subprocess.CompletedProcess(words, status, out, err)


def process(*arguments: object, **keys) -> subprocess.CompletedProcess:
    """Carries out a command line by a process of its own; `keys` as of `subprocess.run`."""
    environment = os.environ | {"PYTHONPATH": str(REPO)}
    given = {"capture_output": True, "text": True, "env": environment} | keys
    return subprocess.run([*OBVERSE, *map(str, arguments)], check=False, **given)
