"""An unknown dump: its length names geometries, its bytes a volume; whatever the bytes are, nothing crashes."""

import json
import subprocess
import sys
from dataclasses import astuple
from datetime import date
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats import registry
from formats.image import Image
from formats.volumes.interface import FileIn, VolumeIn
from mastering.recognise import geometries_of, guesses

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


def run(*arguments: object) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "mastering.cli.main", *map(str, arguments)], capture_output=True, text=True, check=False)


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


def test_contents_of_what_is_no_dump(tmp_path):
    (tmp_path / "odd").write_bytes(b"x" * 1000)
    done = run("contents", tmp_path / "odd")
    assert (done.returncode, done.stdout) == (1, "") and "1,000 bytes is the length of no declared geometry's dump" in done.stderr
    (tmp_path / "a.capture").write_bytes(bytes.fromhex("8A 4F 42 56 0D 0A 1A 0A"))
    done = run("contents", tmp_path / "a.capture")
    assert done.returncode == 2 and "a capture; `obverse contents` lists masters and dumps" in done.stderr
    (tmp_path / "blank").write_bytes(bytes(81_920))
    done = run("contents", tmp_path / "blank")
    assert done.returncode == 0 and "no volume that is known here" in done.stdout
