"""The command line: what each command prints, its exit status, and one clear line for whatever goes wrong."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from bench import Copy
from console import OBVERSE, process, run

from formats import registry
from formats.containers import capture
from formats.containers.capture import Track
from mastering.master.master import open_master

SHOP = Path(__file__).parents[3] / "jobs_demo"
HEAVY = ("numpy", "construct", "pydantic", "scipy", "tqdm", "stdnum")


def lines(done: subprocess.CompletedProcess) -> list[dict]:
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def master(tmp_path_factory) -> Path:
    target = tmp_path_factory.mktemp("masters") / "lamplighter"
    assert run("build", SHOP / "job.toml", "--out", target).returncode == 0
    return target


@pytest.fixture
def copies(master, tmp_path) -> Path:
    """Two good dumps, one bad, a capture, a report beside a dump."""
    folder = tmp_path / "copies"
    folder.mkdir()
    for side in "AB":
        data = (master / "data" / f"side-{side}.dump").read_bytes()
        (folder / f"0001-{side}.dump").write_bytes(data)
    a = (master / "data" / "side-A.dump").read_bytes()
    (folder / "0002-A.dump").write_bytes(a[:-1] + b"!")
    (folder / "0003-A.capture").write_bytes(capture.write(Copy(open_master(master)).capture()))
    return folder


# build, contents, check, geometries, new


def test_build_says_what_it_built(tmp_path):
    done = run("build", SHOP / "job.toml", "--out", tmp_path / "m", "--json")
    [line] = lines(done)
    assert line["master"] == str(tmp_path / "m")
    assert {name: side["geometry"] for name, side in line["sides"].items()} == {"A": "gcr4to5-35z", "B": "gcr6and2-35x16x256"}
    assert line["digest"] == open_master(tmp_path / "m").digest
    assert line["sides"]["A"]["sha256"] == open_master(tmp_path / "m").sides["A"].sha256


def test_a_dry_run_writes_nothing(tmp_path):
    done = run("build", SHOP / "job.toml", "--dry-run", cwd=tmp_path)
    assert done.returncode == 0
    assert "nothing was written" in done.stdout
    assert list(tmp_path.iterdir()) == []
    assert run("build", SHOP / "job.toml").returncode == 2
    assert run("build", SHOP / "job.toml", "--dry-run", "--out", tmp_path / "m").returncode == 2


def test_contents_of_a_master(master):
    listed = lines(run("contents", master, "--json"))
    assert [(line["side"], line["name"], line["type"], line["load_address"], line["bytes"]) for line in listed[:-2]] == [
        ("A", "LAMPLIGHTER", "program", 0x2000, 361),
        ("A", "HOW TO PLAY", "sequential", None, 388),
        ("A", "LEVELS", "user", None, 32),
        ("B", "LAMPLIGHTER", "binary", 0x2000, 335),
        ("B", "HOW TO PLAY", "text", None, 388),
    ]
    assert listed[0]["sectors"] == [[17, 0, 0], [17, 0, 10]]
    assert listed[-2:] == [
        {"side": "A", "volume": "zoned-dos", "label": "LAMPLIGHTER", "free": 659, "unit": 254},
        {"side": "B", "volume": "catalog-dos", "label": "", "free": 490, "unit": 256},
    ]


def test_files_come_out_as_they_went_in(master, tmp_path):
    assert run("contents", master, "--extract", tmp_path / "out").returncode == 0
    names = sorted(str(path.relative_to(tmp_path / "out")) for path in (tmp_path / "out").rglob("*") if path.is_file())
    assert names == ["A/HOW%20TO%20PLAY", "A/LAMPLIGHTER", "A/LEVELS", "B/HOW%20TO%20PLAY", "B/LAMPLIGHTER"]
    assert (tmp_path / "out/A/LAMPLIGHTER").read_bytes() == b"\x00\x20" + (SHOP / "side-a/lamplighter.bin").read_bytes()
    assert (tmp_path / "out/B/LAMPLIGHTER").read_bytes() == (SHOP / "side-b/lamplighter.bin").read_bytes()
    assert (tmp_path / "out/B/HOW%20TO%20PLAY").read_bytes() == (SHOP / "side-b/how-to-play.bin").read_bytes()
    again = run("contents", master, "--extract", tmp_path / "out")
    assert (again.returncode, again.stderr) == (2, f"obverse: {tmp_path / 'out'}: exists already; name a folder that does not\n")


def test_contents_of_a_bare_dump(master):
    dump = master / "data" / "side-B.dump"
    listed = lines(run("contents", dump, "--geometry", "gcr6and2-35x16x256", "--volume", "catalog-dos", "--json"))
    assert [line["name"] for line in listed[:-1]] == ["LAMPLIGHTER", "HOW TO PLAY"]
    for arguments, said in (
        (("--geometry", "gcr4to5-35z", "--volume", "zoned-dos"), "143,360 bytes, where"),
        (("--geometry", "gcr4to5-35z", "--volume", "fat12"), "fat12 is not defined on gcr4to5-35z"),
        (("--geometry", "x", "--volume", "fat12"), "there is no 'x'"),
        (("--geometry", "gcr4to5-35z"), "a dump needs both --geometry and --volume"),
        (("--extract", "out"), "to extract from a dump give --geometry and --volume"),
    ):
        done = run("contents", dump, *arguments)
        assert done.returncode == 2
        assert said.replace(",", "") in done.stderr.replace(",", "")


def test_a_ready_image_is_named_as_one(tmp_path, master):
    (tmp_path / "side.dump").write_bytes(bytes(184_320))
    arguments = ("contents", tmp_path / "side.dump", "--geometry", "mfm-40x9x512", "--volume", "none")
    assert run(*arguments).stdout == "side A: none\n  a ready image, without files\n"
    assert lines(run(*arguments, "--json")) == [{"side": "A", "volume": "none", "label": "", "free": 0, "unit": 512}]


def test_a_tree_of_files_and_the_same_side_as_a_ready_image(tmp_path):
    """Directories by `/` in a name, each file with what the job says of it wherever it stands; block order holds block after block."""
    assert run("new", tmp_path / "tree", "--side", "A=gcr6and2-35x16x256:block-tree").returncode == 0
    job = tmp_path / "tree" / "job.toml"
    text = job.read_text()
    files = [("CAVES/FIRST", 4, False), ("LAMP", 6, True), ("CAVES/SECOND", 4, True), ("BOOK", 4, False)]
    tables = [
        f'[[side.A.file]]\nname = "{name}"\nsource = "side-a/{name[-4:]}"\ntype = {type_}\nvolatile = {str(volatile).lower()}\n'
        for name, type_, volatile in files
    ]
    for name, _, _ in files:
        (tmp_path / "tree" / "side-a" / name[-4:]).write_bytes(name.encode() * 100)
    job.write_text(text[: text.index("[[side.A.file]]")] + "".join(tables))
    done = run("build", job, "--out", tmp_path / "m")
    assert (done.returncode, done.stderr) == (0, "")
    record = json.loads((tmp_path / "m" / "data" / "master.json").read_text())
    kept = [(file["name"], file["type"], file["volatile"]) for file in record["sides"]["A"]["files"]]
    assert kept == [("LAMP", 6, True), ("BOOK", 4, False), ("CAVES/FIRST", 4, False), ("CAVES/SECOND", 4, True)]
    assert run("check", tmp_path / "m").returncode == 0
    assert run("contents", tmp_path / "m", "--extract", tmp_path / "out").returncode == 0
    assert (tmp_path / "out/A/CAVES%2FSECOND").read_bytes() == b"CAVES/SECOND" * 100
    dump = (tmp_path / "m" / "data" / "side-A.dump").read_bytes()
    pairs = ("0E", "DC", "BA", "98", "76", "54", "32", "1F")  # published: of each block of a track, its two sectors in file order
    places = [(track * 16 + int(half, 16)) * 256 for track in range(35) for pair in pairs for half in pair]
    (tmp_path / "ready").mkdir()
    (tmp_path / "ready" / "blocks.bin").write_bytes(b"".join(dump[place : place + 256] for place in places))
    head = text[text.index("[title]") : text.index("[side.A]")]
    side = '[side.A]\ngeometry = "gcr6and2-35x16x256"\nvolume = "none"\nimage = "blocks.bin"\norder = "block-order"\n'
    (tmp_path / "ready" / "job.toml").write_text(head + side)
    assert run("build", tmp_path / "ready" / "job.toml", "--out", tmp_path / "r").returncode == 0
    assert (tmp_path / "r" / "data" / "side-A.dump").read_bytes() == dump
    assert run("verify", tmp_path / "m", tmp_path / "r" / "data" / "side-A.capture").returncode == 0


NAMES = ["41", "61", "2E", "2E 2E", "1B 5B 32 4A", "41 2F 42", "E9 25"]


def test_names_that_could_lead_elsewhere_stay_in_their_folder(tmp_path):
    """`.` and `..`, a slash, a terminal's command, names that differ by case only."""
    assert run("new", tmp_path / "title", "--side", "A=gcr4to5-35z:zoned-dos").returncode == 0
    job = tmp_path / "title" / "job.toml"
    text = job.read_text()
    head = text[: text.index("[[side.A.file]]")]
    files = [f'[[side.A.file]]\nname_bytes = "{name}"\nsource = "side-a/first.bin"\ntype = "user"\n' for name in NAMES]
    job.write_text(head + "".join(files))
    done = run("build", job, "--out", tmp_path / "m")
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout + run("contents", tmp_path / "m").stdout
    assert run("contents", tmp_path / "m", "--extract", tmp_path / "out").returncode == 0
    found = sorted(str(path.relative_to(tmp_path / "out")) for path in (tmp_path / "out").rglob("*") if path.is_file())
    assert found == ["A/%1B%5B2J", "A/%2E", "A/%2E%2E", "A/%E9%25", "A/A", "A/A%2FB", "A/a"]
    assert {path.name for path in tmp_path.iterdir()} == {"title", "m", "out"}


