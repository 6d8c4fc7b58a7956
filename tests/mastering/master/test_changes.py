"""What is other in one master than in another: files by side, sectors by track, and what is said of a side."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from bench import MARKER, make_master, random_dump
from hypothesis import given
from hypothesis import strategies as st
from versions import as_version_1

from formats import registry
from mastering.cli.main import run
from mastering.job.job import load
from mastering.master.builder import build, payload, record
from mastering.master.changes import changes, keeps_bytes
from mastering.master.master import Master, open_master, write_master

JOB = """
[title]
name = "Lamplighter"
publisher = "Saltmarsh Software"
catalogue = "SM-004"
revision = "{revision}"

[side.A]
geometry = "gcr4to5-35z"
volume = "zoned-dos"
"""
FILE = '[[side.A.file]]\nname = "{name}"\nsource = "{source}"\ntype = "{type}"\n'


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    for name, data in (("a", b"A" * 300), ("b", b"B" * 300), ("c", b"C" * 600)):
        (tmp_path / f"{name}.bin").write_bytes(data)
    return tmp_path


OWN = """
[side.B]
geometry = "own"
volume = "none"
image = "image.bin"
[geometry.own]
base = "mfm-40x9x512"
"""


def master(shop: Path, *files: tuple[str, str], revision="1.2", more="", type="user") -> Master:
    """A master with these files: name and source."""
    text = JOB.format(revision=revision) + more
    text += "".join(FILE.format(name=name, source=f"{source}.bin", type=type) for name, source in files)
    (shop / "job.toml").write_text(text)
    built = build(load(shop / "job.toml"))
    target = shop / f"master-{len(list(shop.iterdir()))}"
    write_master(target, payload(built), record(built))
    return open_master(target)


def files(old: Master, new: Master) -> list[tuple]:
    """Kind, old name and new name of every file's change."""
    kinds = ("added", "removed", "changed", "renamed")
    found = [change for change in changes(old, new) if change["change"] in kinds]
    return [(change["change"], *(each and each["name"] for each in (change["old"], change["new"]))) for change in found]


def sectors(old: Master, new: Master, kept="tracks") -> dict[str, set]:
    """The sectors that differ, by side."""
    return {
        change["side"]: {(track["track"], track["head"], sector) for track in change[kept] for sector in track["sectors"]}
        for change in changes(old, new)
        if change["change"] == "sectors"
    }


# Geometries


@pytest.mark.parametrize(("words", "declarations"), [("", 0), ('source = "Appendix C"\n', 0), ("data_gap = 60\n", 1)])
def test_a_geometry_that_was_declared_otherwise_is_told_and_better_words_for_its_source_are_not(shop, words, declarations):
    (shop / "image.bin").write_bytes(bytes(range(256)) * 720)
    told = changes(master(shop, more=OWN), master(shop, more=OWN + words))
    assert [change["side"] for change in told if change["change"] == "declaration"] == ["B"] * declarations


# Files


def test_a_master_and_itself(shop):
    one = master(shop, ("X", "a"))
    assert list(changes(one, one)) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ([("X", "a")], [("X", "a"), ("Y", "b")], [("added", None, "Y")]),
        ([("X", "a"), ("Y", "b")], [("Y", "b")], [("removed", "X", None)]),
        ([("X", "a")], [("X", "b")], [("changed", "X", "X")]),
        ([("X", "a")], [("Y", "a")], [("renamed", "X", "Y")]),
        ([("X", "a")], [("Y", "b")], [("added", None, "Y"), ("removed", "X", None)]),
        ([("X", "a"), ("Y", "b")], [("X", "b"), ("Y", "a")], [("changed", "X", "X"), ("changed", "Y", "Y")]),
        ([("X", "a"), ("Y", "a")], [("Z", "a")], [("renamed", "X", "Z"), ("removed", "Y", None)]),
        ([("X", "a")], [("Y", "a"), ("Z", "a")], [("renamed", "X", "Y"), ("added", None, "Z")]),
    ],
)
def test_files_by_their_names(shop, old, new, said):
    assert files(master(shop, *old), master(shop, *new)) == said


def test_what_is_said_of_a_file_counts_too(shop):
    [change] = [
        each for each in changes(master(shop, ("X", "a")), master(shop, ("X", "a"), type="sequential")) if "name" in (each.get("new") or {})
    ]
    assert (change["change"], change["old"]["type"], change["new"]["type"]) == ("changed", "user", "sequential")
    assert change["old"]["sha256"] == change["new"]["sha256"]


# Sectors


def test_sectors_of_a_changed_file_and_no_others(shop):
    old, new = master(shop, ("X", "a"), ("Y", "c")), master(shop, ("X", "b"), ("Y", "c"))
    [file] = [file for file in new.sides["A"].files if file["name"] == "X"]
    assert sectors(old, new) == {"A": {tuple(address) for address in file["sectors"]}}
    assert sectors(old, new, "free") == {"A": set()}


