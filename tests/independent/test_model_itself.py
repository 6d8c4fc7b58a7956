"""The model proves itself before it judges anybody: its tracks and its judgement against each other."""

import random
from dataclasses import replace

import pytest
from model_capture import Stretch, backwards, capture_file
from model_encode import cells_of, damage_clocks, plan, random_style, random_track, track_pieces
from model_geometry import GEOMETRIES
from model_inject import dropout, flip, flip_data, kill_mark, only, other_identity, rewrite, silence
from model_judge import ModelMaster, ModelSide, ModelSlot
from model_verdict import judge

IDENTITY = {"4to5": {"id1": 0x53, "id2": 0x4D}, "6and2": {"volume": 254}, "5and3": {"volume": 254}, "mfm": {}, "fm": {}}
ALL = ["fm-40x10x256", "fm-40x18x128-288rpm", "gcr4to5-35z", "gcr5and3-35x13x256", "gcr6and2-35x16x256", "mfm-40x9x512", "mfm-40x9x512-2s"]


def numbered(geo):
    """A dump in which each sector differs from every other."""
    return b"".join(random.Random(k).randbytes(geo.size) for k in range(len(geo.places())))


DUMPS = {name: numbered(geo) for name in ALL for geo in [GEOMETRIES[name]]}


def master_of(name):
    return ModelMaster("T 1", "SM-004", {"A": ModelSide(name, DUMPS[name], IDENTITY[GEOMETRIES[name].code])})


def good_tracks(name, seed=0):
    geo = GEOMETRIES[name]
    rng = random.Random(seed)
    return {
        (c, h): Stretch(c, h, cells_of(random_track(geo, DUMPS[name], IDENTITY[geo.code], c, h, rng)), geo.cell_ps(c), True)
        for c in range(geo.cylinders)
        for h in range(geo.heads)
    }


PLAINS = {name: good_tracks(name) for name in ALL}


def verdict(name, changed, side=None, **head):
    """The verdict on a disc that is good but for the given tracks: {(cylinder, head): [stretches]}."""
    tracks = {place: [one] for place, one in PLAINS[name].items()} | changed
    return judge(
        master_of(name),
        capture_file([one for place in sorted(tracks) for one in tracks[place]], **{"rpm": GEOMETRIES[name].rpm} | head),
        side=side,
    )


def kinds(found):
    return [(f["track"], f["head"], f["sector"], f["kind"]) for f in found["findings"]]


# --- good discs ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_disc_passes_whatever_nobody_judges(name, seed):
    geo = GEOMETRIES[name]
    rng = random.Random(seed)
    tracks = []
    for place, _ in sorted(PLAINS[name].items()):
        pieces = random_track(geo, DUMPS[name], IDENTITY[geo.code], *place, rng)
        if geo.marked:
            pieces = damage_clocks(pieces, rng, 50)
        cells = cells_of(pieces)
        at = rng.randrange(len(cells))
        if rng.random() < 0.5:
            tracks.append(Stretch(*place, cells[at:] + cells[:at], geo.cell_ps(place[0]), True))
        else:
            turns, marks = rng.randint(3, 4), None
            if rng.random() < 0.5:
                marks = [k * len(cells) - at for k in range(1, turns)]
            tracks.append(Stretch(*place, (cells * turns)[at:-1], geo.cell_ps(place[0]), False, marks))
    for made in (capture_file(tracks, rpm=geo.rpm), capture_file(backwards(tracks), rpm=geo.rpm, reversed=True)):
        found = judge(master_of(name), made)
        assert (found["verdict"], found["findings"], found["action"], found["evidence"]) == ("pass", [], "box", "cells")
        assert found["sectors"] == {"expected": len(geo.places()), "good": len(geo.places())}


# --- one fault, one finding ---------------------------------------------------------------------------------------------------


def one_track(name, change=lambda sectors: sectors, damage=lambda pieces: pieces, cylinder=17):
    """The pieces of one track with a fault, and the track's place."""
    geo = GEOMETRIES[name]
    rng = random.Random(5)
    style = random_style(geo, cylinder, rng)
    sectors = change(plan(geo, DUMPS[name], IDENTITY[geo.code], cylinder, 0))
    return damage(track_pieces(geo, sectors, style))


def circular(name, pieces, cylinder=17):
    return {(cylinder, 0): [Stretch(cylinder, 0, cells_of(pieces), GEOMETRIES[name].cell_ps(cylinder), True)]}


