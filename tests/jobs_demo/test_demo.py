"""The demo, run as a newcomer runs it; and the two scripts that turn a reader's output into files for the program."""

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from console import process, run
from shared_demo import copied

from formats.containers import capture
from mastering.demo import shop
from mastering.errors import MasteringError
from mastering.master.master import open_master

REPO = Path(__file__).parents[2]
SHOP = REPO / "jobs_demo"
ENVIRONMENT = os.environ | {"PYTHONPATH": str(REPO)}


@pytest.fixture(scope="module")
def day(demo) -> tuple[Path, str]:
    """The folder that the demo made, which is only read, and what it printed."""
    return demo


# Name, what happened to it, verdict and what to do: the demo's twelve read-backs.
EXPECTED = [
    ("9001-Z-A.capture", "a sound copy, one turn of every track", "pass: Side A is good; box the disc when both sides are."),
    ("9001-Z-B.dump", "a sound copy, its bytes only", "pass: Side B is good; box the disc when both sides are."),
    ("9002-X-A.capture", "a spot without coating on track 17", "fail: Read it again: 1 of 683 sectors can't be read."),
    ("9002-X-B.dump", "two sectors that the reader gave up on, as its report says", "fail: Read it again: 2 of 560 sectors can't be read."),
    (
        "9003-V-A.capture",
        "a sector that comes right at every other turn only",
        "marginal: Don't box it yet, read it again: 1 sector came right at some turns only.",
    ),
    ("9003-V-B.capture", "a sound copy, three turns of every track", "pass: Side B is good; box the disc when both sides are."),
    ("9004-T-A.dump", "put in with the wrong side up", "fail: Turn it over: this is Lamplighter 1.2 B."),
    ("9004-T-B.dump", "the reading was broken off", "fail: Read it again: the reading ended early."),
    ("9005-R-A.dump", "written from the older revision's master", "fail: Ask where it came from: this is Lamplighter 1.1 A."),
    ("9005-R-B.capture", "never written: a blank slipped through", "fail: Write it: nothing is recorded on it."),
    ("9006-P-B.capture", "written with another volume number", "fail: Write it again: 560 of 560 sectors were written wrong."),
    ("9007-N-B.dump", "the reader lost a sector on the way", "fail: Read it again: the reader left sectors out."),
]


def test_the_demo_names_each_fault_and_what_to_do_with_the_disc(day):
    _, text = day
    told = re.findall(r"^   SM-004-(\S+) +(.*)\n {10,}(.*)$", text, re.MULTILINE)
    assert [(name, story) for name, story, _ in told] == [(name, story) for name, story, _ in EXPECTED]
    for (_, _, said), (_, _, expected) in zip(told, EXPECTED, strict=True):
        assert said.startswith(expected)
    assert "   12 read-backs: 3 pass, 1 marginal, 8 fail. Each came out as it should.\n" in text
    assert "   A disc is boxed when both its sides pass. Of these: SM-004-9001-Z.\n" in text


def test_the_discs_carry_their_serials(day):
    folder, _ = day
    done = run("verify", "obverse-demo/masters/lamplighter-1.2", "obverse-demo/practice", "--json", cwd=folder)
    on_disc = {line["readback"].rpartition("/")[2]: line.get("serial") for line in map(json.loads, done.stdout.splitlines())}
    for name in ("SM-004-9001-Z-A.capture", "SM-004-9002-X-A.capture", "SM-004-9003-V-A.capture", "SM-004-9005-R-A.dump"):
        assert on_disc[name] == name[:13]


def test_the_demo_says_that_it_is_simulated(day):
    folder, text = day
    assert "Everything below is simulated: no disc and no drive is involved." in text
    for path in (folder / "obverse-demo" / "practice").glob("*.capture"):
        assert capture.read(path.read_bytes(), path.name).simulated


