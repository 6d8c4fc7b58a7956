"""Every disc knows who it is, on both sides: the slot for the serial on every volume and geometry, whatever room is left on it."""

import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from bench import MARKER, found, judge_dump, random_dump
from table import Table, said, serials
from versions import as_version_1

from formats import registry
from formats.containers import capture
from formats.errors import VolumeError
from formats.volumes.interface import FileIn, VolumeIn
from formats.volumes.shared.image import Image
from mastering.cli.main import run
from mastering.errors import ProblemsError
from mastering.job.job import load
from mastering.judging.audit import audit
from mastering.judging.evidence import CaptureReadBack, DumpReadBack
from mastering.judging.identify import identify
from mastering.judging.verify import Verifier
from mastering.master.builder import build, payload, record
from mastering.master.master import Master, Side, open_master, write_master
from mastering.master.stamp import image

GEOMETRIES = registry.names("geometries", foreign=False)
PAIRS = [
    (name, geometry)
    for name in registry.names("volumes", foreign=False)
    for geometry in GEOMETRIES
    if name != "none" and registry.volume(name).fits(registry.geometry(geometry))
]
KINDS = {"zoned-dos": "user", "catalog-dos": "text", "block-tree": 4, "fat12": None}
ROOMS = ("empty", "nearly full", "full")
FIRST, SECOND = serials(2)

TITLE = '[title]\nname = "Lamplighter"\npublisher = "Saltmarsh Software"\ncatalogue = "{catalogue}"\nrevision = "{revision}"\n'


def test_there_are_fourteen_pairs():
    assert len(PAIRS) == 14


@cache
def longest(volume: str, geometry: str, left: int) -> bytes:
    """The bytes of a file that leaves so many units of a volume free."""
    system, declared = registry.volume(volume), registry.geometry(geometry)
    empty = system.read(system.build(declared, VolumeIn(())))
    for units in range(empty.free - left, 0, -1):
        data = b"x" * (units * empty.unit - 1)
        try:
            image = system.build(declared, VolumeIn([FileIn(b"ALL", data, type=KINDS[volume])]))
        except VolumeError:
            continue
        if system.read(image).free == left:
            return data
    raise AssertionError("no file leaves so much")


def job(folder: Path, volume: str, geometry: str, room: str, more: str = "", **title: str) -> Path:
    folder.mkdir(exist_ok=True)
    text = TITLE.format(**{"catalogue": "SM-004", "revision": "1.2"} | title)
    text += f'[side.A]\ngeometry = "{geometry}"\nvolume = "{volume}"\n{more}\n'
    if room != "empty":
        (folder / "all.bin").write_bytes(longest(volume, geometry, left=room == "nearly full"))
        kind = "" if KINDS[volume] is None else f"type = {json.dumps(KINDS[volume])}\n"
        text += f'[[side.A.file]]\nname = "ALL"\nsource = "all.bin"\n{kind}'
    (folder / "job.toml").write_text(text)
    return folder / "job.toml"


def master(folder: Path, *words: str, **keys: str) -> Master:
    built = build(load(job(folder, *words, **keys)))
    write_master(folder / "master", payload(built), record(built))
    return open_master(folder / "master")


# On every pair


@pytest.fixture(scope="module", params=[(*pair, room) for pair in PAIRS for room in ROOMS], ids="-".join)
def case(request, tmp_path_factory) -> tuple[Master, str, str]:
    volume, geometry, room = request.param
    return master(tmp_path_factory.mktemp("slots") / "job", volume, geometry, room), volume, room


def free(side: Side, dump: bytes) -> int:
    volume, disc = registry.volume(side.volume), Image(side.geometry, dump)
    assert volume.check(disc) == []
    return volume.read(disc).free


