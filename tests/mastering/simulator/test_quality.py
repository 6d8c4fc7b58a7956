"""Lots and drives come out as they were declared: rates, clumps, ramps, dirt. Every bound is the sampling error of its own count."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest, chi2_contingency

from formats import registry
from mastering.simulator.bench import Bench, Wear
from mastering.simulator.chance import chance, generator
from mastering.simulator.damage import Layout, draw_spot
from mastering.simulator.quality import INNER_BOX, Course, DriveQuality, LotQuality

A, B = Layout("A", registry.geometry("gcr4to5-35z")), Layout("B", registry.geometry("gcr6and2-35x16x256"))
TWO_HEADS = Layout("A", registry.geometry("mfm-40x9x512-2s"))
NEVER = DriveQuality(failing_writes=Course(0), failing_reads=Course(0))


def as_declared(count, of, share):
    """Whether a count is what a share gives, but for its sampling error."""
    return binomtest(count, of, share).pvalue > 0.001


def bench(lot=None, drive=NEVER, seed=3):
    return Bench(seed, {"L": lot or LotQuality(bad=Course(0))}, {"D": drive})


def blanks(quality, count, seed=3):
    made = bench(quality, seed=seed)
    return [made.blank("L", number) for number in range(1, count + 1)]


def writes(made, count, layout=A, blank=1):
    return [made.write("D", made.blank("L", blank), layout) for _ in range(count)]


# Chance


def test_chance_is_evenly_spread_and_its_words_keep_their_borders():
    drawn = [chance(1, "blank", "L-07", number) for number in range(20_000)]
    assert 0 <= min(drawn) and max(drawn) < 1
    counts = np.histogram(drawn, 10, (0, 1))[0]
    assert chi2_contingency([counts, np.full(10, 2000)]).pvalue > 0.001
    assert len({chance(1, "a", "b"), chance(1, "ab"), chance(1, "a", 1), chance(1, "a", "1"), chance(2, "a", "b")}) == 5
    assert generator(1, "a").random() == generator(1, "a").random() != generator(2, "a").random()


# Lots


@pytest.mark.parametrize("share", [0.0, 0.03, 0.15, 1.0])
@pytest.mark.parametrize("clumped", [0.0, 0.5, 1.0])
def test_a_lot_has_the_share_of_bad_blanks_that_was_declared(share, clumped):
    quality = LotQuality(bad=Course(share), clumped=clumped, dense=1.0 if share == 1 else 0.5)
    bad = [bool(blank.spots) for blank in blanks(quality, 5000)]
    if not clumped or share in (0, 1):
        assert as_declared(sum(bad), 5000, share)
    else:  # whole inner boxes are the draws then: their own scatter says how far the mean may be off
        boxes = np.reshape(bad, (-1, INNER_BOX)).mean(axis=1)
        assert abs(boxes.mean() - share) < 3.3 * boxes.std() / len(boxes) ** 0.5


def test_clumps_are_inner_boxes():
    def boxes(clumped):
        bad = [bool(blank.spots) for blank in blanks(LotQuality(bad=Course(0.06), clumped=clumped, dense=0.6), 10_000)]
        return np.reshape(bad, (-1, INNER_BOX)).sum(axis=1)

    lone, clumps = boxes(0.0), boxes(0.8)
    binomial = INNER_BOX * 0.06 * 0.94
    assert 0.85 * binomial < lone.var() < 1.15 * binomial
    assert clumps.var() > 3 * binomial
    assert np.mean(clumps >= 4) == pytest.approx(0.06 * 0.8 / 0.6 * 0.945, abs=0.025)  # of the bad boxes, those with 4 or more of 10 at 0.6
    assert max(lone) < 6 <= max(clumps)


def test_an_inner_box_is_ten_blanks_in_a_row():
    made = bench()
    assert [made.blank("L", number).inner_box for number in (1, 10, 11, 20, 21)] == [1, 1, 2, 2, 3]


def test_a_lot_that_turns_bad_at_a_blank_is_bad_from_the_next_on():
    bad = [bool(blank.spots) for blank in blanks(LotQuality(bad=Course(0.03, 0.25, since=2000)), 4000)]
    assert as_declared(sum(bad[:2000]), 2000, 0.03)
    assert as_declared(sum(bad[2000:]), 2000, 0.25)


def test_kinds_of_defect_come_in_their_shares_on_their_faces():
    quality = LotQuality(bad=Course(1.0), scratched=5, weak=3, shedding=2, both=0.25, shed=0.07)
    made = blanks(quality, 4000)
    kinds = [blank.spots[0].cause for blank in made]
    for kind, share in (("scratch", 0.5), ("weak", 0.3), ("shedding", 0.2)):
        assert as_declared(kinds.count(kind), 4000, share)
    assert quality.unusable() == pytest.approx(0.7)
    for blank, kind in zip(made, kinds, strict=True):
        assert {spot.cause for spot in blank.spots} == {kind}
        assert blank.shed == (0.07 if kind == "shedding" else 0)
    both = [len({spot.face for spot in blank.spots}) == 2 for blank in made]
    scratched = [two for two, kind in zip(both, kinds, strict=True) if kind == "scratch"]
    assert as_declared(sum(scratched), len(scratched), 0.25)
    assert all(two for two, kind in zip(both, kinds, strict=True) if kind == "shedding")
    faces = [blank.spots[0].face for blank, two in zip(made, both, strict=True) if not two]
    assert as_declared(sum(faces), len(faces), 0.5)


def test_a_scratch_kills_the_same_few_sectors_of_several_neighbouring_tracks():
    for blank in blanks(LotQuality(bad=Course(1.0), weak=0, both=0), 200):
        layout = A if blank.spots[0].face == 0 else B
        tracks = sorted(track for track, _ in layout.tracks(blank.spots))
        assert 3 <= len(tracks) <= 8 and tracks == list(range(tracks[0], tracks[-1] + 1))
        hit = layout.touched(blank.spots, 1.0)
        by_track = [{sector for track, _, sector in hit if track == each} for each in tracks]
        if layout is B:  # no zones: the same sectors on each
            assert all(each == by_track[0] for each in by_track)
        assert all(1 <= len(each) <= 4 for each in by_track)


@pytest.mark.parametrize("name", registry.names("geometries"))
@pytest.mark.parametrize("speed", [0.97, 1.0])
def test_every_defect_meets_a_sector_of_every_geometry(name, speed):
    layouts = [Layout(side, registry.geometry(name)) for side in ("A", "B")]
    for blank in blanks(LotQuality(bad=Course(1.0), shedding=0.2), 150):
        for layout in layouts[: 3 - layouts[0].geometry.heads]:
            for spot in blank.spots:
                hit = layout.touched([spot], speed)
                assert {(track, head) for track, head, _ in hit} == layout.tracks([spot])
                assert bool(hit) == (spot.face in layout.faces)


def test_a_scratch_lies_at_the_same_radius_whatever_the_steps_of_the_drive():
    coarse = registry.geometry("mfm-40x9x512")
    fine = replace(coarse, tpi=96, zones=(replace(coarse.zones[0], last=79),))
    spot = draw_spot(generator(1), 0, "scratch", 3, least=3, band=(20, 22))
    assert Layout("A", coarse).tracks([spot]) == {(track, 0) for track in (20, 21, 22)}
    assert Layout("A", fine).tracks([spot]) == {(track, 0) for track in range(40, 46)}


def test_a_blank_is_the_same_whenever_it_is_asked_for():
    quality = LotQuality(bad=Course(0.5), clumped=0.5, dense=1.0)
    forwards, other = bench(quality), bench(quality)
    backwards = [other.blank("L", number) for number in range(60, 0, -1)][::-1]
    assert [forwards.blank("L", number) for number in range(1, 61)] == backwards
    assert backwards != blanks(quality, 60, seed=4)


# Drives


def test_a_drive_fails_as_often_as_was_declared_in_writing_and_in_reading():
    made = bench(drive=DriveQuality(failing_writes=Course(0.1), failing_reads=Course(0.04)))
    written = writes(made, 3000)
    assert as_declared(sum(bool(writing.own) for writing in written), 3000, 0.1)
    reads = [made.read("D", written[0]) for _ in range(3000)]
    assert as_declared(sum(bool(read.own) for read in reads), 3000, 0.04)
    assert made.wear["D"].uses == 6000
    assert {spot.cause for writing in written for spot in writing.own} == {"write"}
    assert {spot.cause for read in reads for spot in read.own} == {"read"}


def test_a_ramp_ramps():
    course = Course(0.03, 0.20, since=100, until=300)
    assert [course.at(number) for number in (1, 100, 200, 300, 5000)] == pytest.approx([0.03, 0.03, 0.115, 0.20, 0.20])
    made = bench(drive=DriveQuality(failing_writes=Course(0.03, 0.43, since=2000, until=4000)))
    failed = [bool(writing.own) for writing in writes(made, 6000)]
    assert as_declared(sum(failed[:2000]), 2000, 0.03)
    assert as_declared(sum(failed[4000:]), 2000, 0.43)
    quarters = [sum(failed[first : first + 500]) for first in range(2000, 4000, 500)]
    assert quarters == sorted(quarters)
    assert all(as_declared(count, 500, share) for count, share in zip(quarters, (0.08, 0.18, 0.28, 0.38), strict=True))


def test_a_biased_drive_fails_on_one_side_or_head():
    lopsided = DriveQuality(failing_writes=Course(0.2), failing_reads=Course(0), bias=0.8)
    made = bench(drive=lopsided)
    assert as_declared(sum(bool(each.own) for each in writes(made, 2000, A)), 2000, 0.2 * 2 * 0.2)
    assert as_declared(sum(bool(each.own) for each in writes(made, 2000, B)), 2000, 0.2 * 2 * 0.8)
    failed = [each for each in writes(made, 4000, TWO_HEADS) if each.own]
    assert as_declared(len(failed), 4000, 0.2)
    assert as_declared(sum(each.own[0].face for each in failed), len(failed), 0.8)


def test_failures_of_a_drive_with_a_worn_place_lie_there():
    made = bench(drive=DriveQuality(failing_writes=Course(0.5), band=(20, 22)))
    spots = [spot for writing in writes(made, 500) for spot in writing.own]
    assert {track for track, _ in A.tracks(spots)} == {21, 22, 23}


def test_a_drive_is_off_its_speed_by_no_more_than_its_wobble():
    speeds = [writing.speed for writing in writes(bench(drive=DriveQuality(speed=1.004, wobble=0.003)), 500)]
    assert 1.001 <= min(speeds) < 1.0015 and 1.0065 < max(speeds) <= 1.007


def test_what_a_drive_does_depends_on_its_own_uses_only():
    drives = {"D1": DriveQuality(failing_writes=Course(0.3)), "D2": DriveQuality(failing_writes=Course(0.3))}
    one, two = (Bench(5, {"L": LotQuality(bad=Course(0))}, drives) for _ in range(2))
    blank = one.blank("L", 1)
    alone = [one.write("D1", blank, A) for _ in range(50)]
    mixed = [[two.write(drive, blank, A) for drive in ("D2", "D1")][1] for _ in range(50)]
    assert alone == mixed


def test_a_bench_that_was_put_away_goes_on_where_it_stopped():
    drive = DriveQuality(failing_writes=Course(0.1, 0.5, until=60), soiling=0.01)
    whole, first = bench(drive=drive), bench(drive=drive)
    expected = writes(whole, 60)
    begun = writes(first, 30)
    second = Bench(3, first.lots, first.drives, wear=dict(first.wear))
    assert begun + writes(second, 30) == expected


# Dirt


def test_a_shedding_blank_soils_the_drive_for_the_discs_after_it_until_it_is_cleaned():
    made = Bench(2, {"GOOD": LotQuality(bad=Course(0)), "BAD": LotQuality(bad=Course(1), scratched=0, weak=0, shedding=1, shed=0.1)}, {"D": NEVER, "E": NEVER})  # fmt: skip
    good, shedding = made.blank("GOOD", 1), made.blank("BAD", 1)
    assert not any(made.write("D", good, A).own for _ in range(500))
    assert made.write("D", shedding, A).own == ()  # its own dirt is for the next ones
    made.write("D", shedding, B)
    assert made.wear["D"] == Wear(502, 0.2)
    dirty = [made.write("D", good, A) for _ in range(1000)]
    assert as_declared(sum(bool(each.own) for each in dirty), 1000, 0.2)
    assert {spot.cause for each in dirty for spot in each.own} == {"dirt"}
    assert not any(made.write("E", good, A).own for _ in range(500))  # another drive stays clean
    made.clean("D")
    assert made.wear["D"] == Wear(1502, 0.0)
    assert not any(made.write("D", good, A).own for _ in range(500))


def test_dirt_builds_up_with_use():
    made = bench(drive=DriveQuality(failing_writes=Course(0), failing_reads=Course(0), soiling=0.0002))
    failed = [bool(each.own) for each in writes(made, 2000)]
    assert as_declared(sum(failed[:1000]), 1000, 0.1)
    assert as_declared(sum(failed[1000:]), 1000, 0.3)


def test_a_shedding_blanks_own_dirt_is_for_the_discs_after_it():
    shedding = LotQuality(bad=Course(1), scratched=0, weak=0, shedding=1, shed=0.9)
    made = Bench(2, {"L": shedding}, {f"D{number}": NEVER for number in range(50)})
    assert not any(made.write(drive, made.blank("L", 1), A).own for drive in made.drives)
    assert as_declared(sum(bool(made.write(drive, made.blank("L", 1), A).own) for drive in made.drives), 50, 0.9)


# What can't be


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Course(1.2), "before is a share from 0 to 1, not 1.2"),
        (lambda: Course(0.1, float("nan")), "after is a share"),
        (lambda: LotQuality(both=-0.1), "both is a share"),
        (lambda: LotQuality(scratched=0, weak=0, shedding=0), "one above"),
        (lambda: LotQuality(bad=Course(0.9), clumped=0.9, dense=0.5), "there are not so many inner boxes"),
        (lambda: LotQuality(clumped=0.5, dense=0), "dense"),
        (lambda: DriveQuality(bias=2), "bias is a share"),
        (lambda: DriveQuality(speed=0), "a speed of 0 is none"),
        (lambda: DriveQuality(band=(5, 4)), "the band 5 to 4 holds no track"),
    ],
)
def test_what_can_not_be_is_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
