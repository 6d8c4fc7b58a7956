"""A master is the same bytes every time, proves itself, and is written whole or not at all."""

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from console import process, run
from hostile import HOSTILE, places, with_value
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from formats.errors import Problem
from mastering.errors import MasteringError
from mastering.files import canonical_json, digest, write_folder
from mastering.master.bag import MasterError, fixity
from mastering.master.master import master_folders, open_master, write_master

SHOP = Path(__file__).parents[3] / "jobs_demo"


@pytest.fixture(scope="module")
def lamplighter(tmp_path_factory) -> Path:
    target = tmp_path_factory.mktemp("masters") / "lamplighter"
    done = run("build", SHOP / "job.toml", "--out", target)
    assert done.returncode == 0, done.stderr
    return target


def tree(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Mode and bytes of every file and folder."""
    return {
        str(path.relative_to(folder)): (path.stat().st_mode, path.read_bytes() if path.is_file() else b"") for path in folder.rglob("*")
    }


def test_what_a_master_holds(lamplighter):
    assert sorted(str(path.relative_to(lamplighter)) for path in lamplighter.rglob("*") if path.is_file()) == [
        "bag-info.txt", "bagit.txt", "data/master.json", "data/side-A.capture", "data/side-A.dump", "data/side-B.capture", "data/side-B.dump",
        "manifest-sha256.txt", "tagmanifest-sha256.txt",
    ]  # fmt: skip
    master = open_master(lamplighter)
    assert (master.title, master.publisher, master.catalogue, master.revision) == ("Lamplighter", "Saltmarsh Software", "SM-004", "1.2")
    assert {name: (side.geometry_id, side.volume) for name, side in master.sides.items()} == {
        "A": ("gcr4to5-35z", "zoned-dos"),
        "B": ("gcr6and2-35x16x256", "catalog-dos"),
    }
    assert master.record["blanks"] == {
        "coercivity": ["300 Oe"], "tpi": [48], "faces": 2, "second_notch": True, "second_index_window": False,
    }  # fmt: skip
    slot = master.sides["A"].slot
    assert slot is not None
    assert master.sides["A"].dump[master.sides["A"].slot_start :].startswith(b"<<SERIAL-GOES-HERE>>")
    assert master.record["version"] == 2
    assert master.record["title"] == {
        "name": "Lamplighter", "publisher": "Saltmarsh Software", "catalogue": "SM-004", "revision": "1.2", "edition": None, "disc": 1, "discs": 1,
    }  # fmt: skip
    assert {name: place["bytes"] for name, place in master.record["serials"].items()} == {"A": 20, "B": 40}
    free = master.sides["B"].slot
    assert (free.track, free.sector, free.offset) == (3, 0, 0), "the last sector that files of side B would take"


def test_the_same_job_gives_the_same_bytes_everywhere(lamplighter, tmp_path):
    """Another time zone, language, umask, working folder, hash seed, file times, and order of the shop's folder."""
    shop = tmp_path / "another shop"
    shop.mkdir()
    for path in sorted((path for path in SHOP.rglob("*") if path.is_file()), reverse=True):
        copied = shop / path.relative_to(SHOP)
        copied.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, copied)
        os.utime(copied, (1, 1))
    keys = os.environ | {
        "TZ": "Pacific/Kiritimati",
        "LANG": "de_DE.UTF-8",
        "LC_ALL": "C",
        "PYTHONHASHSEED": "77",
        "PYTHONPATH": str(SHOP.parent),
    }
    old = os.umask(0o077)
    try:
        done = process("build", "another shop/job.toml", "--out", "again", cwd=tmp_path, env=keys)
    finally:
        os.umask(old)
    assert done.returncode == 0, done.stderr
    assert tree(tmp_path / "again") == tree(lamplighter)