def test_the_slot_leaves_the_volume_as_it_is(case):
    """Sound, with as many units free as without it, and with the same files; on a full FAT12 disc there is no slot."""
    one, volume, room = case
    side = one.sides["A"]
    expected = {"full": 0, "nearly full": 1}
    units = free(side, side.dump)
    assert units == expected.get(room, units) and (units > 100 or room != "empty")
    assert (side.slot is None) == (volume == "fat12" and room == "full")
    assert all(line["ok"] for line in audit(one)), audit(one)
    if side.slot is not None:
        assert (side.slot.offset, side.slot.bytes) == (0, 40)
        assert side.geometry.addresses[side.slot.place] == (side.slot.track, side.slot.head, side.slot.sector)
        assert (side.slot.track, side.slot.head, side.slot.sector) not in {tuple(each) for file in side.files for each in file["sectors"]}
        assert free(side, side.stamped(FIRST)) == units


def test_a_disc_tells_its_serial_and_is_judged_around_it(case):
    one, _, _ = case
    side = one.sides["A"]
    if side.slot is None:
        return
    stamped = side.stamped(FIRST)
    verdict = judge_dump(one, stamped)
    assert (verdict.verdict, verdict.serial) == ("pass", FIRST)
    assert (judge_dump(one, side.dump).verdict, judge_dump(one, side.dump).serial) == ("pass", None)
    start, address = side.slot_start, side.geometry.addresses[side.slot.place]
    for at, kind in ((start + 40, "differs"), (start + side.size - 1, "differs"), (start, "serial"), (start + 39, "serial")):
        damaged = stamped[:at] + bytes([stamped[at] ^ 0x40]) + stamped[at + 1 :]
        verdict = judge_dump(one, damaged)
        assert (verdict.verdict, found(verdict)) == ("fail", {address: kind})


@pytest.mark.parametrize("volume, geometry", PAIRS)
def test_a_capture_of_it_carries_the_serial_and_names_the_disc(tmp_path, volume, geometry):
    one = master(tmp_path / "job", volume, geometry, "empty")
    data = capture.read(image(one.sides["A"], SECOND, as_capture=True), "copy")
    verdict = Verifier(one, "A", []).judge(CaptureReadBack("copy", data))
    assert (verdict.verdict, verdict.serial) == ("pass", SECOND)
    known = identify(DumpReadBack("copy", one.sides["A"].stamped(SECOND), None), [one])
    assert known.certain and known.serial == SECOND


