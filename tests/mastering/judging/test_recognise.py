"""An unknown dump: its length names geometries, its bytes a volume; whatever the bytes are, nothing crashes."""

import json
import shlex
from dataclasses import astuple
from datetime import date
from functools import cache

import numpy as np
import pytest
from console import run
from hypothesis import given, settings
from hypothesis import strategies as st

from formats import registry
from formats.volumes.interface import FileIn, VolumeIn
from formats.volumes.shared.image import Image
from mastering.judging.recognise import geometries_of, guesses

GEOMETRIES = registry.names("geometries", foreign=False)
PAIRS = [
    (volume, geometry)
    for volume in registry.names("volumes", foreign=False)
    for geometry in GEOMETRIES
    if volume != "none" and registry.volume(volume).fits(registry.geometry(geometry))
]
KEYS = {"zoned-dos": {"type": "user"}, "catalog-dos": {"type": "text"}, "block-tree": {"type": 4}, "fat12": {}}


@cache
def built(volume: str, geometry: str, files: int = 2) -> bytes:
    """A side with some files."""
    made = [FileIn(f"FILE{number}".encode(), bytes(range(1, 200)) * 9, **KEYS[volume]) for number in range(files)]
    label = b"" if volume == "catalog-dos" else b"LANTERN"
    return bytes(registry.volume(volume).build(registry.geometry(geometry), VolumeIn(made, label, b"SM", date=date(2026, 11, 25))).dump)


@pytest.mark.parametrize(("volume", "geometry"), PAIRS)
def test_a_volume_that_was_built_is_likely_and_nothing_else_is(volume, geometry):
    found = guesses(built(volume, geometry))
    assert [astuple(guess) for guess in found if guess.sure == "likely"] == [(geometry, volume, None, "likely", 2, 0)]
    assert {(guess.geometry, guess.volume) for guess in found} == {(geometry, volume)}


@pytest.mark.parametrize(("volume", "geometry"), PAIRS)
def test_an_empty_volume_is_recognised_too(volume, geometry):
    """By its name it is likely; without one it may be chance, so it is only possible."""
    found = guesses(built(volume, geometry, 0))
    assert {(guess.volume, guess.geometry, guess.files, guess.problems) for guess in found} == {(volume, geometry, 0, 0)}
    assert found[0].order is None and found[0].sure == ("possible" if volume == "catalog-dos" else "likely")


@pytest.mark.parametrize("order", ["as-numbered", "block-order"])
@pytest.mark.parametrize("volume", ["catalog-dos", "block-tree"])
def test_the_order_of_the_sectors_in_the_file_is_found(volume, order):
    geometry = registry.geometry("gcr6and2-35x16x256")
    image = Image(geometry, built(volume, geometry.id))
    moved = b"".join(image.read(address) for address in geometry.image_order(order))
    assert [(guess.volume, guess.order, guess.sure) for guess in guesses(moved)] == [(volume, order, "likely")]


def test_what_the_tables_can_not_tell_is_said_to_be_possible():
    """FAT12 with the tables on the first track: whether head 1 follows each track or all of head 0 nothing in it tells; 15 sectors do."""
    image = Image(registry.geometry("mfm-40x9x512-2s"), built("fat12", "mfm-40x9x512-2s"))
    moved = b"".join(image.read(address) for address in image.geometry.image_order("heads-apart"))
    for data in (bytes(image.dump), moved):
        assert [(guess.order, guess.sure) for guess in guesses(data)] == [(None, "likely"), ("heads-apart", "possible")]
    image = Image(registry.geometry("mfm-80x15x512-2s"), built("fat12", "mfm-80x15x512-2s"))
    moved = b"".join(image.read(address) for address in image.geometry.image_order("heads-apart"))
    assert [(guess.order, guess.sure) for guess in guesses(moved)] == [("heads-apart", "likely")]


def test_a_volume_that_contradicts_itself_is_only_possible():
    """A block that a file uses, marked free in the map at 18/0: bytes 04 to 8F, an entry of four bytes a track."""
    dump = bytearray(built("zoned-dos", "gcr4to5-35z"))
    at = 357 * 256 + 4 * 17
    dump[at + 1 : at + 4] = b"\xff\xff\x1f"
    [guess] = guesses(bytes(dump))
    assert (guess.volume, guess.sure, guess.files) == ("zoned-dos", "possible", 2) and guess.problems > 0


@pytest.mark.parametrize("name", GEOMETRIES)
@pytest.mark.parametrize("fill", [0x00, 0xE5, 0xFF])
def test_a_disc_of_one_value_holds_no_volume(name, fill):
    assert guesses(bytes([fill]) * registry.geometry(name).dump_bytes) == []


