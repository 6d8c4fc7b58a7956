"""The files of simulated reads: the verifier finds in them what really happened, no more and no less."""

from functools import cache

import numpy as np
import pytest
from bench import IDS, MARKER, make_master, master_of, random_dump

from formats import registry
from formats.containers import capture, sector_report
from mastering.judging.evidence import CaptureReadBack, DumpReadBack
from mastering.judging.verify import Verifier
from mastering.master.serial import serial
from mastering.simulator import disc
from mastering.simulator.bench import Bench, Read
from mastering.simulator.damage import Blank, Layout, draw_spot
from mastering.simulator.quality import Course, DriveQuality, LotQuality
from mastering.simulator.render import Renderer

ZONED, PLAIN = "gcr4to5-35z", "gcr6and2-35x16x256"
SOUND = DriveQuality(failing_writes=Course(0), failing_reads=Course(0))
SCRATCHED = LotQuality(bad=Course(1), weak=0)
WEAK = LotQuality(bad=Course(1), scratched=0)


@cache
def renderer(name: str) -> Renderer:
    geometry = registry.geometry(name)
    middle = len(geometry.addresses) // 2 * geometry.size
    return Renderer(master_of(name, marked_at=middle + 88))


@cache
def two_sides() -> Renderer:
    """A master with a machine on each side, its serial on side A."""
    a, b = (random_dump(registry.geometry(name), seed) for seed, name in enumerate((ZONED, PLAIN)))
    return Renderer(make_master({"A": (ZONED, MARKER + a[len(MARKER) :]), "B": (PLAIN, b)}, slot_side="A"))


def bench(lot=None, drive=SOUND, seed=11):
    return Bench(seed, {"L": lot or LotQuality(bad=Course(0))}, {"D": drive, "E": SOUND})


def judged(made, read, form="capture", turns=1.2):
    """The verdict of the files that a read left."""
    back = made.read_back(read, form, turns)
    if form == "capture":
        view = CaptureReadBack("copy", capture.read(back.data, "copy"))
    else:
        view = DumpReadBack("copy", back.data, sector_report.read(back.report, "copy") if back.report else None)
    assert back.simulated and (view.simulated or form != "capture")
    return Verifier(made.master, read.writing.layout.side).judge(view)


def tracks(verdict, *kinds):
    return {(each.track, each.head) for each in verdict.findings if (each.kind in kinds or not kinds)}


def sectors(verdict):
    return {(each.track, each.head, each.sector) for each in verdict.findings}


# Sound discs


@pytest.mark.parametrize("name", IDS)
def test_a_side_with_its_serial_is_what_a_drive_would_have_written_from_the_whole_dump(name):
    made, number = renderer(name), serial("SM-004", 7)
    layout, side = made.layouts["A"], made.master.sides["A"]
    writing = bench().write("D", Blank("L", 1), layout, number)
    whole = disc.written(side.geometry, side.stamped(number), side.identity, writing.speed)
    got = made.disc(writing)
    assert got.tracks.keys() == whole.tracks.keys()
    assert all(np.array_equal(cells, whole.tracks[place]) for place, cells in got.tracks.items())
    assert not got.weak


@pytest.mark.parametrize("name", IDS)
@pytest.mark.parametrize("form", ["capture", "dump", "report"])
def test_a_sound_disc_passes_with_its_serial_in_every_form(name, form):
    made, number = renderer(name), serial("SM-004", 12)
    setup = bench()
    read = setup.read("E", setup.write("D", setup.blank("L", 1), made.layouts["A"], number))
    verdict = judged(made, read, form)
    assert (verdict.verdict, verdict.serial, read.truth, read.story) == ("pass", number, "pass", "sound")


def test_a_disc_without_a_serial_carries_the_marker():
    made = renderer(ZONED)
    setup = bench()
    verdict = judged(made, setup.read("D", setup.write("D", setup.blank("L", 1), made.layouts["A"])))
    assert (verdict.verdict, verdict.serial) == ("pass", None)


# Damage


