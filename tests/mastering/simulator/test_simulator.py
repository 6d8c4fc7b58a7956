"""Each named fault of the simulated bench gives the finding that it should, from a seed."""

import numpy as np
import pytest
from bench import IDS, found, judge, judge_dump, master_of

from formats.containers import capture, sector_report
from mastering.simulator import disc, reads


def side_of(name):
    master = master_of(name)
    side = master.sides["A"]
    return master, side, disc.written(side.geometry, side.dump, side.identity)


def verdict(master, made, turns, seed=1, **keys):
    read = capture.read(reads.read_capture(made, np.random.default_rng(seed), turns, **keys), "simulated")
    return judge(master, read)


@pytest.mark.parametrize("name", IDS)
@pytest.mark.parametrize("turns", [1, 1.15, 2.0, 3.7])
def test_a_sound_disc_passes_and_says_that_it_is_simulated(name, turns):
    master, _, made = side_of(name)
    got = verdict(master, made, turns)
    assert (got.verdict, got.simulated) == ("pass", True)


@pytest.mark.parametrize("name", IDS)
def test_a_dead_spot_fails_its_sector_only(name):
    master, side, made = side_of(name)
    sector = side.geometry.addresses[111]
    got = verdict(master, disc.dead_spot(made, sector), 2.2)
    assert found(got) == {sector: "block-check"}


@pytest.mark.parametrize("name", IDS)
def test_a_soft_sector_is_soft_where_it_is_read_often(name):
    master, side, made = side_of(name)
    sector = side.geometry.addresses[222]
    got = verdict(master, disc.soft_sector(made, sector), 4.0)
    assert found(got) == {sector: "soft"}
    assert got.verdict == "marginal"


@pytest.mark.parametrize("name", IDS)
def test_two_soft_sectors_of_one_track_are_both_soft(name):
    master, side, made = side_of(name)
    track = [sector for sector in side.geometry.addresses if (sector.track, sector.head) == (5, 0)]
    got = verdict(master, disc.soft_sector(disc.soft_sector(made, track[1]), track[6]), 4.0)
    assert found(got) == {track[1]: "soft", track[6]: "soft"}


@pytest.mark.parametrize("name", IDS)
@pytest.mark.parametrize("speed", [0.97, 0.99, 1.01])
@pytest.mark.parametrize("turns", [1, 1.2, 3.0])
def test_a_drive_that_turned_a_little_slower_or_faster_wrote_a_sound_disc(name, speed, turns):
    master, side, made = side_of(name)
    other = disc.written(side.geometry, side.dump, side.identity, speed)
    assert len(other.tracks[3, 0]) == int(len(made.tracks[3, 0]) / speed)
    assert verdict(master, other, turns).verdict == "pass"


@pytest.mark.parametrize("name", IDS)
def test_a_drive_that_turned_too_fast_had_no_room(name):
    _, side, _ = side_of(name)
    with pytest.raises(ValueError, match="no room on cylinder 0"):
        disc.written(side.geometry, side.dump, side.identity, 1.1)


@pytest.mark.parametrize("name", [name for name in IDS if "fm-" in name])
def test_blocks_marked_as_deleted_data_are_found(name):
    master, side, _ = side_of(name)
    deleted = {side.geometry.addresses[3], side.geometry.addresses[200]}
    made = disc.written(side.geometry, side.dump, side.identity, deleted=deleted)
    assert found(verdict(master, made, 1.2)) == dict.fromkeys(deleted, "data-mark")


def test_group_codes_have_no_deleted_data():
    _, side, _ = side_of(IDS[0])
    with pytest.raises(ValueError, match="no mark for deleted data"):
        disc.written(side.geometry, side.dump, side.identity, deleted=side.geometry.addresses[:1])


def test_index_marks_stand_a_turn_apart_where_the_track_begins():
    _, _, made = side_of(IDS[0])
    for track in capture.read(reads.read_capture(made, np.random.default_rng(4), 3.7), "simulated").tracks:
        turn = made.tracks[track.cylinder, track.head]
        assert 3 <= len(track.marks) <= 4
        cells = np.unpackbits(np.frombuffer(track.bits, np.uint8))[: track.cells]
        for mark in track.marks[:-1]:
            assert (cells[mark : mark + 300] == turn[:300]).all()
        assert set(np.diff(track.marks).tolist()) == {len(turn)}


@pytest.mark.parametrize("name", IDS)
def test_a_blank_disc_is_blank(name):
    master, side, _ = side_of(name)
    got = verdict(master, disc.blank(side.geometry, np.random.default_rng(2)), 1.2)
    assert got.diagnosis == "blank"


def test_a_reading_that_was_broken_off_is_short():
    master, _, made = side_of(IDS[0])
    assert verdict(master, made, 1.2, cylinders=20).diagnosis == "short"


def test_dumps_reports_and_lost_sectors():
    master, side, _ = side_of(IDS[1])
    unread = dict.fromkeys((side.geometry.addresses[7], side.geometry.addresses[300]), "block-check")
    dump = reads.read_dump(side.geometry, side.dump, unread)
    assert {finding.looks for finding in judge_dump(master, dump).findings} == {"filled"}
    report = sector_report.read(reads.report(side.geometry, unread), "x")
    assert found(judge_dump(master, dump, report)) == unread
    assert judge_dump(master, reads.dropped_sector(side.geometry, side.dump, 100)).diagnosis == "shifted"


def test_a_seed_gives_the_same_read():
    _, _, made = side_of(IDS[0])
    one, two, three = (reads.read_capture(made, np.random.default_rng(seed), 1.2) for seed in (1, 1, 2))
    assert one == two != three
