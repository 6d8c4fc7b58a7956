"""The model proves itself before it judges anybody: its codes against published values, its tracks and its judgement against each other."""

import random
import zlib
from dataclasses import replace

import pytest
from model_encode import (
    A1,
    C2,
    GEOMETRIES,
    Sector,
    Stretch,
    Style,
    backwards,
    bits,
    block,
    capture_file,
    cells_of,
    crc,
    damage_clocks,
    four_to_five,
    identifier,
    mfm,
    pack,
    plan,
    random_style,
    random_track,
    six_and_two,
    track_pieces,
)
from model_inject import dropout, flip, flip_data, kill_mark, only, other_identity, rewrite, silence
from model_judge import ModelMaster, ModelSide, ModelSlot, check_character, is_serial, judge

IDENTITY = {"4to5": {"id1": 0x53, "id2": 0x4D}, "6and2": {"volume": 254}, "mfm": {}}
PLAIN = Style(0)
ALL = sorted(GEOMETRIES)


def numbered(geo):
    """A dump in which each sector differs from every other."""
    return b"".join(random.Random(k).randbytes(geo.size) for k in range(len(geo.places())))


DUMPS = {name: numbered(geo) for name, geo in GEOMETRIES.items()}


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
    return judge(master_of(name), capture_file([one for place in sorted(tracks) for one in tracks[place]], **head), side=side)


def kinds(found):
    return [(f["track"], f["head"], f["sector"], f["kind"]) for f in found["findings"]]


# --- codes against published values -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "want"),
    [
        (b"123456789", "29B1"),  # the catalogues' check word of this CRC
        (b"\xa1\xa1\xa1", "CDB4"),
        (b"\xa1\xa1\xa1\xfe", "B230"),
        (b"\xa1\xa1\xa1\xfb", "E295"),
        (b"\xa1\xa1\xa1\xf8", "D2F6"),
        (b"\xfe\x00\x00\x00\x01", "F1D3"),  # a published track dump
        (b"\xfe\x00\x00\x0b\x01", "2D29"),
        (b"\xfe\x00\x00\x16\x01", "5806"),
        (b"\xf8" + b"\xe5" * 256, "E5B4"),
        (b"\xa1\xa1\xa1\xfe\x27\x01\x01\x01", "AB5F"),  # a published sector dump
        (b"\xa1\xa1\xa1\xfe\x00\x00\x01\x02", "CA6F"),
        (b"\xa1\xa1\xa1\xfe\x27\x01\x09\x02", "1295"),
        (b"\xa1\xa1\xa1\xfb" + b"\xe5" * 512, "C40B"),
        (b"\xa1\xa1\xa1\xfb" + bytes(512), "DA6E"),
        (b"\xa1\xa1\xa1\xf8" + bytes(512), "7B09"),
    ],
)
def test_crc(field, want):
    assert crc(field).hex().upper() == want


@pytest.mark.parametrize(
    ("data", "before", "want"),
    [
        (0xA1, "0", "44A9"), (0xC2, "0", "52A4"), (0x00, "0", "AAAA"), (0x00, "1", "2AAA"), (0x4E, "0", "9254"), (0xFF, "0", "5555"),
        (0xE5, "0", "5491"), (0xFE, "1", "5554"), (0xFB, "1", "5545"), (0xF8, "1", "554A"), (0xFC, "0", "5552"),
    ],
)  # fmt: skip
def test_mfm_cells(data, before, want):
    assert mfm(bytes([data]), before) == bits(bytes.fromhex(want))


def test_marks_lack_one_clock():
    assert (A1, C2) == (bits(b"\x44\x89"), bits(b"\x52\x24"))


def test_a_whole_identifier_in_mfm():
    sector = Sector(1, 0, 0, bytes(512))
    want = "44 89 44 89 44 89 55 54 AA AA AA AA AA A9 2A A4 52 44 94 55"
    assert pack(cells_of(identifier(GEOMETRIES["mfm-40x9x512"], sector, PLAIN))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("track", "sector", "name", "want"),
    [
        (18, 0, "01", "52 57 35 29 72 9A E6 A5 55 55"),
        (1, 0, "AB", "52 55 25 29 4B 74 9C B5 55 55"),
        (17, 20, "A0", "52 6E E5 B9 6B 9A 9C B5 55 55"),
        (35, 16, "64", "52 66 B5 AA 53 9B A7 65 55 55"),
        (77, 22, "A0", "52 65 A5 D9 DD 9A 9C B5 55 55"),
    ],
)
def test_identifiers_in_4_to_5(track, sector, name, want):
    one = Sector(sector, track, 0, bytes(256), {"id1": ord(name[0]), "id2": ord(name[1])})
    assert pack(cells_of(identifier(GEOMETRIES["gcr4to5-35z"], one, PLAIN))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("body", "first", "last", "crc32"),
    [
        (bytes(256), "55 D4 A5 29 4A 52 94 A5 29 4A", "52 94 A5 29 4A 52 94 A5 29 4A", "D00C508C"),
        (bytes(range(256)), "55 D4 A5 2D 52 54 D4 E5 3D 56", "AE EA DA F6 BE AD 54 A5 29 4A", "FC676643"),
        (b"\xe5" * 256, "55 FC FF 3F CF F3 FC FF 3F CF", "F3 FC FF 3F CF F3 D4 A5 29 4A", "685230EB"),
        (b"\x4b" + b"\x01" * 255, "55 DD B5 2D 4B 52 D4 B5 2D 4B", "52 D4 B5 2D 4B 52 DD A5 29 4A", "25B2C0C8"),
    ],
)
def test_blocks_in_4_to_5(body, first, last, crc32):
    data = pack(cells_of(block(GEOMETRIES["gcr4to5-35z"], Sector(0, 1, 0, body), PLAIN)))
    assert (data[:10].hex(" ").upper(), data[-10:].hex(" ").upper(), f"{zlib.crc32(data):08X}") == (first, last, crc32)


