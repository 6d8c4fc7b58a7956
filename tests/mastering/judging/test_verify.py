"""The contract's section 6 on dumps, reports, sides, diagnoses, serials and actions, story by story."""

import math
import os
from dataclasses import replace

import pytest
from bench import MARKER, Copy, found, judge, judge_dump, make_master, master_of, random_dump
from hypothesis import given
from hypothesis import strategies as st

from formats import registry
from formats.containers import sector_report
from formats.errors import ContainerError
from formats.model.geometry import Address
from formats.words import counted
from mastering.judging.compare import Target, compare_dump
from mastering.judging.diagnose import distance
from mastering.judging.identical import IdenticalDumps
from mastering.judging.readback import Source
from mastering.judging.verdict import KINDS
from mastering.master.serial import check_character, is_serial, serial, slot_words
from mastering.recording.contents import contents
from mastering.recording.recorder import Judge
from mastering.simulator import disc
from mastering.words.verdicts import KIND_WORDS, findings_text, hands_text

ZONED, SIXTEEN, MFM = "gcr4to5-35z", "gcr6and2-35x16x256", "mfm-40x9x512"


def changed(dump: bytes, *places: int, size: int = 256) -> bytes:
    """A dump with one byte changed in each of some sectors."""
    made = bytearray(dump)
    for place in places:
        made[place * size + 7] ^= 0x55
    return bytes(made)


def report_of(master, rows: dict[Address, tuple[str, int | None]], default=("good", 1)):
    addresses = master.sides["A"].geometry.addresses
    text = sector_report.write((address, *rows.get(address, default)) for address in addresses if rows.get(address, default))
    return sector_report.read(text, "copy.report.csv")


@pytest.fixture
def zoned():
    return master_of(ZONED)


# Dumps


def test_the_masters_own_bytes_pass(zoned):
    verdict = judge_dump(zoned, zoned.sides["A"].dump)
    assert verdict.plain() == {
        "readback": "copy.dump", "side": "A", "serial": None, "evidence": "dump", "verdict": "pass", "diagnosis": None, "action": "box",
        "sectors": {"expected": 683, "good": 683}, "unproven": 0, "simulated": False, "findings": [],
    }  # fmt: skip


@given(size=st.integers(1, 40), data=st.data())
def test_a_ruined_byte_is_its_own_sectors_whatever_the_size_of_sectors(size, data):
    """A machine word that holds the end of one sector and the start of the next books nothing on its neighbour."""
    places = data.draw(st.sets(st.integers(0, 8)))
    dump = random_dump(registry.geometry(ZONED), 4)[: 9 * size]
    side = replace(master_of(ZONED).sides["A"], plain={"size": size}, dump=dump, unproven=(), slot=None)
    made = bytearray(dump)
    for place in places:
        made[place * size + data.draw(st.integers(0, size - 1))] ^= 0x55
    judged = compare_dump(Target(side, "SM-004"), bytes(made), None)
    assert set(judged.differing.tolist()) == places


def test_other_bytes_in_a_dump_may_be_the_readers_fault(zoned):
    """So such a disc is read again before it is written again."""
    verdict = judge_dump(zoned, changed(zoned.sides["A"].dump, 400))
    assert [finding.plain() for finding in verdict.findings] == [{"track": 20, "head": 0, "sector": 5, "kind": "differs"}]
    assert verdict.action == "read-again"


def test_what_a_differing_sector_looks_like(zoned):
    dump = zoned.sides["A"].dump
    rows = [dump[at : at + 256] for at in range(0, len(dump), 256)]
    made = list(rows)
    made[10], made[20], made[30], made[40] = rows[13], rows[19], b"\xf6" * 256, bytes(range(256))
    verdict = judge_dump(zoned, b"".join(made))
    assert [finding.looks for finding in verdict.findings] == ["shifted", "repeats-previous", "filled", None]


def test_a_shift_of_sixteen_is_still_seen_and_of_seventeen_not(zoned):
    dump = zoned.sides["A"].dump
    rows = [dump[at : at + 256] for at in range(0, len(dump), 256)]
    for step, looks in ((16, "shifted"), (17, None)):
        made = [*rows[:50], rows[50 + step], *rows[51:]]
        assert [finding.looks for finding in judge_dump(zoned, b"".join(made)).findings] == [looks]