def test_geometries(tmp_path):
    listed = {line["id"]: line for line in lines(run("geometries", "--json"))}
    assert list(listed) == registry.names("geometries")
    zoned = listed["gcr4to5-35z"]
    assert list(zoned) == "id code heads tracks first_track sectors bytes first_sector dump_bytes rpm cell_ns track_cells".split()
    assert (zoned["sectors"][16:18], zoned["cell_ns"][0], zoned["track_cells"][0]) == ([21, 19], 3250.0, 61_538)
    assert len(zoned["sectors"]) == len(zoned["cell_ns"]) == len(zoned["track_cells"]) == zoned["tracks"] == 35
    assert [line["id"] for line in lines(run("geometries", "--bytes", 184_320, "--json"))] == ["mfm-40x18x256", "mfm-40x9x512"]
    assert run("geometries", "--bytes", 1).returncode == 1
    assert "1.29 % faster" in run("geometries", "gcr4to5-35z").stdout
    assert run("geometries", "gcr").stderr.startswith("obverse: there is no 'gcr'")


@pytest.mark.parametrize(
    "sides",
    [["A=gcr6and2-35x16x256:block-tree", "B=gcr5and3-35x13x256:catalog-dos"], ["A=gcr4to5-40z:zoned-dos"], ["A=gcr4to5-77z-2s:zoned-dos"],
     ["A=gcr4to5-35z:zoned-dos"], ["A=mfm-40x9x512-2s:fat12"], ["A=gcr6and2-35x16x256:catalog-dos", "B=mfm-40x9x512:none"]],
)  # fmt: skip
def test_a_new_job_builds_as_it_is(tmp_path, sides):
    options = [word for side in sides for word in ("--side", side)]
    assert run("new", tmp_path / "title", *options).returncode == 0
    done = run("build", tmp_path / "title" / "job.toml", "--out", tmp_path / "m")
    ready = [line for side in sides if side.endswith(":none") for line in [f"side.{side[0]}.serial: side {side[0]} carries no serial"]]
    assert done.returncode == 0 and len(done.stderr.splitlines()) == len(ready) and all(line in done.stderr for line in ready)
    assert run("check", tmp_path / "m").returncode == 0
    assert run("new", tmp_path / "title", *options).returncode == 2


