"""What is to be written: claimed once, named and listed, and never taken for what was read."""

import csv
import shutil
import subprocess
import sys
import threading

import pytest
from table import Table, capture_of, one_side, said, two_sides

from mastering.files import digest

FIRST, SECOND = "SM-004-0001-X", "SM-004-0002-V"


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides())


def listed(folder) -> list[dict]:
    return list(csv.DictReader((folder / "to-write.csv").read_text().splitlines()))


def test_images_of_the_next_discs_both_sides_with_a_list_beside_them(table):
    out = table.folder / "images"
    lines = table.done("batch", "image", table.batch, "--next", 3, "--out", out, "--json").json
    assert [(line["serial"][7:11], line["side"]) for line in lines] == [(f"000{n}", side) for n in (5, 6, 7) for side in "AB"]
    for line, row in zip(lines, listed(out), strict=True):
        data = (out / row["file"]).read_bytes()
        assert (row["file"], row["serial"], row["side"]) == (f"{line['serial']}-{line['side']}.write.dump", line["serial"], line["side"])
        assert row["digest"] == line["sha256"] == digest(data)
        assert (line["serial"].encode() in data) is line["stamped"] is (line["side"] == "A")
    images = [row for row in table.rows() if row["kind"] == "image"]
    assert [(row["serial"], row["side"], row["sha256"]) for row in images] == [
        (line["serial"], line["side"], line["sha256"]) for line in lines
    ]
    assert table.sound()


def test_more_images_join_the_list_of_their_folder(table):
    out = table.folder / "images"
    table.done("batch", "image", table.batch, "1", "--side", "A", "--out", out)
    table.done("batch", "image", table.batch, FIRST, "--side", "B", "2", "--out", out)
    assert [row["file"] for row in listed(out)] == [f"{FIRST}-A.write.dump", f"{FIRST}-B.write.dump", f"{SECOND}-B.write.dump"]
    assert "exists already" in table.refused("batch", "image", table.batch, FIRST, "--side", "A", "--out", out)


def test_short_names_for_machines_that_take_no_long_ones(table):
    out = table.folder / "images"
    table.done("batch", "image", table.batch, "1", "--short", "IMG", "--out", out)
    assert [row["file"] for row in listed(out)] == ["0001A.IMG", "0001B.IMG"]


def test_captures_and_a_single_file(table):
    out = table.folder / "images"
    [line, _] = table.done("batch", "image", table.batch, "1", "--capture", "--out", out, "--json").json
    assert line["file"].endswith(f"{FIRST}-A.write.capture")
    table.done("batch", "image", table.batch, "2", "--side", "A", "--out", table.folder / "one.capture")
    assert [row["file"] for row in listed(table.folder)] == ["one.capture"]
    assert "2 images" in table.refused("batch", "image", table.batch, "3", "--out", table.folder / "two.dump")


def test_two_commands_never_get_the_same_serial(table):
    def make(number: int) -> None:
        command = [sys.executable, "-m", "mastering.cli.main", "batch", "image", table.batch, "--next", "5"]
        subprocess.run([*command, "--out", table.folder / f"images-{number}", "--ledger", table.ledger], check=True, capture_output=True)

    making = [threading.Thread(target=make, args=(number,)) for number in range(3)]
    for thread in making:
        thread.start()
    for thread in making:
        thread.join()
    serials = [row["serial"] for number in range(3) for row in listed(table.folder / f"images-{number}")]
    assert len(serials) == 30
    assert len(set(serials)) == 15


def test_sides_that_are_good_are_left_out_and_refused_by_name(table):
    table.read(FIRST, "A")
    table.read(FIRST, "B", "fail")
    table.read(FIRST, "B", "fail", tag="2")
    [line] = table.done("batch", "image", table.batch, "1", "--out", table.folder / "images", "--json").json
    assert line["side"] == "B"
    assert "side A is good" in table.refused("batch", "image", table.batch, "1", "--side", "A", "--out", table.folder / "more")
    table.done("batch", "image", table.batch, "1", "--side", "A", "--again", "--out", table.folder / "more")


def test_a_rejected_disc_gets_no_image_until_it_is_restored(table):
    table.done("batch", "reject", table.batch, "1", "--by-eye", "--reason", "mould")
    assert "rejected" in table.refused("batch", "image", table.batch, "1", "--out", table.folder / "images")
    table.done("batch", "amend", table.batch, "1", "--restore", "--reason", "it was another disc")
    table.done("batch", "image", table.batch, "1", "--out", table.folder / "images")


# What is no read


@pytest.fixture
def images(table):
    table.done("batch", "image", table.batch, "1", "2", "--out", table.folder / "images")
    return table.folder / "images"