def files_of(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_one_changed_byte_in_any_file_is_found(lamplighter, tmp_path):
    for name in files_of(lamplighter):
        copied = tmp_path / "copied"
        shutil.copytree(lamplighter, copied)
        data = bytearray((copied / name).read_bytes())
        data[len(data) // 2] ^= 1
        (copied / name).write_bytes(data)
        assert fixity(copied), name
        with pytest.raises(MasteringError):
            open_master(copied)
        done = run("check", copied, "--json")
        assert done.returncode == 1
        assert '"check": "fixity", "side": null, "ok": false' in done.stdout
        done = run("verify", copied, copied / "data" / "side-A.dump")
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr.startswith("obverse: ") and done.stderr.count("\n") == 1
        shutil.rmtree(copied)


def test_a_missing_and_an_extra_file_are_found(lamplighter, tmp_path):
    for name in files_of(lamplighter):
        copied = tmp_path / "copied"
        shutil.copytree(lamplighter, copied)
        (copied / name).unlink()
        if name != "bag-info.txt":
            with pytest.raises(MasteringError):
                open_master(copied)
        assert fixity(copied)
        shutil.rmtree(copied)
    shutil.copytree(lamplighter, tmp_path / "copied")
    (tmp_path / "copied" / "data" / "notes.txt").write_text("x")
    assert fixity(tmp_path / "copied") == [Problem("data/notes.txt", "not in the manifest")]


_GOOD = ("the capture carries every sector", "the volume agrees with itself", "the record agrees with the bytes")


def test_a_good_master_checks_and_opens_from_a_shelf(lamplighter):
    done = run("check", lamplighter)
    assert (done.returncode, done.stderr) == (0, "")
    sides = [f"good   side {side}: {what}" for side in "AB" for what in _GOOD]
    assert done.stdout.splitlines() == ["good   files unchanged", *sides]
    assert [open_master(folder).label for folder in master_folders(lamplighter.parent)] == ["Lamplighter 1.2"]


@pytest.mark.parametrize("whole", [True, False])
def test_a_payload_that_leads_elsewhere_is_no_master(lamplighter, tmp_path, whole):
    """The files prove, today: a copy of the folder would lack them, and they can be changed without it."""
    copied = tmp_path / "copied"
    shutil.copytree(lamplighter, copied)
    (copied / "data").rename(tmp_path / "elsewhere")
    (copied / "data").symlink_to(tmp_path / "elsewhere")
    assert fixity(copied) == [Problem("data", "a link that leads elsewhere; a master's files lie in its own folder")]
    with pytest.raises(MasteringError, match="copied/data: a link that leads elsewhere"):
        open_master(copied, whole=whole)
    assert run("check", copied).returncode == 1
    (copied / "data").unlink()
    (tmp_path / "elsewhere").rename(copied / "data")
    (copied / "data" / "side-A.dump").rename(tmp_path / "side-A.dump")
    (copied / "data" / "side-A.dump").symlink_to(tmp_path / "side-A.dump")
    assert fixity(copied) == [Problem("data/side-A.dump", "a link that leads elsewhere; a master's files lie in its own folder")]


def test_a_record_that_is_too_large_is_not_parsed(lamplighter, tmp_path):
    copied = tmp_path / "copied"
    shutil.copytree(lamplighter, copied)
    (copied / "data" / "master.json").write_bytes(b"[" + b"[]," * 2_000_000 + b"[]]")
    [wrong, *_] = [problem for problem in fixity(copied) if problem.where == "data/master.json"]
    assert wrong.what == "6,000,004 bytes, more than a master's file can have"
    with pytest.raises(MasteringError, match="more than a master's file can have"):
        open_master(copied)


@pytest.mark.parametrize(
    "data",
    [b"[" * 100_000, b'{"version": ' + b"1" * 5000 + b"}", b"\xff", b"", b"null", b'{"version": 2, "title": NaN}', b'{"a": 1e999}'],
)
def test_a_record_of_any_bytes_is_refused_in_a_line(lamplighter, tmp_path, data):
    payload = {path.name: path.read_bytes() for path in (lamplighter / "data").iterdir() if path.name != "master.json"}
    write_master(tmp_path / "forged", payload, {})
    record = tmp_path / "forged" / "data" / "master.json"
    before = hashlib.sha256(record.read_bytes()).hexdigest()
    record.write_bytes(data)
    for name in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        path = tmp_path / "forged" / name
        was = hashlib.sha256(path.read_bytes()).hexdigest()
        path.write_text(path.read_text().replace(before, hashlib.sha256(data).hexdigest()))
        before, data = was, path.read_bytes()
    with pytest.raises(MasteringError) as error:
        open_master(tmp_path / "forged", whole=False)
    assert "\n" not in str(error.value) and len(str(error.value)) < 500


# A record that its own bag vouches for, and that contradicts itself all the same


def forged(master: Path, target: Path, change: Callable[[dict], object]) -> Path:
    """A bag with another record, every digest of it right."""
    payload = {path.name: path.read_bytes() for path in (master / "data").iterdir() if path.name != "master.json"}
    record = json.loads((master / "data" / "master.json").read_bytes())
    change(record)
    write_master(target, payload, record)
    assert fixity(target) == []
    return target


def put(*places: object) -> Callable[[dict], None]:
    """Sets the value at a place of the record: the keys to it, and the value."""

    def change(record: dict) -> None:
        *keys, last, value = places
        for key in keys:
            record = record[key]
        record[last] = value

    return change


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (put("version", 3), "its version is 3; this program opens 1 and 2"),
        (lambda record: record["title"].pop("disc"), "title has no disc"),
        (put("title", "edition", 5), "title.edition is a int, where a str was expected"),
        (put("version", True), "the record.version is a bool, where a int was expected"),
        (put("title", []), "the record.title is a list, where a dict was expected"),
        (put("title", {"name": "x"}), "the record.title has no publisher"),
        (put("sides", {}), "its sides are none, where A, or A and B, were expected"),
        (lambda record: record["sides"].pop("A"), "its sides are B, where A, or A and B, were expected"),
        (lambda record: record.pop("serials"), "the record has no serials"),
        (
            put("serials", "C", {"track": 1, "head": 0, "sector": 1, "offset": 0, "bytes": 40, "place": 1}),
            "serials has side 'C', which the master lacks",
        ),
        (put("serials", "A", "place", 683), "serials.A: not inside one of its side's sectors"),
        (put("serials", "A", "place", -1), "serials.A: not inside one of its side's sectors"),
        (put("serials", "A", "offset", 250), "serials.A: not inside one of its side's sectors"),
        (put("serials", "A", "bytes", 0), "serials.A: not inside one of its side's sectors"),
        (put("sides", "A", "dump_bytes", 5), "sides.A: 174,848 bytes in its dump, in sectors of 256, do not agree with dump_bytes"),
        (put("sides", "A", "geometry_plain", "size", 0), "in sectors of 0, do not agree"),
        (put("sides", "A", "unproven_sectors", [5, 5]), "sides.A.unproven_sectors are not places of its dump, ascending"),
        (put("sides", "A", "unproven_sectors", [683]), "sides.A.unproven_sectors are not places of its dump, ascending"),
        (put("sides", "A", "unproven_sectors", ["5"]), r"sides.A.unproven_sectors\[0\] is a str, where a int was expected"),
        (put("sides", "A", "identity", "id1", None), "sides.A.identity.id1 is a NoneType, where a int was expected"),
        (put("sides", "B", "files", 0, "sha256", 5), r"sides.B.files\[0\].sha256 is a int, where a str was expected"),
    ],
)
def test_a_record_that_is_none_is_refused(lamplighter, tmp_path, change, said):
    with pytest.raises(MasteringError, match=said):
        open_master(forged(lamplighter, tmp_path / "forged", change))