@pytest.mark.parametrize(
    "sides",
    [["A=gcr4to5-35z"], ["C=gcr4to5-35z:zoned-dos"], ["B=gcr4to5-35z:zoned-dos"], ["A=gcr4to5-35z:fat12"], ["A=x:fat12"], ["A=gcr4to5-35z:x"],
     ["A=gcr4to5-35z:none", "A=gcr4to5-35z:none"], ["A=mfm-40x9x512-2s:fat12", "B=gcr4to5-35z:zoned-dos"]],
)  # fmt: skip
def test_a_new_job_that_can_not_be(tmp_path, sides):
    done = run("new", tmp_path / "title", *[word for side in sides for word in ("--side", side)])
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert not (tmp_path / "title").exists()


# verify


def test_verify_judges_a_folder_in_order(master, copies):
    done = run("verify", master, copies, "--json")
    assert done.returncode == 1
    assert [(Path(line["readback"]).name, line["side"], line["verdict"], line["evidence"]) for line in lines(done)] == [
        ("0001-A.dump", "A", "pass", "dump"),
        ("0001-B.dump", "B", "pass", "dump"),
        ("0002-A.dump", "A", "fail", "dump"),
        ("0003-A.capture", "A", "pass", "cells"),
    ]
    assert done.stderr == "4 read-backs: 3 pass, 1 fail\n"
    assert run("verify", master, copies / "0001-A.dump").returncode == 0
    people = run("verify", master, copies).stdout
    assert "track 35 sector 16: other bytes than the master's" in people