def test_sectors_that_a_filler_could_equal_are_counted_where_they_pass():
    dump = bytearray(random_dump(registry.geometry(ZONED), 3))
    dump[256 * 5 : 256 * 6] = b"\0" * 256
    dump[256 * 9 : 256 * 11] = bytes(range(256)) * 2
    master = make_master({"A": (ZONED, bytes(dump))})
    assert master.sides["A"].unproven == (5, 10)
    assert judge_dump(master, bytes(dump)).unproven == 2
    assert judge_dump(master, changed(bytes(dump), 5)).unproven == 1
    assert judge_dump(master, bytes(dump), report_of(master, {})).unproven == 0
    assert Copy(master).verdict().unproven == 0


# Reports


def test_a_report_says_what_bytes_can_not(zoned):
    """Any state but good and soft is the finding, whatever the bytes."""
    states = sorted(sector_report.STATES - {"good", "soft"})
    addresses = zoned.sides["A"].geometry.addresses
    rows = {addresses[10 * number]: (state, 5) for number, state in enumerate(states)}
    verdict = judge_dump(zoned, zoned.sides["A"].dump, report_of(zoned, rows))
    assert found(verdict) == {address: state for address, (state, _) in rows.items()}
    assert verdict.evidence == "report"


def test_good_and_soft_are_compared(zoned):
    addresses = zoned.sides["A"].geometry.addresses
    rows = {addresses[0]: ("good", None), addresses[1]: ("good", 2), addresses[2]: ("soft", 1), addresses[3]: ("soft", None)}
    rows |= {addresses[4]: ("good", 3), addresses[5]: ("soft", 2)}
    verdict = judge_dump(zoned, changed(zoned.sides["A"].dump, 4, 5), report_of(zoned, rows))
    assert found(verdict) == {
        addresses[1]: "soft", addresses[2]: "soft", addresses[3]: "soft", addresses[4]: "differs", addresses[5]: "differs",
    }  # fmt: skip
    assert verdict.action == "write-again"


def test_a_sector_that_the_report_leaves_out_was_not_tried(zoned):
    addresses = zoned.sides["A"].geometry.addresses
    verdict = judge_dump(zoned, zoned.sides["A"].dump, report_of(zoned, {addresses[7]: ()}))
    assert found(verdict) == {addresses[7]: "not-tried"}


def test_a_report_of_soft_sectors_only_is_marginal(zoned):
    addresses = zoned.sides["A"].geometry.addresses
    verdict = judge_dump(zoned, zoned.sides["A"].dump, report_of(zoned, {addresses[7]: ("good", 4)}))
    assert (verdict.verdict, verdict.action, verdict.good) == ("marginal", "read-again", 683)


def test_a_report_of_a_sector_that_the_geometry_lacks_is_refused(zoned):
    report = sector_report.read(b"track,head,sector,state,tries\n1,0,0,good,1\n1,0,21,good,1\n", "copy.report.csv")
    with pytest.raises(ContainerError, match=r"copy.report.csv: line 3: gcr4to5-35z has no track 1 head 0 sector 21"):
        judge_dump(zoned, zoned.sides["A"].dump, report)


def test_a_report_that_changes_after_its_digest_was_taken_is_judged_as_it_was(zoned, tmp_path):
    """What the ledger remembers by its digest is what its verdict rests on."""
    dump, report = tmp_path / "copy.dump", tmp_path / "copy.report.csv"
    dump.write_bytes(zoned.sides["A"].dump)
    report.write_bytes(b"track,head,sector,state,tries\n1,0,0,block-check,9\n")
    source = Source(str(dump), str(report))
    of_file = contents(source)
    rows = "".join(f"{address.track},0,{address.sector},good,1\n" for address in zoned.sides["A"].geometry.addresses)
    report.write_text(f"track,head,sector,state,tries\n{rows}")
    verdict = Judge(zoned).judge(source, "A", of_file.data, of_file.report_data)
    assert (verdict.evidence, found(verdict)[Address(1, 0, 0)], verdict.good) == ("report", "block-check", 0)


# Lengths


