"""Discs that the models made, awkward but legal, against what the program says is on them: nothing more, nothing less, nothing wrong."""

import json
import subprocess
import warnings
from hashlib import sha256

import pytest
from model_contents import CASES, READERS, made
from model_volumes import obverse

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the library's own base uses a deprecated way to declare itself
    from pyfatfs.PyFatFS import PyFatFS


def shown(name):
    """A name in JSON: ASCII as it is, any other as its extracted file."""
    return name.decode() if name.isascii() else extracted(name)


def extracted(name):
    """Each byte outside A-Z a-z 0-9 . _ - as %XX (contract.md section 3)."""
    return "".join(chr(byte) if chr(byte).isascii() and (chr(byte).isalnum() or byte in b"._-") else f"%{byte:02X}" for byte in name)


@pytest.fixture(scope="module", params=CASES, ids=lambda case: f"{case[1]}-{case[2].__name__}")
def case(request, tmp_path_factory):
    """A disc in a file, once for all tests; its volume, geometry, and what is on it."""
    volume, geometry, maker = request.param
    disc = made(volume, geometry, maker)
    path = tmp_path_factory.mktemp("disc") / "side.dump"
    path.write_bytes(disc.dump())
    return path, volume, geometry, disc.expected()


def test_the_models_reader_finds_what_its_maker_made(case):
    path, volume, geometry, expected = case
    found = READERS[volume](geometry, path.read_bytes())
    assert sorted(found.files, key=lambda f: f.name) == sorted(expected.files, key=lambda f: f.name)
    assert (found.label, found.free, found.unit) == (expected.label, expected.free, expected.unit)


def test_a_disc_that_nobody_knows_is_recognised(case):
    path, volume, geometry, expected = case
    status, out, _ = obverse("contents", path, "--json")
    first, *others = map(json.loads, out)
    sure = "likely" if expected.files or expected.label else "possible"
    named = {"geometry": geometry, "volume": volume, "order": None, "sure": sure, "files": len(expected.files), "problems": 0}
    assert (status, first) == (0, named)
    assert all(other["sure"] != "likely" for other in others)


def test_its_files_are_listed_and_come_out_as_they_went_in(case, tmp_path):
    path, volume, geometry, expected = case
    asked = ("contents", path, "--geometry", geometry, "--volume", volume)
    status, out, _ = obverse(*asked, "--json", "--extract", tmp_path / "out")
    *files, side = map(json.loads, out)
    assert status == 0
    assert side == {"side": "A", "volume": volume, "label": shown(expected.label), "free": expected.free, "unit": expected.unit}
    assert [(f["name"], f["type"], f["load_address"], f["bytes"], f["sha256"]) for f in files] == [
        (shown(f.name), f.type, f.load, len(f.data), sha256(f.data).hexdigest()) for f in expected.files
    ]
    assert [[tuple(at) for at in f["sectors"]] for f in files] == expected.sectors
    there = {each.name: each.read_bytes() for each in (tmp_path / "out" / "A").glob("*")}
    assert there == {extracted(f.name): f.data for f in expected.files}


def test_its_locked_files_are_told(case):
    path, volume, geometry, expected = case
    _, out, _ = obverse("contents", path, "--geometry", geometry, "--volume", volume)
    assert [line.endswith(" locked") for line in out[1:-1]] == [f.locked for f in expected.files]


FAT = [case for case in CASES if case[0] == "fat12" and made(*case).parameters]  # the checker wants a parameter block


@pytest.mark.parametrize(("volume", "geometry", "maker"), FAT, ids=lambda each: getattr(each, "__name__", each))
def test_programs_that_no_one_here_wrote_find_the_same(volume, geometry, maker, tmp_path):
    disc = made(volume, geometry, maker)
    path = tmp_path / "side.dump"
    path.write_bytes(disc.dump())
    checked = subprocess.run(["fsck.fat", "-n", str(path)], capture_output=True, text=True, timeout=30, check=False)
    assert checked.returncode == 0, checked.stdout
    with PyFatFS(str(path), encoding="cp437", read_only=True) as library:
        for file in disc.expected().files:
            assert library.readbytes("/" + file.name.decode("cp437")) == file.data