def test_verify_keeps_the_order_given(master, copies):
    names = [copies / name for name in ("0003-A.capture", "0001-B.dump", "0001-A.dump")]
    assert [Path(line["readback"]) for line in lines(run("verify", master, *names, "--json"))] == names


def test_a_report_is_part_of_its_dump(master, copies):
    (copies / "0002-A.report.csv").write_text("track,head,sector,state,tries\n1,0,0,good,1\n")
    (copies / "lost.report.csv").write_text("track,head,sector,state,tries\n")
    done = run("verify", master, copies, "--json")
    by_name = {Path(line["readback"]).name: line for line in lines(done)}
    assert by_name["0002-A.dump"]["evidence"] == "report"
    assert by_name["0002-A.dump"]["sectors"] == {"expected": 683, "good": 1}
    assert "0002-A.report.csv" not in by_name
    assert "without its dump" in by_name["lost.report.csv"]["error"]
    assert done.returncode == 2
    both = run("verify", master, copies / "0002-A.report.csv", copies / "0002-A.dump", "--json")
    assert len(lines(both)) == 1


def test_a_report_beside_a_capture_is_alone(master, copies):
    (copies / "0003-A.report.csv").write_text("track,head,sector,state,tries\n")
    by_name = {Path(line["readback"]).name: line for line in lines(run("verify", master, copies, "--json"))}
    assert by_name["0003-A.capture"]["verdict"] == "pass"
    assert "error" in by_name["0003-A.report.csv"]


