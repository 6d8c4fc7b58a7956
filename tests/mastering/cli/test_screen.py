"""What reaches the screen: lines that fit, no control character of a disc's names, progress on a terminal only, no fault as a traceback."""

import ast
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from table import SIDES, Table, one_side, two_sides

from mastering.cli import main, output
from mastering.words.layout import Command, Line, escaped, rendered
from mastering.words.layout import Table as Rows

REPO = Path(__file__).parents[3]
EIGHTY = os.environ | {"COLUMNS": "80", "PYTHONPATH": str(REPO)}


def obverse(*words: object, cwd: Path, **keys) -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "mastering.cli.main", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd, env=EIGHTY, **keys)


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("screen")
    assert obverse("demo", cwd=folder).returncode == 0
    return folder / "obverse-demo"


# Lines fit


@pytest.mark.parametrize("words", [
    "verify masters/lamplighter-1.2 practice --masters masters", "check masters/lamplighter-1.2", "contents masters/lamplighter-1.2",
    "contents practice/SM-004-9005-R-A.dump", "changes masters/lamplighter-1.1 masters/lamplighter-1.2", "find --text LAMP masters",
    "build job.toml --dry-run", "geometries", "geometries gcr4to5-77z-2s", "geometries mfm-80x15x512-2s", "advise --why",
    "plan --boxes 30 --backlog 70", "need --good 60 --lot L-23 --blank-price 1 --disc-price 2", "rates --by lot", "rates --by track",
    "rates --by batch", "batch list", "batch show B-0001", "batch show B-0001 SM-004-0039-5", "identify reads/SM-004-0034-F-A.capture",
    "lot list", "drive list", "ledger check", "demo --out other", "batch --help", "plan --help", "lot add --help",
])  # fmt: skip
def test_every_screen_fits_80_columns(shop, words):
    done = obverse(*words.split(), cwd=shop)
    assert done.returncode in (0, 1) and done.stdout, done.stderr
    assert [line for line in done.stdout.splitlines() if len(line) > 80] == []
    assert "'obverse" not in done.stdout


def test_a_wide_terminal_is_used(shop):
    narrow, wide = (obverse("advise", cwd=shop).stdout, subprocess.run(
        [sys.executable, "-m", "mastering.cli.main", "advise"], capture_output=True, text=True, check=True, cwd=shop,
        env=EIGHTY | {"COLUMNS": "200"},
    ).stdout)  # fmt: skip
    assert len(wide.splitlines()) < len(narrow.splitlines()) and wide.split() == narrow.split()


NAMES = st.text(min_size=1, max_size=60)


@given(st.lists(st.tuples(NAMES, st.integers(0, 10**9), NAMES), min_size=1, max_size=5), st.integers(40, 160))
def test_a_table_fits_and_keeps_its_numbers_whole(rows, columns):
    lines = list(rendered([Rows([("name", "count", "what"), *((name, f"{number:,}", what) for name, number, what in rows)])], columns))
    assert max(map(len, lines)) <= columns
    assert all(re.search(rf"(?<![\d,]){number:,}(?![\d,])", "\n".join(lines)) for _, number, _ in rows)


@given(st.text(max_size=30), st.text(max_size=200), st.integers(20, 160))
def test_a_sentence_fits_whatever_is_in_it(lead, text, columns):
    for block in (Line(lead, text), text, f"    {text}"):
        lines = list(rendered([block], columns))
        assert all(len(line) <= columns and line.isprintable() for line in lines)


def test_a_wrapped_command_is_one_for_a_shell():
    words = ("obverse", "contents", "a file's name", *(f"--option-{number}" for number in range(20)))
    lines = list(rendered([Command("   ", words)], 60))
    assert max(map(len, lines)) <= 60 < len(" ".join(words))
    script = "printf '%s\\n' " + "\n".join(lines).strip().removeprefix("obverse ")
    assert subprocess.run(["sh", "-c", script], capture_output=True, text=True, check=True).stdout.splitlines() == list(words[1:])


# Nothing commands the terminal


CLEAR = "\x1b[2J\x9b2J\r\x07\u202e"


@pytest.mark.parametrize("character", [*map(chr, range(0x20)), "\x7f", "\x9b", "\u202e", "\u2028", "\udcff"])
def test_a_character_that_a_terminal_obeys_is_shown_instead(character):
    assert escaped(f"a{character}b").isprintable() and escaped(f"a{character}b")[0] == "a"


def test_names_of_files_reach_the_terminal_escaped(tmp_path):
    """Of masters left out, of read-backs, of a ledger's import and of a backup's folder."""
    table = Table(tmp_path / f"shop{CLEAR}" if (tmp_path / f"shop{CLEAR}").mkdir() is None else tmp_path, two_sides())
    (table.folder / "shelf" / f"bad{CLEAR}").mkdir(parents=True)
    (table.folder / "shelf" / f"bad{CLEAR}" / "bagit.txt").write_text("")
    (table.folder / f"x{CLEAR}.dump").write_bytes(b"none")
    (table.folder / f"rows{CLEAR}").write_text("{}\n")
    for words in (
        ["verify", table.master.path, table.folder / f"x{CLEAR}.dump", "--masters", table.folder / "shelf"],
        ["contents", table.folder / f"x{CLEAR}.dump"],
        ["ledger", "import", table.folder / f"rows{CLEAR}"],
        ["batch", "close", table.batch],
        ["batch", "record", table.batch, table.folder / f"x{CLEAR}.dump"],
        ["find", "--text", "A", table.folder / f"shelf/bad{CLEAR}"],
        ["check", table.folder / f"shelf/bad{CLEAR}"],
        ["build", table.folder / f"no{CLEAR}.toml", "--dry-run"],
    ):
        answer = table.said(*words) if words[0] in ("ledger", "batch") else obverse(*words, cwd=table.folder)
        text = "\n".join((*answer.out, *answer.err)) if hasattr(answer, "out") else answer.stdout + answer.stderr
        assert text and text.replace("\n", "").isprintable(), words


