"""A disc's own image: the master's side with its serial in the slot, checks and volume right, nothing else changed."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from bench import MARKER, Copy, found, judge, judge_dump, make_master, master_of, random_dump
from hypothesis import given, settings
from hypothesis import strategies as st
from table import Table, serials, two_sides

from formats import registry
from formats.bounds import SIGNATURE
from formats.containers import capture
from formats.volumes.shared.image import Image
from mastering.job.job import load
from mastering.judging.evidence import CaptureReadBack, DumpReadBack
from mastering.judging.identify import identify
from mastering.master.builder import build, payload, record
from mastering.master.master import Master, open_master, write_master
from mastering.master.serial import is_serial, serial
from mastering.master.stamp import image

GEOMETRIES = registry.names("geometries")
FIRST, SECOND, THIRD, FOURTH = serials(4)


def read_capture(data: bytes) -> capture.Capture:
    return capture.read(data, "copy.capture")


# Any disc


@settings(max_examples=60)
@given(at=st.integers(0, 683 * 256 - 1), number=st.integers(1, 10**7), where=st.sampled_from(["start", "end", "anywhere"]))
def test_a_stamped_side_differs_from_the_masters_in_the_slot_only(at, number, where):
    sector, offset = divmod(at, 256)
    offset = {"start": 0, "end": 256 - len(MARKER), "anywhere": min(offset, 256 - len(MARKER))}[where]
    side = marked(sector * 256 + offset).sides["A"]
    name = serial("SM-004", number)
    stamped, slot = side.stamped(name), slice(sector * 256 + offset, sector * 256 + offset + len(MARKER))
    assert stamped[: slot.start] == side.dump[: slot.start] and stamped[slot.stop :] == side.dump[slot.stop :]
    assert stamped[slot].decode() == f"{name:20}" and side.dump[slot] == MARKER
    verdict = judge_dump(marked(sector * 256 + offset), stamped)
    assert (verdict.verdict, verdict.serial) == ("pass", name)


@cache
def marked(at: int) -> Master:
    """The same side with the marker elsewhere: made without building it, as a capture takes its time."""
    plain = master_of("gcr4to5-35z", marked_at=5000)
    side = plain.sides["A"]
    dump = random_dump(side.geometry, 1)
    dump = dump[:at] + MARKER + dump[at + len(MARKER) :]
    slot = replace(side.slot, place=at // 256, offset=at % 256)
    return replace(plain, sides={"A": replace(side, dump=dump, slot=slot)})


@settings(max_examples=12)
@given(at=st.integers(0, 640 * 128 - 1), number=st.integers(1, 99_999))
def test_a_stamped_capture_passes_with_that_serial(at, number):
    at = min(at, at // 128 * 128 + 128 - len(MARKER))
    master = master_of("fm-40x16x128", marked_at=at)
    name = serial("SM-004", number)
    verdict = judge(master, read_capture(image(master.sides["A"], name, as_capture=True)))
    assert (verdict.verdict, verdict.serial, verdict.good) == ("pass", name, 640)


@pytest.mark.parametrize("edge", ["start", "end"])
@pytest.mark.parametrize("name", GEOMETRIES)
def test_each_geometry_carries_it_at_a_sectors_start_and_end(name, edge):
    geometry = registry.geometry(name)
    place = 0 if edge == "start" else len(geometry.addresses) - 1  # the side's first and last byte
    at = place * geometry.size + (0 if edge == "start" else geometry.size - len(MARKER))
    master = master_of(name, marked_at=at)
    side = master.sides["A"]
    assert side.dump[at : at + len(MARKER)] == MARKER
    number = serial("SM-004", 7)
    verdict = judge(master, read_capture(image(side, number, as_capture=True)), others=[master_of(name, seed=2)])
    assert (verdict.verdict, verdict.serial, verdict.good) == ("pass", number, len(geometry.addresses))
    verdict = judge_dump(master, image(side, number, as_capture=False))
    assert (verdict.verdict, verdict.serial) == ("pass", number)


@pytest.mark.parametrize("name", GEOMETRIES)
def test_each_geometry_tells_which_disc_it_is(name):
    geometry = registry.geometry(name)
    master, other = master_of(name, marked_at=5 * geometry.size + 7), master_of(name, seed=2)
    number = serial("SM-004", 40)
    data = image(master.sides["A"], number, as_capture=True)
    for view in (CaptureReadBack("copy", read_capture(data)), DumpReadBack("copy", master.sides["A"].stamped(number), None)):
        known = identify(view, [other, master])
        assert known.certain and known.serial == number
        assert [(match.label, match.share) for match in known.alike] == [("Lamplighter 1.2 A", 1.0)]


def test_only_the_slots_track_is_written_anew():
    """So the stamped sector's check is its own, and every other cell is the master's."""
    master = master_of("gcr6and2-35x16x256", marked_at=256 * 77)
    plain, stamped = (Copy(master, dump=dump).cells for dump in (master.sides["A"].dump, master.sides["A"].stamped(FIRST)))
    slot = master.sides["A"].slot
    assert [place for place in plain if (plain[place] != stamped[place]).any()] == [(slot.track, slot.head)]


def test_a_serial_that_outgrows_its_slot_is_refused():
    side = master_of("fm-40x16x128", marked_at=0).sides["A"]
    assert len(side.stamped(serial("SM-004", 10**10))) == len(side.dump)
    with pytest.raises(ValueError, match="longer than the 20 bytes of its slot"):
        side.stamped(serial("SM-004", 10**11))


# In a file of a volume


VOLUMES = {
    "zoned-dos": ("gcr4to5-35z", 'type = "program"\nload_address = "in-file"', "LANTERN"),
    "catalog-dos": ("gcr6and2-35x16x256", 'type = "text"', "LANTERN"),
    "block-tree": ("gcr6and2-35x16x256", "type = 4", "LANTERN"),
    "fat12": ("mfm-40x9x512", "", "LANTERN.TXT"),
}
JOB = """
[title]
name = "Lamplighter"
publisher = "Saltmarsh Software"
catalogue = "SM-004"
revision = "1.2"

