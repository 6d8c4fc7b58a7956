"""`obverse check`: whether a master is still what it was built to be."""

from pathlib import Path
from typing import Any

import click

from mastering.cli.output import json_lines, lines, progress
from mastering.master.bag import MasterError, fixity
from mastering.words.masters import UNCHECKED, checks_text


@click.command(short_help="Check a master: its files, fields, volumes and sides.")
@click.argument("master", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each check.")
def command(master: str, as_json: bool) -> int:
    """Check a MASTER: every file's digest, what its captures carry, its volumes, its sides."""
    path = Path(master)
    if not any((path / name).exists() for name in ("bagit.txt", "manifest-sha256.txt", "data")):
        raise MasterError(f"{path}: no master; a master is a folder that `obverse build` made")
    broken = [{"where": wrong.where, "what": wrong.what} for wrong in fixity(path)]
    checks: list[dict[str, Any]] = [{"check": "fixity", "side": None, "ok": not broken, "problems": broken}]
    if not broken:
        from mastering.judging.audit import audit
        from mastering.master.master import open_master

        opened = open_master(path)
        checks += progress(audit(opened), "checks", 3 * len(opened.sides))
    else:
        names = [name for name in "AB" if (path / "data" / f"side-{name}.dump").exists()]
        unchecked = [{"where": "", "what": "not checked: the master's files are not what they were"}]
        checks += [
            {"check": check, "side": name, "ok": False, "problems": unchecked} for name in names for check in ("fields", "volume", "side")
        ]
    if as_json:
        json_lines(checks)
    else:
        lines([*checks_text(checks[: 1 if broken else None]), *([UNCHECKED] if broken else [])])
    return 0 if all(each["ok"] for each in checks) else 1