def test_a_dump_that_ends_early_is_short(zoned):
    verdict = judge_dump(zoned, zoned.sides["A"].dump[: 256 * 600])
    assert (verdict.diagnosis, verdict.action, verdict.good, verdict.verdict) == ("short", "read-again", 600, "fail")
    assert [finding.kind for finding in verdict.findings] == ["not-tried"] * 83


@pytest.mark.parametrize("length", [0, 1, 255, 174_847, 174_849, 200_000])
def test_a_length_that_no_side_has_is_no_read_back(zoned, length):
    with pytest.raises(ContainerError, match=f"no side of this master has a dump of {counted(length, 'byte')}: expected 174,848"):
        judge_dump(zoned, (zoned.sides["A"].dump + bytes(40_000))[:length])


# Sides


@pytest.fixture(scope="module")
def two_machines():
    return make_master({"A": (ZONED, random_dump(registry.geometry(ZONED), 1)), "B": (SIXTEEN, random_dump(registry.geometry(SIXTEEN), 2))})


@pytest.fixture(scope="module")
def one_machine():
    """Both sides for the same machine, alike but for a hundred sectors."""
    a = random_dump(registry.geometry(ZONED), 1)
    return make_master({"A": (ZONED, a), "B": (ZONED, changed(a, *range(200, 300)))})


def test_the_side_is_told_from_the_length_or_the_bytes(two_machines, one_machine):
    for master in (two_machines, one_machine):
        for name, side in master.sides.items():
            assert judge_dump(master, side.dump).side == name
            assert Copy(master, name).verdict().side == name
            assert Copy(master, name).verdict().verdict == "pass"


def test_a_believed_side_is_judged_and_the_other_side_named(two_machines, one_machine):
    for master in (two_machines, one_machine):
        for verdict in (judge_dump(master, master.sides["B"].dump, side="A"), Copy(master, "B").verdict(side="A")):
            assert (verdict.side, verdict.diagnosis, verdict.action) == ("A", "other-side", "turn-over")
            assert verdict.plain()["matches"] == ["Lamplighter 1.2 B"]
    wrong = judge_dump(two_machines, two_machines.sides["B"].dump, side="A")
    assert {finding.kind for finding in wrong.findings} == {"not-tried"}
    with pytest.raises(ContainerError):
        judge_dump(two_machines, random_dump(registry.geometry(SIXTEEN), 9), side="A")


def test_a_read_of_the_other_side_that_ended_early_tried_nothing_of_the_side_asked_for(one_machine):
    verdict = judge_dump(one_machine, one_machine.sides["B"].dump[: 256 * 290], side="A")
    assert (verdict.diagnosis, {finding.kind for finding in verdict.findings}, verdict.good) == ("other-side", {"not-tried"}, 0)


def test_sectors_read_as_both_sides_are_neither_sides(one_machine):
    """Two discs in one capture: where both sides' bytes were read soundly, a sector speaks for neither."""
    mine, theirs = Copy(one_machine, "A"), Copy(one_machine, "B")
    both = {place: [mine.track(place), theirs.track(place)] for place in mine.cells}
    verdict = judge(one_machine, mine.capture(both), side="A")
    assert (verdict.diagnosis, len(verdict.findings), {finding.kind for finding in verdict.findings}) == (None, 100, {"differs"})


def test_half_of_the_other_side_is_not_the_other_side(one_machine):
    a, b = (one_machine.sides[name].dump for name in "AB")
    half = a[: 256 * 250] + b[256 * 250 :]
    assert judge_dump(one_machine, half, side="A").diagnosis is None
    more = a[: 256 * 249] + b[256 * 249 :]
    assert judge_dump(one_machine, more, side="A").diagnosis == "other-side"
    assert judge_dump(one_machine, more).side == "B"


def test_when_the_side_can_not_be_told_nothing_is_judged(one_machine):
    a, b = (one_machine.sides[name].dump for name in "AB")
    verdict = judge_dump(one_machine, a[: 256 * 250] + b[256 * 250 :])
    plain = verdict.plain()
    assert (plain["side"], plain["sectors"], plain["findings"], plain["verdict"], plain["action"]) == (None, None, [], "fail", "ask")
    verdict = judge_dump(one_machine, bytes(len(a)))
    assert (verdict.side, verdict.diagnosis, verdict.action) == (None, "blank", "write-again")


