"""Serials: `CATALOGUE-NNNN-C`, a number of four digits or more and a check character.

The check character is that of ISO/IEC 7064, MOD 37,36, over the letters and digits before it.
"""

import re
from collections.abc import Iterable, Sequence


def check_character(catalogue: str, number: int) -> str:
    """The check character of a catalogue number's disc with that number."""
    from stdnum.iso7064 import mod_37_36

    character: str = mod_37_36.calc_check_digit(f"{catalogue}{number:04}".replace("-", ""))
    return character


def serial(catalogue: str, number: int) -> str:
    """The serial of disc `number` (from 1) of a catalogue number."""
    return f"{catalogue}-{number:04}-{check_character(catalogue, number)}"


def is_serial(text: str, catalogue: str) -> bool:
    """Whether a text is a serial of this catalogue number, as it is handed out: no lower case, no more zeros than four digits need."""
    match = re.fullmatch(re.escape(catalogue) + r"-(\d{4,18})-[0-9A-Z]", text, re.ASCII)
    return match is not None and int(match[1]) > 0 and text == serial(catalogue, int(match[1]))


def read_slot(slot: bytes, marker: bytes, catalogue: str) -> tuple[bool, str | None]:
    """Whether a slot holds the marker or a serial of this catalogue number filled up with spaces; and the serial (the marker: None)."""
    if slot == marker:
        return True, None
    text = slot.decode("latin-1").rstrip(" ")
    return (True, text) if is_serial(text, catalogue) else (False, None)


def number_of(serial: str) -> int:
    """The number in a valid serial."""
    return int(serial.rsplit("-", 2)[1])


_SERIAL = re.compile(r"([A-Z0-9-]*[A-Z0-9])-(\d{4,18})-([0-9A-Z])", re.ASCII)


def why_no_serial(text: str, catalogue: str) -> str:
    """What is wrong with a text that is no serial of this catalogue number."""
    match = _SERIAL.fullmatch(text)
    if match is None:
        if is_serial(text.upper(), catalogue):
            return f"in small letters; the serial is {text.upper()}"
        return f"no serial; one of this title looks like {serial(catalogue, 1)}"
    if text[-1] != check_character(match[1], int(match[2])):
        return "mistyped: its last character does not fit the others"
    if match[1] != catalogue:
        return f"a serial of {match[1]}, where one of {catalogue} was expected"
    return "no serial as they are handed out"


def meant(text: str, candidates: Iterable[str]) -> str | None:
    """The known serial that somebody meant who typed another text: the one with its number, else the only one that is one slip away."""
    candidates = list(candidates)
    number = re.search(r"\d+(?=-?[^-]?$)", text, re.ASCII)
    same = [each for each in candidates if number is not None and number_of(each) == int(number[0][-18:])]
    near = [each for each in candidates if _one_slip(text, each)]
    return same[0] if same else near[0] if len(near) == 1 else None


def _one_slip(text: str, other: str) -> bool:
    """Whether two texts differ in one character, or by two neighbours that were swapped."""
    if len(text) != len(other):
        return False
    places = [place for place, (a, b) in enumerate(zip(text, other, strict=True)) if a != b]
    if len(places) == 2:
        first, second = places
        return second == first + 1 and text[first] == other[second] and text[second] == other[first]
    return len(places) == 1


def slot_words(texts: Sequence[str], catalogue: str) -> str:
    """What is wrong with what a slot holds: one text, or several from one time that it was read to the next."""
    if len(texts) != 1:
        shown = " and ".join(_shown(text) for text in texts)
        return f"it holds {shown}, from one turn to the next: it was written over, and not all of it"
    text = texts[0].strip(" \0")
    if len(set(texts[0])) == 1 or not text:
        return "it is empty"
    if not (text.isascii() and text.isprintable()):
        return "it holds no text"
    serials = [
        match[0] for match in re.finditer(re.escape(catalogue) + r"-\d{4,18}-[0-9A-Z]", text, re.ASCII) if is_serial(match[0], catalogue)
    ]
    if len(serials) > 1:
        return f"it holds {len(serials)} serials, {' and '.join(serials)}"
    if serials and serials[0] == text:
        return f"it holds {text}, not at its beginning and filled up with spaces"
    return f"it holds {_shown(text)}: {why_no_serial(text, catalogue)}"


def _shown(text: str) -> str:
    """A slot's text in a sentence."""
    text = text.strip(" \0")
    return text if text.isascii() and text.isprintable() and text else "no text"
