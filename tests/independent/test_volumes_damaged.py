"""Volumes damaged on purpose: each damage is told in a line that names the file or the place; no traceback, no silence, no false `likely`."""

import json
import shutil
from hashlib import sha256

import pytest
from model_contents import READERS
from model_damage import every
from model_volumes import DamageError, job, obverse

from formats import registry
from formats.volumes.shared.image import Image

DAMAGED = list(every())
ONE_EACH = [case for case in DAMAGED if case.geometry in ("gcr4to5-77z", "gcr5and3-35x13x256", "gcr6and2-35x16x256", "mfm-40x9x512-2s")]


def called(case):
    return f"{case.volume}-{case.geometry}-{case.what.replace(' ', '_')}"


def told(case, problems):
    return any(word in line for line in problems for word in case.words)


@pytest.mark.parametrize("case", DAMAGED, ids=called)
def test_a_damage_is_one_by_the_texts(case):
    """A table that a name of the texts is not in, a byte that is not there: the model's reader gives up in any of these ways."""
    with pytest.raises((DamageError, IndexError, KeyError, ValueError)):
        READERS[case.volume](case.geometry, case.dump)


@pytest.mark.parametrize("case", DAMAGED, ids=called)
def test_a_damage_is_told_with_its_file_or_place(case):
    image = Image(registry.geometry(case.geometry), case.dump)
    problems = [f"{each.where}: {each.what}" for each in registry.volume(case.volume).check(image)]
    assert told(case, problems), problems
    assert all("\n" not in line for line in problems)


@pytest.mark.parametrize("case", ONE_EACH, ids=called)
def test_nobody_takes_a_damaged_volume_for_a_sound_one(case, tmp_path):
    path = tmp_path / "found.dump"
    path.write_bytes(case.dump)
    _, out, _ = obverse("contents", path, "--json")
    assert all(guess["sure"] != "likely" or guess["problems"] for guess in map(json.loads, out) if guess["volume"] == case.volume)
    status, out, err = obverse("contents", path, "--geometry", case.geometry, "--volume", case.volume)
    assert (status == 0 and out and not err) or (status == 2 and not out and len(err) == 1), (status, out, err)


@pytest.fixture(scope="module")
def masters(tmp_path_factory):
    """Masters by volume and geometry, built once, each with nothing on it."""
    built = {}

    def master(volume, geometry):
        if (volume, geometry) not in built:
            folder = tmp_path_factory.mktemp("master") / "job"
            assert obverse("build", job(folder, volume, geometry, []), "--out", folder / "master")[0] == 0
            built[volume, geometry] = folder / "master"
        return built[volume, geometry]

    return master


def seal(folder):
    """Makes a bag whole again (RFC 8493) after its payload was changed."""
    for name, files in (("manifest-sha256.txt", "data/*"), ("tagmanifest-sha256.txt", "*.txt")):
        listed = sorted(path for path in folder.glob(files) if path.name != name)
        lines = [f"{sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder)}\n" for path in listed]
        (folder / name).write_text("".join(lines))


@pytest.mark.parametrize("case", ONE_EACH[::5], ids=called)
def test_a_master_whose_volume_is_damaged_is_told_by_check(case, masters, tmp_path):
    folder = tmp_path / "master"
    shutil.copytree(masters(case.volume, case.geometry), folder)
    (folder / "data" / "side-A.dump").write_bytes(case.dump)
    seal(folder)
    status, out, _ = obverse("check", folder, "--json")
    [volume] = [line for line in map(json.loads, out) if line["check"] == "volume"]
    assert (status, volume["ok"]) == (1, False)
    assert told(case, [f"{each['where']}: {each['what']}" for each in volume["problems"]])


ONE_BROKEN_FILE = {
    "a chain that comes back to its first block",
    "a list that links to itself",
    "a block that is another file's",
    "a chain that comes back",
}


@pytest.mark.parametrize("case", [case for case in ONE_EACH if case.what in ONE_BROKEN_FILE], ids=lambda case: case.geometry)
def test_a_disc_of_which_one_file_is_broken_is_still_recognised(case, tmp_path):
    """README.md: which volume it holds: `possible` when it is empty or its tables contradict each other."""
    path = tmp_path / "found.dump"
    path.write_bytes(case.dump)
    _, out, _ = obverse("contents", path, "--json")
    guesses = {(guess["volume"], guess["sure"]) for guess in map(json.loads, out)}
    assert (case.volume, "possible") in guesses
