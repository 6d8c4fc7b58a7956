"""Times between transitions are judged by the same rules as cells: section 6 of the contract, through a drive's noise."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from bench import master_of

from formats import registry
from formats.containers import capture
from formats.containers.shared.times import pack
from formats.errors import ContainerError
from formats.tracks.encode import encode_side
from mastering.judging.evidence import CaptureReadBack
from mastering.judging.verdict import Verdict
from mastering.judging.verify import Verifier
from mastering.words.verdicts import findings_text
from tests.helpers.flux import Noise, erased
from tests.helpers.fluxdisc import backwards, file, media, reads

IDS = registry.names("geometries", foreign=False)
CODES = ("fm-40x10x256", "mfm-40x9x512", "gcr4to5-35z", "gcr6and2-35x16x256", "gcr5and3-35x13x256")
QUIET = Noise(0.03, peak_shift_ns=80, speed=0.004, wow=0.004)


@cache
def disc(name: str, noise: Noise = QUIET):
    """A master and a disc that carries it."""
    master = master_of(name)
    side = master.sides["A"]
    return master, media(side.geometry, side.dump, side.identity, noise)


def judged(master, data: bytes):
    return Verifier(master).judge(CaptureReadBack("copy.capture", capture.read(data, "copy.capture")))


@pytest.mark.parametrize("name", IDS)
def test_sound_tracks_of_every_geometry_pass(name):
    """The first and the last two cylinders; the others were not tried."""
    master = master_of(name)
    side = master.sides["A"]
    chosen = {0, side.geometry.cylinders - 2, side.geometry.cylinders - 1}
    made = media(side.geometry, side.dump, side.identity, QUIET, cylinders=chosen)
    verdict = judged(master, file(reads(made), side.geometry.rpm))
    tracks = {side.geometry.track(cylinder, head) for cylinder in chosen for head in range(side.geometry.heads)}
    assert {finding.kind for finding in verdict.findings} == {"not-tried"}
    assert not {finding.track for finding in verdict.findings} & tracks
    assert verdict.evidence == "flux"


@pytest.mark.parametrize("name", ["gcr4to5-35z", "fm-40x10x256"])
def test_a_sound_disc_passes(name):
    master, made = disc(name)
    verdict = judged(master, file(reads(made)))
    assert (verdict.verdict, verdict.evidence, verdict.action, verdict.findings) == ("pass", "flux", "box", ())


@pytest.mark.parametrize("way", ["one-turn", "three-turns", "no-marks", "backwards", "two-reads", "twice-the-tracks", "lost-mark"])
def test_it_passes_however_it_was_read(way):
    master, made = disc("mfm-40x9x512")
    turns = {"one-turn": 1.15, "three-turns": 3.0, "lost-mark": 4.2}.get(way, 1.3)
    times, changes = reads(made, turns, marks=way != "no-marks"), {}
    if way == "backwards":
        times, changes = tuple(map(backwards, times)), {"reversed": True}
    elif way == "two-reads":
        times += reads(made, 1.2, seed=5)
    elif way == "twice-the-tracks":
        odd = tuple(replace(read, cylinder=2 * read.cylinder + 1) for read in times[:5])
        times, changes = tuple(replace(read, cylinder=2 * read.cylinder) for read in times) + odd, {"tpi": 96.0}
    elif way == "lost-mark":
        times = tuple(replace(read, marks=read.marks[:1] + read.marks[2:]) for read in times)
    assert judged(master, file(times, **changes)).verdict == "pass"


def test_a_disc_read_at_another_nominal_speed_passes():
    """A drive of 360 turns a minute reads a disc for 300: all times are five sixths."""
    master, made = disc("mfm-40x9x512")
    times = tuple(pack(read.cylinder, read.head, 48_000_000, np.concatenate(list(read.intervals())), read.marks) for read in reads(made))
    assert judged(master, file(times, rpm=360)).verdict == "pass"


def test_a_dropout_is_an_unread_sector():
    master, made = disc("mfm-40x9x512")
    spoilt = dict(made) | {(7, 0): erased(made[7, 0], 0.49, 0.495)}
    verdict = judged(master, file(reads(spoilt, 2.4)))
    assert verdict.verdict == "fail"
    assert [(finding.track, finding.kind) for finding in verdict.findings] == [(7, "block-check")]


def test_other_bytes_are_found():
    master, _ = disc("gcr4to5-35z")
    side = master.sides["A"]
    other = bytearray(side.dump)
    other[256 * 100 + 3] ^= 1
    verdict = judged(master, file(reads(media(side.geometry, bytes(other), side.identity, QUIET))))
    assert [(finding.kind, finding.looks) for finding in verdict.findings] == [("differs", None)]
    assert verdict.action == "write-again"


def test_an_empty_read_is_a_turn_on_which_nothing_was_met():
    master, made = disc("mfm-40x9x512")
    times = tuple(read if read.cylinder else pack(0, 0, 40_000_000, np.zeros(0, np.int64)) for read in reads(made))
    verdict = judged(master, file(times))
    assert {(finding.track, finding.kind) for finding in verdict.findings} == {(0, "absent")}


def test_a_disc_with_nothing_but_noise_is_blank():
    master, _ = disc("mfm-40x9x512")
    rng = np.random.default_rng(3)
    times = tuple(pack(cylinder, 0, 40_000_000, rng.integers(20, 4000, 5000)) for cylinder in range(40))
    assert judged(master, file(times)).diagnosis == "blank"


def test_another_geometrys_disc_is_named():
    _, made = disc("gcr6and2-35x16x256")
    assert judged(master_of("mfm-40x9x512"), file(reads(made))).diagnosis == "other-geometry"


def test_a_file_with_cells_too_rests_on_cells():
    master, made = disc("mfm-40x9x512")
    side = master.sides["A"]
    cells = capture.read(capture.write_master(side.geometry, encode_side(side.geometry, side.dump, side.identity)), "m").tracks
    both = capture.write(capture.Capture(300, "both", cells[:20], times=tuple(reads(made))[20:]))
    verdict = judged(master, both)
    assert (verdict.verdict, verdict.evidence) == ("pass", "cells")


def test_days_of_silence_are_an_error_of_one_line():
    master, _ = disc("mfm-40x9x512")
    times = (pack(0, 0, 1, np.array([1, 4_000_000_000])),)
    with pytest.raises(ContainerError, match=r"copy.capture: cylinder 0, head 0: more than 33,554,432 cells"):
        judged(master, file(times))


# What only a second try reads


def test_suspected_noise_left_out_makes_a_sector_soft():
    """Three transitions in a block that were never written, on the only turn: it fails its check, but for them it is right."""
    master, made = disc("mfm-40x9x512")
    medium = made[5, 0]
    at = np.sort(np.append(medium.times, medium.times[np.searchsorted(medium.times, medium.turn * np.array([0.4, 0.41, 0.42]))] + 1000))
    noisy = dict(made) | {(5, 0): replace(medium, times=at)}
    verdict = judged(master, file(reads(noisy, 1.15)))
    assert verdict.verdict == "marginal"
    assert {(finding.track, finding.kind, finding.looks) for finding in verdict.findings} == {(5, "soft", "cleaned")}


def test_a_sector_read_only_from_several_turns_stays_a_failure():
    master, made = disc("mfm-40x9x512")
    side = master.sides["A"]
    worn = media(side.geometry, side.dump, side.identity, Noise(0.155, repeatable=0.1), cylinders={20})
    verdict = judged(master, file(reads(dict(made) | worn, 3.2)))
    assert (verdict.verdict, verdict.action) == ("fail", "read-again")
    failed = [finding for finding in verdict.findings if finding.kind != "soft"]
    assert {finding.track for finding in failed} == {20}
    assert sum(finding.looks == "combined" for finding in failed) > len(failed) / 2
    assert any("several turns are put together" in text for text in findings_text(verdict, master.catalogue, 20))


# How much room is left


def test_a_verdict_says_how_close_its_sectors_are_to_failing():
    """A track with twice the jitter holds the ten worst; the drive is what was put in (speed and wow in percent)."""
    master, made = disc("mfm-40x9x512", Noise(0.05, speed=0.01, wow=0.006))
    side = master.sides["A"]
    worn = media(side.geometry, side.dump, side.identity, Noise(0.1, speed=0.01, wow=0.006), cylinders={12})
    data = file(reads(dict(made) | worn, 3.2))
    verdict = Verifier(master, margins=True).judge(CaptureReadBack("copy.capture", capture.read(data, "copy.capture")))
    line = verdict.plain()
    assert set(line["margin"]) == {"reader", "plain", "worst"}
    assert {each["track"] for each in line["margin"]["worst"][:9]} == {12}
    assert 0 < line["margin"]["worst"][0]["chance"] <= line["margin"]["reader"] <= line["margin"]["plain"] < 1
    assert len(line["margins"]) == 360
    assert line["drive"]["speed"] == pytest.approx(1.0, abs=0.05)
    assert line["drive"]["wow"] == pytest.approx(0.6, abs=0.1)
    assert line["drive"]["jitter"] == pytest.approx(5.0, abs=0.5)
    assert "margins" not in judged(master, data).plain()
    assert Verdict.from_plain(line | {"on_disc": None}).drive == line["drive"]


def test_a_side_with_a_lost_sector_is_lost_again():
    master, made = disc("mfm-40x9x512")
    spoilt = dict(made) | {(7, 0): erased(made[7, 0], 0.49, 0.495)}
    assert judged(master, file(reads(spoilt, 2.4))).margin["reader"] == 1


def test_cells_show_no_margin():
    side = disc("mfm-40x9x512")[0].sides["A"]
    data = capture.write_master(side.geometry, encode_side(side.geometry, side.dump, side.identity))
    assert not {"margin", "drive"} & set(judged(disc("mfm-40x9x512")[0], data).plain())
