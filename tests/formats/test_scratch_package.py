"""A package on disk that declares a geometry by entry point: one file, and it is held to everything that every geometry is held to."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

REPO = Path(__file__).parents[2]
GEOMETRY = '''"""MFM, 77 tracks of 26 sectors of 256 bytes, two heads, 360 rpm: a controller's table, data gap 36 in hexadecimal."""

from fractions import Fraction

from formats.model.geometry import Geometry, Zone
from formats.geometries.shared.soft_sector import MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector

GEOMETRY = Geometry(
    id="{id}",
    sources=(MFM_SHEET,),
    rpm=360,
    tpi=96,
    size=256,
    first_sector=1,
    heads=2,
    coercivity="600 Oe",
    zones=(Zone(0, 76, {sectors}, Fraction(1000)),),
    lead=mfm_lead(),
    sector=mfm_sector(256, {gap}),
    tail=MFM_TAIL,
)
'''
ID = "mfm-77x26x256-2s-360rpm"


@pytest.fixture
def package(tmp_path):
    """Makes the package and says how to run Python with it: no installer and no network, a distribution is what its metadata says."""

    def make(text: str, name: str = ID, package: str = "lantern", kind: str = "geometries", attribute: str = "GEOMETRY"):
        (tmp_path / f"{package}_discs.py").write_text(text)
        metadata = tmp_path / f"{package}_discs-1.0.dist-info"
        metadata.mkdir()
        (metadata / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}-discs\nVersion: 1.0\n")
        (metadata / "entry_points.txt").write_text(f"[formats.{kind}]\n{name} = {package}_discs:{attribute}\n")
        environment = os.environ | {"PYTHONPATH": os.pathsep.join(map(str, (tmp_path, REPO)))}

        def run(*arguments: object, cwd: Path = tmp_path) -> subprocess.CompletedProcess:
            words = [sys.executable, *map(str, arguments)]
            return subprocess.run(words, capture_output=True, text=True, check=False, env=environment, cwd=cwd)

        return run

    return make


def test_it_passes_all_that_every_geometry_does(package):
    run = package(GEOMETRY.format(id=ID, sectors=26, gap=54))
    done = run("-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/formats/geometries/test_every_geometry.py", "-k", ID, cwd=REPO)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout.split(" passed")[0].split()[-1]) >= 8 and "skipped" not in done.stdout


def test_the_commands_know_it(package, tmp_path):
    run = package(GEOMETRY.format(id=ID, sectors=26, gap=54))
    listed = [json.loads(line) for line in run("-m", "mastering.cli.main", "geometries", "--json").stdout.splitlines()]
    assert [line["dump_bytes"] for line in listed if line["id"] == ID] == [77 * 2 * 26 * 256]
    assert run("-m", "mastering.cli.main", "new", "job", "--side", f"A={ID}:none").returncode == 0
    assert run("-m", "mastering.cli.main", "build", "job/job.toml", "--out", "master").returncode == 0
    judged = run("-m", "mastering.cli.main", "verify", "master", "master/data/side-A.capture", "--json")
    assert json.loads(judged.stdout)["verdict"] == "pass"


def test_its_thin_margin_is_a_warning(package):
    """27 sectors of 256: 146 + 27 x 318 + 27 x 50 - 50 bytes of 10416.7, less than 1.5 % to spare."""
    run = package(GEOMETRY.format(id="mfm-77x27x256-2s-360rpm", sectors=27, gap=60), "mfm-77x27x256-2s-360rpm")
    run("-m", "mastering.cli.main", "new", "job", "--side", "A=mfm-77x27x256-2s-360rpm:none")
    built = run("-m", "mastering.cli.main", "build", "job/job.toml", "--dry-run")
    margin = 100 * (10_416_667 / 1000 / (146 + 27 * (318 + 60) - 60) - 1)
    assert built.returncode == 0 and f"more than {margin:.2f} % too fast" in built.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GEOMETRY.format(id=ID, sectors=32, gap=20), "a gap of 20 is below its minimum of 24; zones: tracks 0-76: 32 sectors are"),
        ("import nothing_of_that_name\n", "can't be loaded from lantern_discs:GEOMETRY: ModuleNotFoundError"),
        ("GEOMETRY = 4\n", f"{ID}: its file declares None as GEOMETRY, not '{ID}'"),
    ],
)
def test_one_that_can_not_be_is_told_on_one_line(package, tmp_path, text, said):
    """Everything that is wrong with it, by its name; in a job with the place that names it."""
    run = package(text)
    done = run("-m", "mastering.cli.main", "geometries", ID)
    assert done.returncode == 2 and said in done.stderr and len(done.stderr.splitlines()) == 1 and ID in done.stderr
    title = '[title]\nname = "L"\npublisher = "S"\ncatalogue = "SM-1"\nrevision = "1"\n'
    (tmp_path / "job.toml").write_text(f'{title}[side.A]\ngeometry = "{ID}"\nvolume = "none"\n')
    done = run("-m", "mastering.cli.main", "build", "job.toml", "--dry-run")
    assert done.returncode == 2 and f"side.A.geometry: {ID}: " in done.stderr and "Traceback" not in done.stderr


def test_one_that_can_not_be_takes_no_other_off_the_list(package, tmp_path):
    run = package("")
    ours = [json.loads(line)["id"] for line in run("-m", "mastering.cli.main", "geometries", "--json").stdout.splitlines()]
    for words in (("--json",), (), ("--bytes", "174848")):
        done = run("-m", "mastering.cli.main", "geometries", *words)
        assert done.returncode == 2 and "gcr4to5-35z" in done.stdout
        (told,) = done.stderr.splitlines()
        assert told.startswith(f"obverse: {ID}: can't be loaded") and told.endswith("it comes from the package lantern-discs")
    assert len(ours) > 20 and ID not in ours
    assert run("-m", "mastering.cli.main", "geometries", "gcr4to5-35z").returncode == 0
    (tmp_path / "found").write_bytes(bytes(174848))
    done = run("-m", "mastering.cli.main", "contents", "found")
    assert done.returncode == 2 and "the length of gcr4to5-35z" in done.stdout and "it comes from the package lantern-discs" in done.stderr


def test_a_job_s_own_geometry_has_no_name_of_a_package_s(package, tmp_path):
    run = package(GEOMETRY.format(id=ID, sectors=26, gap=54))
    (tmp_path / "job.toml").write_text(f'[geometry.{ID}]\nbase = "{ID}"\n')
    done = run("-m", "mastering.cli.main", "build", "job.toml", "--dry-run")
    assert f"geometry.{ID}: is the id of a declared geometry; choose another name" in done.stderr


def blank_read_back(run, tmp_path: Path) -> Path:
    """A capture of another geometry than the master's: to say what it is, every declared geometry is asked."""
    for name, geometry in (("ours", "mfm-40x9x512"), ("other", "gcr4to5-35z")):
        assert run("-m", "mastering.cli.main", "new", f"job-{name}", "--side", f"A={geometry}:none").returncode == 0
        assert run("-m", "mastering.cli.main", "build", f"job-{name}/job.toml", "--out", name).returncode == 0
    return tmp_path / "other" / "data" / "side-A.capture"


def test_a_broken_package_ends_no_judging_and_is_told(package, tmp_path):
    run = package("import nothing_of_that_name\n")
    judged = run("-m", "mastering.cli.main", "verify", "ours", blank_read_back(run, tmp_path), "--json")
    assert (judged.returncode, json.loads(judged.stdout)["diagnosis"]) == (1, "other-geometry")
    [told] = [line for line in judged.stderr.splitlines() if ID in line]
    assert told.startswith(f"obverse: {ID}: can't be loaded from lantern_discs:GEOMETRY") and told.endswith("this goes on without it")
    assert "Traceback" not in judged.stderr


def test_two_packages_that_declare_one_name_hide_neither(package, tmp_path):
    run = package(GEOMETRY.format(id=ID, sectors=26, gap=54))
    package(GEOMETRY.format(id=ID, sectors=25, gap=54), package="tallow")
    what = f"{ID}: the packages lantern-discs and tallow-discs declare this name; remove all of them but one"
    done = run("-m", "mastering.cli.main", "geometries", ID)
    assert (done.returncode, done.stderr) == (2, f"obverse: {what}\n")
    listed = run("-m", "mastering.cli.main", "geometries", "--json")
    assert listed.returncode == 2 and what in listed.stderr and "gcr4to5-35z" in listed.stdout
    judged = run("-m", "mastering.cli.main", "verify", "ours", blank_read_back(run, tmp_path), "--json")
    assert json.loads(judged.stdout)["diagnosis"] == "other-geometry" and what in judged.stderr


def test_a_package_that_declares_a_name_of_ours_is_told_and_not_used(package):
    run = package(GEOMETRY.format(id="mfm-40x9x512", sectors=26, gap=54), "mfm-40x9x512")
    assert "184,320" in run("-m", "mastering.cli.main", "geometries", "mfm-40x9x512").stdout
    listed = run("-m", "mastering.cli.main", "geometries")
    what = "mfm-40x9x512: is a name of this program's own; its own declaration is used, not that of the package lantern-discs"
    assert listed.returncode == 2 and what in listed.stderr


VOLUME = '''"""A volume of one file that fills the disc from its first sector on, its name and length before it."""