@pytest.mark.parametrize(
    ("plain", "want"),
    [("00000000", "52 94 A5 29 4A"), ("12345678", "5C A6 E7 DA E9"), ("DEADBEEF", "EF B5 DD FB D5"), ("FFFFFFFF", "AD 6B 5A D6 B5")],
)
def test_4_to_5(plain, want):
    assert pack(four_to_five(bytes.fromhex(plain))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("volume", "track", "sector", "want"),
    [
        (254, 17, 0, "D5 AA 96 FF FE AA BB AA AA FF EF DE AA EB"),
        (254, 0, 0, "D5 AA 96 FF FE AA AA AA AA FF FE DE AA EB"),
        (1, 34, 15, "D5 AA 96 AA AB BB AA AF AF BE AE DE AA EB"),
    ],
)
def test_identifiers_in_4_and_4(volume, track, sector, want):
    one = Sector(sector, track, 0, bytes(256), {"volume": volume})
    assert pack(cells_of(identifier(GEOMETRIES["gcr6and2-35x16x256"], one, PLAIN))).hex(" ").upper() == want


@pytest.mark.parametrize(
    ("body", "first", "middle", "check", "crc32"),
    [
        (bytes(256), "96 96 96 96 96 96 96 96", "96 96 96 96 96", "96", "28A8E9E1"),
        (b"\xff" * 256, "FF 96 96 96 96 96 96 96", "96 96 96 96 96", "FF", "68248D34"),
        (bytes(range(256)), "9D E6 FF E6 FF E6 FF E6", "FF E6 EB 96 96", "FF", "336EAEB0"),
        (bytes(range(255, -1, -1)), "FB E6 FF E6 FF E6 FF E6", "FF E6 EB 96 96", "96", "D9D08558"),
        (b"\xe5" * 256, "E6 96 96 96 96 96 96 96", "96 96 B7 96 96", "F9", "28D51C64"),
        (b"\x01" + bytes(255), "9A 9A 96 96 96 96 96 96", "D6 D6 96 96 96", "96", "E3C25998"),
    ],
)
def test_6_and_2(body, first, middle, check, crc32):
    data = six_and_two(body)
    shown = (data[:8].hex(" ").upper(), data[84:89].hex(" ").upper(), data[342:].hex().upper(), f"{zlib.crc32(data):08X}")
    assert shown == (first, middle, check, crc32)


def test_the_dump_orders_lengths_are_the_declared_ones():
    assert [GEOMETRIES[name].bytes() for name in ALL] == [174848, 143360, 184320, 368640]


def test_serials_end_in_the_standards_check_character():
    # the contract's own example, SM-004-0007-L
    assert check_character("SM0040007") == "L"
    assert is_serial("SM-004-0007-L", "SM-004")
    assert not any(is_serial(text, "SM-004") for text in ("SM-004-0007-M", "SM-004-007-L", "SM-005-0007-L", "SM-004-0000-L", "0007-L"))


# --- good discs ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_disc_passes_whatever_nobody_judges(name, seed):
    geo = GEOMETRIES[name]
    rng = random.Random(seed)
    tracks = []
    for place, _ in sorted(PLAINS[name].items()):
        pieces = random_track(geo, DUMPS[name], IDENTITY[geo.code], *place, rng)
        if geo.code == "mfm":
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
    for made in (capture_file(tracks), capture_file(backwards(tracks), reversed=True)):
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
        hit = flip_data if "mfm" in name else flip
        for seed in range(4):
            pieces = one_track(name, damage=lambda p: hit(p, random.Random(seed), only("block", self.number, "body")))
            self.expect(name, circular(name, pieces), "block-check", action="read-again", verdict="fail")

    def test_no_block(self, name):
        pieces = one_track(name, damage=lambda p: kill_mark(GEOMETRIES[name], p, "block", self.number))
        self.expect(name, circular(name, pieces), "no-block")
        self.expect(name, circular(name, one_track(name, lambda s: rewrite(s, self.number, bare=True))), "no-block")

    def test_a_cell_of_the_identifier(self, name):
        hit = flip_data if "mfm" in name else flip
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


@pytest.mark.parametrize("name", ["mfm-40x9x512", "mfm-40x9x512-2s"])
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
