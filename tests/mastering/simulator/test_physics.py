"""Simulated times: what was put in comes out of the judge's own measurement, and worn drives and shedding lots show."""

from functools import cache

import pytest
from bench import master_of

from formats.containers import capture
from mastering.judging.evidence import CaptureReadBack
from mastering.judging.verify import Verifier
from mastering.simulator.bench import Bench
from mastering.simulator.damage import Blank
from mastering.simulator.physics import Physics
from mastering.simulator.quality import Course, DriveQuality, LotQuality
from mastering.simulator.render import Renderer

NAME = "gcr5and3-35x13x256"
SOUND = {"failing_writes": Course(0), "failing_reads": Course(0)}


@cache
def renderer() -> Renderer:
    return Renderer(master_of(NAME))


def line(drive: DriveQuality, blank: Blank = Blank("L", 1), turns: float = 1.3) -> dict:  # noqa: B008
    bench = Bench(7, {"L": LotQuality(bad=Course(0))}, {"D": drive})
    made = renderer()
    read = bench.read("D", bench.write("D", blank, made.layouts["A"]))
    data = made.read_back(read, "flux", turns).data
    return Verifier(made.master).judge(CaptureReadBack("copy", capture.read(data, "copy"))).plain()


def test_a_sound_disc_passes_and_its_drive_is_as_it_was_drawn():
    verdict = line(DriveQuality(**SOUND, speed=1.012, wobble=0.0, wow=Course(0.006), jitter=Course(0.04)))
    assert (verdict["verdict"], verdict["evidence"], verdict["simulated"]) == ("pass", "flux", True)
    assert verdict["drive"]["speed"] == pytest.approx(1.2, abs=0.1)
    assert verdict["drive"]["wow"] == pytest.approx(0.6, abs=0.1)
    assert verdict["drive"]["jitter"] == pytest.approx(4, abs=0.4)


def test_a_worn_drive_shows_in_the_margin():
    sound, worn = (line(DriveQuality(**SOUND, jitter=Course(share))) for share in (0.03, 0.07))
    assert sound["margin"]["reader"] < worn["margin"]["reader"] / 100
    assert worn["drive"]["jitter"] > 2 * sound["drive"]["jitter"] * 0.9


def test_a_shedding_blank_is_noisier():
    sound, shedding = line(DriveQuality(**SOUND)), line(DriveQuality(**SOUND), Blank("L", 1, shed=0.03))
    assert shedding["drive"]["jitter"] == pytest.approx(1.6 * sound["drive"]["jitter"], rel=0.1)


@pytest.mark.parametrize("values", [{"jitter": 2}, {"speed": 0.04}, {"wow": -0.1}, {"tail": 2}, {"extra": -1}])
def test_what_no_drive_does_is_refused(values):
    with pytest.raises(ValueError, match="Physics"):
        Physics(**values)