@pytest.mark.parametrize("name", IDS)
@pytest.mark.parametrize("form", ["capture", "dump", "report"])
def test_the_verifier_finds_a_scratch_where_it_is(name, form):
    made, setup = renderer(name), bench(SCRATCHED)
    for number in range(1, 16):
        read = setup.read("D", setup.write("D", setup.blank("L", number), made.layouts["A"]))
        verdict = judged(made, read, form)
        assert verdict.verdict == read.truth == ("fail" if read.tracks else "pass")
        assert tracks(verdict) == read.tracks
        assert verdict.diagnosis is None
        if form != "capture":  # an identifier that is half destroyed may name another sector of its track
            assert sectors(verdict) == set(read.findings())


@pytest.mark.parametrize("name", IDS)
def test_most_sectors_under_a_scratch_are_lost_as_was_foretold(name):
    made, setup = renderer(name), bench(SCRATCHED)
    foretold, found = 0, 0
    for number in range(1, 16):
        read = setup.read("D", setup.write("D", setup.blank("L", number), made.layouts["A"]))
        verdict = judged(made, read)
        foretold += len(read.findings())
        found += len(verdict.findings)
        assert {each.kind for each in verdict.findings} <= {"block-check", "no-block", "identifier-check", "absent"}
    assert foretold > 0 and found / foretold > 0.95  # a field that was only grazed may do


@pytest.mark.parametrize("name", IDS)
def test_a_weak_spot_is_soft_in_many_turns(name):
    made, setup = renderer(name), bench(WEAK)
    for number in range(1, 9):
        read = setup.read("D", setup.write("D", setup.blank("L", number), made.layouts["A"]))
        verdict = judged(made, read, turns=4.3)
        assert verdict.verdict == read.truth == ("marginal" if read.spots else "pass")
        assert tracks(verdict, "soft") == made.layouts["A"].tracks(read.spots) == tracks(verdict)


def test_a_weak_spot_passes_and_fails_in_single_turns():
    made, setup = renderer(ZONED), bench(WEAK)
    number = next(each for each in range(1, 50) if setup.blank("L", each).spots[0].face == 0)
    writing = setup.write("D", setup.blank("L", number), made.layouts["A"])
    verdicts = [judged(made, setup.read("D", writing), turns=1).verdict for _ in range(30)]
    assert set(verdicts) == {"pass", "fail"}
    foretold = [bool(setup.read("D", writing).findings()) for _ in range(30)]
    assert set(foretold) == {True, False}


def test_a_report_calls_weak_sectors_good_at_the_second_try():
    made, setup = renderer(PLAIN), bench(WEAK)
    number = next(each for each in range(1, 50) if setup.blank("L", each).spots[0].face == 0)
    read = setup.read("D", setup.write("D", setup.blank("L", number), made.layouts["A"]))
    assert {each.kind for each in judged(made, read, "report").findings} == {"soft"}
    assert judged(made, read, "dump").verdict == "pass"  # bare bytes say nothing of tries


def test_a_shedding_disc_has_lost_coating_on_both_faces():
    made, setup = two_sides(), bench(LotQuality(bad=Course(1), scratched=0, weak=0, shedding=1))
    blank = setup.blank("L", 1)
    for name, layout in made.layouts.items():
        read = Read(setup.write("E", blank, layout), "E", 1, (), 0)
        verdict = judged(made, read)
        assert (verdict.side, verdict.verdict, tracks(verdict)) == (name, "fail", read.tracks)
        assert "the disc sheds its coating on track" in read.story


# What stays and what goes


def test_a_blank_keeps_its_defects_on_their_face_through_rewriting_and_turning_over():
    made, setup = two_sides(), bench(LotQuality(bad=Course(1), weak=0, both=0))
    a, b = made.layouts["A"], made.layouts["B"]
    number = next(each for each in range(1, 50) if setup.blank("L", each).spots[0].face == 1)
    blank = setup.blank("L", number)
    for drive in ("D", "E", "D"):
        bad = setup.read("E", setup.write(drive, blank, b))
        good = setup.read("E", setup.write(drive, blank, a, serial("SM-004", 1)))
        assert judged(made, good).verdict == "pass"
        assert tracks(judged(made, bad)) == b.tracks(blank.spots)
        assert bad.causes == {"scratch": "L"} and good.causes == {}


