"""The README is true: its console blocks, its commands. Run with OBVERSE_REWRITE=1 to write what the program prints now."""

import os
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import click
import pytest
from console import run

from mastering.cli import main

REPO = Path(__file__).parents[2]
README = REPO / "README.md"
GROUPS = {path.name for path in (REPO / "mastering/cli/commands").iterdir() if path.is_dir()}


def obverse(line: str, cwd: Path) -> str:
    """What a command line of the README prints, standard error behind standard output."""
    words = shlex.split(line)
    assert words[0] == "obverse"
    with patch.dict(os.environ, {"COLUMNS": "80"}):
        done = run(*words[1:], cwd=cwd)
    return done.stdout + done.stderr


def console(name: str) -> str:
    """The text of the console block behind a comment of that name."""
    match = re.search(rf"<!-- {name} -->\n```console\n(.*?)```", README.read_text(), re.DOTALL)
    assert match is not None
    return match[1]


def replayed(text: str, cwd: Path) -> str:
    made = ""
    for command in re.findall(r"^\$ (.*)$", text, re.MULTILINE):
        if command.startswith("cd "):
            cwd /= command[3:]
        made += f"$ {command}\n" + ("" if command.startswith("cd ") else obverse(command, cwd))
    return made


def rewrite(before: str, after: str) -> None:
    if os.environ.get("OBVERSE_REWRITE"):
        README.write_text(README.read_text().replace(before, after))


def commands(group: click.Group, path: str = "obverse") -> Iterator[str]:
    """A row of the table for each command: how it is called, and its line of help."""
    context = click.Context(group, info_name=path)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if isinstance(command, click.Group):
            yield from commands(command, f"{path} {name}")
        else:
            arguments = [each.make_metavar(context) for each in command.params if isinstance(each, click.Argument)]
            called = " ".join([path, name, *arguments]).replace("|", "\\|")
            yield f"| `{called}` | {command.short_help} |"


def test_every_console_block_and_every_command_of_the_readme_is_true(tmp_path):
    assert obverse("obverse demo", tmp_path).startswith("Saltmarsh Software")
    names = re.findall(r"<!-- ([\w-]+) -->\n```console", README.read_text())
    assert len(names) == README.read_text().count("```console") >= 4
    for name in names:
        printed = replayed(console(name), tmp_path)
        rewrite(console(name), printed)
        assert console(name) == printed
    rows = re.search(r"<!-- commands -->\n\|.*\n\|.*\n((?:\|.*\n)*)", README.read_text())
    table = "".join(f"{row}\n" for row in commands(main.obverse))
    rewrite(f"| --- | --- |\n{rows[1]}\nSee [DEV", f"| --- | --- |\n{table}\nSee [DEV")
    assert re.search(r"<!-- commands -->\n\|.*\n\|.*\n((?:\|.*\n)*)", README.read_text())[1] == table


def test_every_line_of_the_readme_that_names_a_command_names_one_that_exists():
    known = [" ".join(row.split("`")[1].split()[1:3]) for row in commands(main.obverse)]
    text = "\n".join(re.sub(r"```.*?```", "", path.read_text(), flags=re.DOTALL) for path in (README, REPO / "DEVELOPERS.md"))
    for words in re.findall(r"`obverse ([a-z]+(?: [a-z]+)?)", text):
        assert any(name == words or (name.split()[0] == words.split()[0] and words.split()[0] not in GROUPS) for name in known), words


def test_the_new_title_of_the_readme_builds(tmp_path):
    block = re.search(r"```sh\n(obverse new .*?)```", README.read_text(), re.DOTALL)
    assert block is not None
    for line in block[1].splitlines():
        assert "obverse: " not in obverse(line, tmp_path)
    assert (tmp_path / "lantern-1.0" / "bagit.txt").exists()


def test_the_edition_of_the_readme_builds_behind_the_new_title(tmp_path):
    block = re.search(r"<!-- edition -->\n```toml\n(.*?)```", README.read_text(), re.DOTALL)
    assert block is not None
    obverse("obverse new lantern --side A=gcr4to5-35z:zoned-dos --side B=mfm-40x9x512:fat12", tmp_path)
    with (tmp_path / "lantern" / "job.toml").open("a") as job:
        job.write(block[1])
    (tmp_path / "lantern" / "side-a" / "first-cave.bin").write_bytes(b"a cave")
    assert "Lantern, the first cave 1.0-demo" in obverse("obverse build lantern/job.toml --all --out masters", tmp_path)
    listed = obverse("obverse contents masters/demo", tmp_path)
    assert "FIRST CAVE" in listed and "FIRST.BIN" not in listed


def test_developers_md_names_only_files_that_exist():
    block = re.search(r"## Where things are\n\n(.*?)\n\n##", (REPO / "DEVELOPERS.md").read_text(), re.DOTALL)
    assert block is not None
    named, folder = [], ""
    for line in block[1].splitlines():
        match = re.match(r" {4}( {2})?([\w/.]+)", line)
        if match:
            folder = folder if match[1] else match[2]
            named.append(REPO / (folder + match[2] if match[1] else match[2]))
    missing = [str(path) for path in named if not path.exists()]
    assert missing == []
    assert len(named) > 20


def test_every_decision_is_one_line_with_its_reason_and_the_test_that_holds_it():
    tests = {path.name: path.read_text() for path in (REPO / "tests").rglob("test_*.py")}
    section = re.search(r"## Decisions\n(.*?)\n## ", (REPO / "DEVELOPERS.md").read_text(), re.DOTALL)[1]
    decisions = [line for line in section.splitlines() if line and not line.startswith(("#", "A line each"))]
    assert section.count("### ") == 6 and len(decisions) > 50
    for line in decisions:
        match = re.fullmatch(r"- .+ because .+: `(test_\w+\.py)(?:::(test_\w+))?`\.", line)
        assert match is not None, line
        assert f"def {match[2] or 'test_'}" in tests[match[1]], line


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "pyproject.toml"])
def test_the_top_level_holds_what_it_should(name):
    kept = {
        path.name for path in REPO.iterdir() if not path.name.startswith(".") and path.name not in ("build", "dist", "obverse.egg-info")
    }
    assert kept <= {"README.md", "DEVELOPERS.md", "pyproject.toml", "mastering", "formats", "tests", "jobs_demo", "obverse-demo"}
    assert name in kept
