"""A first bench.toml has mistakes: each is told by its key, all of them at once."""

from pathlib import Path

import pytest

from mastering.bench.settings import load
from mastering.errors import MasteringError, ProblemsError

GOOD = """
[bench]
hold_after = 4
hands = ["hands", "{action}", "{drive}", "{serial}"]
label = ["lp", "{pdf}"]
label_when = "on-pass"

[drive.D1]
index = "ignored"
write = ["writer", "--in", "{dump}", "--face", "{side}"]
read = ["reader", "--out", "{output}"]
probe = ["reader", "--tracks", "{tracks}", "--out", "{output}"]
output = ".dump"
seconds = 90
turns = 2.5
report_line = 'T(?P<track>\\d+) S(?P<sector>\\d+) retry (?P<tries>\\d+)( (?P<failed>given up))?'
clean_line = "^all tracks done"

[drive.R1]
by_hand = "from-r1"
"""


def problems(tmp_path, text: str) -> list[str]:
    path = tmp_path / "bench.toml"
    path.write_text(text)
    with pytest.raises(ProblemsError) as caught:
        load(path)
    return [line.removeprefix(f"{path}: ") for line in str(caught.value).splitlines()]


def test_a_table_with_a_drive_that_this_machine_runs_and_one_with_a_screen_of_its_own(tmp_path):
    (tmp_path / "bench.toml").write_text(GOOD)
    bench = load(tmp_path / "bench.toml")
    assert (bench.hold_after, bench.hold_share, bench.label_when, bench.label) == (4, 0.25, "on-pass", ("lp", "{pdf}"))
    d1, r1 = bench.drives.values()
    assert (d1.name, d1.by_hand, d1.index_needed, d1.output, d1.seconds, d1.turns) == ("D1", None, False, ".dump", 90, 2.5)
    assert d1.write == ("writer", "--in", "{dump}", "--face", "{side}")
    assert (r1.name, r1.by_hand, r1.read) == ("R1", tmp_path / "from-r1", ())


@pytest.mark.parametrize(
    "changed, to, told",
    [
        ('"{side}"', '"{sides}"', "drive.D1.write: {sides}: there is no 'sides'; did you mean side?"),
        ('["writer", "--in", "{dump}"', '["writer", "--in", "in.dump"', "drive.D1.write: {dump} or {capture} is missing"),
        ('"--out", "{output}"]\nprobe', '"--out"]\nprobe', "drive.D1.read: {output} is missing"),
        ('"{action}"', '"{what}"', "bench.hands: {what}: there is no 'what'; there are action, drive, serial, side"),
        ('"{pdf}"', '"file.pdf"', "bench.label: {pdf} is missing"),
        ('".dump"', '".img"', "drive.D1.output: must be '.dump' or '.capture', not '.img'"),
        ('output = ".dump"', 'output = ".capture"', "drive.D1.report_line: is for dumps"),
        ("(?P<track>\\d+)", "(\\d+)", "drive.D1.report_line: has no group (?P<track>...)"),
        ("(?P<tries>", "(?P<attempts>", "drive.D1.report_line: group attempts: there is no 'attempts'"),
        ("(?P<track>\\d+)", "(?P<track>\\d+", "drive.D1.report_line: is no regular expression"),
        ("seconds = 90", "seconds = 0", "drive.D1.seconds: must be more than 0"),
        ("seconds = 90", "second = 90", "drive.D1.second: unknown key; did you mean `seconds`?"),
        ("hold_after = 4", "hold_after = true", "bench.hold_after: must be a whole number, not True"),
        ("turns = 2.5", "turns = 2.5\nreport = true", "drive.D1.report_line: this reader leaves a report of its own"),
        ('by_hand = "from-r1"', 'by_hand = "from-r1"\nread = ["r"]', "drive.R1.read: unknown key"),
        ('by_hand = "from-r1"', "", "drive.R1: neither `write` nor `read` is there"),
        ("[drive.R1]", "[drives.R1]", "drives: there is no 'drives'; did you mean drive?"),
    ],
)
def test_a_mistake_is_told_by_its_key(tmp_path, changed, to, told):
    assert changed in GOOD
    lines = problems(tmp_path, GOOD.replace(changed, to, 1))
    assert any(line.startswith(told) for line in lines), lines


def test_all_mistakes_are_told_at_once(tmp_path):
    text = GOOD.replace('"{side}"', '"{sides}"').replace("hold_after = 4", "hold_after = 0").replace('"from-r1"', "7")
    assert [line.partition(":")[0] for line in problems(tmp_path, text)] == ["bench.hold_after", "drive.D1.write", "drive.R1.by_hand"]


def test_a_bench_without_a_drive_is_none(tmp_path):
    assert problems(tmp_path, "[bench]\n") == ["drive: no drive is named; a table [drive.D1] says how to reach one"]


@pytest.mark.parametrize("data", [b"[bench", b"\xff\xfe", b"x = " + b"[" * 5000, b"x = " + b"9" * 5000])
def test_what_is_no_toml_is_one_line(tmp_path, data):
    (tmp_path / "bench.toml").write_bytes(data)
    with pytest.raises(MasteringError) as caught:
        load(tmp_path / "bench.toml")
    assert "\n" not in str(caught.value) and str(caught.value).startswith(str(tmp_path / "bench.toml"))


def test_the_bench_file_of_the_readme_is_one(tmp_path):
    readme = (Path(__file__).parents[3] / "README.md").read_text()
    (tmp_path / "bench.toml").write_text(readme.split("<!-- bench -->\n```toml\n")[1].split("```")[0])
    drive = load(tmp_path / "bench.toml").drives["D1"]
    assert drive.report_line.search("track 17 sector 4: 9 tries, given up")["failed"]
