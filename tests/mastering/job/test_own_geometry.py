"""`[geometry.NAME]`: a job's own geometry goes into its master and is judged like any other; one that can't be is told, all at once."""

import json
import re
import subprocess
import tomllib
from pathlib import Path

import numpy as np
import pytest
from bench import Copy, found, judge, judge_dump
from console import run as console_run

from formats import registry
from formats.model.geometry import Address
from formats.volumes.shared.problems import Problems
from mastering.errors import ProblemsError
from mastering.job.job import load
from mastering.job.own_geometry import GeometryKeys, own_geometries
from mastering.judging.audit import audit
from mastering.master.builder import build, payload, record
from mastering.master.master import Master, open_master, write_master

TITLE = '[title]\nname = "{name}"\npublisher = "Saltmarsh Software"\ncatalogue = "SM-004"\nrevision = "1.2"\n'
SIDE = '[side.A]\ngeometry = "own"\nvolume = "{volume}"\n'
IMAGE = 'image = "image.bin"\n'


def job_of(folder: Path, table: str, size: int = 0, volume: str = "none", more: str = "", name: str = "Lamplighter") -> Path:
    """A job with one side in the geometry `own`; `size` bytes of image."""
    folder.mkdir(exist_ok=True)
    image = np.random.default_rng(len(name)).integers(0, 256, size, np.uint8).tobytes()
    (folder / "image.bin").write_bytes(image)
    (folder / "file.bin").write_bytes(image[:700] or b"\x60" * 700)
    text = TITLE.format(name=name) + SIDE.format(volume=volume) + (IMAGE if volume == "none" else more) + f"[geometry.own]\n{table}\n"
    (folder / "job.toml").write_text(text)
    return folder / "job.toml"


def master_of(folder: Path, table: str, size: int = 0, **keys) -> Master:
    built = build(load(job_of(folder, table, size, **keys)))
    write_master(folder / "master", payload(built), record(built))
    return open_master(folder / "master")


def problems(folder: Path, table: str) -> list[str]:
    with pytest.raises(ProblemsError) as raised:
        load(job_of(folder, table))
    return [str(problem).removeprefix("geometry.own") for problem in raised.value.problems]


def geometry_of(folder: Path, table: str):
    return load(job_of(folder, table, volume="fat12", more="")).sides["A"].geometry


# What it may change. Sizes are products; margins and cells by the sums of facts on the formats: 16 cells a byte, 146 bytes of lead.

LANTERN = (
    'base = "mfm-40x9x512"\ntracks = 41\nsectors = 10\nfirst_sector = 0\ndata_gap = 30\norder = [0, 2, 4, 6, 8, 1, 3, 5, 7, 9]\n'
    "complemented = true"
)
GROUP = 'base = "gcr4to5-35z"\nidentifier_gap = 12\ntracks = 30\nfirst_track = 3\nsectors = [20, 18, 17, 16]\ndata_gap = [20, 30, 25, 30]'
TWO_HEADS = 'base = "gcr4to5-40z"\nheads = 2\ntracks_count_on = true\nheads_apart = true'
FINE = (
    'base = "fm-40x16x128"\nsector_bytes = 256\nsectors = 9\ntracks = 80\ntracks_per_inch = 96\nindex_mark = false\nfirst_gap = 20\n'
    'dump_order = [9, 8, 7, 6, 5, 4, 3, 2, 1]\nsource = "Handbook of the lantern, appendix C"'
)


