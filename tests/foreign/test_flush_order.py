"""The system's own calls, as strace sees them: nothing is printed before all that it tells of was flushed to the disk."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from table import Table, two_sides

CALLS = "openat,write,pwrite64,ftruncate,fsync,fdatasync,unlink,rename,link"
OPENED = re.compile(r'openat\(.*"(?P<path>[^"]+)", [A-Z_|]*O_CREAT.* = \d')
WRITTEN = re.compile(r"(pwrite64|ftruncate|write)\((?P<file>\d+)<(?P<path>[^>]+)>")
FLUSHED = re.compile(r"(fsync|fdatasync)\(\d+<(?P<path>[^>]+)>\) += 0")
MOVED = re.compile(r'(unlink|rename|link)\((?P<paths>"[^)]+")\) += 0')


def printed(table: Table, *words: object, ledger: bool = True) -> int:
    """Runs a command under strace; returns how often it printed, each time with everything in the shop's folder flushed."""
    trace = table.folder.with_suffix(".trace")
    program = [sys.executable, "-m", "mastering.cli.main", *map(str, words), *(["--ledger", str(table.ledger)] if ledger else [])]
    done = subprocess.run(
        ["strace", "-f", "-yy", "-e", f"trace={CALLS}", "-o", trace, *program], capture_output=True, text=True, check=False
    )
    assert done.returncode in (0, 1), done.stderr
    count, dirty = 0, set()
    for line in trace.read_text(errors="replace").splitlines():
        if match := OPENED.search(line):
            dirty |= inside(table, str(Path(match["path"]).parent))
        if match := WRITTEN.search(line):
            if match["file"] in "12":
                count += 1
                assert dirty == set(), f"printed before {dirty} was flushed: {line}"
            dirty |= inside(table, match["path"])
        if match := MOVED.search(line):
            paths = match["paths"].replace('"', "").split(", ")
            dirty -= set(paths)  # what is gone or has another name need not be flushed under the old one
            dirty |= {folder for path in paths for folder in inside(table, str(Path(path).parent))}
        if match := FLUSHED.search(line):
            dirty.discard(match["path"])
    return count


def inside(table: Table, path: str) -> set[str]:
    """The path, when it is the shop's folder or lies in it."""
    return {path} if Path(path).is_relative_to(table.folder) else set()


@pytest.fixture
def table(tmp_path) -> Table:
    return Table(tmp_path, two_sides())


def test_a_read_is_flushed_before_its_line_is_printed(table):
    files = [table.file(f"{serial}-B.dump", table.on_a_day("B", "pass")[0]) for serial in table.serials]
    assert printed(table, "batch", "record", table.batch, *files, "--json") >= len(files)
    assert len(table.reads()) == len(files)


@pytest.mark.parametrize("words", [
    ("batch", "serials", "B-0001"), ("batch", "reject", "B-0001", "SM-004-0001-X", "--by-eye", "--reason", "mould"), ("batch", "close", "B-0001"),
    ("lot", "add", "L-08"), ("ledger", "backup", "{folder}/copy.sqlite"), ("ledger", "import", "{folder}/rows.jsonl"),
])  # fmt: skip
def test_what_a_command_did_is_flushed_before_it_says_so(table, words):
    (table.folder / "rows.jsonl").write_text('{"kind":"lot","name":"L-09","count":1}\n')
    assert printed(table, *(word.format(folder=table.folder) for word in words)) >= 1


def test_a_new_ledger_is_flushed_with_its_folder(table):
    assert printed(table, "shop", "new", table.folder / "shop", ledger=False) >= 1
    assert (table.folder / "shop" / "ledger.sqlite").is_file()


def test_images_and_their_list_are_flushed_before_they_are_named(table):
    assert printed(table, "batch", "image", "B-0001", "--next", "2", "--out", table.folder / "images") >= 1
    assert len(list((table.folder / "images").iterdir())) == 5