@pytest.mark.parametrize(
    ("change", "check", "said"),
    [
        (put("sides", "A", "geometry_plain", "rpm", 360), "fields", "geometry_plain is not what geometry_digest says"),
        (put("sides", "A", "sha256", "0" * 64), "side", "its digest is not the one in master.json"),
        (put("sides", "A", "unproven_sectors", [1]), "side", "not the sectors that a filler could equal"),
        (put("serials", "A", "sector", 3), "side", "its place in the dump is not the sector that it names"),
        (put("serials", "A", "bytes", 1), "side", "its slot does not hold a marker that occurs once"),
        (put("sides", "A", "identity", "id1", 0), "fields", "identity"),
        (put("sides", "A", "identity", "id1", 0), "volume", "says that id1 is 53, the identifiers of its sectors have 00"),
    ],
)
def test_what_check_finds_in_a_record(lamplighter, tmp_path, change, check, said):
    done = run("check", forged(lamplighter, tmp_path / "forged", change), "--json")
    assert (done.returncode, done.stderr) == (1, "")
    found = [line for line in map(json.loads, done.stdout.splitlines()) if (line["check"], line["side"]) == (check, "A")]
    assert [line["ok"] for line in found] == [False]
    assert said in found[0]["problems"][0]["what"]


def test_a_volume_number_that_is_not_the_identifiers_is_found(lamplighter, tmp_path):
    """Customers' machines refuse such a disc: volume mismatch."""
    done = run("check", forged(lamplighter, tmp_path / "forged", put("sides", "B", "identity", "volume", 6)))
    assert done.returncode == 1
    assert "volume: says that volume is 04, the identifiers of its sectors have 06" in done.stdout