@pytest.mark.parametrize(
    ("table", "size", "last"),
    [
        (LANTERN, 41 * 10 * 512, Address(40, 0, 9)),
        (GROUP, (17 * 20 + 7 * 18 + 6 * 17) * 256, Address(32, 0, 16)),
        (TWO_HEADS, 2 * 196_608, Address(80, 1, 16)),
        (FINE, 80 * 9 * 256, Address(79, 0, 1)),
    ],
    ids=["lantern", "group", "two-heads", "fine"],
)
def test_a_master_carries_it_and_its_copies_are_judged(tmp_path, table, size, last):
    master = master_of(tmp_path, table, size)
    side = master.sides["A"]
    assert (side.geometry_id, len(side.dump), side.geometry.addresses[-1]) == ("own", size, last)
    assert [line["problems"] for line in audit(master)] == [[], [], []]
    copy = Copy(master)
    assert copy.verdict().verdict == "pass"
    assert judge_dump(master, side.dump).verdict == "pass"
    _, block = copy.fields(last)
    copy.flip(last, block.body + 41)  # of FM and MFM a data bit
    assert found(copy.verdict()) == {last: "block-check"}


def test_what_is_changed_is_where_it_should_be(tmp_path):
    geometry = load(job_of(tmp_path, LANTERN, 41 * 10 * 512)).sides["A"].geometry
    assert geometry.order == (0, 2, 4, 6, 8, 1, 3, 5, 7, 9) and geometry.code == "mfm"
    assert geometry.block.field("body").complemented
    assert round(100 * geometry.speed_margin(geometry.zones[0]), 2) == 1.53  # published sum: 10 sectors of 512, data gap 30
    assert Address(40, 0, 0) in geometry.places


def test_a_track_is_written_as_it_says(tmp_path):
    """20 x FF, 6 x 00, identifier: no index mark; 11 x FF before the block; the last sector number first in a dump."""
    master = master_of(tmp_path, FINE, 80 * 9 * 256)
    track = Copy(master).cells[0, 0]
    text = "".join(map(str, track[: (20 + 6 + 7 + 11 + 6) * 16]))
    marks = [text[at * 16 : at * 16 + 16] for at in (0, 19, 20, 25, 26, 33, 43, 44, 49)]
    assert marks == [f"{word:016b}" for word in (0xFFFF, 0xFFFF, 0xAAAA, 0xAAAA, 0xF57E, 0xFFFF, 0xFFFF, 0xAAAA, 0xAAAA)]
    side = master.sides["A"]
    assert side.geometry.places[Address(0, 0, 9)] == 0 and side.geometry.places[Address(0, 0, 1)] == 8
    assert master.record["sides"]["A"]["geometry_source"] == "Handbook of the lantern, appendix C"


def test_a_volume_lies_on_it_when_it_sees_no_difference(tmp_path):
    """Another data gap, another order round the track, but the same sectors: the same file system."""
    table = 'base = "mfm-40x9x512-2s"\ndata_gap = 60\norder = [1, 4, 7, 2, 5, 8, 3, 6, 9]'
    file = '[[side.A.file]]\nname = "FIRST.BIN"\nsource = "file.bin"\n'
    master = master_of(tmp_path, table, volume="fat12", more=file)
    listed = run("contents", master.path)
    assert "FIRST.BIN" in listed.stdout and " 700" in listed.stdout
    assert [line["problems"] for line in audit(master)] == [[], [], []]
    (tmp_path / "job.toml").write_text((tmp_path / "job.toml").read_text().replace("data_gap = 60\n", "tracks = 39\n"))
    with pytest.raises(ProblemsError) as raised:
        load(tmp_path / "job.toml")
    why = "a file system sees where it differs from mfm-40x9x512-2s: tracks"
    assert str(raised.value) == f"{tmp_path / 'job.toml'}: side.A.volume: fat12 is not defined on own: {why}"


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ('base = "mfm-40x9x512"\nfirst_sector = 65', ": a file system sees where it differs from mfm-40x9x512: first sector"),
        (
            'base = "mfm-40x9x512"\nheads = 2\nheads_apart = true\ntracks = 40\nsectors = 8\ndata_gap = 30',
            ": a file system sees where it differs from mfm-40x9x512: heads, order of the heads in a dump, sectors",
        ),
        ('base = "mfm-40x10x512-2s"', ", nor on its base, mfm-40x10x512-2s"),
    ],
)
def test_why_a_volume_does_not_lie_on_it(tmp_path, table, why):
    file = '[[side.A.file]]\nname = "FIRST.BIN"\nsource = "file.bin"\n'
    with pytest.raises(ProblemsError) as raised:
        load(job_of(tmp_path, table, volume="fat12", more=file))
    assert list(map(str, raised.value.problems)) == [f"side.A.volume: fat12 is not defined on own{why}"]