@pytest.mark.parametrize(("broken", "known"), [(1, True), (2, False), (3, False)])
def test_a_volume_of_which_half_the_files_or_more_are_broken_is_none(broken, known):
    """Each chain is led back to its own first block."""
    geometry, dump = registry.geometry("gcr4to5-35z"), bytearray(built("zoned-dos", "gcr4to5-35z", 4 if broken == 2 else 3))
    for file in registry.volume("zoned-dos").read(Image(geometry, bytes(dump))).files[:broken]:
        first = file.sectors[0]
        dump[geometry.places[first] * 256 : geometry.places[first] * 256 + 2] = bytes([first.track, first.sector])
    assert bool(guesses(bytes(dump))) == known


def test_lengths_that_several_geometries_have():
    """Products: 8 x 512 x 40 x 2 = 16 x 256 x 40 x 2; 9 x 512 x 40 = 18 x 256 x 40; 18 x 128 x 40 at two speeds."""
    assert [each.id for each in geometries_of(327_680)] == ["mfm-40x16x256-2s", "mfm-40x8x512-2s"]
    assert [each.id for each in geometries_of(184_320)] == ["mfm-40x18x256", "mfm-40x9x512"]
    assert [each.id for each in geometries_of(92_160)] == ["fm-40x18x128", "fm-40x18x128-288rpm"]
    assert geometries_of(1) == [] and guesses(b"x") == []


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(GEOMETRIES), st.integers(0, 2**32 - 1))
def test_random_bytes_are_never_likely(name, seed):
    data = np.random.default_rng(seed).integers(0, 256, registry.geometry(name).dump_bytes, np.uint8).tobytes()
    assert [guess for guess in guesses(data) if guess.sure == "likely"] == []


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(PAIRS),
    st.lists(st.tuples(st.integers(0, 2**20), st.binary(min_size=1, max_size=40)), min_size=1, max_size=6),
    st.data(),
)
def test_damaged_volumes_never_crash_it(pair, hits, data):
    """Damage anywhere, and in the sectors of the directory and the map, which are those that the files do not use."""
    volume, geometry = pair
    dump = bytearray(built(volume, geometry))
    written = np.flatnonzero(np.frombuffer(dump, np.uint8))
    for at, change in hits:
        start = int(written[at % len(written)]) if data.draw(st.booleans()) else at % len(dump)
        dump[start : start + len(change)] = change[: len(dump) - start]
    for guess in guesses(bytes(dump)):
        assert guess.geometry in {each.id for each in geometries_of(len(dump))}
        assert guess.sure == "possible" if guess.problems else guess.sure in ("likely", "possible")


# The command


def test_contents_says_what_a_dump_may_be_and_how_to_list_it(tmp_path):
    (tmp_path / "found.img").write_bytes(built("fat12", "mfm-40x9x512"))
    done = run("contents", tmp_path / "found.img")
    assert done.returncode == 0 and "184,320 bytes: the length of mfm-40x18x256, mfm-40x9x512" in done.stdout
    assert "likely: fat12 on mfm-40x9x512; it holds 2 files" in done.stdout
    words = done.stdout.splitlines()[-1].split()
    assert run(*words[1:]).stdout.startswith("side A: fat12 LANTERN")
    listed = [json.loads(line) for line in run("contents", tmp_path / "found.img", "--json").stdout.splitlines()]
    assert [(line["geometry"], line["volume"], line["sure"]) for line in listed] == [
        ("mfm-40x9x512", "fat12", "likely"),
        ("mfm-40x18x256", None, None),
    ]


def test_a_dump_of_which_a_file_is_broken_is_possible_and_the_file_is_named_when_it_is_listed(tmp_path):
    """The first of three chains begins in track 17 sector 0, block 336; it is led back to itself."""
    dump = bytearray(built("zoned-dos", "gcr4to5-35z", 3))
    dump[336 * 256 : 336 * 256 + 2] = bytes([17, 0])
    (tmp_path / "found.dump").write_bytes(dump)
    told = run("contents", tmp_path / "found.dump").stdout.splitlines()
    assert told[1] == "  possible: zoned-dos on gcr4to5-35z; it holds 2 files that can be read, and contradicts itself in 2 places"
    listed = run(*shlex.split(told[2])[1:])
    assert (listed.returncode, listed.stdout) == (2, "")
    assert listed.stderr.endswith("FILE0: its chain runs in a circle: it comes to track 17 sector 0 a second time\n")


def test_contents_of_what_is_no_dump(tmp_path):
    (tmp_path / "odd").write_bytes(b"x" * 1000)
    done = run("contents", tmp_path / "odd")
    assert (done.returncode, done.stdout) == (1, "") and "no declared geometry has a dump of 1,000 bytes" in done.stderr
    (tmp_path / "a.capture").write_bytes(bytes.fromhex("8A 4F 42 56 0D 0A 1A 0A"))
    done = run("contents", tmp_path / "a.capture")
    assert done.returncode == 2 and "a capture; `obverse contents` lists masters and dumps" in done.stderr
    (tmp_path / "blank").write_bytes(bytes(81_920))
    done = run("contents", tmp_path / "blank")
    assert done.returncode == 0 and "no volume that is declared here" in done.stdout