@pytest.mark.parametrize("out", ["obverse-demo", "a new shop"])
def test_what_the_demo_suggests_works(day, out, tmp_path):
    """The commands are the same but for the folder's name, which is quoted where a shell needs that."""
    text = day[1] if out == copied(day[0], tmp_path).name else run("demo", "--out", out, cwd=tmp_path).stdout
    commands = re.findall(r"^      obverse (.*)$", text, re.MULTILINE)
    assert len(commands) == 9
    for command in commands:
        done = run(*shlex.split(command), cwd=tmp_path)
        assert done.returncode == (1 if command.startswith("verify") else 0), done.stderr


def test_the_demo_comes_out_the_same_every_time(day, tmp_path):
    folder, text = day
    again = process("demo", cwd=tmp_path)
    assert again.stdout == text
    for name in ("practice/SM-004-9003-V-A.capture", "masters/lamplighter-1.2/manifest-sha256.txt"):
        assert (tmp_path / "obverse-demo" / name).read_bytes() == (folder / "obverse-demo" / name).read_bytes()


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_demo_replaces_what_a_demo_made_when_asked(day, tmp_path):
    copied(day[0], tmp_path)
    made = files(tmp_path)
    done = run("demo", cwd=tmp_path)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "--again" in done.stderr
    (tmp_path / "obverse-demo" / "job.toml").unlink()
    assert run("demo", "--again", cwd=tmp_path).returncode == 0
    assert files(tmp_path) == made
    assert [path.name for path in tmp_path.iterdir()] == ["obverse-demo"]


def refused(folder: Path, said: str) -> None:
    """A demo that is asked to replace what is in a folder says why it does not, and leaves all as it is."""
    before = files(folder)
    done = run("demo", "--again", cwd=folder)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert said in done.stderr
    assert files(folder) == before


def test_a_demo_replaces_nothing_else(day, tmp_path):
    made = tmp_path / "obverse-demo"
    made.mkdir()
    refused(tmp_path, "obverse-demo: exists, and no demo made it")
    made.rmdir()
    copied(day[0], tmp_path)
    (made / "masters" / "mine").mkdir()
    (made / "masters" / "mine" / "notes.txt").write_text("keep")
    refused(tmp_path, "obverse-demo/masters/mine/notes.txt: not as a demo left it")
    (made / "masters" / "mine" / "notes.txt").unlink()
    (made / "job.toml").write_text((made / "job.toml").read_text() + "# mine\n")
    refused(tmp_path, "obverse-demo/job.toml: not as a demo left it")
    made.rename(tmp_path / "kept")
    made.symlink_to("kept")
    refused(tmp_path, "obverse-demo: exists, and no demo made it")


@pytest.mark.parametrize("files_there", [{}, {"notes.txt": b"keep"}])
def test_a_folder_that_came_to_be_while_the_demo_was_made_is_left_alone(monkeypatch, tmp_path, files_there):
    target, make = tmp_path / "shop", shop.make_batch

    def meanwhile(*arguments):
        target.mkdir()
        for name, data in files_there.items():
            (target / name).write_bytes(data)
        return make(*arguments)

    monkeypatch.setattr(shop, "make_batch", meanwhile)
    with pytest.raises(MasteringError, match=r"shop: (came to exist while the demo was made|exists, and no demo made it)"):
        shop.make_demo(target, again=False, each=iter)
    assert {path.name: path.read_bytes() for path in target.iterdir()} == files_there
    assert [path.name for path in tmp_path.iterdir()] == ["shop"]


def test_a_file_that_was_put_into_an_earlier_demo_meanwhile_is_kept(monkeypatch, tmp_path):
    target, make = tmp_path / "shop", shop.make_batch
    shop.make_demo(target, again=False, each=iter)

    def meanwhile(*arguments):
        (target / "notes.txt").write_bytes(b"keep")
        return make(*arguments)

    monkeypatch.setattr(shop, "make_batch", meanwhile)
    with pytest.raises(MasteringError, match=r"notes.txt: not as a demo left it"):
        shop.make_demo(target, again=True, each=iter)
    assert (target / "notes.txt").read_bytes() == b"keep" and (target / "job.toml").exists()