def turns_of(name, turns, cylinder=17, cut=0):
    cells = "".join(cells_of(pieces) for pieces in turns)
    return {(cylinder, 0): [Stretch(cylinder, 0, cells[: len(cells) - cut], GEOMETRIES[name].cell_ps(cylinder), False)]}


def track_number(name):
    return 17 + GEOMETRIES[name].first_track


@pytest.mark.parametrize("name", ALL)
class TestOneFault:
    number = 4

    def expect(self, name, changed, kind, **more):
        found = verdict(name, changed)
        assert kinds(found) == [(track_number(name), 0, self.number, kind)]
        for key, value in more.items():
            assert found[key] == value

    def test_a_cell_of_the_body(self, name):
        hit = flip_data if GEOMETRIES[name].marked else flip
        for seed in range(4):
            pieces = one_track(name, damage=lambda p: hit(p, random.Random(seed), only("block", self.number, "body")))
            self.expect(name, circular(name, pieces), "block-check", action="read-again", verdict="fail")

    def test_no_block(self, name):
        pieces = one_track(name, damage=lambda p: kill_mark(GEOMETRIES[name], p, "block", self.number))
        self.expect(name, circular(name, pieces), "no-block")
        self.expect(name, circular(name, one_track(name, lambda s: rewrite(s, self.number, bare=True))), "no-block")

    def test_a_cell_of_the_identifier(self, name):
        hit = flip_data if GEOMETRIES[name].marked else flip
        for part in ("sector", "check", "track"):
            pieces = one_track(name, damage=lambda p: hit(p, random.Random(3), only("identifier", self.number, part)))
            self.expect(name, circular(name, pieces), "identifier-check")

    def test_no_identifier(self, name):
        pieces = one_track(name, damage=lambda p: kill_mark(GEOMETRIES[name], p, "identifier", self.number))
        self.expect(name, circular(name, pieces), "absent")

    def test_other_bytes_with_right_checks(self, name):
        body = random.Random(0).randbytes(GEOMETRIES[name].size)
        pieces = one_track(name, lambda s: rewrite(s, self.number, body=body))
        self.expect(name, circular(name, pieces), "differs", action="write-again")

    def test_another_identity(self, name):
        geo = GEOMETRIES[name]
        identity = other_identity(geo, IDENTITY[geo.code], random.Random(1))
        pieces = one_track(name, lambda s: rewrite(s, self.number, identity=identity))
        self.expect(name, circular(name, pieces), "identity", action="write-again")

    def test_another_tracks_number(self, name):
        pieces = one_track(name, lambda s: rewrite(s, self.number, track=3))
        self.expect(name, circular(name, pieces), "misplaced", action="read-again")

    def test_a_sector_that_the_geometry_lacks(self, name):
        pieces = one_track(name, lambda s: rewrite(s, self.number, sector=33))
        self.expect(name, circular(name, pieces), "absent")

    def test_two_copies_of_one_number(self, name):
        body = random.Random(0).randbytes(GEOMETRIES[name].size)
        clash = lambda s: [replace(k, sector=self.number, body=body, owner=k.sector) if k.sector == 7 else k for k in s]
        found = verdict(name, circular(name, one_track(name, clash)))
        by_number = {sector: kind for _, _, sector, kind in kinds(found)}
        assert by_number == {self.number: "differs", 7: "absent"}

    def test_one_turn_of_three_is_soft(self, name):
        good = one_track(name)
        for bad in (
            one_track(name, damage=lambda p: silence(p, only("block", self.number, "check"))),
            one_track(name, damage=lambda p: kill_mark(GEOMETRIES[name], p, "block", self.number)),
            one_track(name, damage=lambda p: kill_mark(GEOMETRIES[name], p, "identifier", self.number)),
            one_track(name, damage=lambda p: silence(p, only("identifier", self.number, "check"))),
        ):
            self.expect(name, turns_of(name, [good, bad, good]), "soft", verdict="marginal", action="read-again")

    def test_an_empty_read_beside_a_good_one_is_soft(self, name):
        geo = GEOMETRIES[name]
        changed = circular(name, one_track(name))
        changed[17, 0].append(Stretch(17, 0, "", geo.cell_ps(17)))
        found = verdict(name, changed)
        assert found["verdict"] == "marginal"
        assert kinds(found) == [(track_number(name), 0, n, "soft") for n in geo.sectors(17)]

    def test_only_an_empty_read_is_absent(self, name):
        found = verdict(name, {(17, 0): [Stretch(17, 0, "", GEOMETRIES[name].cell_ps(17))]})
        assert {kind for *_, kind in kinds(found)} == {"absent"}

    def test_a_track_that_is_not_there_was_not_tried(self, name):
        found = verdict(name, {(17, 0): []})
        assert {kind for *_, kind in kinds(found)} == {"not-tried"}
        assert found["diagnosis"] is None

    def test_missing_last_cylinders_are_a_short_read(self, name):
        geo = GEOMETRIES[name]
        found = verdict(name, {(geo.cylinders - 1, h): [] for h in range(geo.heads)})
        assert (found["diagnosis"], found["action"]) == ("short", "read-again")

    def test_a_field_cut_off_is_no_fault(self, name):
        pieces = one_track(name)
        last = max(len(p.cells) for p in pieces if p.part == "gap")
        self_cut = turns_of(name, [pieces, pieces], cut=last + 800)
        found = verdict(name, self_cut)
        assert found["verdict"] == "pass"

    def test_a_short_stretch_leaves_sectors_untried(self, name):
        geo = GEOMETRIES[name]
        pieces = one_track(name)
        half = cells_of(pieces)[: len(cells_of(pieces)) // 2]
        found = verdict(name, {(17, 0): [Stretch(17, 0, half, geo.cell_ps(17))]})
        assert {kind for *_, kind in kinds(found)} == {"not-tried"}

    def test_a_dropout_hits_what_it_covers_and_nothing_else(self, name):
        cells = cells_of(one_track(name))
        geo = GEOMETRIES[name]
        broken = dropout(cells, random.Random(8), 3000)
        found = verdict(name, {(17, 0): [Stretch(17, 0, broken, geo.cell_ps(17), True)]})
        assert 1 <= len(found["findings"]) <= 3
        assert {kind for *_, kind in kinds(found)} <= {"block-check", "no-block", "identifier-check", "absent"}


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize(("factor", "kinds_of_all"), [(0.5, {"density"}), (2, {"density"}), (1.04, {"density"}), (0.98, set())])
def test_cells_of_another_length_are_another_density(name, factor, kinds_of_all):
    stretch = circular(name, one_track(name))[17, 0][0]
    found = verdict(name, {(17, 0): [replace(stretch, cell_ps=int(stretch.cell_ps * factor))]})
    assert {kind for *_, kind in kinds(found)} == kinds_of_all
    assert found["action"] == ("write-again" if kinds_of_all else "box")
    found = verdict(name, {(17, 0): [stretch, replace(stretch, cell_ps=int(stretch.cell_ps * factor))]})
    assert found["verdict"] == ("marginal" if kinds_of_all else "pass")


@pytest.mark.parametrize("name", ["fm-40x10x256", "fm-40x18x128-288rpm", "mfm-40x9x512", "mfm-40x9x512-2s"])
def test_deleted_data_and_the_other_head(name):
    pieces = one_track(name, lambda s: rewrite(s, 4, deleted=True))
    assert kinds(verdict(name, circular(name, pieces))) == [(17, 0, 4, "data-mark")]
    pieces = one_track(name, lambda s: rewrite(s, 4, head=1))
    assert kinds(verdict(name, circular(name, pieces))) == [(17, 0, 4, "identity")]


@pytest.mark.parametrize("name", ALL)
def test_no_identifier_anywhere_is_blank(name):
    geo = GEOMETRIES[name]
    silent = {place: [replace(one, cells="0" * len(one.cells))] for place, one in PLAINS[name].items()}
    found = verdict(name, silent)
    assert (found["diagnosis"], found["action"], found["sectors"]["good"]) == ("blank", "write-again", 0)
    assert len(found["findings"]) == len(geo.places())


def test_a_disc_of_another_geometry():
    made = capture_file([one for _, one in sorted(PLAINS["gcr6and2-35x16x256"].items())])
    found = judge(master_of("gcr4to5-35z"), made)
    assert (found["diagnosis"], found["action"]) == ("other-geometry", "ask")


# --- dumps --------------------------------------------------------------------------------------------------------------------


def two_sides(slot=None):
    name = "gcr4to5-35z"
    geo = GEOMETRIES[name]
    other = DUMPS[name][: 256 * 100] + bytes(random.Random(9).randbytes(len(DUMPS[name]) - 256 * 100))
    side = lambda dump: ModelSide(name, dump, IDENTITY[geo.code])
    return ModelMaster("T 1", "SM-004", {"A": side(DUMPS[name]), "B": side(other)}, slot)


def test_the_side_is_found_and_the_other_side_is_said():
    master = two_sides()
    a, b = master.sides["A"].dump, master.sides["B"].dump
    assert judge(master, b)["side"] == "B"
    found = judge(master, b, side="A")
    assert (found["side"], found["diagnosis"], found["action"], found["verdict"]) == ("A", "other-side", "turn-over", "fail")
    half = a[: 256 * 391] + b[256 * 391 :]  # 100 sectors are the same; of the other 583, 291 are A's and 292 B's
    assert judge(master, half)["side"] == "B"


def test_no_side_when_the_counts_are_equal():
    master = two_sides()
    found = judge(master, bytes(len(master.sides["A"].dump)))
    assert (found["side"], found["sectors"], found["findings"], found["verdict"]) == (None, None, [], "fail")
    assert (found["diagnosis"], found["action"]) == ("blank", "write-again")
    found = judge(master, random.Random(4).randbytes(len(master.sides["A"].dump)))
    assert (found["side"], found["diagnosis"], found["action"]) == (None, None, "ask")


def test_a_short_and_a_shifted_dump():
    master = master_of("gcr4to5-35z")
    dump = master.sides["A"].dump
    found = judge(master, dump[: 256 * 600])
    assert (found["diagnosis"], found["action"], found["sectors"]["good"], found["evidence"]) == ("short", "read-again", 600, "dump")
    assert {f["kind"] for f in found["findings"]} == {"not-tried"}
    found = judge(master, dump[: 256 * 300] + dump[256 * 305 :] + bytes(256 * 5))
    assert (found["diagnosis"], found["action"]) == ("shifted", "read-again")
    assert [f.get("looks") for f in found["findings"]] == ["shifted"] * 378 + ["filled"] + ["repeats-previous"] * 4


def test_a_filler_is_named_and_counted():
    name = "gcr4to5-35z"
    dump = bytearray(DUMPS[name])
    dump[256 * 10 : 256 * 12] = b"\x01" * 512
    master = ModelMaster("T 1", "SM-004", {"A": ModelSide(name, bytes(dump), IDENTITY["4to5"])})
    assert judge(master, bytes(dump))["unproven"] == 2
    dump[256 * 10 : 256 * 11] = dump[256 * 9 : 256 * 10]
    found = judge(master, bytes(dump))
    assert found["findings"] == [{"track": 1, "head": 0, "sector": 10, "kind": "differs", "looks": "repeats-previous"}]
    assert (found["unproven"], found["action"]) == (1, "read-again")


def test_a_report_speaks_for_its_sectors():
    master = master_of("mfm-40x9x512")
    dump = bytearray(master.sides["A"].dump)
    dump[512 * 2] ^= 1
    dump[512 * 5] ^= 1
    states = {1: "good,", 2: "good,3", 3: "good,1", 4: "unread,", 5: "soft,2", 6: "soft,2", 7: "block-check,9", 9: "not-tried,"}
    rows = [f"{track},{head},{sector},good," for _, head, track, sector in GEOMETRIES["mfm-40x9x512"].places()[9:]]
    report = "\n".join(["track,head,sector,state,tries", *(f"0,0,{n},{state}" for n, state in states.items()), *rows])
    found = judge(master, bytes(dump), report)
    assert [(f["sector"], f["kind"]) for f in found["findings"]] == [
        (2, "soft"), (3, "differs"), (4, "unread"), (5, "soft"), (6, "differs"), (7, "block-check"), (8, "not-tried"), (9, "not-tried"),
    ]  # fmt: skip
    assert (found["evidence"], found["action"], found["sectors"]["good"]) == ("report", "write-again", 354)


def test_the_serial_is_read_out_of_its_slot():
    name = "gcr4to5-35z"
    dump = bytearray(DUMPS[name])
    at = 256 * 500 + 40
    dump[at : at + 22] = b"<<SERIAL-GOES-HERE-->>"
    master = ModelMaster("T 1", "SM-004", {"A": ModelSide(name, bytes(dump), IDENTITY["4to5"])}, ModelSlot("A", at, 22))
    assert judge(master, bytes(dump))["serial"] is None
    dump[at : at + 22] = b"SM-004-0007-L".ljust(22)
    found = judge(master, bytes(dump))
    assert (found["verdict"], found["serial"]) == ("pass", "SM-004-0007-L")
    wrong = bytes(dump).replace(b"SM-004-0007-L", b"SM-004-0007-M")
    found = judge(master, wrong)
    assert ([f["kind"] for f in found["findings"]], found["serial"], found["action"]) == (["serial"], None, "write-again")
    dump[at - 1] ^= 255
    assert [f["kind"] for f in judge(master, bytes(dump))["findings"]] == ["differs"]