def test_only_one_module_prints():
    """`print`, `click.echo` and the streams stand in `cli/output.py`, where the streams are made ready, and in the bench's terminal.

    `simulator/table.py` is a program of its own, which the bench runs as it would a real drive's.
    """
    may_print = {"cli/output.py", "cli/main.py", "cli/spread.py", "bench/terminal.py", "simulator/table.py"}
    for path in (REPO / "mastering").rglob("*.py"):
        if path.relative_to(REPO / "mastering").as_posix() in may_print:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            called = ast.unparse(node.func) if isinstance(node, ast.Call) else ""
            assert called not in ("print", "click.echo", "sys.stdout.write", "sys.stderr.write"), f"{path}:{node.lineno}"


# Waits


def on_a_terminal(words: list[str], cwd: Path, wait: str) -> tuple[str, str]:
    """Standard output (no terminal) and what a terminal shows on standard error, with waits shown after so many seconds."""
    ours, theirs = pty.openpty()
    code = f"import sys; from mastering.cli import main, output; output._WAIT = {wait}; sys.exit(main.run(sys.argv[1:]))"
    done = subprocess.Popen([sys.executable, "-c", code, *words], stdout=subprocess.PIPE, stderr=theirs, cwd=cwd, env=EIGHTY)
    os.close(theirs)
    shown = b""
    try:
        while piece := os.read(ours, 4096):
            shown += piece
    except OSError:  # the terminal's other end is closed
        pass
    os.close(ours)
    out, _ = done.communicate()
    return out.decode(), shown.decode()


@pytest.mark.parametrize("words", [
    "verify masters/lamplighter-1.2 practice", "check masters/lamplighter-1.2", "find --text LAMP masters", "build job.toml --dry-run",
    "identify reads/SM-004-0034-F-A.capture reads/SM-004-0034-F-B.capture",
])  # fmt: skip
def test_a_long_wait_is_shown_on_a_terminal_and_leaves_the_output_alone(shop, words):
    out, shown = on_a_terminal(words.split(), shop, "-1")
    assert re.search(r"\d+/\d+ \[", shown), shown
    assert out == obverse(*words.split(), cwd=shop).stdout
    assert "/s]" not in obverse(*words.split(), cwd=shop).stderr


def test_a_short_wait_shows_nothing(shop):
    _, shown = on_a_terminal(["check", "masters/lamplighter-1.2"], shop, "600")
    assert shown == ""


# Faults


def test_a_fault_of_the_program_is_one_line_and_status_2(monkeypatch, capsys):
    monkeypatch.setattr(main.obverse, "invoke", lambda _context: {}["lost"])
    assert main.run(["rates"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "KeyError" in said and "test_screen.py" in said and "report" in said and "Traceback" not in said


@pytest.mark.parametrize("words", ["verify masters/lamplighter-1.2 reads --json", "geometries gcr4to5-77z", "--help", "ledger export"])
def test_a_reader_that_goes_away_is_no_error(shop, words):
    """The status is that of the whole work: a verdict is not lost because nobody read its line."""
    whole = obverse(*words.split(), cwd=shop).returncode
    command = f"{sys.executable} -m mastering.cli.main {words} | true; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False, cwd=shop, env=EIGHTY)
    assert (done.returncode, done.stdout) == (whole, "")
    assert all(line.startswith(("obverse: ", "40", "9")) or "read-backs" in line for line in done.stderr.splitlines())


def test_a_folder_whose_name_is_no_text_is_worked_in(tmp_path):
    folder = os.fsencode(tmp_path) + b"/shop-\xff"
    os.mkdir(folder)  # noqa: PTH102  (a Path holds no such bytes)
    for words in (["new", "title", "--side", f"A={SIDES['B']}:fat12"], ["build", "title/job.toml", "--out", "master"], ["check", "master"],
                  ["lot", "add", "L-1"], ["drive", "add", "D1", "--tpi", "48", "--heads", "1"],
                  ["batch", "open", "master", "--good", "1", "--lot", "L-1", "--drive", "D1"], ["batch", "list"], ["advise"]):  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-m", "mastering.cli.main", *words], capture_output=True, check=False, cwd=folder, env=EIGHTY
        )
        assert done.returncode in (0, 2) and b"Traceback" not in done.stderr and b"a fault of the program" not in done.stderr, done.stderr
        assert done.stderr.count(b"\n") <= 1, done.stderr


@pytest.mark.parametrize("megabytes", [60, 150, 250, 400])
@pytest.mark.parametrize("words", ["advise", "verify masters/lamplighter-1.2 practice", "plan"])
def test_little_memory_is_one_line(shop, megabytes, words):
    code = (
        f"import resource; resource.setrlimit(resource.RLIMIT_AS, ({megabytes} << 20, {megabytes} << 20))\n"
        "import sys; from mastering.cli.main import main; sys.argv[1:] = sys.argv[1:]; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words.split()], capture_output=True, text=True, check=False, cwd=shop, env=EIGHTY, timeout=60
    )
    assert done.returncode in (0, 1, 2)
    assert "Traceback" not in done.stderr
    if done.returncode == 2:
        assert "memory" in done.stderr


def test_the_columns_are_those_of_the_variable_else_80(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "33")
    assert output.columns(sys.stdout) == 33
    for nonsense in ("", "0", "-5", "wide"):
        monkeypatch.setenv("COLUMNS", nonsense)
        assert output.columns(sys.stdout) == 80
    assert one_side() is not None
