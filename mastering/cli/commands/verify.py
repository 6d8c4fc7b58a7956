"""`obverse verify`: judge read-backs against a master, without a ledger."""

import json
from collections import Counter
from collections.abc import Sequence
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mastering.cli.output import message, progress, text_of, write
from mastering.cli.spread import in_order
from mastering.errors import MasteringError
from mastering.judging.identical import IdenticalDump, IdenticalDumps
from mastering.judging.readback import Source, sources
from mastering.judging.to_write import Guard
from mastering.judging.verdict import sides_text
from mastering.master.master import Master, masters_at, open_master
from mastering.words.layout import Line
from mastering.words.verdicts import summary_text, verdict_sentence, verdict_text

if TYPE_CHECKING:
    from mastering.judging.verify import Verifier

_STATUS = {"pass": 0, "marginal": 1, "fail": 1}


@click.command(short_help="Judge read-backs of copied discs against their master.")
@click.argument("master", type=click.Path())
@click.argument("readbacks", type=click.Path(), nargs=-1, required=True, metavar="READBACK|FOLDER...")
@click.option("--side", metavar="S", help="The side that was read, A or B; else it is told from the bytes.")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of other masters, to name what a wrong disc is.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each read-back.")
@click.option("--margins", is_flag=True, help="With --json: how close to failing each sector is, where times were read.")
def command(master: str, readbacks: tuple[str, ...], side: str | None, shelf: str | None, as_json: bool, margins: bool) -> int:
    """Judge read-backs of copied discs against the MASTER that they were written from.

    A read-back is a dump, a dump with a sector report beside it, or a capture; a folder stands for its files. Prints for each what is
    wrong with it and what to do with the disc. Exit status 0: every one passes.
    """
    others, status = _other_masters(Path(shelf)) if shelf is not None else ([], 0)
    files = list(sources(readbacks))
    job = _Job(open_master(Path(master)), side, others, _Names([source.path for source in files]), margins)
    counts: Counter[str] = Counter()
    for state, text in progress(in_order(files, partial(job.line, as_json=as_json)), "reads", len(files)):
        counts[state] += 1
        status = max(status, _STATUS.get(state, 2))
        write(text) if as_json or state != "error" else message(text)
    message(summary_text(counts))
    return status if counts else 2  # nothing was judged, so not all is well


def _other_masters(shelf: Path) -> tuple[list[Master], int]:
    """The masters in a folder (or the one that it is), and exit status 2 where a broken one had to be left out."""
    folders = masters_at(shelf)
    if not folders:
        message(f"{shelf}: no master lies in it; a wrong disc can't be named")
    opened, status = [], 0
    for folder in folders:
        try:
            opened.append(open_master(folder))
        except MasteringError as error:
            message(f"left out: {error}")
            status = 2
    return opened, status


class _Names:
    """The names of read-backs on the screen: without their folder when all lie in one, in a column as wide as most need."""

    def __init__(self, paths: Sequence[str]) -> None:
        folders = {path.rpartition("/")[0] for path in paths[:1000]} if len(paths) > 1 else set()
        self.shared = f"{folders.pop()}/" if len(folders) == 1 and folders != {""} else ""
        self.width = min(32, max((len(path) - len(self.shared) for path in paths[:1000]), default=0))

    def shown(self, path: str) -> str:
        """A read-back's name, filled up to the column."""
        return path.removeprefix(self.shared).ljust(self.width)


class _Job:
    """A master that read-backs are judged by. The verifier, which takes time to load, is made when one needs it."""

    def __init__(self, master: Master, side: str | None, others: Sequence[Master], names: _Names, margins: bool) -> None:
        if side is not None and side not in master.sides:
            raise MasteringError(f"--side {side}: this master has {sides_text(master.sides)}")
        self.master, self.side, self.others, self.names, self.margins = master, side, others, names, margins
        self.identical = IdenticalDumps(master, side)
        self.longest = max(len(each.dump) for each in master.sides.values())
        self.ready: dict[tuple[str, str | None], str] = {}
        self.guard = Guard()

    @cached_property
    def verifier(self) -> "Verifier":
        """The judge of every read-back that is not simply a dump equal to its side."""
        from mastering.judging.verify import Verifier

        return Verifier(self.master, self.side, self.others, self.margins)

    def line(self, source: Source, as_json: bool) -> tuple[str, str]:
        """A read-back's verdict (or "error") and what is printed of it."""
        try:
            why = self.guard.why_no_read(source.path)
        except MasteringError as error:
            return _error(source.path, str(error), as_json)
        if why is not None:
            return _error(source.path, f"{source.path}: {why}", as_json)
        match = None if source.report else self.identical.match(source.path)
        if isinstance(match, IdenticalDump):
            return "pass", self._passing(source.path, match, as_json)
        from formats.errors import ContainerError
        from mastering.judging.evidence import load

        try:
            verdict = self.verifier.judge(load(source, self.longest, match, self.verifier.known_fields))
        except (MasteringError, ContainerError, MemoryError) as error:
            what = str(error) or f"{source.path}: there is not enough memory to judge it"
            return _error(source.path, what, as_json)
        if as_json:
            return verdict.verdict, json.dumps(verdict.plain()) + "\n"
        return verdict.verdict, text_of(verdict_text(verdict, self.names.shown(source.path), self.names.width, self.master))

    def _passing(self, path: str, match: IdenticalDump, as_json: bool) -> str:
        """What is printed of a dump that equals its side: all but its name is the same each time."""
        key = (match.side.name, match.serial)
        rest = self.ready.get(key)
        if rest is None:
            verdict = match.verdict(path)
            plain = {name: value for name, value in verdict.plain().items() if name != "readback"}
            rest = json.dumps(plain)[1:] if as_json else verdict_sentence(verdict, self.master)
            self.ready = {key: rest}
        if as_json:
            return f'{{"readback": {json.dumps(path)}, {rest}\n'
        return text_of([Line(f"{self.names.shown(path)}  {'pass':8}  ", rest)])


def _error(path: str, what: str, as_json: bool) -> tuple[str, str]:
    """What is printed of a file that is no read-back."""
    return "error", json.dumps({"readback": path, "error": what}) + "\n" if as_json else f"error     {what}"