def test_sides_with_the_same_dump_are_side_a():
    dump = random_dump(registry.geometry(MFM), 1)
    master = make_master({"A": (MFM, dump), "B": (MFM, dump)})
    assert judge_dump(master, dump).side == "A"
    assert judge_dump(master, dump, side="B").side == "B"
    assert judge_dump(master, changed(dump, 3, size=512), side="B").diagnosis is None


def test_a_short_dump_of_two_sides_is_the_one_that_it_equals(two_machines):
    verdict = judge_dump(two_machines, two_machines.sides["B"].dump[: 256 * 300])
    assert (verdict.side, verdict.diagnosis, verdict.good) == ("B", "short", 300)
    verdict = judge_dump(two_machines, random_dump(registry.geometry(SIXTEEN), 8)[: 256 * 300])
    assert (verdict.side, verdict.diagnosis, verdict.action) == (None, "short", "read-again")


# Diagnoses


def test_a_blank_disc(zoned):
    for value in (0x00, 0xE5, 0xF6):
        verdict = judge_dump(zoned, bytes([value]) * 174_848)
        assert (verdict.diagnosis, verdict.action, verdict.verdict) == ("blank", "write-again", "fail")
    noise = disc.blank(zoned.sides["A"].geometry, __import__("numpy").random.default_rng(1))
    copy = Copy(zoned)
    copy.cells = dict(noise.tracks)
    assert copy.verdict().diagnosis == "blank"


def test_a_master_of_one_value_is_not_blank():
    master = make_master({"A": (ZONED, bytes(174_848))})
    assert judge_dump(master, bytes(174_848)).verdict == "pass"
    assert judge_dump(master, b"\1" * 174_848).diagnosis is None


def test_another_master_at_hand_is_named_best_share_first(zoned):
    dump = zoned.sides["A"].dump
    older = make_master({"A": (ZONED, changed(dump, *range(100, 140)))}, revision="1.1")
    oldest = make_master({"A": (ZONED, changed(dump, *range(110, 150)))}, revision="1.0")
    other = make_master({"A": (MFM, random_dump(registry.geometry(MFM), 4))}, name="Ferryman", catalogue="SM-005")
    at_hand = [older, oldest, other, zoned]
    verdict = judge_dump(zoned, older.sides["A"].dump, others=at_hand)
    assert (verdict.diagnosis, verdict.action) == ("other-master", "ask")
    assert verdict.matches == ("Lamplighter 1.1 A", "Lamplighter 1.0 A")
    assert len(verdict.findings) == 40
    assert judge_dump(zoned, older.sides["A"].dump).diagnosis is None
    assert judge_dump(zoned, dump, others=at_hand).verdict == "pass"
    foreign = Copy(other).capture()
    assert judge(zoned, foreign, others=at_hand).matches == ("Ferryman 1.2 A",)


def test_a_master_with_larger_sectors_is_named_too():
    """The same number of bytes in sectors twice as large: the length does not tell them apart, the bytes do."""
    small, large = "mfm-40x18x256", "mfm-40x9x512"
    master, other = master_of(small), make_master({"A": (large, random_dump(registry.geometry(large), 4))}, name="Ferryman")
    dump = other.sides["A"].dump
    assert judge_dump(master, dump, others=[other]).matches == ("Ferryman 1.2 A",)
    assert judge_dump(other, master.sides["A"].dump, others=[master]).matches == ("Lamplighter 1.2 A",)


@given(sizes=st.tuples(st.integers(1, 6), st.integers(1, 6)), data=st.data())
def test_no_master_is_passed_over_that_a_dump_could_be(sizes, data):
    """A sector that differs touches only so many of another master's: those apart can't have more sectors than that."""
    length = 8 * math.lcm(*sizes) * 2
    dump = random_dump(registry.geometry(ZONED), 4)[:length]
    changes = bytearray(dump)
    for at in data.draw(st.sets(st.integers(0, length - 1), max_size=6)):
        changes[at] ^= 0x55
    side = replace(master_of(ZONED).sides["A"], unproven=(), slot=None)
    mine = Target(replace(side, plain={"size": 8 * sizes[0]}, dump=dump), "SM-004")
    other = Target(replace(side, geometry_id="other", plain={"size": 8 * sizes[1]}, dump=bytes(changes)), "SM-004")
    judged, theirs = (compare_dump(each, bytes(changes), None) for each in (mine, other))
    assert int(theirs.equal.sum()) <= distance(mine, other).at_most(judged)


