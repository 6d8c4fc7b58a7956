"""The README is true: its commands, its session, its help texts. Run with OBVERSE_REWRITE=1 to write what the program prints now."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

REPO = Path(__file__).parents[2]
README = REPO / "README.md"
COMMANDS = [
    "advise", "batch amend", "batch close", "batch image", "batch list", "batch open", "batch record", "batch reject", "batch serials",
    "batch show", "build", "capture", "changes", "check", "contents", "demo", "drive add", "drive list", "find", "geometries", "identify",
    "ledger backup", "ledger check", "ledger export", "ledger import", "lot add", "lot list", "need", "new", "plan", "rates", "verify",
]  # fmt: skip
ENVIRONMENT = os.environ | {"PYTHONPATH": str(REPO), "COLUMNS": "110"}


def obverse(line: str, cwd: Path) -> str:
    """What a command line of the README prints, standard error behind standard output."""
    words = shlex.split(line)
    assert words[0] == "obverse"
    done = subprocess.run(
        [sys.executable, "-m", "mastering.cli.main", *words[1:]], capture_output=True, text=True, check=False, cwd=cwd, env=ENVIRONMENT
    )
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


def compare(name: str, made: str) -> None:
    if os.environ.get("OBVERSE_REWRITE"):
        text = README.read_text()
        README.write_text(text.replace(f"<!-- {name} -->\n```console\n{console(name)}```", f"<!-- {name} -->\n```console\n{made}```"))
    assert console(name) == made


def test_the_sessions_are_what_the_program_prints(tmp_path):
    assert obverse("obverse demo", tmp_path).startswith("Saltmarsh Software")
    for name in ("session", "batch", "own-batch", "corrections"):
        compare(name, replayed(console(name), tmp_path))


def test_the_geometries_are_those_declared(tmp_path):
    compare("geometries", replayed("$ obverse geometries\n", tmp_path))


def test_the_help_texts_are_the_programs(tmp_path):
    groups = dict.fromkeys(command.split()[0] for command in COMMANDS if " " in command)
    helps = ["obverse --help", *(f"obverse {each} --help" for each in sorted([*COMMANDS, *groups]))]
    compare("help", "\n".join(f"$ {line}\n{obverse(line, tmp_path)}" for line in helps))


def test_every_command_is_documented():
    cli = REPO / "mastering" / "cli" / "commands"
    files = [path for path in cli.rglob("*.py") if re.search(r"^def command\(", path.read_text(), re.MULTILINE)]
    assert sorted(" ".join(path.relative_to(cli).with_suffix("").parts) for path in files) == COMMANDS


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


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "pyproject.toml"])
def test_the_top_level_holds_what_it_should(name):
    kept = {
        path.name for path in REPO.iterdir() if not path.name.startswith(".") and path.name not in ("build", "dist", "obverse.egg-info")
    }
    assert kept <= {"README.md", "DEVELOPERS.md", "pyproject.toml", "mastering", "formats", "tests", "jobs_demo", "obverse-demo"}
    assert name in kept
