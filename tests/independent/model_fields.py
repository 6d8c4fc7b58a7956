"""What stands in the cells of a stretch: fields, found by searching their marks at every cell.

Where the rules can be read in more than one way a comment that begins with "READING" quotes the sentence and says which way was taken.
"""

import binascii
from dataclasses import dataclass, field
from functools import lru_cache

from model_encode import A1, NIBBLES, SIX, bits

UNNIBBLE = {word: value for value, word in enumerate(NIBBLES)}
UNSIX = {byte: value for value, byte in enumerate(SIX)}


@dataclass(frozen=True)
class Field:
    """One field met on a track: `start` and `end` in cells; `values` what it says; `cut` when the stretch ends inside it."""

    kind: str
    start: int
    end: int
    sound: bool
    cut: bool
    values: dict = field(hash=False, default_factory=dict)


def everywhere(cells, pattern, limit):
    """Each place below `limit` where the pattern stands."""
    at = cells.find(pattern)
    while 0 <= at < limit:
        yield at
        at = cells.find(pattern, at + 1)


def from_nibbles(cells):
    """Five-cell words to bytes, and whether each was a word of the code; a word that is none gives None for its byte."""
    values = [UNNIBBLE.get(cells[k : k + 5]) for k in range(0, len(cells), 5)]
    pairs = zip(values[::2], values[1::2], strict=True)
    return [None if high is None or low is None else high * 16 + low for high, low in pairs]


# READING: "A mark that is followed by another tag than an identifier's or a block's is neither." The tag of 4-to-5 is the byte 08 or
# 07 as decoded, of MFM the byte FE, FB or F8 as its data cells say it (its clock cells are not judged), of 6-and-2 the third byte of
# the mark. A tag that is no word of the code is another tag.
def fields_4to5(cells, limit):
    """Fields that begin with the 0 behind ten or more 1s."""
    for hit in everywhere(cells, "11111111110", limit):
        start = hit + 10
        tag = cells[start : start + 10]
        if tag == NIBBLES[0] + NIBBLES[8]:
            yield "identifier", start, start + 80
        elif tag == NIBBLES[0] + NIBBLES[7]:
            yield "block", start, start + 2600


def read_4to5(kind, cells):
    """(sound, values) of one whole field."""
    # READING: "Not judged: ... the two last bytes of a 4-to-5 identifier and of its block ... (not judged places aside)": their cells
    # are not even decoded. But they are part of the field: cut off inside them it is cut off.
    if kind == "identifier":
        _, check, sector, track, id2, id1 = from_nibbles(cells[:60])
        numbers = (check, sector, track, id2, id1)
        sound = None not in numbers and check == sector ^ track ^ id2 ^ id1
        return sound, {"track": track, "sector": sector, "id1": id1, "id2": id2}
    plain = from_nibbles(cells[:2580])
    if None in plain:
        return False, {}
    check = 0
    for byte in plain[1:257]:
        check ^= byte
    return check == plain[257], {"body": bytes(plain[1:257])}


def fields_6and2(cells, limit):
    """Fields that begin with D5 AA 96 or D5 AA AD."""
    for at in everywhere(cells, bits(b"\xd5\xaa\x96"), limit):
        yield "identifier", at, at + 14 * 8
    for at in everywhere(cells, bits(b"\xd5\xaa\xad"), limit):
        yield "block", at, at + (3 + 343 + 3) * 8


def whole_bytes(cells):
    """Eight cells a byte."""
    return bytes(int(cells[k : k + 8], 2) for k in range(0, len(cells), 8))


def read_6and2(kind, cells):
    """(sound, values) of one whole field; the first two bytes of the epilogue are required constants, the last is not judged."""
    plain = whole_bytes(cells)
    if kind == "identifier":
        # READING: "A code word that a group code does not have makes its field unsound": a 4-and-4 byte without its four 1s is such a word.
        words = all(byte & 0xAA == 0xAA for byte in plain[3:11])
        # A pair that is not of the code says nothing: such an identifier names no sector.
        volume, track, sector, check = (
            (((plain[k] << 1) | 1) & plain[k + 1]) if plain[k] & plain[k + 1] & 0xAA == 0xAA else None for k in (3, 5, 7, 9)
        )
        good = words and check == volume ^ track ^ sector and plain[11:13] == b"\xde\xaa"
        return good, {"track": track, "sector": sector, "volume": volume}
    coded = plain[3:346]
    if any(byte not in UNSIX for byte in coded):
        return False, {}
    running, values = 0, []
    for byte in coded[:342]:
        running ^= UNSIX[byte]
        values.append(running)
    low, high = values[:86], values[86:]
    body = []
    for k in range(256):
        pair = low[k % 86] >> 2 * (k // 86) & 3
        body.append(high[k] << 2 | (pair & 1) << 1 | pair >> 1)
    return running == UNSIX[coded[342]] and plain[346:348] == b"\xde\xaa", {"body": bytes(body)}


MFM_TAGS = {"11111110": ("identifier", (3 + 7) * 16), "11111011": ("block", (3 + 515) * 16), "11111000": ("block", (3 + 515) * 16)}


def fields_mfm(cells, limit):
    """Fields that begin with three A1 that lack a clock, and a tag."""
    for at in everywhere(cells, A1 * 3, limit):
        tag = MFM_TAGS.get(cells[at + 49 : at + 64 : 2])
        if tag:
            yield tag[0], at, at + tag[1]


def read_mfm(kind, cells):
    """(sound, values) of one whole field: data cells only, the clock cells are not judged."""
    data = cells[49::2]
    plain = int(data, 2).to_bytes(len(data) // 8, "big")
    sound = binascii.crc_hqx(b"\xa1\xa1\xa1" + plain, 0xFFFF) == 0
    if kind == "identifier":
        return sound, {"track": plain[1], "head": plain[2], "sector": plain[3], "length": plain[4]}
    return sound, {"body": plain[1:513], "deleted": plain[0] == 0xF8}


CODES = {
    "4to5": (fields_4to5, read_4to5, 80, 2640),  # with the sync that is its mark
    "6and2": (fields_6and2, read_6and2, 112, 2792),
    "mfm": (fields_mfm, read_mfm, 160, 8288),
}


@lru_cache(maxsize=1000)
def fields_of(code, cells, circular):
    """All fields of a stretch, in their order. "flag 1: exactly one turn, the last cell is followed by the first": a field may run over the end."""
    find, read, _, longest = CODES[code]
    size = len(cells)
    text = cells
    while circular and size and len(text) < size + longest + 64:
        text += cells
    out = []
    for kind, start, end in find(text, size):
        cut = end > len(text)
        sound, values = (False, {}) if cut else read(kind, text[start:end])
        first = start % size
        out.append(Field(kind, first, first + end - start, sound, cut, values))
    return sorted(out, key=lambda found: found.start)
