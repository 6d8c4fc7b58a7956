"""Captures that no drive made are judged or refused within bounds: whoever is sent one loses seconds, not the machine."""

import json
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from dataclasses import replace

import flooded
import pytest
from bench import Copy, judge, master_of

from formats.containers.shared.times import Times
from formats.errors import ContainerError

ZONED, FM, MFM = "gcr4to5-35z", "fm-40x16x128", "mfm-40x26x128-288rpm"
# Runs a command in a process of its own and says what it cost: seconds of processor time, MiB, its status and what it printed
MEASURED = """
import json, os, subprocess, sys

def run(command):
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    printed = process.stdout.read(), process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, os.waitstatus_to_exitcode(status), *printed

unit = min(run([sys.executable, "-c", "pass"])[0] for _ in range(3))
print(json.dumps([unit, *run(sys.argv[1:])]))
"""

CAPTURES: dict[str, tuple[str, Callable[[], bytes], str]] = {
    "nothing but marks of identifiers": (ZONED, lambda: flooded.only(ZONED, "tag"), "more than any disc can hold"),
    "nothing but sync marks": (ZONED, lambda: flooded.only(ZONED, "mark"), "more than any disc can hold"),
    "nothing but transitions": (ZONED, lambda: flooded.only(ZONED, "ones"), "blank"),
    "just fewer heads of sectors than are refused": (ZONED, lambda: flooded.heads_of_sectors(ZONED, 360), "block-check"),
    "the same in FM": (FM, lambda: flooded.heads_of_sectors(FM, 345), "block-check"),
    "heads of another code's sectors": (ZONED, lambda: flooded.heads_of_sectors(MFM, 425), "absent"),
    "a good track of another code, over and over": (ZONED, lambda: flooded.good_track(MFM), "absent"),
    "as many reads as a file may hold, with all index marks": (ZONED, lambda: flooded.good_track(ZONED, 60_000, 64), "density"),
}


@pytest.mark.parametrize("called", CAPTURES)
def test_no_capture_takes_more_than_ten_seconds_or_400_mib(called, tmp_path):
    """On a machine that runs `python -c pass` in a hundredth of a second; in its units elsewhere."""
    job, data, said = CAPTURES[called]
    (tmp_path / "x.capture").write_bytes(data())
    command = [sys.executable, "-m", "mastering.cli.main", "verify", str(master_of(job).path), str(tmp_path / "x.capture"), "--json"]
    run = subprocess.run([sys.executable, "-c", MEASURED, *command], capture_output=True, text=True, check=True)
    unit, seconds, memory, status, out, errors = json.loads(run.stdout)
    assert seconds < 10 * max(unit / 0.01, 1) and memory < 400
    assert status in (1, 2) and "Traceback" not in errors
    assert said in out


def test_a_track_with_nine_times_as_many_identifiers_as_have_room_is_refused():
    """Of 16 sectors' heads a good turn has 16; eight times as many on as many cells are still judged, more are no disc's."""
    geometry = master_of(FM).sides["A"].geometry
    copy = Copy(master_of(FM))
    count = len(copy.cells[5, 0])
    identifier, _ = copy.fields(next(each for each in geometry.addresses if copy.place(each) == (5, 0)))
    room = count // 2704 + 1  # FM, 128 bytes: identifier 112, gaps 10 + 11 + 6 + 4 bytes of 16 cells, block 131 * 16
    for times, refused in ((8 * room, False), (8 * room + 1, True)):
        cells = copy.cells[5, 0] * 0
        for number in range(times):
            at = number * (count // times)
            cells[at : at + 112] = copy.cells[5, 0][identifier.start : identifier.end]
        read = copy.capture({(5, 0): [copy.track((5, 0), cells)]})
        if refused:
            with pytest.raises(Exception, match=f"{times} marks of an identifier in {count:,} cells: more than any disc can hold"):
                judge(copy.master, read)
        else:
            assert judge(copy.master, read).verdict == "fail"


@pytest.mark.parametrize("rpm", [5e-324, 1e-300, 1e300, sys.float_info.max])
def test_a_speed_that_no_drive_has_is_no_accident(rpm):
    """Its cells are at no density of any drive's."""
    copy = Copy(master_of(ZONED))
    tracks = {place: [copy.track(place, copy.turns(place, 2.2), False)] for place in copy.cells}
    verdict = judge(copy.master, replace(copy.capture(tracks), rpm=rpm))
    assert {finding.kind for finding in verdict.findings} == {"density"}


@pytest.mark.parametrize("rpm", [5e-324, 1e-300, 1e300, sys.float_info.max])
@pytest.mark.parametrize("ticks", [1, 24_000_000, 2**32 - 1])
@pytest.mark.parametrize("intervals", [(), (96,), (1,) * 500, (96, 192, 144) * 300, (2**32 - 1,) * 3])
def test_times_of_no_drive_are_judged_or_refused(rpm, ticks, intervals):
    copy = Copy(master_of(ZONED))
    packed = zlib.compress(struct.pack(f">{len(intervals)}I", *intervals))
    reads = tuple(Times(cylinder, 0, ticks, len(intervals), packed) for cylinder in (0, 20))
    try:
        verdict = judge(copy.master, replace(copy.capture(), rpm=rpm, tracks=(), times=reads))
    except ContainerError as refused:
        assert "\n" not in str(refused)
    else:
        assert verdict.verdict == "fail"


def test_a_large_capture_is_judged_as_its_parts_are():
    """Reads of tracks are looked through some megabytes at a time: each with its own identifiers, blocks and what was missed."""
    copy = Copy(master_of(ZONED))
    tracks = {}
    for place in copy.cells:
        damaged = copy.turns(place, 40)
        damaged[3 * len(copy.cells[place]) + 5_000 : 3 * len(copy.cells[place]) + 5_200] = 0
        tracks[place] = [copy.track(place, damaged, False)]
    whole = copy.verdict(tracks)
    assert {finding.kind for finding in whole.findings} == {"soft"}
    assert len({finding.track for finding in whole.findings}) == 35
    for place in ((0, 0), (20, 0), (34, 0)):
        alone = copy.verdict({place: tracks[place]})
        assert [each for each in whole.findings if each.track == place[0] + 1] == list(alone.findings)