[side.A]
platform = "machine"
geometry = "{geometry}"
volume = "{volume}"
serial = { marker = "<<SERIAL-GOES-HERE>>" }

[[side.A.file]]
name = "{name}"
source = "story.bin"
{keys}
"""


@cache
def story(at: int) -> bytes:
    """A long text, with the marker at a byte of it."""
    text = b"".join(b"page %05d of the story. " % page for page in range(1500))[:30_000]
    return text[:at] + MARKER + text[at + len(MARKER) :]


def built(folder: Path, volume: str, at: int) -> Master:
    geometry, keys, name = VOLUMES[volume]
    folder.mkdir()
    (folder / "story.bin").write_bytes(story(at))
    (folder / "job.toml").write_text(
        JOB.replace("{ marker", "{{ marker").replace('" }', '" }}').format(geometry=geometry, volume=volume, keys=keys, name=name)
    )
    made = build(load(folder / "job.toml"))
    write_master(folder / "master", payload(made), record(made))
    return open_master(folder / "master")


@pytest.mark.parametrize("volume", VOLUMES)
def test_a_slot_in_a_file_that_is_chained_across_tracks(tmp_path, volume):
    """At the first and the last byte of a sector far down the file; the file that comes off the disc has the serial, the volume is sound."""
    geometry = registry.geometry(VOLUMES[volume][0])
    plain = built(tmp_path / "plain", volume, 100)  # tells which bytes of the file stand in which sector
    [file] = plain.sides["A"].files
    sectors = [geometry.places[tuple(address)] for address in file["sectors"]]
    held = plain.sides["A"].dump
    far = next(place for place in sectors[40:] if geometry.addresses[place].track != file["sectors"][0][0])
    body = held[far * geometry.size : (far + 1) * geometry.size]
    first = next(at for at in range(geometry.size) if story(100).find(body[at : at + 40]) >= 0)
    start = story(100).index(body[first : first + 40])
    length = max(n for n in range(geometry.size - first + 1) if story(100)[start : start + n] == body[first : first + n])
    assert length > 200
    for name, at in (("start", start), ("end", start + length - len(MARKER))):
        master = built(tmp_path / name, volume, at)
        side = master.sides["A"]
        assert side.slot.place == far and side.slot.track != file["sectors"][0][0]
        assert side.slot.offset == (first if name == "start" else first + length - len(MARKER))
        stamped = side.stamped(FIRST)
        disc = Image(geometry, stamped)
        assert [each.data for each in registry.volume(volume).read(disc).files] == [story(at).replace(MARKER, f"{FIRST:20}".encode())]
        assert not list(registry.volume(volume).check(disc))
        verdict = judge(master, read_capture(image(side, FIRST, as_capture=True)))
        assert (verdict.verdict, verdict.serial) == ("pass", FIRST)


# Two slots


def test_each_side_may_carry_it():
    sides = {"A": "gcr4to5-35z", "B": "mfm-40x9x512"}
    dumps = {side: random_dump(registry.geometry(name), 3) for side, name in sides.items()}
    made = {side: (name, MARKER + dumps[side][len(MARKER) :]) for side, name in sides.items()}
    master = make_master(made, slot_side="AB")
    assert list(master.record["serials"]) == ["A", "B"]
    for side in master.sides.values():
        verdict = judge(master, read_capture(image(side, FIRST, as_capture=True)), side.name)
        assert (verdict.verdict, verdict.side, verdict.serial) == ("pass", side.name, FIRST)
    wrong = Copy(master, "B", dump=master.sides["B"].stamped("SM-004-0001-A"))
    assert set(found(wrong.verdict(side="B")).values()) == {"serial"}


# The command


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides())


def make(table: Table, serial: str, side: str, name: str, *more: object):
    return table.said("batch", "image", table.batch, serial, "--side", side, "--out", table.folder / name, *more)


def test_what_it_makes_is_what_record_takes_once_a_drive_has_read_it_back(table):
    images, reads = table.folder / "images", table.folder / "reads"
    for folder in (images, reads):
        folder.mkdir()
    for side in "AB":
        for suffix in ("dump", "capture"):
            path = images / f"{FIRST}-{side}.{suffix}"
            [line] = make(table, FIRST, side, f"images/{path.name}", "--json").json
            assert (line["bytes"], line["stamped"]) == (path.stat().st_size, side == "A")
            data = path.read_bytes()
            if suffix == "capture":  # a drive's own cells: no two reads of a disc have the same bytes
                data = capture.write(replace(read_capture(data), writer="a reader"))
            (reads / path.name).write_bytes(data)
    refused = table.record(*sorted(images.glob("SM-*")))
    assert (refused.status, len(refused.errors), refused.reads) == (2, 4, [])
    answer = table.record(*(reads / f"{FIRST}-{name}" for name in ("A.dump", "A.capture", "B.capture")))
    assert [(line["verdict"], line["on_disc"]) for line in answer.reads] == [("pass", FIRST), ("pass", FIRST), ("pass", None)]
    assert answer.discs[0]["verdict"] == "pass"


def test_every_serial_of_a_batch_gets_its_own(table):
    for number in table.serials:
        assert make(table, number, "A", f"{number}.dump").out == [f"{table.folder / f'{number}.dump'}: side A of {number}"]
        assert (table.folder / f"{number}.dump").read_bytes() == table.master.sides["A"].stamped(number)


@pytest.mark.parametrize("name", ["x.capture", "x.CAPTURE"])
def test_a_name_that_says_capture_gets_one(table, name):
    make(table, FIRST, "A", name)
    assert (table.folder / name).read_bytes().startswith(SIGNATURE)


def test_a_side_without_a_place_for_it_is_told(table):
    assert make(table, FIRST, "B", "b.dump").out == [f"{table.folder / 'b.dump'}: side B of {FIRST} (this side has no place for a serial)"]


@pytest.mark.parametrize(("words", "told"), [
    ((FIRST, "C", "x.dump"), "--side C: this master has sides A and B"),
    (("SM-004-0001-A", "A", "x.dump"), "mistyped"),
    (("SM-004-0009-" + serial("SM-004", 9)[-1], "A", "x.dump"), "not handed out in batch B-0001"),
    (("sm-004-0001-x", "A", "x.dump"), "in small letters; the serial is SM-004-0001-X"),
    ((FIRST, "A", "nowhere/deeper/x.dump"), "its folder is not there"),
    ((FIRST, "A", "ledger.sqlite/x.dump"), "exists already and is no folder"),
    ((FIRST, "A", "ledger.sqlite"), "exists already"),
])  # fmt: skip
def test_what_it_refuses(table, words, told):
    before = table.rows(), sorted(table.folder.iterdir())
    answer = make(table, *words)
    assert answer.status == 2 and told in answer.err[0] and len(answer.err) == 1
    assert (table.rows(), sorted(table.folder.iterdir())) == before


def test_a_rejected_disc_gets_no_image(table):
    table.done("batch", "reject", table.batch, FIRST, "--by-eye", "--reason", "a scratch")
    answer = make(table, FIRST, "A", "x.dump", "--again")
    assert answer.status == 2 and "rejected by eye; take another blank and the next serial" in answer.err[0]
    assert not (table.folder / "x.dump").exists()


def test_a_disc_that_was_written_in_vain_twice_gets_no_image_for_any_side(table):
    for tag, words in (("1", ()), ("2", ()), ("3", ("--rewritten",)), ("4", ())):
        table.read(FIRST, "A", "fail", *words, tag=tag)
    for side in "AB":
        answer = make(table, FIRST, side, "x.dump", "--again")
        assert answer.status == 2 and "its last writing failed, too; take another blank and the next serial" in answer.err[0]
    assert not (table.folder / "x.dump").exists()


def test_a_disc_of_a_closed_batch_gets_no_image(table):
    table.done("batch", "close", table.batch)
    answer = make(table, FIRST, "A", "x.dump", "--again")
    assert answer.status == 2 and "batch B-0001 is closed" in answer.err[0]
    assert not (table.folder / "x.dump").exists()


@pytest.mark.parametrize(("day", "told"), [("pass", "side A is good"), ("marginal", "side A is in doubt: read it again")])
def test_a_side_that_may_be_good_is_written_over_on_purpose_only(table, day, told):
    table.read(FIRST, "A", day)
    answer = make(table, FIRST, "A", "x.dump")
    assert answer.status == 2 and told in answer.err[0] and "--again" in answer.err[0]
    assert not (table.folder / "x.dump").exists()
    assert make(table, FIRST, "B", "b.dump").status == 0
    assert make(table, FIRST, "A", "x.dump", "--again").err == []
    assert (table.folder / "x.dump").exists()


def test_the_next_writing_of_a_failed_side_is_made_and_told_where_it_comes_early(table):
    table.read(FIRST, "A", "fail", tag="1")
    assert make(table, FIRST, "A", "1.dump").err == [f"obverse: {FIRST}: side A failed; read it again first, as it may be the reading"]
    assert make(table, FIRST, "A", "1b.dump", "--again").err == []
    table.read(FIRST, "A", "fail", tag="2")
    answer = make(table, FIRST, "A", "2.dump")
    assert (answer.status, answer.err) == (0, [])


def test_a_read_that_settled_nothing_hinders_no_image(table):
    table.read(FIRST, "A", "short")
    answer = make(table, FIRST, "A", "x.dump")
    assert (answer.status, answer.err) == (0, [])


def test_no_file_is_ever_replaced(table):
    make(table, FIRST, "A", "x.dump")
    before = (table.folder / "x.dump").read_bytes()
    assert make(table, SECOND, "A", "x.dump").status == 2
    assert (table.folder / "x.dump").read_bytes() == before


def test_serials_of_any_number_are_serials():
    assert all(is_serial(serial("SM-004", number), "SM-004") for number in (1, 9999, 10_000, 10**10))
