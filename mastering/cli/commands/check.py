"""`obverse check`: whether a master is still what it was built to be."""

from pathlib import Path
from typing import Any

import click

from mastering.cli.output import json_lines, lines
from mastering.master.bag import MasterError, fixity


@click.command(short_help="Check a master: its files, fields, volumes and sides.")
@click.argument("master", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each check.")
def command(master: str, as_json: bool) -> int:
    """Check a MASTER: every file's digest, what its captures hold, its volumes, its sides."""
    path = Path(master)
    if not any((path / name).exists() for name in ("bagit.txt", "manifest-sha256.txt", "data")):
        raise MasterError(f"{path}: no master; a master is a folder that `obverse build` made")
    broken = [{"where": wrong.where, "what": wrong.what} for wrong in fixity(path)]
    made: list[dict[str, Any]] = [{"check": "fixity", "side": None, "ok": not broken, "problems": broken}]
    if not broken:
        from mastering.judging.audit import audit
        from mastering.master.master import open_master

        made += audit(open_master(path))
    else:
        names = [name for name in "AB" if (path / "data" / f"side-{name}.dump").exists()]
        untold = [{"where": "", "what": "not checked: the master's files are not what they were"}]
        made += [
            {"check": check, "side": name, "ok": False, "problems": untold} for name in names for check in ("fields", "volume", "side")
        ]
    if as_json:
        json_lines(made)
    else:
        lines(line for each in made for line in _told(each))
    return 0 if all(each["ok"] for each in made) else 1


def _told(made: dict[str, Any]) -> list[str]:
    what = f"side {made['side']}: {'record' if made['check'] == 'side' else made['check']}" if made["side"] else made["check"]
    head = f"{'good' if made['ok'] else 'WRONG':6} {what}"
    return [head, *(f"       {': '.join(filter(None, problem.values()))}" for problem in made["problems"])]
