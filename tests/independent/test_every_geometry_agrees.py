"""Every declared geometry: what the program records and what the model finds, what the model records and what the program finds."""

import json
import random

import pytest
from agreement import build, difference, disagreements, model_line, obverse
from model_capture import capture_file, parse_capture
from model_encode import Style, block, cells_of, identifier, plan
from model_fields import fields_of, shape_of
from model_geometry import GEOMETRIES

ALL = sorted(GEOMETRIES)


@pytest.fixture(scope="session")
def case_of(tmp_path_factory):
    """The case of a geometry, built when it is first asked for."""
    folder, made = tmp_path_factory.mktemp("every"), {}

    def case(name):
        if name not in made:
            made[name] = build(folder, name, {"A": name})
        return made[name]

    return case


def test_the_program_declares_what_the_texts_say():
    _, lines = obverse("geometries", "--json")
    assert {line["id"]: line for line in map(json.loads, lines)} == {name: declared(geo) for name, geo in GEOMETRIES.items()}


def declared(geo):
    """The line of `obverse geometries --json`."""
    cylinders = range(geo.cylinders)
    return {
        "id": geo.id, "code": geo.id.split("-")[0], "heads": geo.heads, "tracks": geo.cylinders, "first_track": geo.first_track,
        "sectors": [len(geo.sectors(c)) for c in cylinders], "bytes": geo.size, "first_sector": geo.base, "dump_bytes": geo.bytes(),
        "rpm": geo.rpm, "cell_ns": [round(float(geo.zone(c).cell) * 1000, 3) for c in cylinders],
        "track_cells": [geo.track_cells(c) for c in cylinders],
    }  # fmt: skip


# --- what the program records -------------------------------------------------------------------------------------------------

FORMATTED = Style(0, off=b"\x0f\x0f\x00\x00", last=b"\xeb\xeb", spare=None)


def wanted(side, cylinder, head):
    """(kind, values, cells) of each field of a track in the order in which they pass the head."""
    geo, out = GEOMETRIES[side.geometry], []
    sectors = {one.sector: one for one in plan(geo, side.dump, side.identity, cylinder, head)}
    for number in geo.round(cylinder):
        one = sectors[number]
        values = {"track": one.track, "sector": number, **side.identity}
        deleted = {}
        if geo.marked:
            values |= {"head": head, "length": geo.length}
            deleted = {"deleted": False}
        out.append(("identifier", values, cells_of(identifier(geo, one, FORMATTED))))
        out.append(("block", {"body": one.body, **deleted}, cells_of(block(geo, one, FORMATTED))))
    return out


def found(shape, stretch):
    """The same of what the model's own search meets in a stretch."""
    fields = fields_of(shape, stretch.cells, stretch.circular)
    assert all(one.sound and not one.cut for one in fields)
    return [(one.kind, one.values, (stretch.cells * 2)[one.start : one.end]) for one in fields]


@pytest.mark.parametrize("name", ALL)
def test_a_master_carries_the_fields_of_the_texts_and_no_others(case_of, name):
    case, geo = case_of(name), GEOMETRIES[name]
    capture = parse_capture((case.folder / "data" / "side-A.capture").read_bytes())
    assert (capture.rpm, capture.tpi, capture.simulated) == (geo.rpm, None, False)
    assert [(one.cylinder, one.head) for one in capture.stretches] == [(c, h) for c in range(geo.cylinders) for h in range(geo.heads)]
    for one in capture.stretches:
        assert (one.circular, one.marks, one.cell_ps) == (True, None, geo.cell_ps(one.cylinder))
        assert len(one.cells) == geo.track_cells(one.cylinder)
        assert found(shape_of(geo), one) == wanted(case.model.sides["A"], one.cylinder, one.head)


# --- what the model records ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
def test_a_disc_of_the_model_passes(case_of, name, tmp_path):
    case = case_of(name)
    file = tmp_path / "good.capture"
    file.write_bytes(capture_file([one for _, one in sorted(case.plain["A"].items())], rpm=GEOMETRIES[name].rpm))
    status, (line,) = obverse("verify", case.folder, file, "--json")
    told = json.loads(line)
    assert (status, told["verdict"], told["findings"]) == (0, "pass", [])
    assert told["sectors"] == {"expected": len(GEOMETRIES[name].places()), "good": len(GEOMETRIES[name].places())}


@pytest.mark.parametrize("name", ALL)
def test_damaged_read_backs_are_judged_alike(case_of, name, tmp_path):
    assert disagreements(case_of(name), range(4), tmp_path, tracks=(1, 3, 6)) == []


@pytest.mark.campaign
@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("first", range(10_000, 10_200, 20))
def test_they_are_judged_alike_for_a_long_time(case_of, name, first, tmp_path):
    assert disagreements(case_of(name), range(first, first + 20), tmp_path, tracks=(1, 3, 6, 20)) == []


# --- discs of another geometry ------------------------------------------------------------------------------------------------


def strangers(case_of, name, others, folder):
    """Good discs of other geometries judged as this one's: the differing answers."""
    for other in others:
        good = capture_file([one for _, one in sorted(case_of(other).plain["A"].items())], rpm=GEOMETRIES[other].rpm)
        (folder / f"{other}.capture").write_bytes(good)
    _, lines = obverse("verify", case_of(name).folder, folder, "--json")
    out = []
    for path, line in zip(sorted(folder.iterdir()), lines, strict=True):
        told = json.loads(line)
        assert told.pop("readback") == str(path)
        told, want = "error" if "error" in told else told, model_line(case_of(name), path.read_bytes())
        if told != want:
            out.append((name, path.stem, *difference(told, want)))
    return out


@pytest.mark.campaign
@pytest.mark.parametrize("name", ALL)
def test_discs_of_every_other_geometry_are_judged_alike(case_of, name, tmp_path):
    assert strangers(case_of, name, [other for other in ALL if other != name], tmp_path) == []


@pytest.mark.parametrize("name", ALL)
def test_a_disc_of_another_geometry_is_judged_alike(case_of, name, tmp_path):
    other = random.Random(name).choice([one for one in ALL if one != name and GEOMETRIES[one].bytes() < 300_000])
    assert strangers(case_of, name, [other], tmp_path) == []