def test_the_job_is_the_same_everywhere(tmp_path):
    masters = [master_of(tmp_path / name, LANTERN, 41 * 10 * 512) for name in ("one", "two")]
    assert masters[0].digest == masters[1].digest


def test_two_jobs_may_give_one_name_to_different_geometries(tmp_path):
    """A copy of one is a copy of the other master, though name, length and even the bytes are the same: its sectors are numbered otherwise."""
    tables = ('base = "mfm-40x9x512"', 'base = "mfm-40x9x512"\nfirst_sector = 65')
    one, other = (master_of(tmp_path / name, table, 184_320, name=name) for name, table in zip(("Lamp", "Wick"), tables, strict=True))
    assert one.sides["A"].dump == other.sides["A"].dump
    assert Copy(one).verdict(others=[other]).verdict == "pass"
    verdict = judge(one, Copy(other).capture(), others=[other])
    assert (verdict.diagnosis, verdict.matches) == ("other-master", ("Wick 1.2 A",))


@pytest.mark.parametrize(
    ("table", "last"),
    [
        ('base = "gcr6and2-35x16x256"\nheads = 2\ntracks_count_on = false', Address(34, 1, 15)),
        ('base = "gcr4to5-35z"\nheads = 2\ntracks_count_on = true', Address(70, 1, 16)),
        ('base = "gcr4to5-77z-2s"\ntracks = 70', Address(140, 1, 22)),
        ('base = "mfm-40x9x512"\nheads = 2', Address(39, 1, 9)),
    ],
)
def test_two_heads_are_told_apart_as_the_job_says(table, last):
    """By the head in an identifier, by tracks that count on, or, when the job says so outright, by nothing."""
    found = Problems()
    geometry = own_geometries({"own": tomllib.loads(table)}, found)["own"]
    assert found == [] and geometry is not None and geometry.addresses[-1] == last


