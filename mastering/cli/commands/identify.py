"""`obverse identify`: which master, side and serial a disc carries, and what became of it."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from formats.bounds import LARGEST_CAPTURE
from mastering.cli.options import json_option, ledger_option, open_ledger, shelves, shop
from mastering.cli.output import json_lines, lines, message, progress
from mastering.errors import MasteringError
from mastering.files import digest
from mastering.judging.readback import NAMED, ReadBackError, read_bounded, sources
from mastering.judging.to_write import Guard
from mastering.master.master import Master
from mastering.words.identified import identified_text

if TYPE_CHECKING:
    from mastering.judging.identify import Identified
    from mastering.ledger.lines import Line
    from mastering.ledger.questions import Questions


@click.command(short_help="Say what a disc is: its master, side, serial and history.")
@click.argument("readbacks", type=click.Path(), nargs=-1, required=True, metavar="READBACK...")
@click.option("--masters", "shelf", type=click.Path(), metavar="DIR", help="A folder of masters; the shop's and the ledger's are known.")
@ledger_option
@json_option("Print a JSON line for each read-back.")
def command(readbacks: tuple[str, ...], shelf: str | None, ledger: str | None, as_json: bool) -> int:
    """Say which master's side a READBACK carries, how much of it, and which serial; and what the ledger knows of that disc.

    Give both sides of a disc together, where only one of them carries the serial. Exit status 1: one of them is no known master's.
    """
    path = shop().ledger(ledger)
    if ledger is None and not path.exists():
        return _identify(readbacks, _masters(shelf, path, ()), None, as_json)
    with open_ledger(ledger) as opened, opened.read() as known:
        batches = tuple(batch.line for batch in known.batches())
        return _identify(readbacks, _masters(shelf, path, batches), known, as_json)


def _masters(shelf: str | None, ledger: Path, batches: "tuple[Line, ...]") -> list[Master]:
    """The masters to compare with, each once: those of a folder, of the shop and of the ledger's batches."""
    from mastering.recording.masters import AtHand

    found = list(AtHand(ledger, batches, shelves(shelf), whole=False))
    if not found:
        raise MasteringError("no master is at hand: name a folder of them with --masters")
    return found


def _identify(readbacks: tuple[str, ...], masters: list[Master], known: "Questions | None", as_json: bool) -> int:
    """Identifies all read-backs, then prints what each is, as one disc's sides tell of each other. Returns the exit status."""
    from formats.errors import ContainerError
    from formats.tracks.known_fields import KnownFields
    from mastering.judging.evidence import load
    from mastering.judging.identify import Identified, identify

    found: list[Identified | tuple[str, str]] = []
    fields, guard = KnownFields(), Guard()
    for source in progress(list(sources(readbacks)), "reads"):
        try:
            why = guard.why_no_read(source.path, digest(read_bounded(source.path, LARGEST_CAPTURE)))
            if why is not None:
                raise ReadBackError(f"{source.path}: {why}")
            found.append(identify(load(source, LARGEST_CAPTURE, known=fields), masters))  # a dump of any length may be asked about
        except (MasteringError, ContainerError) as error:
            found.append((source.path, str(error)))
    good = [each for each in found if isinstance(each, Identified)]
    for each in found:
        if not isinstance(each, Identified):
            name, what = each
            json_lines([{"readback": name, "error": what}]) if as_json else message(f"error     {what}")
            continue
        other = _by_other_side(each, good)
        disc = _disc(each.serial or other, known)
        if as_json:
            json_lines([_plain(each, other, disc)])
        else:
            corrections = None if known is None else known.corrections(disc) if disc is not None else ()
            lines(identified_text(each, other, disc, corrections))
    if not found:
        message("no read-back was found")
    if len(good) < len(found) or not found:
        return 2
    return 0 if all(each.matches for each in good) else 1


def _by_other_side(found: "Identified", all_found: "list[Identified]") -> str | None:
    """The serial that the disc's other side carries, where that was read too and is of the same master.

    None where several read-backs might be that other side or have the same one, or its name is another disc's: they are of several discs.
    """
    if found.serial or not found.alike:
        return None
    sides = {match.master.digest: match.target.name for match in found.alike}
    others = [
        each for each in all_found if any(sides.get(match.master.digest, match.target.name) != match.target.name for match in each.alike)
    ]
    same = [each for each in all_found if any(sides.get(match.master.digest) == match.target.name for match in each.alike)]
    if len(others) != 1 or len(same) != 1:
        return None
    named = NAMED.fullmatch(found.readback.rpartition("/")[2])
    return others[0].serial if named is None or named["serial"] == others[0].serial else None


def _disc(serial: str | None, known: "Questions | None") -> Any:
    return None if serial is None or known is None else known.find(serial)


def _plain(found: "Identified", other: str | None, disc: Any) -> Mapping[str, Any]:
    """A line of `identify --json`."""
    matches = [{"master": m.master.label, "digest": m.master.digest, "side": m.target.name, "share": m.share} for m in found.matches]
    line = {"readback": found.readback, "matches": matches, "serial": found.serial, "evidence": found.evidence}
    more: dict[str, Any] = {"certain": found.certain, "unsure": found.unsure, "by_other_side": other}
    return line | more | {"disc": None if disc is None else disc.plain() | {"lot": disc.lot, "state": disc.state}}