def test_a_disc_of_another_declared_geometry(zoned):
    verdict = judge(zoned, Copy(master_of(MFM)).capture())
    assert (verdict.diagnosis, verdict.action) == ("other-geometry", "ask")


@pytest.mark.parametrize(
    ("job", "on_disc", "diagnosis", "kinds"),
    [
        (MFM, "fm-40x16x128", "other-geometry", {"absent"}),
        ("fm-40x16x128", MFM, "other-geometry", {"absent"}),
        (MFM, "mfm-40x9x512-2s", None, {"differs"}),
        (MFM, "mfm-80x9x512-2s", None, {"differs"}),
        (MFM, "mfm-40x18x256", None, {"block-check"}),
        ("fm-40x18x128", "fm-40x18x128-288rpm", None, {"density"}),  # slower by a twenty-fifth, so that its turns have more cells
        ("fm-40x10x256", "fm-40x16x128", None, {"block-check", "absent"}),
    ],
)
def test_geometries_of_one_code_have_one_kind_of_identifier(job, on_disc, diagnosis, kinds):
    """A disc whose identifiers are this geometry's too isn't called one of another geometry; at hand, its own master is named."""
    master, other = master_of(job), make_master({"A": (on_disc, random_dump(registry.geometry(on_disc), 4))}, name="Ferryman")
    verdict = judge(master, Copy(other).capture())
    assert (verdict.verdict, verdict.diagnosis, {finding.kind for finding in verdict.findings}) == ("fail", diagnosis, kinds)
    assert judge(master, Copy(other).capture(), others=[other]).matches == ("Ferryman 1.2 A",)


@pytest.mark.parametrize("name", ["fm-40x16x128", ZONED, SIXTEEN, MFM])
def test_a_disc_that_a_tenth_of_another_geometry_is_on(name):
    """Of the sectors of one declared geometry: fewer are no other geometry, but the disc isn't blank either."""
    job, copy = SIXTEEN if name == ZONED else ZONED, Copy(master_of(name))
    for tracks, diagnosis in ((4, "other-geometry"), (3, None)):
        places = sorted(copy.cells)
        silent = {place: [copy.track(place, copy.cells[place] * 0)] for place in places[tracks:]}
        assert judge(master_of(job), copy.capture(silent)).diagnosis == diagnosis


def test_a_reader_that_lost_a_sector(zoned):
    dump = zoned.sides["A"].dump
    for place, diagnosis in ((300, "shifted"), (674, "shifted"), (675, None)):
        moved = dump[: place * 256] + dump[(place + 1) * 256 :] + b"\xf6" * 256
        verdict = judge_dump(zoned, moved)
        assert verdict.diagnosis == diagnosis
        assert len(verdict.findings) == 683 - place
    assert judge_dump(zoned, dump[: 300 * 256] + dump[301 * 256 :]).diagnosis == "shifted"


def test_a_reader_that_lost_sixteen_sectors_near_the_end(zoned):
    """The last sixteen places have nothing further on in the master: they don't count."""
    dump = zoned.sides["A"].dump
    moved = dump[: 653 * 256] + dump[669 * 256 :] + b"\xf6" * (16 * 256)
    assert judge_dump(zoned, moved).diagnosis == "shifted"


@pytest.mark.parametrize(("others", "diagnosis"), [(7, "shifted"), (8, None)])
def test_more_than_half_of_what_differs_must_be_shifted(zoned, others, diagnosis):
    """Eight sectors moved up, and others that hold anything; the last place of all, behind which nothing stands, doesn't count."""
    dump = zoned.sides["A"].dump
    moved = dump[: 300 * 256] + dump[301 * 256 : 309 * 256] + dump[308 * 256 :]
    assert judge_dump(zoned, changed(moved, *range(500, 500 + others), 682)).diagnosis == diagnosis


