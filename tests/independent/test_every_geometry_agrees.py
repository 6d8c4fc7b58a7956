"""Every declared geometry: what the program records and what the model finds, what the model records and what the program finds."""

import json
import random
from dataclasses import replace
from functools import cache

import pytest
from agreement import IDENTITIES, build, disagreements, good_tracks, image, model_line, obverse, read_backs
from model_capture import capture_file, parse_capture
from model_codes import bits, four_to_five
from model_encode import Style, block, cells_of, identifier, plan, track_pieces
from model_fields import fields_of, shape_of
from model_geometry import GEOMETRIES
from model_judge import ModelSide

ALL = sorted(GEOMETRIES)


@pytest.fixture(scope="module", params=ALL)
def case(request, tmp_path_factory):
    """A master of each geometry in turn."""
    return build(tmp_path_factory.mktemp("every"), request.param, {"A": request.param})


def geometry(case):
    """The model's declaration of the case's geometry."""
    return GEOMETRIES[case.model.sides["A"].geometry]


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

FORMATTED = Style(0, off=b"\x0f\x0f\x00\x00", last=b"\xeb\xeb", spare=None, whole=True)


def wanted(side, cylinder, head):
    """(kind, values, cells) of each field of a track in the order in which they pass the head."""
    geo, out = GEOMETRIES[side.geometry], []
    mark = "1" * 10 if geo.code == "4to5" else ""  # "4-to-5: the last ten 1s of its sync": they are no part of what the model records
    sectors = {one.sector: one for one in plan(geo, side.dump, side.identity, cylinder, head)}
    for number in geo.round(cylinder):
        one = sectors[number]
        values = {"track": one.track, "sector": number, **side.identity}
        deleted = {}
        if geo.marked:
            values |= {"head": head, "length": geo.length}
            deleted = {"deleted": False}
        out.append(("identifier", values, mark + cells_of(identifier(geo, one, FORMATTED))))
        out.append(("block", {"body": one.body, **deleted}, mark + cells_of(block(geo, one, FORMATTED))))
    return out


def found(shape, stretch):
    """The same of what the model's own search meets in a stretch."""
    fields = fields_of(shape, stretch.cells, stretch.circular)
    assert all(one.sound and not one.cut for one in fields)
    return [(one.kind, one.values, (stretch.cells * 2)[one.start : one.end]) for one in fields]


def test_a_master_carries_the_fields_of_the_texts_and_no_others(case):
    geo = geometry(case)
    capture = parse_capture((case.folder / "data" / "side-A.capture").read_bytes())
    assert (capture.rpm, capture.tpi, capture.simulated) == (geo.rpm, None, False)
    assert [(one.cylinder, one.head) for one in capture.stretches] == [(c, h) for c in range(geo.cylinders) for h in range(geo.heads)]
    for one in capture.stretches:
        assert (one.circular, one.marks, one.cell_ps) == (True, None, geo.cell_ps(one.cylinder))
        assert len(one.cells) == geo.track_cells(one.cylinder)
        assert found(shape_of(geo), one) == wanted(case.model.sides["A"], one.cylinder, one.head)


# --- what the model records ---------------------------------------------------------------------------------------------------


def good_file(geo, plain):
    """The capture of a good disc."""
    return capture_file([one for _, one in sorted(plain.items())], rpm=geo.rpm)


@cache
def of_no_master(name):
    """Good tracks of a disc of this geometry that is no copy of any master."""
    geo = GEOMETRIES[name]
    return good_tracks(ModelSide(name, image(geo, name), IDENTITIES.get(geo.code, ("", {}))[1]), name)


def stranger(name):
    """A good disc of a geometry, of no master."""
    return good_file(GEOMETRIES[name], of_no_master(name)), None


def others(case, limit=10_000_000):
    """The other geometries whose dumps are shorter than the limit."""
    return [name for name in ALL if name != geometry(case).id and GEOMETRIES[name].bytes() < limit]


def with_tracks(case, tracks):
    """The good disc with some tracks replaced: `{(cylinder, head): cells}`."""
    plain = case.plain["A"]
    changed = {place: replace(plain[place], cells=cells) for place, cells in tracks.items()}
    return good_file(geometry(case), plain | changed), None


def tagged_otherwise(case):
    """A track on which every second block has a tag that no field has."""
    geo, side = geometry(case), case.model.sides["A"]
    sectors = plan(geo, side.dump, side.identity, 5, 0)
    pieces = track_pieces(geo, sectors, replace(FORMATTED, turn=geo.track_cells(5), sync=(6, 6), gap2=9))
    tags = {"fm": ("mark", f"{0xF56B:016b}"), "mfm": ("tag", f"{0x5544:016b}"), "4to5": ("tag", four_to_five(b"\x09"))}
    part, cells = tags.get(geo.code, ("mark", bits(b"\xd5\xaa\xae")))
    hit = lambda one: one.field == "block" and one.sector % 2 and one.part == part
    return with_tracks(case, {(5, 0): cells_of([replace(one, cells=cells) if hit(one) else one for one in pieces])})


def oddities(case, strange):
    """Discs with a track that belongs elsewhere; `strange`: geometries one track of which stands on a disc of this one."""
    plain, head = case.plain["A"], geometry(case).heads - 1
    made = {
        "next": with_tracks(case, {(5, 0): plain[6, 0].cells}),
        "swapped": with_tracks(case, {(5, 0): plain[5, head].cells, (5, head): plain[5, 0].cells}),
        "tags": tagged_otherwise(case),
    }
    return made | {f"track-of-{name}": with_tracks(case, {(5, 0): of_no_master(name)[5, 0].cells}) for name in strange}


def test_good_damaged_and_strange_discs_are_judged_alike(case, tmp_path):
    good = good_file(geometry(case), case.plain["A"])
    assert model_line(case, good)["verdict"] == "pass"
    strange = random.Random(geometry(case).id).choice(others(case, 200_000))
    made = {"good": (good, None), strange: stranger(strange), **read_backs(case, range(4), tracks=(1, 3, 6)), **oddities(case, [strange])}
    assert disagreements(case, made, tmp_path) == []


@pytest.mark.campaign
@pytest.mark.parametrize("first", range(10_000, 10_200, 20))
def test_they_are_judged_alike_for_a_long_time(case, first, tmp_path):
    assert disagreements(case, read_backs(case, range(first, first + 20), tracks=(1, 3, 6, 20)), tmp_path) == []


@pytest.mark.campaign
def test_discs_and_tracks_of_every_other_geometry_are_judged_alike(case, tmp_path):
    made = {name: stranger(name) for name in others(case)}
    assert disagreements(case, made | oddities(case, others(case)), tmp_path) == []