def test_a_demo_is_made_whole_or_not_at_all(tmp_path):
    """A file size limit stands for a full disk."""
    code = "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)); from mastering.cli.main import run; sys.exit(run(['demo']))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path, env=ENVIRONMENT)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert list(tmp_path.iterdir()) == []
    done = run("demo", "--out", "nowhere/shop", cwd=tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", "obverse: nowhere/shop: can't be made: No such file or directory\n")


def test_no_command_on_the_demo_takes_200_megabytes(day, tmp_path):
    copied(day[0], tmp_path)
    master = "obverse-demo/masters/lamplighter-1.2"
    code = (  # VmHWM is this process's own peak; getrusage would count that of the test runner which started it
        "import re, sys; from pathlib import Path; from mastering.cli.main import run; run(sys.argv[1:])\n"
        "print(re.search(r'VmHWM:\\s+(\\d+)', Path('/proc/self/status').read_text())[1])"
    )
    for arguments in (
        ["demo", "--out", "measured"],
        ["verify", master, "obverse-demo/practice"],
        ["check", master],
        ["build", "obverse-demo/job.toml", "--dry-run"],
    ):
        done = subprocess.run(
            [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, cwd=tmp_path, env=ENVIRONMENT
        )
        assert int(done.stdout.splitlines()[-1]) < 200_000


# The scripts


def test_cells_become_a_capture(day, tmp_path):
    folder, _ = day
    path = folder / "obverse-demo/masters/lamplighter-1.2"
    side = open_master(path).sides["A"]
    read = capture.read((path / "data/side-A.capture").read_bytes(), "master")
    for track in read.tracks:
        cells = "".join(map(str, np.unpackbits(np.frombuffer(track.bits, np.uint8))[: track.cells]))
        rows = "\n".join(cells[at : at + 100] for at in range(0, len(cells), 100))
        (tmp_path / f"track-{track.cylinder:02}-{track.head}.txt").write_text(f"{track.cell_ps / 1000}\n{rows}\n")
    subprocess.run([sys.executable, SHOP / "cells_to_capture.py", tmp_path, tmp_path / "copy.capture"], check=True)
    made = capture.read((tmp_path / "copy.capture").read_bytes(), "copy")
    assert made.tracks == read.tracks
    assert side.sha256
    assert run("verify", path, tmp_path / "copy.capture", cwd=tmp_path).returncode == 0


def test_a_readers_messages_become_a_report(day, tmp_path):
    folder, _ = day
    path = folder / "obverse-demo/masters/lamplighter-1.2"
    shutil.copy(path / "data/side-B.dump", tmp_path / "copy.dump")
    (tmp_path / "log.txt").write_text(
        "reading ...\ntrack 17 head 0 sector 4: good after 3 tries\ntrack 22 head 0 sector 11: data check failed after 10 tries\n"
        "track 23 head 0 sector 1: humming noise after 2 tries\nall tracks read\n"
    )
    subprocess.run([sys.executable, SHOP / "log_to_report.py", tmp_path / "log.txt", tmp_path / "copy.report.csv"], check=True)
    done = run("verify", path, tmp_path / "copy.dump", cwd=tmp_path)
    assert done.returncode == 1
    for said in (
        "track 17 sector 4: good only some of the time",
        "track 22 sector 11: its data fails its check",
        "track 23 sector 1: the reader gave up",
    ):
        assert said in done.stdout


def test_a_reading_that_was_broken_off_becomes_no_report(tmp_path):
    (tmp_path / "log.txt").write_text("track 17 head 0 sector 4: good after 3 tries\n")
    command = [sys.executable, SHOP / "log_to_report.py", tmp_path / "log.txt", tmp_path / "copy.report.csv"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert not (tmp_path / "copy.report.csv").exists()


def test_cells_that_are_none_become_no_capture(tmp_path):
    (tmp_path / "track-00-0.txt").write_text("4000\n0101_1\n")
    command = [sys.executable, SHOP / "cells_to_capture.py", tmp_path, tmp_path / "copy.capture"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (1, f"{tmp_path}: cylinder 0 head 0: a cell is neither 0 nor 1\n")
    assert not (tmp_path / "copy.capture").exists()


@pytest.mark.parametrize("script", ["cells_to_capture.py", "log_to_report.py"])
def test_the_scripts_are_short(script):
    assert len((SHOP / script).read_text().splitlines()) <= 40
