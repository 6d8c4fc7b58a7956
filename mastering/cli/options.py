"""What several commands share: the ledger's option, how it is opened, JSON."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from formats.words import counted
from mastering.cli.output import message, warning
from mastering.errors import MasteringError, ProblemsError, unknown
from mastering.shop import NAME, VARIABLE, Shop, find

if TYPE_CHECKING:
    from formats.model.geometry import Geometry
    from mastering.ledger.log_writer import LogWriter
    from mastering.ledger.store import Ledger
    from mastering.recording.opening import Rules

Command = TypeVar("Command", bound=Callable[..., Any])


def ledger_option(command: Command) -> Command:
    """Adds the option `--ledger` to a command."""
    return click.option(
        "--ledger", metavar="FILE", help="The ledger; else OBVERSE_LEDGER, else the one of the shop that this folder lies in."
    )(command)


def reason_option(text: str) -> Callable[[Command], Command]:
    """Adds the option `--reason`, which must not be empty; `text`: its help. Lines that are imported may lack a reason."""

    def checked(_ctx: click.Context, _option: click.Parameter, reason: str) -> str:
        if not reason.strip():
            raise click.UsageError("--reason says nothing: it is kept with the disc for good, so say what was seen")
        return reason

    return click.option("--reason", required=True, metavar="TEXT", callback=checked, help=text)


def json_option(text: str) -> Callable[[Command], Command]:
    """Adds the option `--json`; `text`: its help, which says what is printed."""
    return click.option("--json", "as_json", is_flag=True, help=text)


def job_geometries(path: Path) -> "dict[str, Geometry]":
    """The geometries that a job declares, given by its file or its folder. ProblemsError with all that is wrong with them."""
    from formats.volumes.shared.problems import Problems
    from mastering.job.job import parse_file
    from mastering.job.own_geometry import own_geometries

    if path.is_dir():
        path /= "job.toml"
    problems = Problems()
    made = own_geometries(parse_file(path).get("geometry"), problems)
    if problems:
        raise ProblemsError(problems, path)
    return {name: each for name, each in made.items() if each is not None}


def shop() -> Shop:
    """The shop that the current folder belongs to."""
    return find(Path.cwd())


def shelves(given: str | None) -> tuple[Path, ...]:
    """The folders in which masters are looked for: the one given, and the shop's."""
    return tuple(each for each in (Path(given) if given else None, shop().masters) if each is not None)


def open_ledger(given: str | None) -> "Ledger":
    """The ledger that a command works on. MasteringError that says where it was looked for when there is none."""
    from mastering.ledger.store import Ledger

    found = shop()
    path = found.ledger(given)
    if not path.exists():
        raise MasteringError(f"{path}: no such ledger{_where(found, given)}; `obverse shop new DIR` begins a shop with one")
    ledger = Ledger.open(path)
    _tell_changes(ledger)
    return ledger


def _where(found: Shop, given: str | None) -> str:
    """Where a ledger was looked for."""
    if given or os.environ.get(VARIABLE):
        return f" (by {'--ledger' if given else VARIABLE})"
    return f" (by {found.folder / NAME})" if found.known else f" (no {NAME} in {found.folder} or any folder above it)"


def _tell_changes(ledger: "Ledger") -> None:
    """Says which discs' verdicts the rules of this version changed, when a ledger of before was brought to it."""
    if not ledger.changed_verdicts:
        return
    from mastering.words.batches import changed_text

    count = counted(len(ledger.changed_verdicts), "disc")
    warning(f"the ledger was brought to this version; its rules change the verdict of {count}:")
    for change in ledger.changed_verdicts:
        message(f"  {changed_text(change.disc.serial, change.before, change.disc.verdict, change.disc)}")


def geometry_list(text: str | None) -> list[str] | None:
    """Geometry ids from an option: `none` is an empty list. Says so where one is not declared: it may be a job's own."""
    if text is None:
        return None
    ids = [] if text.strip() == "none" else [name.strip() for name in text.split(",")]
    if ids:
        from formats.registry import names

        declared = names("geometries")
        for each in ids:
            if each not in declared:
                warning(f"{each} is no declared geometry; is it one of a job's own? {unknown(each, declared)}")
    return ids


def batch_rules(found: Shop) -> "Rules":
    """What the shop's settings say that a new batch's verdicts depend on."""
    from mastering.recording.opening import Rules

    usual, given = Rules(), found.settings
    return Rules(
        given.get("verify", usual.verify),
        given.get("rewrites", usual.rewrites),
        tuple(given.get("accept", usual.accept)),
        given.get("margin", usual.margin),
        given.get("practice", usual.practice),
    )


def point_in_time(text: str | None, option: str, end: bool = False) -> str | None:
    """A time in UTC from a local day (its first second, or with `end` its last one) or a time. MasteringError when it is none."""
    if text is None:
        return None
    from datetime import date, datetime, time

    from mastering.clock import moment, spelled

    try:
        day = date.fromisoformat(text)
    except ValueError:
        return spelled(moment(text, option))
    local = datetime.combine(day, time(23, 59, 59) if end else time()).astimezone()
    return spelled(moment(local.isoformat(), option))


def stamp(writer: "LogWriter") -> str:
    """The time of a new row. Says so when the clock was set back, as the rows stay in order all the same."""
    from mastering.clock import moment, now

    time = now()
    if writer.last_at is not None and moment(time, "the clock") < moment(writer.last_at, "the ledger"):
        warning(f"the clock says {time}, and the ledger's last row is of {writer.last_at}: see whether the clock is right")
    return time
