"""`obverse batch run`: write, turn over, read back, judge, next."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import click

from mastering.cli.options import ledger_option, open_ledger, shelves, stamp
from mastering.cli.output import json_lines, lines
from mastering.errors import MasteringError


@click.command(short_help="Make a batch's discs at the bench.")
@click.argument("batches", nargs=-1, required=True, metavar="BATCH...")
@click.option("--bench", "bench_file", required=True, type=click.Path(), metavar="FILE", help="The table's bench.toml.")
@click.option("--auto", is_flag=True, help="Ask nobody: the program under `hands` does what hands do.")
@click.option("--no-probe", is_flag=True, help="Write without looking first what lies in the drive. What is overwritten is lost.")
@click.option("--operator", metavar="NAME", help="Who works.  [default: the batch's]")
@click.option("--out", type=click.Path(), metavar="DIR", help="Where images and read-backs lie.  [default: bench beside the ledger]")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters, when a batch's was moved.")
@click.option("--events", type=click.Path(), metavar="FILE", help="Writes a JSON line for each event beside the screen.")
@ledger_option
@click.option("--json", "as_json", is_flag=True, help="Print the events as JSON lines; with --auto.")
def command(
    batches: tuple[str, ...],
    bench_file: str,
    auto: bool,
    no_probe: bool,
    operator: str | None,
    out: str | None,
    shelf: str | None,
    events: str | None,
    ledger: str | None,
    as_json: bool,
) -> int:
    """Make the discs of each BATCH: every disc is written, turned over, written, read back, judged. The screen says the next thing to do.

    What was printed as a verdict is on the disk. A run that was ended goes on where the discs are. Writing over a disc can't be undone:
    before each writing the disc in the drive is looked at, unless --no-probe says otherwise. Exit status 1: a batch has less than it wants.
    """
    from mastering.bench.opening import RunRequest, check_automatic, open_run
    from mastering.bench.runner import ProgramHands
    from mastering.bench.settings import load

    bench = load(Path(bench_file))
    if as_json and not auto:
        raise click.UsageError("--json needs --auto: the screen is for people, `--events FILE` writes the lines beside it")
    with open_ledger(ledger) as opened, _events(events) as beside:
        folder = Path(out) if out else opened.path.absolute().parent / "bench"
        request = RunRequest(batches, folder, shelves(shelf), not no_probe, operator)
        missing = []

        def report(event: dict[str, Any]) -> None:
            if beside is not None:
                beside.write(json.dumps(event) + "\n")
                beside.flush()
            if event["event"] == "done" and event["good"] < event["wanted"]:
                missing.append(event["batch"])
            if as_json:
                json_lines([event])
            elif auto:
                lines(_said(event))

        if auto:
            check_automatic(bench)
            open_run(opened, bench, request, ProgramHands(bench.hands), stamp, report).run()
        else:
            from mastering.bench.terminal import Terminal

            with Terminal(opened, bench) as terminal:

                def show(event: dict[str, Any]) -> None:
                    report(event)
                    terminal.show(event)

                open_run(opened, bench, request, terminal, stamp, show).run()
        return 1 if missing else 0


@contextmanager
def _events(path: str | None) -> Iterator[IO[str] | None]:
    if path is None:
        yield None
        return
    try:
        file = Path(path).open("a", encoding="utf-8")  # noqa: SIM115  (closed below)
    except OSError as error:
        raise MasteringError(f"{path}: can't be written: {error.strerror}") from error
    with file:
        yield file


def _said(event: dict[str, Any]) -> list[str]:
    """An event for a person who reads along."""
    from mastering.words.hands import event_text

    text = event_text(event)
    return [text] if text else []