def test_a_writing_that_failed_stays_bad_for_every_drive_and_is_gone_when_it_is_written_again():
    made, setup = two_sides(), bench(drive=DriveQuality(failing_writes=Course(1), failing_reads=Course(0)))
    blank, layout = setup.blank("L", 1), made.layouts["B"]
    bad = setup.write("D", blank, layout)
    for drive in ("D", "E"):
        read = setup.read(drive, bad)
        assert tracks(judged(made, read)) == read.tracks != set()
        assert read.causes == {"write": "D"} and read.story.startswith("D wrote badly on track")
    assert judged(made, setup.read("D", setup.write("E", blank, layout))).verdict == "pass"


def test_a_sound_writing_that_was_read_badly_passes_when_it_is_read_again():
    made, setup = two_sides(), bench(drive=DriveQuality(failing_writes=Course(0), failing_reads=Course(1)))
    writing = setup.write("D", setup.blank("L", 1), made.layouts["A"], serial("SM-004", 1))
    bad, good = setup.read("D", writing), setup.read("E", writing)
    assert (judged(made, bad).verdict, judged(made, good).verdict) == ("fail", "pass")
    assert tracks(judged(made, bad)) == bad.tracks
    assert bad.causes == {"read": "D"} and bad.story.startswith("D read badly on track")


def test_each_head_of_a_two_head_disc_meets_its_own_face():
    made, setup = renderer("mfm-40x9x512-2s"), bench(LotQuality(bad=Course(1), weak=0, both=0))
    heads = set()
    for number in range(1, 9):
        blank = setup.blank("L", number)
        verdict = judged(made, setup.read("D", setup.write("D", blank, made.layouts["A"])))
        assert {head for _, head in tracks(verdict)} == {blank.spots[0].face}
        heads |= {blank.spots[0].face}
    assert heads == {0, 1}


def test_the_story_names_tracks_as_the_geometry_counts_them():
    layout = Layout("A", registry.geometry("gcr4to5-35z"))
    spot = draw_spot(np.random.default_rng(1), 0, "scratch", 3, least=3, band=(11, 13))
    writing = bench().write("D", Blank("L", 1, (spot,)), layout)
    assert Read(writing, "E", 1, (), 0).story == "a scratch on tracks 12-14"
    both = Layout("A", registry.geometry("mfm-40x9x512-2s"))
    dirty = draw_spot(np.random.default_rng(1), 1, "dirt", 1, band=(5, 5))
    assert Read(bench().write("D", Blank("L", 1), both), "E", 1, (dirty,), 0).story == "E's dirty head read badly on track 5 head 1"


# The same seed


def test_the_same_seed_gives_the_same_bytes():
    def evening(seed):
        setup = bench(LotQuality(bad=Course(0.5), shedding=0.3), DriveQuality(failing_writes=Course(0.3), soiling=0.01), seed)
        made = two_sides()
        for number in range(1, 4):
            for layout in made.layouts.values():
                read = setup.read("D", setup.write("D", setup.blank("L", number), layout, serial("SM-004", number)))
                for form in ("capture", "report"):
                    yield made.read_back(read, form).files(f"x-{layout.side}")

    one, two, three = (list(evening(seed)) for seed in (1, 1, 2))
    assert one == two != three
    assert [list(each) for each in one[:2]] == [["x-A.capture"], ["x-A.dump", "x-A.report.csv"]]


def test_no_two_reads_of_a_disc_are_the_same_bytes():
    made, setup = two_sides(), bench()
    writing = setup.write("D", setup.blank("L", 1), made.layouts["A"])
    assert len({made.read_back(setup.read(drive, writing)).data for drive in ("D", "D", "E", "E")}) == 4


def test_a_drive_that_turns_too_fast_has_no_room():
    made, setup = two_sides(), bench(drive=DriveQuality(speed=1.05))
    with pytest.raises(ValueError, match="no room on cylinder 0"):
        made.disc(setup.write("D", setup.blank("L", 1), made.layouts["A"]))
