"""`drive try`, `drive check`, `drive log`, `lot stop`: a drive is proved by itself before and after its discs."""

import sys

import pytest
from benchtable import Bench
from table import done, said, two_sides

from mastering.simulator.table import hands


@pytest.fixture
def bench(tmp_path) -> Bench:
    return Bench(tmp_path, ("D1", "D2"), good=1)


def rows(bench: Bench, kind: str) -> list[dict]:
    return [line for line in bench.done("ledger", "export").json if line["kind"] == kind]


def tried(bench: Bench) -> tuple[int, list[str]]:
    answer = said("drive", "try", "D1", "--bench", bench.file, folder=bench.folder)
    return answer.status, answer.out


def test_an_empty_drive_and_one_with_a_good_disc(bench):
    status, out = tried(bench)
    assert status == 1 and out[-1].startswith("drive.D1.probe: D1: no disc is in it")
    bench.run()
    hands(bench.place, "insert", "D1", "SM-004-0001-X")
    status, out = tried(bench)
    assert status == 0 and out[-1].startswith("would be taken for: Lamplighter 1.2 A")
    assert rows(bench, "drive-check") == [] and len(rows(bench, "read")) == 2


@pytest.mark.parametrize(
    "changed, to, key",
    [
        (sys.executable, "/no/such/program", "drive.D1.probe"),
        ('"{output}", "--tracks"', '"{output}.x", "--tracks"', "drive.D1.probe"),
        ('"{output}", "--tracks", "{tracks}"', '"{output}", "--bad"', "drive.D1.probe"),
    ],
)
def test_a_mistake_of_a_first_bench_file_is_told_by_its_key(bench, changed, to, key):
    hands(bench.place, "insert", "D1", "SM-004-0001-X")
    text = bench.file.read_text()
    assert changed in text
    bench.file.write_text(text.replace(changed, to))
    status, out = tried(bench)
    assert status == 1 and " ".join(out).find(f"{key}: ") > 0, out


def test_a_hold_ends_with_a_passing_check_of_a_blank_and_not_by_cleaning(bench):
    bench.run()
    serial = "SM-004-0001-X"
    from mastering.ledger.store import Ledger

    with Ledger.open(bench.folder / "ledger.sqlite") as ledger, ledger.write() as writer:
        writer.add({"kind": "hold", "drive": "D1", "serial": serial, "side": "A", "why": "running", "at": "2026-12-01T10:00:00Z"})
    assert "still on hold" in " ".join(bench.done("drive", "log", "D1", "cleaned", "--note", "alcohol").out)
    hands(bench.place, "insert", "D2", "SM-004-0009-7")
    hands(bench.place, "take-out", "D2", "SM-004-0009-7")
    check = ("drive", "check", "D1", two_sides().path, "--bench", bench.file, "--blank", "L-07")
    answer = said(*check, folder=bench.folder)
    assert answer.status == 2 and "no disc is in it" in answer.err[-1] and rows(bench, "drive-check") == []
    hands(bench.place, "insert", "D1", serial)
    answer = said(*check, folder=bench.folder)
    assert answer.status == 2 and "put a fresh blank in; nothing was written" in answer.err[-1] and rows(bench, "drive-check") == []
    hands(bench.place, "take-out-good", "D1", serial)
    hands(bench.place, "insert", "D1", "SM-004-0009-7")
    one = bench.file.read_text().split("[drive.D2]")[0]
    bench.file.write_text(one)  # with one drive the blank is read here
    answer = said(*check, folder=bench.folder)
    assert answer.status == 0 and answer.out == ["drive D1: the check passed; a hold is over"], answer
    assert [row["ok"] for row in rows(bench, "drive-check")] == [True]
    with Ledger.open(bench.folder / "ledger.sqlite") as ledger, ledger.read() as known:
        assert known.held() == set()


def test_a_stopped_lot_gives_no_more_discs(bench):
    bench.done("lot", "stop", "L-07", "--reason", "sheds")
    bench.run()
    assert bench.status == 1 and bench.verdicts() == {}
    bench.done("lot", "release", "L-07")
    bench.run()
    assert bench.status == 0 and list(bench.verdicts().values()) == ["pass"]
    assert done("lot", "discard", "L-07", "--count", 3, "--reason", "mould", folder=bench.folder).out == ["lot L-07: 3 blanks discarded"]