def test_a_side_that_a_revision_leaves_alone_keeps_its_bytes(shop, capsys):
    old, new = master(shop, ("X", "a"), revision="1.2"), master(shop, ("X", "a"), revision="1.3")
    assert old.sides["A"].dump == new.sides["A"].dump and keeps_bytes("A", old, new)
    assert [change["change"] for change in changes(old, new)] == ["title"]
    assert run(["changes", str(old.path), str(new.path)]) == 0
    assert capsys.readouterr().out.splitlines()[1:] == ["side A keeps its bytes"]


def test_a_side_of_which_other_things_are_said_keeps_its_bytes_too(shop, capsys):
    old, new = master(shop, ("X", "a")), master(shop, ("X", "a"), more='platform = "a machine"\n')
    assert run(["changes", str(old.path), str(new.path)]) == 0
    assert capsys.readouterr().out.splitlines()[1:] == ["side A keeps its bytes:", "  platform: none -> a machine"]


def test_other_identifiers_or_cells_are_other_bytes_on_the_track(shop):
    old, new = (master(shop, more=f'volume_number = {number}\ndisc_id = "AB"\n') for number in (1, 2))
    assert keeps_bytes("A", old, new), "these identifiers hold no volume number"
    old, new = (master(shop, more=OWN + gap) for gap in ("", "data_gap = 60\n")) if (shop / "image.bin").write_bytes(bytes(184_320)) else ()
    assert not keeps_bytes("B", old, new) and keeps_bytes("A", old, new)


def test_free_sectors_whose_text_alone_differs_are_told_apart(shop):
    """A master of version 1, whose free sectors name the revision, against one of today."""
    new = master(shop, ("X", "a"), revision="1.2")
    old = as_version_1(new, shop / "old")
    assert [change["change"] for change in changes(old, new)] == ["sectors"], "it is the same title"
    used = {(17, 0, 0), (17, 0, 10), (18, 0, 0), (18, 0, 1)}
    assert sectors(old, new) == {"A": set()}
    assert sectors(old, new, "free") == {"A": {*new.sides["A"].geometry.addresses} - used}


def test_a_sector_that_was_free_and_is_not_differs(shop):
    old, new = master(shop), master(shop, ("X", "a"), revision="1.3")
    assert {(17, 0, 0), (17, 0, 10), (18, 0, 0), (18, 0, 1)} == sectors(old, new)["A"] == sectors(new, old)["A"]


@given(places=st.sets(st.integers(0, 1439), min_size=1, max_size=20))
def test_any_sectors_of_a_ready_image(places):
    old = two_heads
    dump = bytearray(old.sides["A"].dump)
    for place in places:
        dump[place * 512 + place % 512] ^= 0x40
    new = replace(old, sides={"A": replace(old.sides["A"], dump=bytes(dump))})
    geometry = old.sides["A"].geometry
    [change] = changes(old, new)
    assert sectors(old, new)["A"] == {geometry.addresses[place] for place in places}
    assert (change["sectors"], change["of"]) == (len(places), 1440)
    assert [(track["track"], track["head"]) for track in change["tracks"]] == sorted({geometry.addresses[place][:2] for place in places})


two_heads = make_master({"A": ("mfm-80x9x512-2s", random_dump(registry.geometry("mfm-80x9x512-2s"), 1))})


# Sides


def test_a_side_of_another_geometry_has_files_to_compare_and_no_sectors(shop):
    on_fat = 'geometry = "mfm-40x9x512"\nvolume = "fat12"\n'
    old = master(shop, ("X", "a"))
    text = JOB.format(revision="1.2").replace('geometry = "gcr4to5-35z"\nvolume = "zoned-dos"\n', on_fat)
    (shop / "job.toml").write_text(text + '[[side.A.file]]\nname = "X"\nsource = "a.bin"\n')
    built = build(load(shop / "job.toml"))
    write_master(shop / "fat", payload(built), record(built))
    found = list(changes(old, open_master(shop / "fat")))
    assert [(change["change"], change["side"], change["old"], change["new"]) for change in found[:2]] == [
        ("geometry", "A", "gcr4to5-35z", "mfm-40x9x512"),
        ("volume", "A", "zoned-dos", "fat12"),
    ]
    assert [change["change"] for change in found[2:]] == ["identity", "serial", "changed"]


def test_the_same_sectors_at_another_speed_are_compared():
    dump = random_dump(registry.geometry("fm-40x18x128"), 1)
    old, new = (make_master({"A": (name, dump)}) for name in ("fm-40x18x128", "fm-40x18x128-288rpm"))
    assert [change["change"] for change in changes(old, new)] == ["geometry"]
    other = make_master({"A": ("fm-40x18x128-288rpm", dump[:-1] + bytes([dump[-1] ^ 1]))})
    assert sectors(old, other) == {"A": {(39, 0, 18)}}


