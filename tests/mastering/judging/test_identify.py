"""What a disc is: the right master, side and serial, or the word that it can't be told; on sound and on damaged discs."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from bench import MARKER, Copy, make_master, master_of, random_dump
from table import SLOT, Answer, Table, capture_of, one_side, said, serials, two_sides
from titles import FILLERS, Shop, damaged_capture, damaged_dump, damaged_report

from formats import registry
from formats.containers import capture
from formats.containers.sector_report import Report
from mastering.judging.evidence import CaptureReadBack, DumpReadBack
from mastering.judging.identify import Identified, identify
from mastering.master.master import Master
from mastering.master.serial import serial

FIRST, SECOND, THIRD, FOURTH = serials(4)
ZONED = "gcr4to5-35z"


def of_dump(dump: bytes, masters: list[Master], report: Report | None = None) -> Identified:
    return identify(DumpReadBack("copy.dump", dump, report), masters)


def of_cells(read: capture.Capture, masters: list[Master]) -> Identified:
    return identify(CaptureReadBack("copy.capture", capture.read(capture.write(read), "copy.capture")), masters)


def labels(known: Identified) -> list[str]:
    return [match.label for match in known.alike]


# Many masters at hand


@pytest.fixture
def shop(tmp_path) -> Shop:
    return Shop(tmp_path, titles=5, revisions=3, discs=3)


def test_every_disc_is_known_among_all_titles_and_revisions(shop):
    """Masters of other lengths among them, whose sides a dump can't be."""
    assert len({len(side.dump) for master in shop.masters for side in master.sides.values()}) == 4
    for disc in shop.discs:
        known = of_dump(disc.dump, shop.masters)
        assert (labels(known), known.serial, known.certain) == ([disc.label], disc.serial, True)
        assert known.matches[0].share == 1 and known.mixed is None
        title = {match.label for match in known.matches}
        assert title == {f"{master.label} {disc.side.name}" for master in shop.masters if master.catalogue == disc.master.catalogue}


def test_the_other_sides_are_known_too(shop):
    for disc in shop.discs[::3]:
        for side in disc.master.sides.values():
            known = of_dump(side.stamped(disc.serial), shop.masters)
            assert labels(known) == [f"{disc.master.label} {side.name}"]
            assert known.serial == (disc.serial if side.slot else None)


def test_the_order_of_the_masters_does_not_matter(shop):
    disc = shop.discs[7]
    told = {tuple(labels(of_dump(disc.dump, masters))) for masters in (shop.masters, shop.masters[::-1])}
    assert told == {(disc.label,)}


def test_of_damaged_discs_the_answer_is_right_or_says_that_it_is_not_sure(shop):
    """A quarter of the read-backs has lost a tenth to nearly all of its sectors, the serial's often among them."""
    rng = np.random.default_rng(7)
    certain = unsure = told = 0
    for disc in shop.discs:
        count = len(disc.side.geometry.addresses)
        for number in range(4):
            bad = rng.choice(count, int(count * rng.uniform(0.1, 0.99)), replace=False) if number == 0 else rng.choice(count, 0)
            kind = rng.integers(0, 3)
            if kind == 0:
                known = of_dump(damaged_dump(disc, bad, str(rng.choice(FILLERS)), rng), shop.masters)
            elif kind == 1:
                rows = damaged_report(disc, bad)
                known = of_dump(damaged_dump(disc, bad, "zero", rng), shop.masters, Report("copy.report.csv", rows, dict.fromkeys(rows, 1)))
            else:
                known = of_cells(damaged_capture(disc, bad, rng), shop.masters)
            assert known.serial in (None, disc.serial) and known.unsure in (None, disc.serial)
            assert disc.label in labels(known) or (bad.size and not known.matches)
            if not bad.size:
                assert known.certain and known.serial == disc.serial
            certain, told = certain + (bad.size > 0 and known.certain), told + (bad.size > 0 and known.serial is not None)
            unsure += bad.size > 0 and not known.certain
    assert certain >= 20 and told >= 10 and unsure >= 3  # of 45 damaged ones: neither timid nor bold


