"""The demo's shop, made once in a run of the tests, whichever of its processes asks first."""

import shutil
from pathlib import Path

import console

from mastering.platform import first_in_queue

NAME = "obverse-demo"
_PATIENCE = 300.0  # seconds: the demo takes two


def shared_demo(tmp_path_factory) -> tuple[Path, str]:
    """The folder in which the demo was made, which no test may change, and what it printed."""
    folder = tmp_path_factory.getbasetemp()
    if folder.name.startswith("popen-"):  # one of several processes: what they share lies above
        folder = folder.parent
    folder = folder / "shared-demo"
    folder.mkdir(exist_ok=True)
    with first_in_queue(folder, _PATIENCE):
        printed = folder / "printed.txt"
        if not printed.exists():
            done = console.run("demo", cwd=folder)
            assert (done.returncode, done.stderr) == (0, "")
            printed.write_text(done.stdout)
    return folder, printed.read_text()


def copied(folder: Path, into: Path) -> Path:
    """A copy of the demo's shop in another folder, to work in; returns the shop."""
    return Path(shutil.copytree(folder / NAME, into / NAME))