def test_what_is_no_read_back_has_its_line_and_the_others_are_judged(master, copies):
    good = (copies / "0003-A.capture").read_bytes()
    bad = {
        "empty": b"", "foreign.txt": b"hello", "half.capture": good[: len(good) // 2], "torn.capture": good[:-1] + b"!", "huge": b"x" * 300_000,
        "bare.report.csv": b"track,head,sector,state,tries\n", "broken.dump": (copies / "0001-A.dump").read_bytes(), "broken.report.csv": b"nonsense\n",
    }  # fmt: skip
    for name, data in bad.items():
        (copies / name).write_bytes(data)
    os.mkfifo(copies / "pipe")
    (copies / "inner").mkdir()
    with (copies / "endless").open("wb") as file:
        file.truncate(1 << 40)
    done = process("verify", master, copies, "--json", timeout=60)
    by_name = {Path(line["readback"]).name: line for line in lines(done)}
    wrong = {name for name, line in by_name.items() if "error" in line}
    assert wrong == {
        "empty",
        "foreign.txt",
        "half.capture",
        "torn.capture",
        "huge",
        "bare.report.csv",
        "broken.dump",
        "pipe",
        "inner",
        "endless",
    }
    assert all(line["error"].count("\n") == 0 and set(line) == {"readback", "error"} for name, line in by_name.items() if name in wrong)
    assert done.returncode == 2
    assert len(by_name) == 4 + len(wrong)
    people = process("verify", master, copies, timeout=60)
    assert people.stderr.count("error ") == len(wrong)
    assert people.returncode == 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nowhere", "x"), "obverse: nowhere: no such folder; a master is a folder that `obverse build` made"),
        ((SHOP, "x"), f"obverse: {SHOP}: no master: it has no bagit.txt"),
    ],
)
def test_what_is_no_master(arguments, said):
    done = run("verify", *arguments)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", said + "\n")


def test_check_of_what_is_no_master(tmp_path):
    done = run("check", tmp_path)
    assert (done.returncode, done.stderr) == (2, f"obverse: {tmp_path}: no master; a master is a folder that `obverse build` made\n")


def test_a_name_in_no_encoding_is_judged_all_the_same(master, copies):
    os.rename(copies / "0002-A.dump", os.fsencode(copies) + b"/\xff.dump")
    for options in ((), ("--json",)):
        done = subprocess.run([*OBVERSE, "verify", str(master), str(copies), *options], capture_output=True, check=False)
        assert done.returncode == 1
        assert b"Traceback" not in done.stderr
        assert b"udcff" in done.stdout


def test_a_side_that_the_master_lacks(master, copies):
    done = run("verify", master, copies, "--side", "C")
    assert (done.returncode, done.stderr) == (2, "obverse: --side C: this master has sides A and B\n")


def test_a_read_back_that_is_not_there(master, copies):
    done = run("verify", master, copies / "nothing.dump", copies / "0001-A.dump", "--json")
    assert done.returncode == 2
    assert [set(line) & {"error", "verdict"} for line in lines(done)] == [{"error"}, {"verdict"}]


def test_other_masters_at_hand(master, copies, tmp_path):
    older = tmp_path / "shelf" / "older"
    (tmp_path / "shelf").mkdir()
    assert run("build", SHOP / "job-1.1.toml", "--out", older).returncode == 0
    [line] = lines(run("verify", master, older / "data" / "side-A.dump", "--side", "A", "--masters", tmp_path / "shelf", "--json"))
    assert (line["diagnosis"], line["matches"], line["action"]) == ("other-master", ["Lamplighter 1.1 A"], "ask")
    [line] = lines(run("verify", master, older / "data" / "side-A.dump", "--side", "A", "--masters", older, "--json"))
    assert line["matches"] == ["Lamplighter 1.1 A"]  # one master instead of a folder of them
    (older / "data" / "side-B.dump").write_bytes(b"")
    done = run("verify", master, copies / "0002-A.dump", "--masters", tmp_path / "shelf", "--json")
    assert done.returncode == 2
    assert [line["verdict"] for line in lines(done)] == ["fail"]  # a broken master at hand costs no verdict
    assert done.stderr.startswith("left out: ") and "side-B.dump" in done.stderr
    nowhere = run("verify", master, copies / "0001-A.dump", "--masters", tmp_path / "nowhere")
    assert (nowhere.returncode, nowhere.stdout) == (2, "")
    empty = run("verify", master, copies / "0001-A.dump", "--masters", copies)
    assert (empty.returncode, empty.stderr.splitlines()[0]) == (0, f"{copies}: no master lies in it; a wrong disc can't be named")


