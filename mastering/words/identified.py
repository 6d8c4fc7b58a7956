"""What a disc is, in words: the master and the side that a read-back carries, its serial, and how sure that is."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from mastering.master.serial import slot_words
from mastering.words.batches import disc_story
from mastering.words.layout import TIE, Block, indented
from mastering.words.verdicts import KIND_WORDS

if TYPE_CHECKING:
    from mastering.judging.identify import Identified, Match
    from mastering.ledger.entities import Disc
    from mastering.ledger.lines import Line

_SHOWN = 4  # masters that can't be told apart


def identified_text(found: "Identified", other: str | None, disc: "Disc | None", corrections: "Iterable[Line] | None") -> Iterator[Block]:
    """What a read-back carries.

    `other`: the serial that the disc's other side carries. `corrections`: those of the disc in the ledger, None without a ledger.
    """
    yield found.readback
    yield from indented(_text(found, other, disc, corrections))


def _text(found: "Identified", other: str | None, disc: "Disc | None", corrections: "Iterable[Line] | None") -> Iterator[Block]:

    if not found.matches:
        yield _foreign_words(found)
        return
    for match in found.alike[:_SHOWN]:
        yield f"{match.label}: {match.equal:,} of {match.of:,} sectors ({100 * match.share:.1f}{TIE}%)"
    yield from _doubts(found)
    yield _serial_words(found, other)
    if corrections is not None and disc is not None:
        yield from disc_story(disc, corrections)
    elif corrections is not None and (found.serial or other):
        yield "this serial was never handed out by the ledger"


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
    """Sentences that say what speaks against the best match, or for another one."""
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
