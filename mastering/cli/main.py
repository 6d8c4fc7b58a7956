"""The entry: finds the command, turns errors into one line and an exit status."""

import errno
import gc
import io
import os
import sys
import warnings
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any, TextIO

import click

from formats.errors import DeclarationWarning, FormatsError
from mastering.cli.output import printable
from mastering.errors import MasteringError

_SETTINGS = {"help_option_names": ["-h", "--help"], "max_content_width": 110}
INTERRUPTED = 130
FAILED = 2


class Commands(click.Group):
    """The commands by the files in a folder, groups by the folders in it; each is loaded when it is asked for."""

    def __init__(self, package: str = "mastering.cli.commands", folder: Path = Path(__file__).parent / "commands", **settings: Any) -> None:
        super().__init__(**settings)
        self._package, self._folder = package, folder

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Their names."""
        files = {path.stem for path in self._folder.glob("*.py")} - {"__init__"}
        return sorted(files | {path.parent.name for path in self._folder.glob("*/__init__.py")})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """One of them, None when there is none of that name."""
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
    try:
        status = run()
        sys.stdout.flush()
    except OSError as error:  # neither its last lines nor a message about it could be printed
        status = _output_failed(error)
    os._exit(status)  # the system frees at once what the interpreter would take apart object by object


def run(arguments: list[str] | None = None) -> int:
    """The exit status of a command line; messages go to standard error."""
    warnings.showwarning = _show_warning
    try:
        _ready_output()
        status = obverse.main(arguments, prog_name="obverse", standalone_mode=False)
        sys.stdout.flush()
        return status if isinstance(status, int) else 0
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.ClickException as error:
        return _misused(error)
    except (click.Abort, KeyboardInterrupt):
        print("obverse: interrupted", file=sys.stderr)
        return INTERRUPTED
    except (MasteringError, FormatsError, MemoryError) as error:
        for line in (str(error) or "there is not enough memory for this").splitlines():
            print(printable(f"obverse: {line}"), file=sys.stderr)
        return FAILED
    except OSError as error:
        return _output_failed(error)


def _show_warning(
    message: Warning | str, category: type[Warning], filename: str, lineno: int, file: TextIO | None = None, line: str | None = None
) -> None:
    """A warning of ours on a line of its own, as any message; any other with its place in the program."""
    text = f"obverse: {message}" if category is DeclarationWarning else warnings.formatwarning(message, category, filename, lineno, line)
    print(printable(text), file=file or sys.stderr)


def _ready_output() -> None:
    """Makes the streams fit to print to. OSError when standard output was closed by the caller."""
    if sys.stderr is None:  # messages have nowhere to go then, and must not go to standard output
        sys.stderr = open(os.devnull, "w")  # noqa: PTH123, SIM115
    if sys.stdout is None:
        raise OSError(errno.EBADF, "standard output is closed")
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a file's name may be in no encoding at all


def _misused(error: click.ClickException) -> int:
    """A command line that is none: what is wrong with it on one line; without any words in it the whole help."""
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        error.show()
    else:
        command = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else "obverse"
        print(f"obverse: {' '.join(error.format_message().split())} (see `{command} --help`)", file=sys.stderr)
    return FAILED


def _output_failed(error: OSError) -> int:
    """Output that can't be written: quietly where nobody reads on (`| head`), else with one line."""
    sys.stdout = open(os.devnull, "w")  # noqa: PTH123, SIM115  (so that the interpreter's last flush finds a place to go)
    if error.errno != errno.EPIPE:
        with suppress(OSError):
            print(f"obverse: {error.filename or 'output'}: {error.strerror or error}", file=sys.stderr)
    return FAILED


if __name__ == "__main__":
    main()