# What is wrong with one


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('bas = "mfm-40x9x512"', [".base: is missing", ".bas: unknown key; did you mean `base`?"]),
        ('base = "mfm-40x9x51"', [".base: there is no 'mfm-40x9x51'; did you mean mfm-40x9x512?"]),
        ('base = "mfm-40x9x512"\nsectors = 10', [": tracks 0-39: 10 sectors are 5,696 cells too long for one turn"]),
        ('base = "mfm-40x9x512"\nrpm = 320', [": tracks 0-39: 9 sectors are 1,482 cells too long for one turn"]),
        ('base = "mfm-40x9x512"\ndata_gap = 23', [".data_gap: a gap of 23 is below its minimum of 24"]),
        ('base = "fm-40x16x128"\ndata_gap = 9', [".data_gap: a gap of 9 is below its minimum of 10"]),
        (
            'base = "fm-40x18x128"\nfirst_gap = 15',
            [".first_gap: from the track's start to its end there are 15 bytes, at least 16 must be"],
        ),
        (
            'base = "mfm-40x9x512"\nindex_mark = false\nfirst_gap = 31',
            [".first_gap: from the track's start to its end there are 31 bytes, at least 32 must be"],
        ),
        (
            'base = "mfm-40x9x512"\nindex_gap = 1\nfirst_gap = 1',
            [".first_gap: from the track's start to its end there are 18 bytes, at least 32 must be"],
        ),
        (
            'base = "fm-40x16x128"\nindex_gap = 1\nfirst_gap = 1',
            [".first_gap: from the track's start to its end there are 9 bytes, at least 16 must be"],
        ),
        ('base = "mfm-40x9x512"\nidentifier_gap = 21', [".identifier_gap: a gap of 21 is below its minimum of 22"]),
        ('base = "mfm-40x8x512"\nidentifier_gap = 100', [".identifier_gap: a gap of 100 is above its maximum of 27"]),
        (
            'base = "fm-40x16x128"\nidentifier_gap = 24\nsectors = 12',
            [".identifier_gap: a gap of 24 is above its maximum of 23"],
        ),
        (
            'base = "fm-40x10x256"\ndata_gap = 22',
            [": tracks 0-39: 10 sectors are 10 bytes too long: at least 9 must be left behind the last sector's gap"],
        ),
        (
            'base = "mfm-40x10x512-2s"\nheads = 1\ndata_gap = 40',
            [": tracks 0-39: 10 sectors are 52 bytes too long: at least 16 must be left behind the last sector's gap"],
        ),
        ('base = "gcr4to5-35z"\ndata_gap = [8, 3, 12, 9]', [".data_gap: tracks 18-24: a gap of 3 is below its minimum of 4"]),
        (
            'base = "mfm-40x9x512"\norder = [1, 2, 3, 4, 5, 6, 7, 8, 8]',
            [".order: the order 1 2 3 4 5 6 7 8 8 does not name each sector once"],
        ),
        (
            'base = "mfm-40x9x512"\nfirst_sector = 250',
            [".first_sector: the last sector would have the number 258; an identifier has room for 255"],
        ),
        (
            'base = "mfm-40x9x512"\nfirst_track = 250',
            [".first_track: the last track would have the number 289; an identifier has room for 255"],
        ),
        (
            'base = "mfm-40x9x512"\nsector_bytes = 500',
            [
                ".sector_bytes: 128, 256, 512, 1024 or more such: an identifier's length code knows no 500",
                ".sector_bytes: a sector of 500 bytes, where a multiple of 8 is needed",
            ],
        ),
        ('base = "gcr4to5-35z"\nsector_bytes = 100', [".sector_bytes: a sector of 100 bytes, where a multiple of 8 is needed"]),
        ('base = "gcr6and2-35x16x256"\nsector_bytes = 128', [": block: 129 bytes in group-6and2, which codes 257 at once"]),
        (
            'base = "gcr4to5-35z"\nsectors = 17',
            [".sectors: gcr4to5-35z needs a list of 4 numbers, one for each zone of its tracks: 1-17, 18-24, 25-30, 31-35"],
        ),
        ('base = "mfm-40x9x512"\nsectors = [9, 8]', [".sectors: mfm-40x9x512 needs one number, one for each zone of its tracks: 0-39"]),
        ('base = "mfm-40x9x512"\ndata_gap = [80]', [".data_gap: must be one number: mfm-40x9x512 has the same gap on all tracks"]),
        ('base = "gcr4to5-35z"\nfirst_gap = 20', [".first_gap: gcr4to5-35z has nothing between the track's start and its first sector"]),
        ('base = "fm-40x18x128"\nindex_mark = true', [".index_mark: fm-40x18x128 has none; take a base that has one"]),
        ('base = "mfm-40x9x512"\nheads_apart = true', [".heads_apart: goes with two heads only"]),
        (
            'base = "mfm-40x9x512"\ntracks = 96',
            [
                ".tracks: 96 tracks of 48 to the inch: the last would lie 6.9 mm from the disc's centre, inside its hub hole of 14.3 mm",
            ],
        ),
        (
            'base = "mfm-80x9x512-2s"\ntracks_per_inch = 48',
            [
                ".tracks_per_inch: 80 tracks of 48 to the inch: the last would lie 13.2 mm from the disc's centre, "
                "inside its hub hole of 14.3 mm"
            ],
        ),
        (
            'base = "gcr4to5-35z"\nheads = 2',
            [
                ".tracks_count_on: is needed: an identifier of gcr4to5-35z holds no head; true: head 1's tracks count on from head 0's, "
                "false: both heads' are the same"
            ],
        ),
        ('base = "mfm-40x9x512"\nrpm = "fast"', [".rpm: must be a whole number, not 'fast'"]),
        ('base = "mfm-40x9x512"\ncell_nanoseconds = nan', [".cell_nanoseconds: must be a finite number, not nan"]),
        ('base = "mfm-40x9x512"\ncell_nanoseconds = 499', [".cell_nanoseconds: must be at least 500, not 499"]),
        ('base = "mfm-40x9x512"\nspeed_tolerance = inf', [".speed_tolerance: must be a finite number, not inf"]),
        ('base = "mfm-40x9x512"\nsectors = 0', [".sectors: must be at least 1, not 0"]),
        ('base = "mfm-40x9x512"\nsectors = [0]', [".sectors: must be at least 1, not [0]"]),
        ('base = "mfm-40x9x512"\nsectors = "many"', [".sectors: must be a whole number or a list, not 'many'"]),
        (
            'base = "gcr6and2-35x16x256"\nsectors = 15',
            [
                ".dump_order: is needed: that of gcr6and2-35x16x256, 0 13 11 9 7 5 3 1 14 12 10 8 6 4 2 15, does not name each sector once here; or 'as-numbered'"
            ],
        ),
    ],
)
def test_a_geometry_that_can_not_be_is_told_with_its_place(tmp_path, table, said):
    assert problems(tmp_path, table) == said