# How sure


def revisions(places: list[int], **first) -> tuple[Master, Master]:
    """Two revisions that differ in some sectors, the older one's made of one value where `zero` is given."""
    dump = random_dump(registry.geometry(ZONED), 5)
    dump = dump[:SLOT] + MARKER + dump[SLOT + len(MARKER) :]
    old = bytearray(dump)
    for place in places:
        old[place * 256 : place * 256 + 256] = bytes(256) if first.get("zero") else random_dump(registry.geometry(ZONED), place)[:256]
    made = [make_master({"A": (ZONED, bytes(data))}, revision=name, slot_side="A") for name, data in (("1.0", old), ("1.1", dump))]
    return made[0], made[1]


def test_what_was_destroyed_where_two_revisions_differ_leaves_both():
    old, new = revisions([3, 500])
    for master in (old, new):
        copy = Copy(master, dump=master.sides["A"].stamped(FIRST))
        geometry = master.sides["A"].geometry
        for place in (3, 500):
            _, block = copy.fields(geometry.addresses[place])
            copy.flip(geometry.addresses[place], block.body + 40)
        known = of_cells(copy.capture(), [new, old])
        assert (labels(known), known.certain) == (["Lamplighter 1.0 A", "Lamplighter 1.1 A"], False)
        assert known.serial == FIRST


def test_one_sector_that_was_read_is_enough_to_tell_two_revisions():
    old, new = revisions([3])
    for master in (old, new):
        known = of_dump(master.sides["A"].dump, [new, old])
        assert (labels(known), known.certain) == ([f"{master.label} A"], True)


def test_a_readers_filler_tells_no_revision():
    """The older revision has zeros there, and so has a dump whose reader fills with them; a capture's zeros were read."""
    old, new = revisions([3, 4], zero=True)
    dump = new.sides["A"].dump
    filled = dump[: 3 * 256] + bytes(512) + dump[5 * 256 :]
    assert filled == old.sides["A"].dump
    known = of_dump(filled, [old, new])
    assert (set(labels(known)), known.certain) == ({"Lamplighter 1.0 A", "Lamplighter 1.1 A"}, False)
    assert labels(of_cells(Copy(old).capture(), [old, new])) == ["Lamplighter 1.0 A"]
    assert labels(of_dump(dump, [old, new])) == ["Lamplighter 1.1 A"]


def test_masters_with_the_same_bytes_are_told_apart_by_the_serial_alone():
    dump = random_dump(registry.geometry(ZONED), 5)
    dump = MARKER + dump[len(MARKER) :]
    first, second = (make_master({"A": (ZONED, dump)}, catalogue=name, slot_side="A") for name in ("SM-004", "SM-044"))
    known = of_dump(first.sides["A"].stamped(serial("SM-044", 7)), [first, second])
    assert (known.certain, known.serial, known.alike[0].master.catalogue) == (True, serial("SM-044", 7), "SM-044")
    assert not of_dump(dump, [first, second]).certain


def test_a_program_that_has_only_a_part_in_common_is_not_claimed():
    master = master_of(ZONED)
    foreign = bytearray(random_dump(registry.geometry(ZONED), 77))
    foreign[: 256 * 100] = master.sides["A"].dump[: 256 * 100]
    for known in (of_dump(bytes(foreign), [master]), of_cells(Copy(master, dump=bytes(foreign)).capture(), [master])):
        assert (labels(known), known.alike[0].equal, known.alike[0].foreign, known.certain) == (["Lamplighter 1.2 A"], 100, 583, False)


def test_a_disc_that_was_written_over_halfway_is_told():
    master, other = master_of(ZONED), make_master({"A": (ZONED, random_dump(registry.geometry(ZONED), 9))}, name="Undertow")
    mixed = other.sides["A"].dump[: 256 * 200] + master.sides["A"].dump[256 * 200 :]
    known = of_dump(mixed, [other, master])
    assert labels(known) == ["Lamplighter 1.2 A"]
    assert known.mixed is not None and (known.mixed[0].label, known.mixed[1]) == ("Undertow 1.2 A", 200)