def test_a_side_that_came_and_one_that_went(shop):
    geometry = registry.geometry("mfm-40x9x512")
    sides = {name: ("mfm-40x9x512", random_dump(geometry, seed)) for seed, name in enumerate("AB")}
    one, two = make_master({"A": sides["A"]}), make_master(sides)
    assert list(changes(one, two)) == [{"change": "side", "side": "B", "old": None, "new": {"geometry": "mfm-40x9x512", "volume": "none"}}]
    assert list(changes(two, one)) == [{"change": "side", "side": "B", "old": {"geometry": "mfm-40x9x512", "volume": "none"}, "new": None}]


def test_the_serials_slot_is_where_it_was_or_elsewhere():
    geometry = registry.geometry("mfm-40x9x512")
    dump = random_dump(geometry, 1)
    at = {place: dump[:place] + MARKER + dump[place + len(MARKER) :] for place in (0, 600)}
    old, new = (make_master({"A": ("mfm-40x9x512", each)}, slot_side="A") for each in at.values())
    slots = [{"track": 0, "head": 0, "sector": sector, "offset": offset, "bytes": 20} for sector, offset in ((1, 0), (2, 88))]
    assert next(changes(old, new)) == {"change": "serial", "side": "A", "old": slots[0], "new": slots[1]}
    assert sectors(old, new) == {"A": {(0, 0, 1), (0, 0, 2)}}
    without = make_master({"A": ("mfm-40x9x512", at[0])})
    assert list(changes(old, without)) == [{"change": "serial", "side": "A", "old": slots[0], "new": None}]


def test_what_the_identifiers_say_counts_though_no_sector_differs(shop):
    old, new = master(shop, more='volume_number = 1\ndisc_id = "AB"\n'), master(shop, more='volume_number = 1\ndisc_id = "AC"\n')
    found = {change["change"]: change for change in changes(old, new)}
    assert found["identity"]["old"] == {"id1": ord("A"), "id2": ord("B")}
    assert sectors(old, new)["A"] <= {(18, 0, 0)}


def test_the_title_and_the_words_of_a_side(shop):
    old, new = master(shop), master(shop, revision="1.3", more='platform = "a machine"\nlabel = "LAMP"\n')
    found = {change["change"]: (change["side"], change["old"], change["new"]) for change in changes(old, new) if "old" in change}
    assert found["title"][1]["revision"] == "1.2" and found["title"][2]["revision"] == "1.3"
    assert found["platform"] == ("A", "", "a machine")
    assert found["label"] == ("A", "", "LAMP")


# The command


def test_the_command_tells_people_and_programs(shop, capsys):
    old, new = master(shop, ("X", "a"), ("OLD", "c")), master(shop, ("X", "b"), ("NEW", "c"), ("MORE", "a"), revision="1.3")
    assert run(["changes", str(old.path), str(new.path)]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[:5] == [
        "Lamplighter 1.2 (SM-004) -> Lamplighter 1.3 (SM-004)",
        "side A:",
        "  changed   X, other content, 300 bytes as before",
        "  renamed   OLD -> NEW",
        "  added     MORE, 300 bytes",
    ]
    assert told[5].endswith(" of 683 sectors differ:")
    assert all(line.startswith("    track ") for line in told[6:])
    assert run(["changes", str(old.path), str(new.path), "--json"]) == 0
    assert [json.loads(line) for line in capsys.readouterr().out.splitlines()] == list(changes(old, new))
    assert run(["changes", str(old.path), str(old.path)]) == 0
    assert capsys.readouterr().out.splitlines()[1] == "side A keeps its bytes"
    before = as_version_1(new, shop / "before")
    assert run(["changes", str(before.path), str(new.path)]) == 0
    told = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"  another \d+ free sectors differ only in the text that fills them", told[-1])


def test_a_side_that_is_gone_is_said_to_be(tmp_path, capsys):
    geometry = registry.geometry("mfm-40x9x512")
    for name, sides in (("two", "AB"), ("one", "A")):
        (tmp_path / f"{name}.dump").write_bytes(random_dump(geometry, 1))
        title = f'[title]\nname = "L"\npublisher = "S"\ncatalogue = "SM-1"\nrevision = "{name}"\n'
        side = 'geometry = "mfm-40x9x512"\nvolume = "none"\nimage = "' + name + '.dump"\n'
        (tmp_path / f"{name}.toml").write_text(title + "".join(f"[side.{each}]\n{side}" for each in sides))
        assert run(["build", str(tmp_path / f"{name}.toml"), "--out", str(tmp_path / name)]) == 0
    capsys.readouterr()
    assert run(["changes", str(tmp_path / "two"), str(tmp_path / "one")]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "side B is gone: mfm-40x9x512, none"
    assert run(["changes", str(tmp_path / "one"), str(tmp_path / "two")]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "side B is new: mfm-40x9x512, none"


def test_what_is_no_master_is_refused(shop, capsys):
    one = master(shop)
    (one.path / "data" / "side-A.dump").write_bytes(bytes(174_848))
    assert run(["changes", str(one.path), str(one.path)]) == 2
    assert "changed since the master was built" in capsys.readouterr().err
    assert run(["changes", str(one.path), str(shop / "nothing")]) == 2