from formats.errors import Problem, VolumeError
from formats.volumes.interface import FileOut, JobPart, VolumeOut
from formats.volumes.shared.image import Image


class Reel:
    id = "reel"
    is_file_system = True
    job_part = JobPart("""\\
# label = "A REEL"

[[side.{side}.file]]
name = "REEL"                 # up to 8 characters
source = "{source}"
type = "reel"                 # there is no other
""", source="reel.bin", size=100)

    def doubts(self, file):
        return iter(())

    def fits(self, geometry):
        return geometry.id == "mfm-40x9x512"

    def order(self, names):
        return list(range(len(names)))

    def build(self, geometry, content):
        image = Image(geometry)
        [file] = content.files
        if file.type != "reel":
            raise VolumeError(Problem(f"{file.where}.type", "reel has reel"))
        data = file.name.ljust(8) + len(file.data).to_bytes(4, "big") + file.data
        for place in range(0, len(data), geometry.size):
            image.write(geometry.addresses[place // geometry.size], data[place : place + geometry.size])
        image.spare = geometry.addresses[-1]
        return image

    def read(self, image):
        size = int.from_bytes(image.dump[8:12], "big")
        count = -(-(size + 12) // image.geometry.size)
        file = FileOut(bytes(image.dump[:8]).rstrip(), "reel", None, False, bytes(image.dump[12 : 12 + size]), image.geometry.addresses[:count], (12, 0))
        return VolumeOut(b"", len(image.geometry.addresses) - count, image.geometry.size, (file,))

    def readable(self, image):
        return self.read(image), []

    def check(self, image):
        return []


VOLUME = Reel()
'''


def test_a_new_volume_is_one_new_file(package, tmp_path):
    """From a commented job over master, contents and search to the judging of a disc: nothing of this program names it."""
    run = package(VOLUME, "reel", kind="volumes", attribute="VOLUME")
    obverse = lambda *words: run("-m", "mastering.cli.main", *words)
    assert obverse("new", "job", "--side", "A=mfm-40x9x512:reel").returncode == 0
    assert "# up to 8 characters" in (tmp_path / "job" / "job.toml").read_text()
    built = obverse("build", "job/job.toml", "--out", "master")
    assert (built.returncode, built.stderr) == (0, "") and "serial: 40 bytes on track 39 sector 9" in built.stdout
    assert obverse("check", "master").returncode == 0
    [file, side] = map(json.loads, obverse("contents", "master", "--json").stdout.splitlines())
    assert (file["name"], file["bytes"], side["volume"], side["free"]) == ("REEL", 100, "reel", 359)
    assert obverse("contents", "master", "--extract", "out").returncode == 0
    assert (tmp_path / "out" / "A" / "REEL").read_bytes() == bytes(range(1, 101))
    found = json.loads(obverse("find", "--hex", "05 06 07", "master", "--json").stdout)
    assert [hit["file"] for hit in found["hits"]] == ["REEL"]
    judged = obverse("verify", "master", "master/data/side-A.dump", "--json")
    assert json.loads(judged.stdout)["verdict"] == "pass"
    text = (tmp_path / "job" / "job.toml").read_text().replace('type = "reel"', 'type = "wheel"')
    (tmp_path / "job" / "job.toml").write_text(text)
    assert "side.A.file[0].type: reel has reel" in obverse("build", "job/job.toml", "--dry-run").stderr
