"""`obverse identify`: which master, side and serial a disc carries, and what became of it."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shelves, shop
from mastering.cli.output import json_lines, lines, printable
from mastering.errors import MasteringError
from mastering.judging.readback import LARGEST_CAPTURE, NAMED, sources
from mastering.master.master import Master
from mastering.master.serial import slot_words
from mastering.words.verdicts import KIND_WORDS

if TYPE_CHECKING:
    from mastering.judging.identify import Identified, Match
    from mastering.ledger.lines import Line
    from mastering.ledger.questions import Questions

_SHOWN = 4


@click.command(short_help="Say what a disc is: its master, side, serial and story.")
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
        return _told(readbacks, _masters(shelf, path, ()), None, as_json)
    with open_ledger(ledger) as opened, opened.read() as known:
        batches = tuple(batch.line for batch in known.batches())
        return _told(readbacks, _masters(shelf, path, batches), known, as_json)


def _masters(shelf: str | None, ledger: Path, batches: "tuple[Line, ...]") -> list[Master]:
    """The masters at hand: a folder's, the shop's, the ledger's; each once."""
    from mastering.recording.masters import AtHand

    found = list(AtHand(ledger, batches, shelves(shelf), whole=False))
    if not found:
        raise MasteringError("no master is at hand: name a folder of them with --masters")
    return found


def _told(readbacks: tuple[str, ...], masters: list[Master], known: "Questions | None", as_json: bool) -> int:
    from formats.errors import ContainerError
    from formats.tracks.known_fields import KnownFields
    from mastering.judging.evidence import load
    from mastering.judging.identify import Identified, identify

    found: list[Identified | tuple[str, str]] = []
    fields = KnownFields()
    for source in sources(readbacks):
        try:
            found.append(identify(load(source, LARGEST_CAPTURE, known=fields), masters))  # a dump of any length may be asked about
        except (MasteringError, ContainerError) as error:
            found.append((source.path, str(error)))
    good = [each for each in found if isinstance(each, Identified)]
    for each in found:
        if not isinstance(each, Identified):
            name, what = each
            json_lines([{"readback": name, "error": what}]) if as_json else click.echo(printable(f"error     {what}"), err=True)
            continue
        other = _by_other_side(each, good)
        disc = _disc(each.serial or other, known)
        if as_json:
            json_lines([_plain(each, other, disc)])
        else:
            lines([each.readback, *(f"  {text}" for text in _words(each, other, disc, known))])
    if not found:
        click.echo("no read-back was found", err=True)
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
    """A JSON line."""
    matches = [{"master": m.master.label, "digest": m.master.digest, "side": m.target.name, "share": m.share} for m in found.matches]
    line = {"readback": found.readback, "matches": matches, "serial": found.serial, "evidence": found.evidence}
    more: dict[str, Any] = {"certain": found.certain, "unsure": found.unsure, "by_other_side": other}
    return line | more | {"disc": None if disc is None else disc.plain() | {"lot": disc.lot, "rejected": disc.rejected}}


def _words(found: "Identified", other: str | None, disc: Any, known: "Questions | None") -> Iterator[str]:
    """What is known, for people."""
    from mastering.words.batches import disc_story

    if not found.matches:
        yield _foreign_words(found)
        return
    for match in found.alike[:_SHOWN]:
        yield f"{match.label}: {match.equal} of {match.of} sectors ({match.share:.1%})".replace("%", " %")
    yield from _doubts(found)
    yield _serial_words(found, other)
    if known is not None and disc is not None:
        yield from disc_story(disc, known.corrections(disc))
    elif known is not None and (found.serial or other):
        yield "the ledger never handed out this serial"


def _foreign_words(found: "Identified") -> str:
    """What can be said of a read-back that is no known master's."""
    if found.recorded is not None:
        geometry, count, of = found.recorded
        return f"no master at hand has this on a side; it is recorded as {geometry}, {count} of {of} sectors sound"
    if found.blank:
        return "one value throughout: a blank disc, or its reader met nothing" if found.evidence in ("dump", "report") else _NOTHING
    return "no master at hand has this on a side: it is foreign, or too damaged to tell"


_NOTHING = "nothing is on it that any known geometry reads: it is blank, erased, or of a kind that is not declared"


def _doubts(found: "Identified") -> Iterator[str]:
    """What speaks against the best match, or for another one."""
    best, mixed = found.matches[0], found.mixed
    if best.foreign >= best.equal:
        yield f"not sure: {best.foreign} of its sectors hold something else; perhaps a program that has only a part in common with it"
    if len(found.alike) > 1:
        more = f" (and {len(found.alike) - _SHOWN} more)" if len(found.alike) > _SHOWN else ""
        yield f"nothing that was read tells these {len(found.alike)} apart{more}; another read, or the label, may"
    if mixed is not None:
        match, count = mixed
        yield f"{count} of its sectors are those of {match.label} instead: it was written over, and not all of it"
    elif len(found.matches) > len(found.alike):
        second = next(match for match in found.matches if match not in found.alike)
        yield f"not {second.label}, of which it has {second.equal} of {second.of}"


def _serial_words(found: "Identified", other: str | None) -> str:
    """Which serial it has, and how sure that is."""
    if found.serial:
        return f"serial {found.serial}"
    if other:
        return f"it carries no serial itself; its other side says {other}"
    if found.unsure:
        return f"serial perhaps {found.unsure}: its check character fits, but its sector fails its check"
    if all(match.target.slot is None for match in found.alike):
        name = found.matches[0].target.name
        if any(side.slot for match in found.alike for side in match.master.sides.values()):
            return f"side {name} carries no serial: give the disc's other side with it and no other disc's, or look at the label"
        return "this title's discs carry no serial: look at the label"
    return _unread_words(next(match for match in found.alike if match.target.slot))


def _unread_words(match: "Match") -> str:
    """Why a side's slot gave no serial."""
    from mastering.judging.verdict import KINDS

    kind = "" if match.target.slot is None else KINDS[match.judged.kinds[match.target.slot[0]]]
    if kind in ("", "soft"):
        return "no serial is on it: its place still holds the master's marker"
    if kind == "serial":
        return f"no serial was read from its place: {slot_words(match.judged.slot, match.master.catalogue)}"
    return f"no serial was read, as its sector is bad: {KIND_WORDS[kind]}"
