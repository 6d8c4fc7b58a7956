"""`obverse verify`: judge read-backs against a master, without a ledger."""

import json
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from formats.words import counted
from mastering.cli.output import printable
from mastering.cli.spread import in_order
from mastering.errors import MasteringError
from mastering.judging.identical import Match, Quick
from mastering.judging.readback import Source, sources
from mastering.judging.verdict import Verdict, sides_text
from mastering.master.master import Master, masters_at, open_master
from mastering.words.verdicts import findings_text, hands_text, holds_marker

if TYPE_CHECKING:
    from mastering.judging.verify import Verifier

_STATUS = {"pass": 0, "marginal": 1, "fail": 1}


@click.command(short_help="Judge read-backs of copied discs against their master.")
@click.argument("master", type=click.Path())
@click.argument("readbacks", type=click.Path(), nargs=-1, required=True, metavar="READBACK|FOLDER...")
@click.option("--side", metavar="S", help="The side that was read, A or B; else it is told from the bytes.")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of other masters, to name what a wrong disc is.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON line for each read-back.")
def command(master: str, readbacks: tuple[str, ...], side: str | None, shelf: str | None, as_json: bool) -> int:
    """Judge read-backs of copied discs against the MASTER that they were written from.

    A read-back is a dump, a dump with a sector report beside it, or a capture; a folder stands for its files. Prints for each what is
    wrong with it and what to do with the disc. Exit status 0: every one passes.
    """
    at_hand, status = _masters_at_hand(Path(shelf)) if shelf is not None else ([], 0)
    found = list(sources(readbacks))
    run = _Run(open_master(Path(master)), side, at_hand, _Names([source.path for source in found]))
    counts: Counter[str] = Counter()
    for state, line in in_order(found, partial(run.line, as_json=as_json)):
        counts[state] += 1
        status = max(status, _STATUS.get(state, 2))
        sys.stdout.write(line) if as_json or state != "error" else sys.stderr.write(line)
    sys.stdout.flush()
    click.echo(_summary(counts), err=True)
    return status if counts else 2  # nothing was judged, so not all is well


def _masters_at_hand(shelf: Path) -> tuple[list[Master], int]:
    """The masters in a folder (or the one that it is), and exit status 2 where a broken one had to be left out."""
    folders = masters_at(shelf)
    if not folders:
        click.echo(f"{shelf}: no master lies in it; a wrong disc can't be named", err=True)
    opened, status = [], 0
    for folder in folders:
        try:
            opened.append(open_master(folder))
        except MasteringError as error:
            click.echo(f"left out: {error}", err=True)
            status = 2
    return opened, status


class _Names:
    """How read-backs are called on the screen: without their folder when all lie in one, in a column as wide as most need."""

    def __init__(self, paths: Sequence[str]) -> None:
        folders = {path.rpartition("/")[0] for path in paths[:1000]} if len(paths) > 1 else set()
        self.shared = f"{folders.pop()}/" if len(folders) == 1 and folders != {""} else ""
        self.width = min(32, max((len(path) - len(self.shared) for path in paths[:1000]), default=0))

    def shown(self, path: str) -> str:
        """A read-back's name, filled up to the column."""
        return path.removeprefix(self.shared).ljust(self.width)


class _Run:
    """One call's master, and what is made only when a read-back needs it."""

    def __init__(self, master: Master, side: str | None, at_hand: Sequence[Master], names: _Names) -> None:
        if side is not None and side not in master.sides:
            raise MasteringError(f"--side {side}: this master has {sides_text(master.sides)}")
        self.master, self.side, self.at_hand, self.names = master, side, at_hand, names
        self.quick = Quick(master, side)
        self.longest = max(len(each.dump) for each in master.sides.values())
        self.ready: dict[tuple[str, str | None], str] = {}

    @cached_property
    def verifier(self) -> "Verifier":
        """The judge of everything that is not simply equal."""
        from mastering.judging.verify import Verifier

        return Verifier(self.master, self.side, self.at_hand)

    def line(self, source: Source, as_json: bool) -> tuple[str, str]:
        """A read-back's verdict (or "error") and what is printed of it."""
        match = None if source.report else self.quick.match(source.path)
        if isinstance(match, Match):
            return "pass", self._passing(source.path, match, as_json)
        from formats.errors import ContainerError
        from mastering.judging.evidence import load

        try:
            verdict = self.verifier.judge(load(source, self.longest, match, self.verifier.known_fields))
        except (MasteringError, ContainerError, MemoryError) as error:
            what = str(error) or f"{source.path}: there is not enough memory to judge it"
            line = json.dumps({"readback": source.path, "error": what}) if as_json else printable(f"error     {what}")
            return "error", line + "\n"
        line = json.dumps(verdict.plain()) if as_json else "\n".join(self._told(verdict))
        return verdict.verdict, line + "\n"

    def _passing(self, path: str, match: Match, as_json: bool) -> str:
        """The line of a dump that equals its side; all but its name is the same each time."""
        key = (match.side.name, match.serial)
        text = self.ready.get(key)
        if text is None:
            verdict = match.verdict("")
            text = json.dumps(verdict.plain()).removeprefix('{"readback": ""') if as_json else self._say(verdict)
            self.ready = {key: text}
        return f'{{"readback": {json.dumps(path)}{text}\n' if as_json else f"{self.names.shown(path)}{text}\n"

    def _told(self, verdict: Verdict) -> Iterator[str]:
        """A verdict for people: a line, and, where no diagnosis explains them, one for each of the first findings."""
        yield self.names.shown(verdict.readback) + self._say(verdict)
        if not verdict.diagnosis:
            yield from (f"{'':{self.names.width}}            {text}" for text in findings_text(verdict, self.master.catalogue))

    def _say(self, verdict: Verdict) -> str:
        """The verdict, and what to do with the disc."""
        marker = " It carries the master's marker, no serial." if holds_marker(verdict, self.master.sides) else ""
        return f"  {verdict.verdict:8}  {hands_text(verdict, len(self.master.sides))}{marker}"


def _summary(counts: Counter[str]) -> str:
    """How many read-backs came out how."""
    told = ", ".join(f"{counts[state]} {state}" for state in ("pass", "marginal", "fail", "error") if counts[state])
    total = sum(counts.values())
    return f"{counted(total, 'read-back')}: {told}" if total else "no read-back was found"