@pytest.mark.parametrize(
    ("volume", "geometry", "order"),
    [
        ("block-tree", "gcr6and2-35x16x256", "block-order"),
        ("catalog-dos", "gcr6and2-35x16x256", "as-numbered"),
        ("fat12", "mfm-80x15x512-2s", "heads-apart"),
    ],
)
def test_the_command_that_is_printed_lists_a_dump_in_another_order(tmp_path, volume, geometry, order):
    declared = registry.geometry(geometry)
    image = Image(declared, built(volume, geometry))
    (tmp_path / "found it.img").write_bytes(b"".join(image.read(address) for address in declared.image_order(order)))
    done = run("contents", tmp_path / "found it.img")
    assert f"likely: {volume} on {geometry}, its sectors in the order {order}; it holds 2 files" in done.stdout
    words = shlex.split(done.stdout.splitlines()[-1])
    assert words[-2:] == ["--order", order]
    listed = run(*words[1:], "--extract", tmp_path / "out", "--json")
    assert listed.returncode == 0
    assert [json.loads(line).get("name") for line in listed.stdout.splitlines()] == ["FILE0", "FILE1", None]
    assert (tmp_path / "out" / "A" / "FILE1").read_bytes() == bytes(range(1, 200)) * 9


def test_an_order_that_a_geometry_lacks(tmp_path):
    (tmp_path / "found").write_bytes(built("fat12", "mfm-40x9x512"))
    done = run("contents", tmp_path / "found", "--geometry", "mfm-40x9x512", "--volume", "fat12", "--order", "block-order")
    assert done.returncode == 2 and done.stderr == "obverse: mfm-40x9x512 has no order 'block-order'; it has as-numbered\n"
    done = run("contents", tmp_path / "found", "--order", "as-numbered")
    assert done.returncode == 2 and "to name the order of one give --geometry and --volume" in done.stderr
    done = run("contents", tmp_path, "--order", "as-numbered")
    assert done.returncode == 2 and "is no file: --order and --job go with a dump" in done.stderr


OWN = '[geometry.lantern]\nbase = "mfm-40x9x512"\ndata_gap = 70\n'


@pytest.mark.parametrize("given", ["job.toml", ""])
def test_a_dump_of_a_geometry_of_one_s_own_is_listed_by_its_job(tmp_path, given):
    job = tmp_path / "the job"
    job.mkdir()
    (job / "job.toml").write_text(OWN)
    (tmp_path / "found").write_bytes(built("fat12", "mfm-40x9x512"))
    words = ("contents", tmp_path / "found", "--geometry", "lantern", "--volume", "fat12", "--job", job / given)
    assert run(*words).stdout.startswith("side A: fat12 LANTERN")
    assert run(*words, "--extract", tmp_path / "out").returncode == 0
    assert sorted(path.name for path in (tmp_path / "out" / "A").iterdir()) == ["FILE0", "FILE1"]
    done = run(*words[:2], "--job", job / given)
    printed = [line for line in done.stdout.splitlines() if "--geometry lantern" in line]
    assert "likely: fat12 on lantern" in done.stdout and run(*shlex.split(printed[0])[1:]).stdout.startswith("side A: fat12 LANTERN")
    assert [json.loads(line)["id"] for line in run("geometries", "--json", "--job", job / given).stdout.splitlines()] == ["lantern"]


def test_a_job_whose_geometry_is_wrong_lists_nothing(tmp_path):
    (tmp_path / "job.toml").write_text(OWN.replace("70", "7000"))
    (tmp_path / "found").write_bytes(built("fat12", "mfm-40x9x512"))
    done = run("contents", tmp_path / "found", "--job", tmp_path)
    assert (done.returncode, done.stdout) == (2, "") and "geometry.lantern" in done.stderr


def test_two_files_of_one_name_are_both_extracted(tmp_path):
    """What no system makes, and discs have all the same: the second entry's name, in the root directory at sector 5, made the first's."""
    dump = bytearray(built("fat12", "mfm-40x9x512"))
    dump[dump.index(b"FILE1 ") + 4] = ord("0")
    (tmp_path / "found").write_bytes(dump)
    words = ("contents", tmp_path / "found", "--geometry", "mfm-40x9x512", "--volume", "fat12", "--extract", tmp_path / "out")
    done = run(*words)
    assert done.returncode == 0 and done.stderr == "obverse: side A: file 2 of the name FILE0 is extracted as FILE0~2\n"
    assert sorted(path.name for path in (tmp_path / "out" / "A").iterdir()) == ["FILE0", "FILE0~2"]
