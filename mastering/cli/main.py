"""The entry: finds the command, turns errors into one line and an exit status."""

import errno
import gc
import io
import os
import sys
import warnings
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any, TextIO

import click

from formats.errors import DeclarationWarning, FormatsError
from mastering.cli import output
from mastering.errors import MasteringError, ProblemsError, unknown

_SETTINGS = {"help_option_names": ["-h", "--help"], "max_content_width": 110}
INTERRUPTED = 130
FAILED = 2


class Commands(click.Group):
    """The commands by the files in a folder, groups by the folders in it; each is loaded when it is asked for."""

    def __init__(self, package: str = "mastering.cli.commands", folder: Path = Path(__file__).parent / "commands", **settings: Any) -> None:
        super().__init__(**settings)
        self._package, self._folder = package, folder

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands' and groups' names."""
        files = {path.stem for path in self._folder.glob("*.py")} - {"__init__"}
        return sorted(files | {path.parent.name for path in self._folder.glob("*/__init__.py")})

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that was named. UsageError when there is none of that name, with the nearest one."""
        if args and not args[0].startswith("-") and args[0] not in (names := self.list_commands(ctx)):
            raise click.UsageError(unknown(args[0], names), ctx)
        return super().resolve_command(ctx, args)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command or group of that name, None when there is none."""
        if cmd_name not in self.list_commands(ctx):
            return None
        module = import_module(f"{self._package}.{cmd_name}")
        if not (self._folder / cmd_name).is_dir():
            found: click.Command = module.command
            return found
        return Commands(module.__name__, self._folder / cmd_name, name=cmd_name, help=module.__doc__, context_settings=_SETTINGS)


@click.command(cls=Commands, context_settings=_SETTINGS)
@click.version_option(package_name="obverse", message="%(package)s %(version)s")
def obverse() -> None:
    """Build two-sided release masters for 5.25-inch discs, and judge every copied disc's read-back against them.

    Exit status: 0 all is well, 1 a copy or a check fell short, 2 something could not be carried out, 130 interrupted.
    """


def main() -> None:
    """Runs the command line and ends the process with its status."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # no command solves equations, and numpy's start is a third shorter without threads
    gc.set_threshold(100_000)  # a command makes much, keeps most of it, and is soon over: looking for dead objects took a tenth of it
    os._exit(run())  # the system frees at once what the interpreter would take apart object by object


def run(arguments: list[str] | None = None) -> int:
    """The exit status of a command line; messages go to standard error. Nothing but an exit of the process itself is raised."""
    warnings.showwarning = _show_warning
    try:
        _ready_output()
        status = _status(sys.argv[1:] if arguments is None else arguments)
    except BaseException as error:
        status = _failed(error)
    try:
        output.flush()
    except OSError as error:
        status = _failed(error)
    return status


def _status(arguments: list[str]) -> int:
    """The exit status of a command that was carried out."""
    try:
        with obverse.make_context("obverse", list(arguments)) as context:
            status = obverse.invoke(context)
    except click.exceptions.Exit as done:
        return done.exit_code
    except BrokenPipeError:  # nobody reads the help to its end
        output.to_nowhere(sys.stdout)
        return 0
    return status if isinstance(status, int) else 0


def _show_warning(
    message: Warning | str, category: type[Warning], filename: str, lineno: int, file: TextIO | None = None, line: str | None = None
) -> None:
    """A warning of ours on a line of its own, as any message; any other with its place in the program."""
    text = str(message) if category is DeclarationWarning else warnings.formatwarning(message, category, filename, lineno, line)
    output.warning(text)


def _ready_output() -> None:
    """Makes the streams fit to print to. OSError when standard output was closed by the caller."""
    if sys.stderr is None:  # messages have nowhere to go then, and must not go to standard output
        sys.stderr = open(os.devnull, "w")  # noqa: PTH123, SIM115
    if sys.stdout is None:
        raise OSError(errno.EBADF, "standard output is closed")
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a file's name may be in no encoding at all


def _failed(error: BaseException) -> int:
    """Prints on standard error what stopped a command. Returns the exit status."""
    if isinstance(error, OSError):
        output.to_nowhere(sys.stdout)  # what it still holds back can't be written either
    status = INTERRUPTED if isinstance(error, (click.Abort, KeyboardInterrupt)) else FAILED
    try:
        for text in _words(error):
            output.warning(text)
    except (OSError, MemoryError):  # a message has nowhere to go
        pass
    return status


def _words(error: BaseException) -> Iterator[str]:
    """What an error says to people, a line for each thing that is wrong."""
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        error.show()
    elif isinstance(error, click.ClickException):
        command = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else "obverse"
        yield f"{' '.join(error.format_message().split())} (see `{command} --help`)"
    elif isinstance(error, (click.Abort, KeyboardInterrupt)):
        yield "interrupted"
    elif isinstance(error, ProblemsError):
        yield from error.lines
    elif isinstance(error, (MasteringError, FormatsError)):
        yield str(error)
    elif isinstance(error, MemoryError):
        yield "there is not enough memory for this"
    elif isinstance(error, ImportError):
        why = str(error).strip().partition("\n")[0]
        yield f"a part of the program can't be loaded: there is too little memory for it, or it must be installed again ({why[:200]})"
    elif isinstance(error, OSError):
        yield f"{error.filename or 'output'}: {error.strerror or error}"
    else:
        yield _fault(error)


def _fault(error: BaseException) -> str:
    """A fault of the program itself: which, and where, for whoever is to mend it."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    where = f" at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace is not None else ""
    return (
        f"a fault of the program itself ({type(error).__name__}{where}: {str(error)[:200]}); nothing is judged good by it: "
        "please report this line and the command that you gave"
    )


if __name__ == "__main__":
    main()