@pytest.mark.parametrize("data", [b"\xe5" * 174_848, bytes(174_848), b"", b"x", random_dump(registry.geometry(ZONED), 99)])
def test_what_is_foreign_or_blank_matches_nothing(data):
    known = of_dump(data, [master_of(ZONED), master_of("mfm-40x9x512")])
    assert (known.matches, known.alike, known.serial, known.certain) == ((), (), None, False)


def test_a_blank_sector_speaks_for_nothing_even_where_it_was_read():
    """Most of this title is zeros, as most of any disc that was only formatted."""
    dump = bytes(256 * 600) + random_dump(registry.geometry(ZONED), 1)[256 * 600 :]
    master = make_master({"A": (ZONED, dump)})
    assert of_cells(Copy(master, dump=bytes(len(dump))).capture(), [master]).matches == ()


# The serial


def test_a_serial_from_a_sector_that_fails_its_check_is_only_perhaps_it():
    master = master_of(ZONED, marked_at=256 * 100 + 8)
    stamped = master.sides["A"].stamped(FIRST)
    copy = Copy(master, dump=stamped)
    address = master.sides["A"].geometry.addresses[100]
    _, block = copy.fields(address)
    copy.flip(address, block.end - 30)  # behind the slot
    known = of_cells(copy.capture(), [master])
    assert (known.serial, known.unsure, known.certain) == (None, FIRST, True)
    touched = stamped[: 256 * 100 + 200] + b"?" + stamped[256 * 100 + 201 :]
    assert (of_dump(touched, [master]).serial, of_dump(touched, [master]).unsure) == (None, FIRST)
    copy.flip(address, block.body + 90, block.body + 95)  # in it: what is left is no serial
    known = of_cells(copy.capture(), [master])
    assert (known.serial, known.unsure) == (None, None)


# The command


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides())


def side_a(number: str) -> bytes:
    return two_sides().sides["A"].stamped(number)


def disc_without_anything() -> bytes:
    """A capture of noise."""
    geometry, rng = registry.geometry(ZONED), np.random.default_rng(3)
    tracks = tuple(capture.Track(number, 0, True, 3_250_000, 60_000, rng.bytes(7_500), ()) for number in range(geometry.cylinders))
    return capture.write(capture.Capture(300, "test", tracks))


def asked(table: Table, *readbacks: tuple[str, bytes], words: tuple = ()) -> Answer:
    return table.said("identify", *(table.file(name, data) for name, data in readbacks), *words)


def test_a_disc_with_its_story(table):
    table.read(FIRST, "B", "fail")
    table.record(table.file(f"{FIRST}-A.dump", side_a(FIRST)))
    answer = asked(table, ("found.dump", side_a(FIRST)))
    assert (answer.status, answer.err) == (0, [])
    assert answer.out == [
        f"{table.folder / 'found.dump'}",
        "  Lamplighter 1.2 A: 560 of 560 sectors (100.0 %)",
        f"  serial {FIRST}",
        f"  {FIRST}  fail        read side B again, label down",
        "    batch B-0001, lot L-07",
        f"    read 1: side B, writing 1 by D1, read by D1: fail  {FIRST}-B.dump",
        f"    read 2: side A, writing 1 by D1, read by D1: pass  {FIRST}-A.dump",
    ]
    [line] = asked(table, ("found.dump", side_a(FIRST)), words=("--json",)).json
    match = {"master": "Lamplighter 1.2", "digest": table.master.digest, "side": "A", "share": 1.0}
    assert line == {
        "readback": str(table.folder / "found.dump"), "matches": [match], "serial": FIRST, "evidence": "dump", "certain": True, "unsure": None,
        "by_other_side": None, "disc": table.disc(FIRST) | {"lot": "L-07", "state": "working"},
    }  # fmt: skip