def test_everything_is_told_at_once(tmp_path):
    """Also what is wrong beside a misspelled key and a value of the wrong kind."""
    table = 'base = "mfm-40x9x512"\nsektors = 9\nsectors = 12\ndata_gap = 10\nrpm = "fast"\norder = [1, 1]\n[geometry.mfm-40x9x512]\nbase = "fm"'
    told = problems(tmp_path, table)
    assert [line.partition(": ")[0] for line in told[:5]] == [".rpm", ".sektors", ".order", ".data_gap", ""]
    assert told[1].endswith("did you mean `sectors`?") and told[4].endswith("12 sectors are 10,465 cells too long for one turn"[-20:])
    assert told[5] == "geometry.mfm-40x9x512: is the id of a declared geometry; choose another name"
    assert told[6].startswith("geometry.mfm-40x9x512.base: there is no 'fm'")


def test_orders_that_no_longer_fit_are_asked_for(tmp_path):
    """And a named order of the base that does not fit is no order of the new one."""
    table = 'base = "gcr6and2-35x16x256"\nsectors = 15\ndump_order = "as-numbered"'
    geometry = load(job_of(tmp_path, table, 35 * 15 * 256)).sides["A"].geometry
    assert geometry.dump_order == () and geometry.orders == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("geometry = 4\n" + TITLE, "geometry: must hold tables, [geometry.NAME]"),
        (TITLE + "[geometry]\nown = 4\n", "geometry.own: must be a table, [geometry.own]"),
        (
            TITLE + '[geometry."a/b"]\nbase = "mfm-40x9x512"\n',
            "geometry.a/b: a name has 1 to 40 letters, digits, dots, hyphens and underscores",
        ),
        (
            TITLE + '[geometry.own]\nbase = "mfm-40x9x512"\n[side.A]\ngeometry = "owm"\nvolume = "none"\n',
            "side.A.geometry: there is no 'owm'; did you mean own?",
        ),
    ],
)
def test_tables_that_are_none(tmp_path, text, said):
    (tmp_path / "job.toml").write_text(text.format(name="Lamplighter"))
    with pytest.raises(ProblemsError) as raised:
        load(tmp_path / "job.toml")
    assert any(said in str(problem) for problem in raised.value.problems)


# The command line