def test_an_image_is_no_read_by_its_name(table, images):
    """As a new user would: what was about to be written, recorded as a read, passed without any disc."""
    file = images / f"{FIRST}-B.write.dump"
    assert "to be written" in table.record(file).errors[0]
    assert "to be written" in table.record(file, "--disc", "1", "--side", "B").errors[0]
    [answer] = said("verify", table.master.path, file, "--json").json
    assert "to be written" in answer["error"]
    assert "to be written" in said("identify", file, "--masters", table.master.path, "--json").json[0]["error"]
    assert table.reads() == []


def test_a_whole_folder_of_images_holds_no_read(table, images):
    answer = table.record(images)
    assert (answer.status, len(answer.errors), answer.reads) == (2, 4, [])
    assert said("verify", table.master.path, images, "--json").status == 2


def test_an_image_is_no_read_by_the_list_of_its_folder(table, images):
    copy = images / f"{FIRST}-B.dump"
    shutil.copy(images / f"{FIRST}-B.write.dump", copy)
    assert "to-write.csv" in table.record(copy).errors[0]
    assert "to-write.csv" in said("identify", copy, "--masters", table.master.path, "--json").json[0]["error"]
    out = table.folder / "short"
    table.done("batch", "image", table.batch, "3", "--short", "IMG", "--out", out)
    assert "to-write.csv" in table.record(out / "0003A.IMG", "--disc", "3", "--side", "A").errors[0]
    assert "to-write.csv" in said("verify", table.master.path, out / "0003A.IMG", "--json").json[0]["error"]
    assert table.reads() == []


def test_a_broken_list_is_told_and_nothing_beside_it_is_taken(table, images):
    (images / "to-write.csv").write_text("what,ever\n1,2\n")
    shutil.copy(images / f"{FIRST}-B.write.dump", images / f"{FIRST}-B.dump")
    assert "no list of images" in table.record(images / f"{FIRST}-B.dump").errors[0]
    assert "no list of images" in said("verify", table.master.path, images / f"{FIRST}-B.dump", "--json").json[0]["error"]


def test_no_drive_gives_a_files_cells_back(table):
    out = table.folder / "images"
    table.done("batch", "image", table.batch, "1", "--capture", "--out", out)
    for number, side in enumerate("AB"):
        copy = table.file(f"{FIRST}-{side}.capture", (out / f"{FIRST}-{side}.write.capture").read_bytes())
        assert "no drive gives a file's cells back" in table.record(copy).errors[0], number
    own = table.file(f"{SECOND}-B.capture", (table.master.path / "data" / "side-B.capture").read_bytes())
    assert "no drive gives a file's cells back" in table.record(own).errors[0]
    assert table.record(table.file(f"{SECOND}-B-2.capture", capture_of(table.master, "B"))).status == 0


def test_the_same_file_under_another_name_is_refused(table):
    read = table.file(f"{FIRST}-B.dump", table.on_a_day("B", "pass")[0])
    assert table.record(read).status == 0
    linked = table.folder / f"{SECOND}-B.dump"
    linked.hardlink_to(read)
    assert f"the same file as {FIRST}-B.dump" in table.record(linked).errors[0]
    assert table.record(read).reads[0]["again"] is True


def test_a_dump_whose_name_was_used_again_is_a_new_read_when_that_is_said(table):
    read = table.file(f"{FIRST}-B.dump", table.on_a_day("B", "pass")[0])
    table.record(read)
    assert table.record(read).reads[0]["again"] is True
    assert table.record(read, "--new-read").reads[0]["read"] == 2
    taken = table.file(f"{FIRST}-B.capture", capture_of(table.master, "B"))
    table.record(taken)
    assert table.record(taken, "--new-read").reads[0]["again"] is True  # no two captures are alike


def test_a_report_beside_its_dump_has_a_digest_of_its_own(table):
    [line] = table.read(FIRST, "B", "marginal").reads
    report = table.folder / f"{FIRST}-B.report.csv"
    assert line["file_sha256"] == digest((table.folder / f"{FIRST}-B.dump").read_bytes())
    assert line["report_sha256"] == digest(report.read_bytes())
    report.write_text(report.read_text().replace(",1\n", ",2\n", 1))
    assert "again" not in table.record(table.folder / f"{FIRST}-B.dump").reads[0]


def test_a_batch_of_a_master_without_slots_warns_and_takes_its_own_dumps(tmp_path):
    table = Table(tmp_path, one_side())
    answer = table.done("batch", "open", table.master.path, "--good", 1, "--lot", "L-07", "--drive", "D1")
    assert "can't be told apart" in answer.err[0]
    assert table.read(table.serials[0], "A").discs[0]["verdict"] == "pass"
