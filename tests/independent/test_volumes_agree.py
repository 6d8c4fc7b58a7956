"""Discs that the models made, awkward but legal, against what the program says is on them: nothing more, nothing less, nothing wrong."""

import json
import subprocess
import warnings
from hashlib import sha256

import model_catalog
import model_tree
import model_zoned
import pytest
from model_contents import CASES, MAKERS, READERS, made
from model_volumes import File, noise, obverse, rng_of

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the library's own base uses a deprecated way to declare itself
    from pyfatfs.PyFatFS import PyFatFS


def shown(name):
    """A name in JSON: ASCII as it is, any other as its extracted file."""
    return name.decode() if name.isascii() else extracted(name)


def extracted(name):
    """Each byte outside A-Z a-z 0-9 . _ - as %XX (contract.md section 3)."""
    return "".join(chr(byte) if chr(byte).isascii() and (chr(byte).isalnum() or byte in b"._-") else f"%{byte:02X}" for byte in name)


AWKWARD = [case for case in CASES if case[2] is MAKERS[case[0]][0]]


def called(part):
    """A maker by its name in a test's."""
    return getattr(part, "__name__", part)


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


def test_its_files_are_listed_as_they_went_in(case):
    path, volume, geometry, expected = case
    status, out, _ = obverse("contents", path, "--geometry", geometry, "--volume", volume, "--json")
    *files, side = map(json.loads, out)
    assert status == 0
    assert side == {"side": "A", "volume": volume, "label": shown(expected.label), "free": expected.free, "unit": expected.unit}
    assert [(f["name"], f["type"], f["load_address"], f["bytes"], f["sha256"]) for f in files] == [
        (shown(f.name), f.type, f.load, len(f.data), sha256(f.data).hexdigest()) for f in expected.files
    ]
    assert [[tuple(at) for at in f["sectors"]] for f in files] == expected.sectors


@pytest.mark.parametrize(("volume", "geometry", "maker"), AWKWARD, ids=called)
def test_its_files_come_out_as_they_went_in(volume, geometry, maker, tmp_path):
    disc, path = made(volume, geometry, maker), tmp_path / "side.dump"
    path.write_bytes(disc.dump())
    status, _, _ = obverse("contents", path, "--geometry", geometry, "--volume", volume, "--extract", tmp_path / "out")
    there = {each.name: each.read_bytes() for each in (tmp_path / "out" / "A").glob("*")}
    assert (status, there) == (0, {extracted(f.name): f.data for f in disc.expected().files})


def test_its_locked_files_are_told(case):
    path, volume, geometry, expected = case
    _, out, _ = obverse("contents", path, "--geometry", geometry, "--volume", volume)
    assert [line.endswith(" locked") for line in out[2:-1]] == [f.locked for f in expected.files]


FAT_CASES = [case for case in CASES if case[0] == "fat12" and made(*case).parameters]  # the checker wants a parameter block


@pytest.mark.parametrize(("volume", "geometry", "maker"), FAT_CASES, ids=called)
def test_programs_that_no_one_here_wrote_find_the_same(volume, geometry, maker, tmp_path):
    disc = made(volume, geometry, maker)
    path = tmp_path / "side.dump"
    path.write_bytes(disc.dump())
    checked = subprocess.run(["fsck.fat", "-n", str(path)], capture_output=True, text=True, timeout=30, check=False)
    assert checked.returncode == 0, checked.stdout
    with PyFatFS(str(path), encoding="cp437", read_only=True) as library:
        for file in disc.expected().files:
            assert library.readbytes("/" + file.name.decode("cp437")) == file.data


def block_order(dump):
    """Blocks one after the other, as a machine of blocks copies them."""
    return b"".join(dump[256 * place :][:256] for block in range(model_tree.BLOCKS) for place in model_tree.halves(block))


def as_numbered(dump):
    """Each track's sectors by their identifiers' numbers."""
    places = [16 * track + model_catalog.IDENTIFIERS[16].index(number) for track in range(35) for number in range(16)]
    return b"".join(dump[256 * place :][:256] for place in places)


@pytest.mark.parametrize(
    ("volume", "order", "reorder"), [("block-tree", "block-order", block_order), ("catalog-dos", "as-numbered", as_numbered)], ids=called
)
def test_a_disc_whose_sectors_stand_in_another_order_is_known_by_it(volume, order, reorder, tmp_path):
    geometry = model_tree.GEOMETRY
    disc, path = made(volume, geometry, MAKERS[volume][0]), tmp_path / "copied.img"
    path.write_bytes(reorder(disc.dump()))
    _, out, _ = obverse("contents", path, "--json")
    [guess] = map(json.loads, out)
    assert (guess["volume"], guess["order"], guess["sure"], guess["problems"]) == (volume, order, "likely", 0)
    _, out, _ = obverse("contents", path, "--geometry", geometry, "--volume", volume, "--order", order, "--json")
    found = [json.loads(line)["sha256"] for line in out[:-1]]
    assert found == [sha256(f.data).hexdigest() for f in disc.expected().files]


def test_only_a_relative_file_has_a_side_sector(tmp_path):
    """Facts.md 7a: `15-16 first side sector; 17 record length (REL only)`."""
    rng = rng_of("side sector")
    disc, path = model_zoned.Disc("gcr4to5-35z", rng), tmp_path / "side.dump"
    disc.put(File(b"PICTURE", noise(rng, 300), "user"), extra=bytes([200, 99, 17]) + bytes(6))
    path.write_bytes(disc.dump())
    assert model_zoned.held("gcr4to5-35z", disc.dump()).files == disc.expected().files
    status, _, _ = obverse("contents", path, "--geometry", "gcr4to5-35z", "--volume", "zoned-dos")
    assert status == 0