def run(*arguments: object) -> subprocess.CompletedProcess:
    done = console_run(*arguments)
    done.stderr = "".join(line for line in done.stderr.splitlines(keepends=True) if "carries no serial" not in line)  # not of these tests
    return done


def test_a_thin_speed_margin_is_a_warning_with_the_figure(tmp_path):
    """18 sectors of 256 with a data gap of 24 and the lead of an index mark: 2336 + 18 x 5472 - 384 = 100448 of more cells at 296 rpm."""
    table = 'base = "mfm-40x9x512"\nsector_bytes = 256\nsectors = 18\ndata_gap = 24\nrpm = 296'
    done = run("build", job_of(tmp_path, table, 184_320), "--dry-run", "--json")
    assert done.returncode == 0 and json.loads(done.stdout)["sides"]["A"]["geometry"] == "own"
    margin = 100 * (60e9 / 296 / 2000 / (146 * 16 + 18 * 342 * 16 - 24 * 16) - 1)
    assert 0 < margin < 1.5
    assert f"own, tracks 0-39: thin speed margin: a drive that turns more than {margin:.2f} % too fast" in done.stderr
    assert "1.5 %" in done.stderr and len(done.stderr.splitlines()) == 1
    wide = run("build", job_of(tmp_path, 'base = "mfm-40x9x512"', 184_320), "--dry-run")
    assert (wide.returncode, wide.stderr) == (0, "")


def test_tracks_further_in_than_any_drive_s_are_a_warning(tmp_path):
    """80 tracks of 48 to the inch, where 96 were forgotten: 57.15 - 79 x 25.4 / 48 mm. 44 lie no further in than published ones."""
    done = run("build", job_of(tmp_path, 'base = "mfm-40x9x512"\ntracks = 80', 80 * 9 * 512), "--dry-run")
    assert (done.returncode, len(done.stderr.splitlines())) == (0, 1)
    assert "own: 80 tracks of 48 to the inch: the last lies 15.3 mm from the disc's centre" in done.stderr
    assert run("build", job_of(tmp_path, 'base = "mfm-40x9x512"\ntracks = 44', 44 * 9 * 512), "--dry-run").stderr == ""


def test_a_margin_that_the_drives_tolerance_allows_is_not_thin(tmp_path):
    table = 'base = "mfm-40x9x512"\nsectors = 10\ndata_gap = 30\nspeed_tolerance = {}'
    assert run("build", job_of(tmp_path, table.format(1.5), 204_800), "--dry-run").stderr == ""
    assert "less than the usual tolerance of 1.6 %" in run("build", job_of(tmp_path, table.format(1.6), 204_800), "--dry-run").stderr


def test_a_margin_that_reads_like_the_tolerance_is_said_to_be_just_below(tmp_path):
    """27 sectors of 77 zoned tracks: 85,714 cells of 84,448 needed are 1.4995 % more."""
    done = run("build", job_of(tmp_path, 'base = "gcr4to5-77z"', 533_248), "--dry-run")
    assert "tracks 40-53: thin speed margin: a drive that turns more than 1.50 % too fast" in done.stderr
    assert done.stderr.count("just below the usual tolerance of 1.5 %") == 2 and done.stderr.count("less than") == 1


def test_a_last_gap_that_the_turn_cuts_is_such_a_warning(tmp_path):
    """Drives for group codes look for no index hole. 19 sectors of 376 bytes are 7144 of 7142: one byte of the last 22 is cut."""
    job = job_of(tmp_path, 'base = "gcr4to5-35z"\ndata_gap = [8, 22, 12, 9]', 174_848)
    done = run("build", job, "--out", tmp_path / "master")
    assert done.returncode == 0
    margin = 100 * (60e9 / 300 / 3500 / (8 * (19 * 376 - 22)) - 1)
    assert f"own, tracks 18-24: thin speed margin: a drive that turns more than {margin:.2f} % too fast" in done.stderr
    assert Copy(open_master(tmp_path / "master")).verdict().verdict == "pass"