def test_a_geometry_that_is_not_its_records_judges_nothing(lamplighter, tmp_path):
    bad = forged(lamplighter, tmp_path / "forged", put("sides", "A", "geometry_plain", "rpm", 360))
    (tmp_path / "bad.dump").write_bytes((lamplighter / "data" / "side-A.dump").read_bytes()[:-1] + b"!")
    done = run("verify", bad, tmp_path / "bad.dump", "--json")
    assert done.returncode == 2
    assert "geometry_plain is not what geometry_digest says" in done.stdout + done.stderr
    assert "Traceback" not in done.stderr and '"pass"' not in done.stdout


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_stands_in_a_geometry_s_plain_form_it_is_one_or_the_master_is_refused(lamplighter, data):
    """The record vouches for it by its digest, as somebody who edits a master would see to."""
    one = open_master(lamplighter, whole=False)
    side = one.sides[data.draw(st.sampled_from("AB"))]
    path = data.draw(st.sampled_from([each for each in places(side.plain) if each]))
    plain = with_value(side.plain, path, data.draw(HOSTILE))
    side = replace(side, plain=plain, geometry_digest=digest(canonical_json(plain)))
    try:
        assert side.geometry.dump_bytes == len(side.dump)
    except MasterError as error:
        assert "side " in str(error) and "\n" not in str(error)


# Written whole or not at all


def test_an_output_that_exists_is_left_alone(lamplighter):
    before = tree(lamplighter)
    done = run("build", SHOP / "job.toml", "--out", lamplighter)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"obverse: {lamplighter}: exists already; name a folder that does not\n"
    assert tree(lamplighter) == before


@pytest.mark.parametrize("parent", ["nowhere", "file"])
def test_a_place_that_can_not_be_written(tmp_path, parent):
    (tmp_path / "file").write_text("")
    done = run("build", SHOP / "job.toml", "--out", tmp_path / parent / "master")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert "can't be made" in done.stderr
    assert os.listdir(tmp_path) == ["file"]


def test_a_full_disk_leaves_nothing_behind(tmp_path):
    """A file size limit stands in for it."""
    import resource

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    done = process("build", SHOP / "job.toml", "--out", tmp_path / "master", preexec_fn=limit)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"obverse: {tmp_path / 'master'}: can't be written: File too large; nothing was left of it\n"
    assert os.listdir(tmp_path) == []


def test_a_folder_that_can_not_be_renamed_is_taken_away(tmp_path, monkeypatch):
    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "rename", refuse)
    with pytest.raises(MasteringError, match="No space left on device; nothing was left of it"):
        write_folder(tmp_path / "made", {"a/b": b"x"})
    assert os.listdir(tmp_path) == []
