"""What several commands share: the ledger's option, how it is opened, JSON."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from mastering.errors import ProblemsError
from mastering.shop import Shop, find

if TYPE_CHECKING:
    from formats.model.geometry import Geometry
    from mastering.ledger.log_writer import LogWriter
    from mastering.ledger.store import Ledger

Command = TypeVar("Command", bound=Callable[..., Any])


def ledger_option(command: Command) -> Command:
    """`--ledger`."""
    return click.option("--ledger", metavar="FILE", help="The ledger; else OBVERSE_LEDGER, else ledger.sqlite in the shop's folder.")(
        command
    )


def reason_option(text: str) -> Callable[[Command], Command]:
    """`--reason`, which must say something; `text` says what of. Lines from elsewhere may lack one."""

    def said(_ctx: click.Context, _option: click.Parameter, reason: str) -> str:
        if not reason.strip():
            raise click.UsageError("--reason says nothing: it is kept with the disc for good, so say what was seen")
        return reason

    return click.option("--reason", required=True, metavar="TEXT", callback=said, help=text)


def json_option(text: str) -> Callable[[Command], Command]:
    """`--json`; `text` says what is printed."""
    return click.option("--json", "as_json", is_flag=True, help=text)


def job_geometries(path: Path) -> "dict[str, Geometry]":
    """The geometries that a job declares, given by its file or its folder. ProblemsError with all that is wrong with them."""
    from mastering.job.job import parse_file
    from mastering.job.own_geometry import own_geometries

    if path.is_dir():
        path /= "job.toml"
    problems: list[str] = []
    made = own_geometries(parse_file(path).get("geometry"), problems)
    if problems:
        raise ProblemsError([f"{path}: {problem}" for problem in problems])
    return {name: each for name, each in made.items() if each is not None}


def shop() -> Shop:
    """The shop that the current folder belongs to."""
    return find(Path.cwd())


def shelves(given: str | None) -> tuple[Path, ...]:
    """The folders in which masters are looked for: the one given, and the shop's."""
    return tuple(each for each in (Path(given) if given else None, shop().masters) if each is not None)


def open_ledger(given: str | None, create: bool = False) -> "Ledger":
    """The ledger that a command works on; only a command that puts something into it makes it."""
    from mastering.ledger.store import Ledger

    return Ledger.open(shop().ledger(given), create)


def stamp(writer: "LogWriter") -> str:
    """The time of a new row. Says so when the clock was set back, as the rows stay in order all the same."""
    from mastering.clock import moment, now

    time = now()
    if writer.last_at is not None and moment(time, "the clock") < moment(writer.last_at, "the ledger"):
        click.echo(
            f"obverse: the clock says {time}, and the ledger's last row is of {writer.last_at}: see whether the clock is right", err=True
        )
    return time