def test_a_folder_without_read_backs_is_not_all_well(master, tmp_path):
    (tmp_path / ".hidden.dump").write_bytes(b"")
    done = run("verify", master, tmp_path, "--json")
    assert (done.returncode, done.stdout, done.stderr) == (2, "", "no read-back was found\n")


def test_cells_full_of_marks_are_refused_in_time(master, copies):
    """A megabyte of nothing but marks: no disc holds them, and to look at each would take hours."""
    for name, bits in (("d5.capture", b"\xd5\xaa\x96" * 350_000), ("ones.capture", b"\xff\xff\x52\x95" * 260_000)):
        track = Track(0, 0, False, 2_000_000, len(bits) * 8, bits)
        (copies / name).write_bytes(capture.write(capture.Capture(300, "hostile", (track,))))
        done = process("verify", master, copies / name, "--json", timeout=60)
        assert "Traceback" not in done.stderr
        [line] = lines(done)
        assert line.get("verdict", "fail") == "fail"


def test_hundreds_of_read_backs_come_out_in_order(master, tmp_path):
    """So many that they are shared out to several processes."""
    data = [(master / "data" / f"side-{side}.dump").read_bytes() for side in "AB"]
    for number in range(600):
        (tmp_path / f"{number:04}.dump").write_bytes(data[number % 2] if number % 50 else data[0][:-1] + b"!")
    done = process("verify", master, tmp_path, "--json")
    assert [Path(line["readback"]).name for line in lines(done)] == [f"{number:04}.dump" for number in range(600)]
    assert [line["verdict"] for line in lines(done)] == ["pass" if number % 50 else "fail" for number in range(600)]
    assert done.stderr == "600 read-backs: 588 pass, 12 fail\n"


# Output that nobody reads, or that can't be written; help


def test_a_reader_that_goes_away_is_no_error(master, copies):
    for number in range(400):
        (copies / f"more-{number}.dump").write_bytes((copies / "0002-A.dump").read_bytes())
    done = subprocess.run(
        f"{sys.executable} -m mastering.cli.main verify {master} {copies} --json | head -n 1",
        shell=True,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert len(done.stdout.splitlines()) == 1
    assert "Traceback" not in done.stderr and "Exception" not in done.stderr


@pytest.mark.parametrize("command", [["geometries"], ["--help"], ["verify"], ["contents"]])
def test_a_full_output_is_said(master, copies, command):
    arguments = {"verify": [master, copies], "contents": [master]}.get(command[0], [])
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*OBVERSE, *command, *map(str, arguments)], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert "No space left on device" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_closed_output_is_said_and_nothing_is_made(tmp_path):
    words = f"{' '.join(OBVERSE)} build {SHOP / 'job.toml'} --out {tmp_path / 'm'}"
    done = subprocess.run(f"{words} >&-", shell=True, stderr=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stderr) == (2, "obverse: output: standard output is closed\n")
    assert list(tmp_path.iterdir()) == []
    done = subprocess.run(f"{words[:-1]}x/y 2>&-", shell=True, stdout=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")


@pytest.mark.parametrize("command", [["nonsense"], ["verify", "nowhere", "nothing"]])
def test_a_message_that_can_not_be_printed_leaves_the_status_as_it_is(command):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*OBVERSE, *command], stdout=subprocess.PIPE, stderr=full, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")