def test_a_capture_that_lacks_the_last_cylinders(zoned):
    read = Copy(zoned).capture()
    verdict = judge(zoned, replace(read, tracks=read.tracks[:-2]))
    assert (verdict.diagnosis, verdict.action) == ("short", "read-again")
    assert {finding.kind for finding in verdict.findings} == {"not-tried"}
    assert judge(zoned, replace(read, tracks=read.tracks[:5] + read.tracks[6:])).diagnosis is None


def test_a_capture_with_steps_that_fit_no_geometry_is_refused(zoned):
    with pytest.raises(ContainerError, match="100 tracks per inch"):
        judge(zoned, replace(Copy(zoned).capture(), tpi=100.0))


# What the hands do


def test_sectors_written_a_place_too_early_are_written_again(zoned):
    """In a capture the identifiers say which sector is which: it was the writer that left one out. In a dump it may have been the reader."""
    dump = zoned.sides["A"].dump
    moved = dump[: 300 * 256] + dump[301 * 256 :] + b"\xf6" * 256
    capture, dumped = Copy(zoned, dump=moved).verdict(), judge_dump(zoned, moved)
    assert (capture.diagnosis, capture.action) == ("shifted", "write-again")
    assert (dumped.diagnosis, dumped.action) == ("shifted", "read-again")
    assert hands_text(capture, zoned.sides).startswith("Write it again")


# Serials


SLOT_AT = 256 * 40 + 200


@pytest.fixture(scope="module")
def numbered():
    return master_of(ZONED, 1, SLOT_AT)


def with_slot(master, text: bytes) -> bytes:
    dump = master.sides["A"].dump
    return dump[:SLOT_AT] + text.ljust(len(MARKER)) + dump[SLOT_AT + len(MARKER) :]


def test_the_check_character_of_serials():
    """ISO/IEC 7064 MOD 37,36. The contract's example: SM-004-0007 has the check character L."""
    assert serial("SM-004", 7) == "SM-004-0007-L"
    assert check_character("SM-004", 12345) == serial("SM-004", 12345)[-1]