def test_a_rejected_disc_that_comes_back(table):
    table.done("batch", "reject", table.batch, SECOND, "--by-eye", "--reason", "a scratch")
    answer = asked(table, ("found.dump", side_a(SECOND)))
    assert "    batch B-0001, lot L-07, rejected" in answer.out
    assert any(line.startswith("    rejected by eye ") and line.endswith(": a scratch") for line in answer.out)
    [line] = asked(table, ("found.dump", side_a(SECOND)), words=("--json",)).json
    assert line["disc"]["rejected"] is True


def test_a_serial_that_the_ledger_never_handed_out(table):
    assert asked(table, ("found.dump", side_a(serial("SM-004", 77)))).out[-1] == "  this serial was never handed out by the ledger"


def test_a_side_without_a_slot_is_known_by_its_disc(table):
    b = two_sides().sides["B"].dump
    assert asked(table, ("b.dump", b)).out[-1] == (
        "  side B carries no serial: give the disc's other side with it and no other disc's, or look at the label"
    )
    answer = asked(table, ("b.dump", b), ("a.dump", side_a(FIRST)))
    assert f"  it carries no serial itself; its other side says {FIRST}" in answer.out
    lines = asked(table, ("b.dump", b), ("a.dump", side_a(FIRST)), words=("--json",)).json
    assert [(line["serial"], line["by_other_side"]) for line in lines] == [(None, FIRST), (FIRST, None)]
    assert lines[0]["disc"] == lines[1]["disc"] and lines[0]["disc"]["serial"] == FIRST


def test_sides_of_several_discs_lend_each_other_no_serial(table):
    b, other_b = ("b.dump", two_sides().sides["B"].dump), ("b2.capture", capture_of(two_sides(), "B"))
    first, second = ("a.dump", side_a(FIRST)), ("a2.dump", side_a(SECOND))
    for readbacks in ((b, first, second), (b, other_b, first)):
        lines = asked(table, *readbacks, words=("--json",)).json
        assert {line["by_other_side"] for line in lines} == {None}


def test_the_other_side_of_another_title_says_nothing(table):
    other = make_master(
        {"A": ("mfm-40x9x512", MARKER + random_dump(registry.geometry("mfm-40x9x512"), 60)[20:])}, name="Undertow", catalogue="SM-009",
        slot_side="A",
    )  # fmt: skip
    shutil.copytree(other.path, table.folder / "shelf" / "undertow")
    readbacks = ("b.dump", two_sides().sides["B"].dump), ("a.dump", other.sides["A"].stamped(serial("SM-009", 1)))
    lines = asked(table, *readbacks, words=("--json", "--masters", table.folder / "shelf")).json
    assert [(line["serial"], line["by_other_side"]) for line in lines] == [(None, None), (serial("SM-009", 1), None)]


def test_a_title_whose_discs_carry_none(table):
    table.open(one_side("SM-009", name="Undertow"))
    told = asked(table, ("x.dump", one_side("SM-009", name="Undertow").sides["A"].dump)).out
    assert told[-1] == "  this title's discs carry no serial: look at the label"


@pytest.mark.parametrize(("held", "told"), [
    (MARKER, "no serial is on it: its place still holds the master's marker"),
    (b"SM-004-0007-M       ", "no serial was read from its place: it holds SM-004-0007-M: mistyped: its last character does not fit the others"),
    (b"\0" * 20, "no serial was read from its place: it is empty"),
])  # fmt: skip
def test_why_no_serial_was_read(table, held, told):
    dump = two_sides().sides["A"].dump
    answer = asked(table, ("x.dump", dump[:SLOT] + held + dump[SLOT + 20 :]))
    assert answer.out[-1] == f"  {told}"


def test_a_damaged_serial_is_told_as_such(table):
    stamped = bytearray(side_a(FIRST))
    stamped[SLOT + 30] ^= 1
    assert (
        asked(table, ("x.dump", bytes(stamped))).out[-1]
        == f"  serial perhaps {FIRST}: its check character fits, but its sector fails its check"
    )
    stamped[SLOT + 3] ^= 64
    told = asked(table, ("x.dump", bytes(stamped))).out[-1]
    assert told == "  no serial was read, as its sector is bad: other bytes than the master's"