@pytest.mark.skipif(shutil.which("fsck.fat") is None, reason="dosfstools are not installed")
@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("geometry", [geometry for volume, geometry in PAIRS if volume == "fat12"])
def test_a_foreign_checker_finds_a_fat_volume_with_a_slot_sound(tmp_path, geometry, room):
    side = master(tmp_path / "job", "fat12", geometry, room).sides["A"]
    (tmp_path / "disc").write_bytes(side.stamped(FIRST))
    done = subprocess.run(["fsck.fat", "-n", "-v", tmp_path / "disc"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
    used, of = map(int, re.search(r"(\d+)/(\d+) clusters", done.stdout).groups())
    assert of - used == free(side, side.dump)


def test_a_file_that_is_added_takes_the_slots_sector_last(tmp_path):
    """A customer's machine that saves a game writes elsewhere first."""
    for volume, geometry in PAIRS:
        empty, nearly = (side_of(tmp_path, "", volume, geometry, room) for room in ("empty", "nearly full"))
        assert empty.slot == nearly.slot


# What a job says of it


def side_of(folder: Path, more: str, volume="zoned-dos", geometry="gcr4to5-35z", room="empty", **keys: str):
    return build(load(job(folder, volume, geometry, room, more, **keys))).sides["A"]


def refused(folder: Path, *words: str, **keys: str) -> list[str]:
    with pytest.raises(ProblemsError) as raised:
        side_of(folder, *words, **keys)
    return list(map(str, raised.value.problems))


@pytest.mark.parametrize(
    ("more", "has"),
    [("", True), ('free = "zero"', False), ('serial = "free"', True), ('free = "zero"\nserial = "free"', True), ('serial = "none"', False)],
)
def test_where_nothing_is_said_numbered_free_sectors_have_one(tmp_path, more, has):
    side = side_of(tmp_path, more)
    assert (side.slot is not None) == has
    if has:
        at = side.slot.place * 256
        text = side.dump[at : at + 40]
        assert text.startswith(b"<<SERIAL-GOES-HERE") and text.endswith(b">>") and len(text) == 40
        rest = side.dump[at + 40 : at + 256]
        assert not any(rest) if "zero" in more else b"SM-004 side A track 35 sector " in rest


def test_a_slot_that_is_asked_for_and_can_not_be_had_is_an_error(tmp_path):
    text = 'side.A.serial: the volume has no free sector, and none in reserve; give a marker in a file, or write "none"'
    assert refused(tmp_path / "full", 'serial = "free"', "fat12", "mfm-40x9x512", "full") == [text]
    (tmp_path / "image.bin").write_bytes(bytes(184_320))
    said = refused(tmp_path, 'serial = "free"\nimage = "image.bin"', "none", "mfm-40x9x512")
    assert said == [
        'side.A.serial: a ready image has no free sectors; give a place of the image, { track = ..., sector = ... }, or write "none"'
    ]
    assert side_of(tmp_path, 'image = "image.bin"', "none", "mfm-40x9x512").slot is None


def test_a_place_of_a_ready_image(tmp_path):
    image = random_dump(registry.geometry("mfm-40x9x512-2s"), 4)
    (tmp_path / "image.bin").write_bytes(image)
    keys = 'image = "image.bin"\nserial = {{ track = 34, head = 1, sector = 5, offset = {offset}, bytes = {bytes} }}'
    ready = ("none", "mfm-40x9x512-2s")
    side = side_of(tmp_path, keys.format(offset=100, bytes=24), *ready)
    at = side.slot.place * 512 + 100
    assert side.plan.geometry.addresses[side.slot.place] == (34, 1, 5)
    assert side.dump == image[:at] + b"<<SERIAL-GOES-HERE---->>" + image[at + 24 :]
    assert side_of(tmp_path, keys.format(offset=0, bytes=15), *ready).dump[at - 100 : at - 85] == b"<<SERIAL----->>"
    assert refused(tmp_path, keys.format(offset=0, bytes=14), *ready) == [
        "side.A.serial.bytes: must be at least 15: serials such as SM-004-000001-X take its place"
    ]
    assert refused(tmp_path, keys.format(offset=500, bytes=40), *ready) == [
        "side.A.serial: 40 bytes from 500 on run past the end of a sector of 512"
    ]
    wrong = keys.format(offset=0, bytes=40).replace("34", "40")
    assert refused(tmp_path, wrong, *ready) == ["side.A.serial: mfm-40x9x512-2s has no track 40 head 1 sector 5"]
    least = side_of(tmp_path, 'image = "image.bin"\nserial = { track = 0, sector = 1 }', *ready).slot
    assert (least.head, least.offset, least.bytes) == (0, 0, 40)


def test_a_catalogue_number_whose_serials_fit_no_slot_in_a_free_sector(tmp_path):
    assert side_of(tmp_path, "", catalogue="S" * 31).slot is not None
    [said] = refused(tmp_path, "", catalogue="S" * 32)
    assert said.startswith("title.catalogue: is too long for the slot of 40 bytes in a free sector") and said.endswith(
        'write serial = "none"'
    )
    assert side_of(tmp_path, 'serial = "none"', catalogue="S" * 32).slot is None


def test_placed_bytes_and_boot_bytes_are_kept_off(tmp_path):
    slot = side_of(tmp_path, "").slot
    (tmp_path / "p.bin").write_bytes(b"placed")
    place = f'[[side.A.place]]\ntrack = {slot.track}\nsector = {slot.sector}\nsource = "p.bin"'
    placed = side_of(tmp_path, place)
    assert placed.slot.place != slot.place and placed.dump[slot.place * 256 :].startswith(b"placed")
    on = ("catalog-dos", "gcr6and2-35x16x256", "full")
    (tmp_path / "boot.bin").write_bytes(b"\x01" * (48 * 256))
    assert refused(tmp_path, 'serial = "free"\nboot = "boot.bin"', *on)[0].startswith("side.A.serial: the volume has no free sector")
    (tmp_path / "boot.bin").write_bytes(b"\x01" * (47 * 256))
    side = side_of(tmp_path, 'boot = "boot.bin"', *on)
    assert side.plan.geometry.addresses[side.slot.place][:1] == (2,) and side.dump.count(b"\x01" * 256) == 47


# Which masters are of one family


def test_a_new_revision_keeps_the_bytes_of_a_side_that_it_leaves_alone(tmp_path):
    for volume, geometry in PAIRS:
        old, new = (side_of(tmp_path, "", volume, geometry, revision=revision).dump for revision in ("1.2", "2.0"))
        assert old == new


@pytest.mark.parametrize("volume, geometry", PAIRS)
def test_a_master_of_version_1_still_opens_and_judges(tmp_path, volume, geometry):
    one = as_version_1(master(tmp_path / "job", volume, geometry, "empty"), tmp_path / "old")
    assert one.record["version"] == 1 and (one.edition, one.disc, one.discs) == (None, 1, 1)
    assert all(line["ok"] for line in audit(one))
    verdict = judge_dump(one, one.sides["A"].stamped(FIRST))
    assert (verdict.verdict, verdict.serial) == ("pass", FIRST)
    assert run(["check", str(tmp_path / "old")]) == 0


def test_a_set_of_discs_says_which_one_this_is(tmp_path):
    path = job(tmp_path, "zoned-dos", "gcr4to5-35z", "empty")
    text = path.read_text().replace('revision = "1.2"', 'revision = "1.2"\ndisc = 2\ndiscs = 3')
    path.write_text(text + "[edition.demo]\n")
    assert run(["build", str(path), "--edition", "demo", "--out", str(tmp_path / "demo")]) == 0
    one = open_master(tmp_path / "demo")
    assert (one.edition, one.disc, one.discs) == ("demo", 2, 3) and one.record["title"]["edition"] == "demo"
    path.write_text(text.replace("disc = 2", "disc = 4"))
    with pytest.raises(ProblemsError, match=r"title.disc: is 4, where the title has 3 \(`discs`\)"):
        load(path)


# Warnings


@dataclass(frozen=True)
class Overlooked:
    """A file of a job, and the line that is told of it; None: nothing."""

    data: bytes
    keys: str
    told: str | None


@pytest.mark.parametrize(
    "case",
    [
        Overlooked(b"\x00\x20abc", "load_address = 0x2000", 'load_address: the source begins with these two bytes already, so the address would stand twice; if it is one, write "in-file"'),
        Overlooked(b"\x01\x20abc", "load_address = 0x2000", None),
        Overlooked(b"\x00\x20", 'load_address = "in-file"', None),
        Overlooked(b"\xff\x01abc", 'load_address = "in-file"', "load_address: the source begins with 0x01FF, where no program is loaded; if that is no address, give one here"),
        Overlooked(b"\x00\x02abc", 'load_address = "in-file"', None),
        Overlooked(b"\xfe\xffab", 'load_address = "in-file"', None),
        Overlooked(b"\xfe\xffabc", 'load_address = "in-file"', "load_address: the source begins with 0xFFFE, and would run on to 0x10000, past 0xFFFF; if that is no address, give one here"),
        Overlooked(b"\x60 <<THE SERIAL HERE>> ", "load_address = 0x2000", 'source: it holds <<THE SERIAL HERE>>, and no marker is declared: discs would carry this text; if it is one, write serial = { marker = "<<THE SERIAL HERE>>" } in [side.A]'),
        Overlooked(b"\x60 <<SERIAL\x00>> ", "load_address = 0x2000", None),
        Overlooked(b"\x60 SERIAL >> << ", "load_address = 0x2000", None),
    ],
)  # fmt: skip
def test_what_a_publisher_may_have_overlooked(tmp_path, case, capsys):
    (tmp_path / "f.bin").write_bytes(case.data)
    path = job(
        tmp_path, "zoned-dos", "gcr4to5-35z", "empty", f'[[side.A.file]]\nname = "F"\nsource = "f.bin"\ntype = "program"\n{case.keys}'
    )
    assert run(["build", str(path), "--dry-run"]) == 0
    told = capsys.readouterr().err
    assert told == ("" if case.told is None else f"obverse: {path}: side.A.file[0].{case.told}\n")


def test_a_declared_marker_is_no_surprise_and_one_beside_it_is(tmp_path, capsys):
    (tmp_path / "f.bin").write_bytes(b"\x60" + MARKER)
    keys = 'serial = { marker = "<<SERIAL-GOES-HERE>>" }\n[[side.A.file]]\nname = "F"\nsource = "f.bin"\ntype = "user"'
    assert run(["build", str(job(tmp_path, "zoned-dos", "gcr4to5-35z", "empty", keys)), "--dry-run"]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("more", ['serial = "none"', 'free = "zero"'])
def test_a_side_without_a_slot_is_told_at_building(tmp_path, more):
    path = job(tmp_path, "zoned-dos", "gcr4to5-35z", "empty", more)
    built = said("build", path, "--out", tmp_path / "master")
    assert (built.status, built.err) == (
        0,
        [f"obverse: {path}: side.A.serial: side A carries no serial: on this side two discs can't be told apart"],
    )


def test_dry_run_and_contents_show_each_files_address(tmp_path):
    (tmp_path / "f.bin").write_bytes(b"\x00\x30" + b"a" * 300)
    files = "".join(
        f'[[side.A.file]]\nname = "F{number}"\nsource = "f.bin"\ntype = "program"\nload_address = {address}\n'
        for number, address in enumerate(('"in-file"', "0x0801"))
    )
    path = job(tmp_path, "zoned-dos", "gcr4to5-35z", "empty", files)
    lines = said("build", path, "--dry-run").out
    assert [line.split()[:2] for line in lines if line.startswith("    F")] == [["F0", "0x3000"], ["F1", "0x0801"]]
    assert "    serial: 40 bytes on track 35 sector " in "\n".join(lines)
    said("build", path, "--out", tmp_path / "master")
    listed = said("contents", tmp_path / "master").out
    assert [line.split()[2] for line in listed if line.startswith("  F")] == ["0x3000", "0x0801"]


# In a batch


def test_both_sides_of_a_disc_tell_whose_they_are(tmp_path):
    """Of a master whose job says nothing of serials: an image of each side, read back under another disc's name, is refused."""
    text = TITLE.format(catalogue="SM-004", revision="1.2")
    text += '[side.A]\ngeometry = "gcr6and2-35x16x256"\nvolume = "block-tree"\n[side.B]\ngeometry = "mfm-40x9x512"\nvolume = "fat12"\n'
    (tmp_path / "job.toml").write_text(text)
    built = build(load(tmp_path / "job.toml"))
    write_master(tmp_path / "master", payload(built), record(built))
    (tmp_path / "table").mkdir()
    table = Table(tmp_path / "table", open_master(tmp_path / "master"))
    for side in "AB":
        path = table.folder / f"{SECOND}-{side}.dump"
        path.write_bytes(table.master.sides[side].stamped(FIRST))
        answer = table.record(path)
        assert answer.status != 0 and FIRST in "\n".join([*answer.out, *answer.err])