@given(number=st.integers(1, 99_999), wrong=st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"), place=st.integers(0, 3))
def test_a_mistyped_digit_is_no_serial(number, wrong, place):
    right = serial("SM-004", number)
    at = 7 + place
    mistyped = right[:at] + wrong + right[at + 1 :]
    assert is_serial(mistyped, "SM-004") == (mistyped == right)


@pytest.mark.parametrize(
    "text", ["SM-004-0000-X", "SM-004-007-L", "SM-004-00007-L", "sm-004-0007-l", "SM-005-0007-L", "SM-004-0007-L ", "", "SM-004-0007L"]
)
def test_what_is_no_serial(text):
    assert not is_serial(text, "SM-004")


def test_the_serial_is_read_out_and_the_rest_compared(numbered):
    for number in (1, 7, 12345):
        text = serial("SM-004", number)
        verdict = judge_dump(numbered, with_slot(numbered, text.encode()))
        assert (verdict.verdict, verdict.serial) == ("pass", text)
        verdict = Copy(numbered, dump=with_slot(numbered, text.encode())).verdict()
        assert (verdict.verdict, verdict.serial) == ("pass", text)
    assert judge_dump(numbered, numbered.sides["A"].dump).serial is None


@pytest.mark.parametrize("text", [b"", b"SM-005-0007-N", b"SM-004-0007-M", b"SM-004-0007-L\0", b"  SM-004-0007-L", MARKER[:-1]])
def test_a_slot_that_holds_neither_marker_nor_serial(numbered, text):
    for verdict in (judge_dump(numbered, with_slot(numbered, text)), Copy(numbered, dump=with_slot(numbered, text)).verdict()):
        assert [finding.kind for finding in verdict.findings] == ["serial"]
        assert (verdict.serial, verdict.action) == (None, "write-again")


def test_other_bytes_beside_the_slot_differ(numbered):
    dump = with_slot(numbered, serial("SM-004", 7).encode())
    beside = dump[: SLOT_AT - 1] + bytes([dump[SLOT_AT - 1] ^ 1]) + dump[SLOT_AT:]
    for verdict in (judge_dump(numbered, beside), Copy(numbered, dump=beside).verdict()):
        assert [finding.kind for finding in verdict.findings] == ["differs"]
        assert verdict.serial is None


def test_no_disc_has_two_serials(numbered):
    one, two = (Copy(numbered, dump=with_slot(numbered, serial("SM-004", number).encode())) for number in (7, 8))
    place = one.place(Address(2, 0, 19))
    assert numbered.sides["A"].slot.track == 2
    verdict = one.verdict({place: [one.track(place), two.track(place)]})
    assert [finding.kind for finding in verdict.findings] == ["serial"]
    assert verdict.slot == tuple(f"{serial('SM-004', number):20}" for number in (7, 8))
    assert "slot" not in verdict.plain()


@pytest.mark.parametrize(("held", "words"), [
    (b"SM-004-0007-M", "it holds SM-004-0007-M: mistyped: its last character does not fit the others"),
    (b"SN-004-0007-L", "it holds SN-004-0007-L: mistyped: its last character does not fit the others"),
    (serial("SM-005", 7).encode(), f"it holds {serial('SM-005', 7)}: a serial of SM-005, where one of SM-004 was expected"),
    (b"sm-004-0007-l", "it holds sm-004-0007-l: in small letters; the serial is SM-004-0007-L"),
    (serial("SM-004", 7).replace("0007", "00007").encode(), "it holds SM-004-00007-L: no serial as they are handed out"),
    (b"HELLO", "it holds HELLO: no serial; one of this title looks like SM-004-0001-X"),
    (b"  SM-004-0007-L", "it holds SM-004-0007-L, not at its beginning and filled up with spaces"),
    (b"SM-004-0007-L\0\0\0\0\0\0\0", "it holds SM-004-0007-L, not at its beginning and filled up with spaces"),
    (b"", "it is empty"), (b"\0" * 20, "it is empty"), (b"\xe5" * 20, "it is empty"),
    (bytes(range(128, 148)), "it holds no text"), (b"SM-004\x1b[31m", "it holds no text"),
])  # fmt: skip
def test_what_a_slot_holds_instead_is_said_in_words(numbered, held, words):
    dump = with_slot(numbered, held)
    for verdict in (judge_dump(numbered, dump), Copy(numbered, dump=dump).verdict()):
        assert verdict.slot == (dump[SLOT_AT : SLOT_AT + len(MARKER)].decode("latin-1"),)
        assert slot_words(verdict.slot, "SM-004") == words
        assert list(findings_text(verdict, "SM-004")) == [f"track 2 sector 19: no serial of this title in its place: {words}"]


def test_two_serials_in_one_place_or_from_one_turn_to_the_next():
    both = ("SM-004-0007-L", "SM-004-0008-J")
    assert slot_words(("".join(f"{each:20}" for each in both),), "SM-004") == "it holds 2 serials, SM-004-0007-L and SM-004-0008-J"
    words = "it holds SM-004-0007-L and SM-004-0008-J, from one turn to the next: it was written over, and not all of it"
    assert slot_words(tuple(f"{each:20}" for each in both), "SM-004") == words


def test_a_slot_that_holds_what_it_may_says_nothing(numbered):
    assert judge_dump(numbered, numbered.sides["A"].dump).slot == ()
    beside = bytearray(with_slot(numbered, b"nonsense"))
    beside[SLOT_AT - 1] ^= 1
    assert judge_dump(numbered, bytes(beside)).slot == ()


# Words


def test_every_kind_has_words_for_people():
    assert set(KIND_WORDS) == set(KINDS) - {""}


def test_a_file_that_comes_in_pieces_is_not_taken_for_a_dump(zoned, tmp_path, monkeypatch):
    """A file system may give fewer bytes than were asked for: a longer file whose first piece is the dump must not pass."""
    dump = zoned.sides["A"].dump
    (tmp_path / "right.dump").write_bytes(dump)
    (tmp_path / "long.dump").write_bytes(dump + b"!")
    read, quick = os.read, IdenticalDumps(zoned, None)
    assert quick.match(str(tmp_path / "right.dump")).side is zoned.sides["A"]
    monkeypatch.setattr(os, "read", lambda handle, count: read(handle, min(count, len(dump))))
    assert quick.match(str(tmp_path / "right.dump")).side is zoned.sides["A"]
    assert quick.match(str(tmp_path / "long.dump")) is None
