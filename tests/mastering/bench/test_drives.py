"""What a drive's command left behind is a read-back, or the guard that says why it is none."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from formats import registry
from formats.containers import sector_report
from formats.model.geometry import Address
from mastering.bench.drives import GuardError, check_ended, filled, least_seconds, read_file, refuse_stale
from mastering.bench.settings import Drive, load
from mastering.command import Ended, Running

MFM = registry.geometry("mfm-40x9x512")
TWO_HEADS = registry.geometry("mfm-40x9x512-2s")
DONE = Ended("ended", 0, 60.0, "")


@pytest.fixture
def drive(tmp_path) -> Drive:
    (tmp_path / "bench.toml").write_text(
        '[drive.D1]\nread = ["reader", "{output}"]\noutput = ".dump"\nclean_line = "^all done"\n'
        "report_line = 'T(?P<track>\\d+)(\\.(?P<head>\\d))? S(?P<sector>\\d+) (?P<tries>\\d+)? ?(?P<failed>given up)?'\n"
    )
    return load(tmp_path / "bench.toml").drives["D1"]


def dump(tmp_path: Path) -> Path:
    path = tmp_path / "SM-004-0007-L-A-1.dump"
    path.write_bytes(bytes(MFM.dump_bytes))
    return path


def guard(*arguments, **named) -> tuple[str, str]:
    with pytest.raises(GuardError) as caught:
        read_file(*arguments, **named)
    return caught.value.kind, str(caught.value)


def test_a_value_with_spaces_or_braces_stays_one_argument_and_is_not_filled_in_again():
    assert filled(["--in", "{dump}", "side={side}{side}"], {"dump": "my shop/{side} x.dump", "side": "B"}) == [
        "--in", "my shop/{side} x.dump", "side=BB",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "ended, kind",
    [
        (Ended("ended", 3, 1.0, ""), "not-ready"),
        (Ended("ended", 4, 1.0, ""), "no-disc"),
        (Ended("ended", 1, 1.0, "head stuck\n"), "command-failed"),
        (Ended("ended", -9, 1.0, ""), "command-failed"),
        (Ended("time-limit", None, 120.0, ""), "command-failed"),
        (Ended("stopped", None, 1.0, ""), "command-failed"),
        (Ended("not-started", None, 0.0, "reader: No such file or directory"), "command-failed"),
    ],
)
def test_a_command_that_did_not_end_well_stops_at_its_guard(ended, kind):
    with pytest.raises(GuardError) as caught:
        check_ended(ended, Drive("D1"))
    assert caught.value.kind == kind and "D1" in str(caught.value)
    assert "head stuck" in str(caught.value) or "head stuck" not in ended.console


def test_a_command_that_ended_well_and_left_nothing_did_nothing(tmp_path):
    assert guard(DONE, Drive("D1"), tmp_path / "none.capture", MFM, 0.0, None)[0] == "nothing-done"


def test_a_disc_can_not_be_read_faster_than_it_turns():
    assert least_seconds(MFM, 1.0) == pytest.approx(40 * 0.2 / 1.03)
    assert least_seconds(TWO_HEADS, 2.5) == pytest.approx(2.5 * 80 * 0.2 / 1.03)
    assert least_seconds(MFM, 1.0, 2) == pytest.approx(0.4 / 1.03)
    assert least_seconds(MFM, 0) == 0


def test_a_read_that_was_faster_than_that_never_touched_the_disc(tmp_path):
    kind, say = guard(replace(DONE, seconds=7.7), Drive("D1", output=".dump"), dump(tmp_path), MFM, least_seconds(MFM, 1.0), None)
    assert kind == "too-fast" and "7.7 seconds; the disc needs 7.8" in say
    assert read_file(replace(DONE, seconds=7.8), Drive("D1", output=".dump"), dump(tmp_path), MFM, least_seconds(MFM, 1.0), None)


def test_a_file_that_was_there_before_is_no_read(tmp_path):
    refuse_stale(tmp_path / "new.dump")
    with pytest.raises(GuardError) as caught:
        refuse_stale(dump(tmp_path))
    assert caught.value.kind == "stale-file"


def test_a_capture_that_is_the_image_cell_by_cell_was_not_read_from_a_disc(tmp_path):
    path = tmp_path / "x.capture"
    path.write_bytes(b"cells of the image")
    assert guard(DONE, Drive("D1"), path, MFM, 0.0, b"cells of the image")[0] == "written-file"
    assert read_file(DONE, Drive("D1"), path, MFM, 0.0, b"cells of the imagE") == path


def test_a_reader_with_reports_of_its_own_has_read_nothing_without_one(tmp_path):
    reader = Drive("D1", output=".dump", report=True)
    path = dump(tmp_path)
    assert guard(DONE, reader, path, MFM, 0.0, None)[0] == "nothing-done"
    path.with_suffix(".report.csv").write_text("track,head,sector,state,tries\n")
    assert read_file(DONE, reader, path, MFM, 0.0, None) == path


def test_console_lines_become_the_report_of_the_dump(tmp_path, drive):
    path = dump(tmp_path)
    console = "T3.0 S5 4\nT3.0 S6 9 given up\nT12 S1 \nT12 S1 2\nchatter\nall done\n"
    assert read_file(replace(DONE, console=console), drive, path, MFM, 0.0, None) == path
    report = sector_report.read(path.with_suffix(".report.csv").read_bytes(), "report")
    assert len(report.rows) == 360
    states = {address: row for address, row in report.rows.items() if row != ("good", 1)}
    assert states == {Address(3, 0, 5): ("good", 4), Address(3, 0, 6): ("unread", None), Address(12, 0, 1): ("unread", None)}


def test_a_console_without_its_clean_line_leaves_a_dump_of_which_nothing_is_sure(tmp_path, drive):
    path = dump(tmp_path)
    read = read_file(replace(DONE, console="T3.0 S5 4\n"), drive, path, MFM, 0.0, None)
    assert read == path and not path.with_suffix(".report.csv").exists()


@pytest.mark.parametrize("line", ["T40 S1 2", "T3.1 S5 2", "T3.0 S0 2", "T9999999999 S1 2"])
def test_a_console_line_about_a_sector_that_no_such_disc_has_means_that_the_pattern_is_wrong(tmp_path, drive, line):
    assert guard(replace(DONE, console=f"{line}\nall done\n"), drive, dump(tmp_path), MFM, 0.0, None)[0] == "command-failed"


def test_a_real_program_is_filled_in_run_and_read(tmp_path):
    output = tmp_path / "a disc.capture"
    command = [sys.executable, "-c", "import sys; open(sys.argv[1], 'wb').write(b'cells')", "{output}"]
    refuse_stale(output)
    ended = Running(filled(command, {"output": str(output)}), 20).wait()
    assert read_file(ended, Drive("D1"), output, MFM, 0.0, None).read_bytes() == b"cells"