def test_without_a_ledger_the_masters_are_enough(tmp_path):
    shutil.copytree(two_sides().path, tmp_path / "shelf" / "lamplighter")
    (tmp_path / "x.dump").write_bytes(side_a(FIRST))
    answer = said("identify", "x.dump", "--masters", "shelf", folder=tmp_path)
    assert (answer.status, answer.out[-1]) == (0, f"  serial {FIRST}")
    assert not (tmp_path / "ledger.sqlite").exists()
    [line] = said("identify", "x.dump", "--masters", "shelf", "--json", folder=tmp_path).json
    assert (line["serial"], line["disc"]) == (FIRST, None)
    answer = said("identify", "x.dump", folder=tmp_path)
    assert (answer.status, answer.err) == (2, ["obverse: no master is at hand: name a folder of them with --masters"])


@pytest.mark.parametrize(("data", "told"), [
    (random_dump(registry.geometry(ZONED), 4), "no master at hand has this on a side: it is foreign, or too damaged to tell"),
    (bytes(3_000_000), "one value throughout: a blank disc, or its reader met nothing"),
    (capture_of(master_of(ZONED), "A"), "no master at hand has this on a side; it is recorded as gcr4to5-35z, 683 of 683 sectors sound"),
    (disc_without_anything(), "nothing is on it that any known geometry reads: it is blank, erased, or of a kind that is not declared"),
])  # fmt: skip
def test_what_is_no_known_masters(table, data, told):
    answer = asked(table, ("x.dump", data))
    assert (answer.status, answer.out[1:]) == (1, [f"  {told}"])
    [line] = asked(table, ("x.dump", data), words=("--json",)).json
    assert (line["matches"], line["serial"], line["certain"]) == ([], None, False)


def test_a_dump_whose_reader_left_sectors_out_is_not_called_foreign():
    master = master_of(ZONED)
    dump = master.sides["A"].dump
    left_out = dump[: 256 * 200] + dump[256 * 203 :] + bytes(256 * 3)
    known = of_dump(left_out, [master])
    assert (known.alike[0].equal, known.alike[0].foreign, known.certain) == (200, 0, True)


def test_the_other_side_lends_no_serial_to_a_file_named_after_another_disc(table):
    b = two_sides().sides["B"].dump
    for name, lent in ((f"{FIRST}-B.dump", FIRST), (f"{SECOND}-B.dump", None)):
        lines = asked(table, (name, b), (f"{FIRST}-A.dump", side_a(FIRST)), words=("--json",)).json
        assert [line["by_other_side"] for line in lines] == [lent, None]


def test_what_can_not_be_read_is_an_error_and_the_others_are_told(table):
    broken = capture_of(two_sides(), "A")[:-30]
    answer = asked(table, ("broken.capture", broken), ("x.dump", side_a(FIRST)), words=("--json",))
    assert (answer.status, "error" in answer.json[0], answer.json[1]["serial"]) == (2, True, FIRST)
    assert table.said("identify", table.folder / "nowhere.dump").status == 2


def test_asking_changes_nothing(table):
    before = {path: path.read_bytes() for path in Path(table.folder).iterdir()}
    asked(table, ("x.dump", side_a(FIRST)))
    after = {path: path.read_bytes() for path in Path(table.folder).iterdir() if path.name != "x.dump"}
    assert after == before


def test_json_is_one_line_for_each_read_back(table):
    answer = asked(table, ("x.dump", side_a(FIRST)), ("y.dump", b"nothing"), words=("--json",))
    assert [set(json.loads(line)) for line in answer.out] == 2 * [
        {"readback", "matches", "serial", "evidence", "certain", "unsure", "by_other_side", "disc"}
    ]


def test_an_empty_folder_is_nothing_to_ask_about(table):
    (table.folder / "copies").mkdir()
    answer = table.said("identify", table.folder / "copies", "--masters", table.master.path.parent)
    assert (answer.status, answer.out, answer.err) == (2, [], ["no read-back was found"])