def test_what_was_printed_before_an_error_is_not_lost():
    code = "import mastering.cli.main as entry\nentry.run = lambda: (print('the first line'), 2)[1]\nentry.main()"
    done = subprocess.run([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "the first line\n")


def test_an_interrupt_is_told_apart(master):
    code = "import mastering.cli.main as m, mastering.cli.commands.geometries as g\ndef stop(*a, **k): raise KeyboardInterrupt\ng.json_lines = stop\n"
    done = subprocess.run(
        [sys.executable, "-c", code + "raise SystemExit(m.run(['geometries', '--json']))"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr.strip()) == (130, "obverse: interrupted")


@pytest.mark.parametrize("arguments", [["--help"], ["verify", "--help"], ["build", "--help"]])
def test_help_loads_nothing_heavy(arguments):
    assert loaded(arguments) == []


def test_a_passing_dump_loads_nothing_heavy(master, copies):
    assert loaded(["verify", str(master), str(copies / "0001-A.dump")]) == []


def test_a_capture_needs_numpy_and_no_construct(master, copies):
    assert loaded(["verify", str(master), str(copies / "0003-A.capture")]) == ["numpy"]


def loaded(arguments: list[str]) -> list[str]:
    """Heavy packages that a command line imports."""
    code = (
        f"import sys, mastering.cli.main as m\nm.run({arguments!r})\nprint('LOADED', *[name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1].split()[1:]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["verfy"], "obverse: there is no 'verfy'; did you mean verify? (see `obverse --help`)\n"),
        (["build"], "obverse: Missing argument 'JOB'. (see `obverse build --help`)\n"),
        (["geometries", "--bytes", "many"], "(see `obverse geometries --help`)\n"),
        (["build", "job.toml"], "obverse: give either --out DIR or --dry-run (see `obverse build --help`)\n"),
    ],
)
def test_a_command_line_that_is_none_has_one_line(arguments, said):
    done = run(*arguments)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.endswith(said)


def test_no_words_at_all_show_the_help():
    done = run()
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == run("--help").stdout


@pytest.mark.parametrize(
    ("geometry", "volume", "said"),
    [
        ("gcr4to5-35z", "zoned-dos", "2 of 683 sectors used (0 %), 664 units of 254 bytes free"),
        ("mfm-40x9x512", "fat12", "9 of 360 sectors used (2 %), 351 units of 512 bytes free"),
    ],
)
def test_an_empty_side_has_its_room_said(tmp_path, geometry, volume, said):
    title = '[title]\nname = "L"\npublisher = "S"\ncatalogue = "SM-1"\nrevision = "1"\n'
    (tmp_path / "job.toml").write_text(f'{title}[side.A]\ngeometry = "{geometry}"\nvolume = "{volume}"\n')
    assert said in run("build", tmp_path / "job.toml", "--dry-run").stdout


def test_one_of_a_thing_is_one(tmp_path):
    title = '[title]\nname = "L"\npublisher = "S"\ncatalogue = "SM-1"\nrevision = "1"\n'
    file = '[[side.A.file]]\nname = "ALL"\nsource = "all.bin"\n'
    (tmp_path / "all.bin").write_bytes(b"1" * 512 * 350)
    (tmp_path / "job.toml").write_text(f'{title}[side.A]\ngeometry = "mfm-40x9x512"\nvolume = "fat12"\n{file}')
    done = run("build", tmp_path / "job.toml", "--out", tmp_path / "m")
    assert "359 of 360 sectors used (99 %), 1 unit of 512 bytes free" in done.stdout
    assert "  1 unit of 512 bytes free" in run("contents", tmp_path / "m").stdout


@pytest.mark.parametrize("name", ["two\nlines]", b"no text \xff"])
def test_a_new_job_in_a_folder_of_any_name(tmp_path, name):
    folder = tmp_path / (name if isinstance(name, str) else os.fsdecode(name))
    for arguments in (["new", folder, "--side", "A=gcr4to5-35z:zoned-dos"], ["build", folder / "job.toml", "--dry-run"]):
        done = subprocess.run([*OBVERSE, *map(str, arguments)], capture_output=True, check=False)
        assert (done.returncode, done.stderr) == (0, b"")
