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
@pytest.mark.parametrize("turns", [1.15, 2.0, 3.7])
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
def test_a_blank_disc_is_blank(name):
    master, side, _ = side_of(name)
    got = verdict(master, disc.blank(side.geometry, np.random.default_rng(2)), 1.2)
    assert got.diagnosis == "blank"


def test_a_reading_that_was_broken_off_is_short():
    master, _, made = side_of(IDS[0])
    assert verdict(master, made, 1.2, cylinders=20).diagnosis == "short"


def test_dumps_reports_and_lost_sectors():
    master, side, _ = side_of(IDS[1])
    unread = {side.geometry.addresses[7], side.geometry.addresses[300]}
    dump = reads.read_dump(side.geometry, side.dump, unread)
    assert {finding.looks for finding in judge_dump(master, dump).findings} == {"filled"}
    report = sector_report.read(reads.report(side.geometry, unread), "x")
    assert found(judge_dump(master, dump, report)) == dict.fromkeys(unread, "block-check")
    assert judge_dump(master, reads.dropped_sector(side.geometry, side.dump, 100)).diagnosis == "shifted"


def test_a_seed_gives_the_same_read():
    _, _, made = side_of(IDS[0])
    one, two, three = (reads.read_capture(made, np.random.default_rng(seed), 1.2) for seed in (1, 1, 2))
    assert one == two != three
