"""`obverse capture`: a reader's own output to a file that `verify` judges, and what such a file holds."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from bench import make_master, random_dump

from formats import registry
from formats.containers import capture, interval_list
from mastering.master.master import Master
from tests.helpers.flux import Noise
from tests.helpers.fluxdisc import file, media, reads

OBVERSE = [sys.executable, "-m", "mastering.cli.main"]
NAME = "gcr5and3-35x13x256"


def run(*arguments: object) -> subprocess.CompletedProcess:
    return subprocess.run([*OBVERSE, *map(str, arguments)], capture_output=True, text=True, check=False)


@pytest.fixture(scope="module")
def disc() -> tuple[Master, tuple]:
    """A master, and a read of the first three tracks of a disc that carries it."""
    geometry = registry.geometry(NAME)
    master = make_master({"A": (NAME, random_dump(geometry, 1))})
    side = master.sides["A"]
    made = media(geometry, side.dump, side.identity, Noise(0.04, speed=0.012), cylinders={0, 1, 2})
    return master, reads(made, 2.3)


def test_a_list_becomes_a_capture_that_says_what_it_holds(disc, tmp_path):
    np.save(tmp_path / "list.npy", interval_list.columns(disc[1]))
    assert run("capture", tmp_path / "list.npy", "--out", tmp_path / "disc.capture").returncode == 0
    shown = run("capture", "show", tmp_path / "disc.capture")
    assert shown.returncode == 0
    head, table = shown.stdout.split("\n\n")
    assert "39 of 455 sectors" in " ".join(head.split()) and NAME in head
    columns, *rows = table.splitlines()
    assert columns.split()[:6] == ["cyl", "head", "transitions", "turns", "speed", "sectors"]
    assert [row.split()[:2] for row in rows] == [["0", "0"], ["1", "0"], ["2", "0"]]
    assert all("+1.2" in row and "13 of 13" in row and " 2.3" in row for row in rows)


def test_a_capture_becomes_a_list_and_the_same_capture_again(disc, tmp_path):
    (tmp_path / "one.capture").write_bytes(file(disc[1][:1]))
    assert run("capture", tmp_path / "one.capture", "--out", tmp_path / "list.csv").returncode == 0
    assert run("capture", tmp_path / "list.csv", "--out", tmp_path / "two.capture").returncode == 0
    one, two = (capture.read((tmp_path / f"{name}.capture").read_bytes(), name) for name in ("one", "two"))
    gaps = [np.concatenate(list(each.times[0].nanoseconds())) for each in (one, two)]
    assert (gaps[0] == gaps[1]).all()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("x.csv",), "give a FILE and --out FILE, or show and a FILE"),
        (("missing.csv", "--out", "{new}"), "missing.csv: can't be read"),
        (("{list}", "--out", "{list}"), "exists already"),
        (("{cells}", "--out", "{new}"), "it holds cells, no times between transitions"),
        (("show", "{list}"), "no capture, its signature"),
        (("{empty}", "--out", "{new}"), "it holds no row"),
    ],
)
def test_what_can_t_be_done_is_one_line(arguments, said, tmp_path):
    geometry = registry.geometry(NAME)
    (tmp_path / "list.csv").write_text("interval_ns\n4000\n")
    (tmp_path / "empty.csv").write_text("interval_ns\n")
    (tmp_path / "cells").write_bytes(capture.write_master(geometry, [bytes((geometry.track_cells(0) + 7) // 8)] * 35))
    names = {"new": tmp_path / "new", "list": tmp_path / "list.csv", "cells": tmp_path / "cells", "empty": tmp_path / "empty.csv"}
    done = run("capture", *(each.format(**names) for each in arguments))
    assert done.returncode == 2
    assert said in done.stderr and len(done.stderr.splitlines()) == 1
    assert not Path(names["new"]).exists()


def test_verify_lists_margins_when_asked(tmp_path):
    """The whole command on a real master of the demo: evidence `flux`, margin, drive."""
    shop = Path(__file__).parents[3] / "jobs_demo"
    assert run("build", shop / "job.toml", "--out", tmp_path / "m").returncode == 0
    from mastering.master.master import open_master

    side = open_master(tmp_path / "m").sides["A"]
    made = media(side.geometry, side.dump, side.identity, Noise(0.03))
    (tmp_path / "copy.capture").write_bytes(file(reads(made, 1.3)))
    done = run("verify", tmp_path / "m", tmp_path / "copy.capture", "--json", "--margins")
    line = json.loads(done.stdout)
    assert (done.returncode, line["verdict"], line["evidence"]) == (0, "pass", "flux")
    assert len(line["margins"]) == 683
    assert len(line["margin"]["worst"]) == 10
    assert set(line["drive"]) == {"speed", "wow", "jitter"}