def test_a_declared_geometry_is_built_without_that_warning(tmp_path):
    """Its sources answer for its margin; `obverse geometries ID` tells it."""
    job_of(tmp_path, 'base = "mfm-40x18x256"', 184_320)
    (tmp_path / "job.toml").write_text((tmp_path / "job.toml").read_text().replace('geometry = "own"', 'geometry = "mfm-40x18x256"'))
    assert run("build", tmp_path / "job.toml", "--dry-run").stderr == ""


def test_the_job_s_geometries_are_told_like_declared_ones(tmp_path):
    job = job_of(tmp_path, LANTERN, 209_920)
    [line] = [json.loads(line) for line in run("geometries", "--job", job, "--json").stdout.splitlines()]
    assert (line["id"], line["code"], line["tracks"], line["dump_bytes"]) == ("own", "mfm", 41, 209_920)
    assert "complemented" in run("geometries", "--job", job, "own").stdout
    assert "there is no 'x'" in run("geometries", "--job", job, "x").stderr
    bad = job_of(tmp_path, 'base = "mfm-40x9x512"\nsectors = 10')
    assert run("geometries", "--job", bad).stderr.endswith("geometry.own: tracks 0-39: 10 sectors are 5,696 cells too long for one turn\n")


def test_every_declared_geometry_is_a_base_of_itself(tmp_path):
    """With nothing changed but the name, it is the declared one, and proved like it."""
    for name in registry.names("geometries", foreign=False):
        declared = registry.geometry(name)
        own = load(job_of(tmp_path, f'base = "{name}"', declared.dump_bytes)).sides["A"].geometry
        plain, wanted = own.plain(), declared.plain()
        assert {key: value for key, value in plain.items() if key != "id"} == {key: value for key, value in wanted.items() if key != "id"}
        assert own.sources[1:] == declared.sources


# Documents


def table_of(text: str) -> dict:
    """The one table below `geometry` of some TOML."""
    [table] = tomllib.loads(text)["geometry"].values()
    return table


def test_the_commented_job_names_every_key_and_its_values_are_good(tmp_path):
    assert run("new", tmp_path / "lantern", "--side", "A=mfm-40x9x512:none").returncode == 0
    text = (tmp_path / "lantern" / "job.toml").read_text()
    block = re.search(r"^# \[geometry\..*?\n\n", text, re.MULTILINE | re.DOTALL)
    assert block is not None
    table = table_of(re.sub(r"^# ", "", block[0], flags=re.MULTILINE))
    told = {key for key in GeometryKeys.model_fields if re.search(rf"\b{key} = ", block[0])}
    assert told == set(GeometryKeys.model_fields)
    found = Problems()
    assert own_geometries({"my-disc": table}, found)["my-disc"] is not None and found == []


def test_the_geometry_of_the_readme_is_one():
    block = re.search(r"<!-- own geometry -->\n```toml\n(.*?)```", (Path(__file__).parents[3] / "README.md").read_text(), re.DOTALL)
    assert block is not None
    found = Problems()
    assert own_geometries({"lantern": table_of(block[1])}, found)["lantern"] is not None and found == []


def test_an_edition_has_the_job_s_geometries(tmp_path):
    job = job_of(tmp_path, LANTERN, 209_920)
    job.write_text(job.read_text() + '[edition.taste]\n[edition.taste.side.A]\nplatform = "another"\n')
    assert run("build", job, "--all", "--out", tmp_path / "out").returncode == 0
    assert {open_master(tmp_path / "out" / name).sides["A"].geometry_id for name in ("plain", "taste")} == {"own"}
    bad = job_of(tmp_path, 'base = "mfm-40x9x512"\nsectors = 10')
    bad.write_text(bad.read_text() + "[edition.taste]\n")
    done = run("build", bad, "--all", "--out", tmp_path / "bad")
    assert done.returncode == 2 and done.stderr.count("10 sectors are 5,696 cells too long") == 1
