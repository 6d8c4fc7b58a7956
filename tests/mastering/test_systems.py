"""The demo and the judging come out the same on a system that has none of what only some systems have."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from shared_demo import copied

from mastering import platform

REPO = Path(__file__).parents[2]
ENVIRONMENT = os.environ | {"PYTHONPATH": str(REPO)}
MISSING = ("fork", "killpg", "link", "sched_getaffinity", "O_CLOEXEC", "O_DIRECTORY", "O_NONBLOCK")
PLAIN = "import sys; from mastering.cli.main import run; sys.exit(run(sys.argv[1:]))"
# The standard library's own functions by folder handles go with them: `shutil` of Python 3.13 uses O_NONBLOCK where it has them.
WITHOUT = (
    "import os, shutil, sys; sys.modules['fcntl'] = None; shutil._use_fd_functions = False\n"
    f"for name in {MISSING}: delattr(os, name)\n{PLAIN}"
)
SHOP = "obverse-demo"
MASTER = f"{SHOP}/masters/lamplighter-1.2"


def run(code: str, folder: Path, *arguments: str, now: str = "") -> tuple[int, str, str]:
    """What a command says on a system; `now`: the time that it takes it to be, else the clock's."""
    environment = ENVIRONMENT | ({"OBVERSE_NOW": now} if now else {})
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False, cwd=folder, env=environment
    )
    return done.returncode, done.stdout, done.stderr


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def shops(demo, tmp_path_factory) -> list[Path]:
    """A folder with the demo of this system, and one with the demo of a system that lacks all of it."""
    folders = [tmp_path_factory.mktemp(name) for name in ("as-it-is", "without")]
    copied(demo[0], folders[0])
    assert run(WITHOUT, folders[1], "demo") == (0, demo[1], "")
    return folders


def test_the_demo_leaves_the_same_files(shops):
    assert files(shops[0]) == files(shops[1])
    assert [path.name for path in shops[1].iterdir()] == [SHOP]


@pytest.mark.parametrize("arguments", [("verify", MASTER, "copies"), ("verify", MASTER, "copies", "--json"), ("check", MASTER)])
def test_judging_says_the_same(shops, arguments):
    """More read-backs than one process takes, one that is none, a pipe that nobody writes to, a folder."""
    for folder in shops:
        if not (folder / "copies").exists():
            (folder / "copies" / "inner").mkdir(parents=True)
            os.mkfifo(folder / "copies" / "pipe")
            good = (folder / MASTER / "data" / "side-A.dump").read_bytes()
            for number in range(100):
                (folder / "copies" / f"{number:03}-A.dump").write_bytes(good[:-1] + bytes([number]))
            (folder / "copies" / "none.dump").write_bytes(b"none")
    said = run(WITHOUT, shops[1], *arguments)
    assert said == run(PLAIN, shops[0], *arguments)
    assert said[0] == (0 if arguments[0] == "check" else 2)
    if arguments[0] == "verify":
        assert "a pipe, where a file was expected" in said[1] + said[2]


def test_a_batch_is_kept_without_it(shops, monkeypatch):
    """The ledger's queue, its backup's name, the master's folder: each has its fallback."""
    monkeypatch.setitem(ENVIRONMENT, "OBVERSE_NOW", "2036-11-25T20:00:00Z")  # the rows' digests hold the time
    lines = (
        ("lot", "add", "L-900", "--supplier", "Fenwick", "--count", "10"),
        ("batch", "list", "--json"),
        ("rates", "--json"),
        ("ledger", "backup", "copy.sqlite"),
        ("ledger", "backup", "copy.sqlite"),
        ("ledger", "check"),
        ("build", "job.toml", "--out", "again"),
        ("build", "job.toml", "--out", "again"),
    )
    now = "2036-11-25T10:00:00Z"  # rows carry it, and so do their digests
    said = [[run(code, folder / SHOP, *line, now=now) for line in lines] for code, folder in zip((PLAIN, WITHOUT), shops, strict=True)]
    assert [status for status, _, _ in said[1]] == [0, 0, 0, 0, 2, 0, 0, 2]
    assert said[0] == said[1]


def test_the_list_of_what_is_missing_is_what_the_module_asks_for():
    text = Path(platform.__file__).read_text(encoding="utf-8")
    assert [name for name in MISSING if f'"{name}"' not in text] == []
