"""What stands in the cells of a stretch: fields, found by searching their marks at every cell.

Where the rules can be read in more than one way a comment that begins with "READING" quotes the sentence and says which way was taken.
"""

import binascii
from dataclasses import dataclass, field
from functools import lru_cache

from model_codes import A1, FIVE, FM_MARKS, NIBBLES, SIX, bits, inverted

UNNIBBLE = {word: value for value, word in enumerate(NIBBLES)}
UNSIX = {byte: value for value, byte in enumerate(SIX)}
UNFIVE = {byte: value for value, byte in enumerate(FIVE)}


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
# 07 as decoded, of MFM the byte FE, FB or F8 as its data cells say it (its clock cells are not judged), of 6-and-2 and 5-and-3 the third
# byte of the mark; in FM the byte FE, FB or F8 with clocks C7 is mark and tag at once. A tag that is no word of the code is another tag.
def fields_4to5(cells, limit, _):
    """Fields that begin with the last ten 1s of a sync: their first byte begins with the 0 after them."""
    for start in everywhere(cells, "11111111110", limit):
        tag = cells[start + 10 : start + 20]
        if tag == NIBBLES[0] + NIBBLES[8]:
            yield "identifier", start, start + 90
        elif tag == NIBBLES[0] + NIBBLES[7]:
            yield "block", start, start + 2610


def read_4to5(kind, cells, _):
    """(sound, values) of one whole field."""
    # READING: "Not judged: ... the two last bytes of a 4-to-5 identifier and of its block ... (not judged places aside)": their cells
    # are not even decoded. But they are part of the field: cut off inside them it is cut off.
    if kind == "identifier":
        _, check, sector, track, id2, id1 = from_nibbles(cells[10:70])
        numbers = (check, sector, track, id2, id1)
        sound = None not in numbers and check == sector ^ track ^ id2 ^ id1
        return sound, {"track": track, "sector": sector, "id1": id1, "id2": id2}
    plain = from_nibbles(cells[10:2590])
    if None in plain:
        return False, {}
    check = 0
    for byte in plain[1:257]:
        check ^= byte
    return check == plain[257], {"body": bytes(plain[1:257])}


def fields_6and2(cells, limit, block):
    """Fields that begin with D5 AA 96 or D5 AA AD."""
    yield from epilogued(cells, limit, b"\xd5\xaa\x96", block)


def fields_5and3(cells, limit, block):
    """Fields that begin with D5 AA B5 or D5 AA AD."""
    yield from epilogued(cells, limit, b"\xd5\xaa\xb5", block)


def epilogued(cells, limit, mark, block):
    """Fields of the codes whose fields end in DE AA."""
    for at in everywhere(cells, bits(mark), limit):
        yield "identifier", at, at + 14 * 8
    for at in everywhere(cells, bits(b"\xd5\xaa\xad"), limit):
        yield "block", at, at + block


def whole_bytes(cells):
    """Eight cells a byte."""
    return bytes(int(cells[k : k + 8], 2) for k in range(0, len(cells), 8))


def read_epilogued(kind, cells, words):
    """(sound, values, coded values) of one whole field; the first two bytes of the epilogue are required constants, the last is not judged."""
    plain = whole_bytes(cells)
    if kind == "identifier":
        # READING: "A code word that a group code does not have makes its field unsound": a 4-and-4 byte without its four 1s is such a word.
        framed = all(byte & 0xAA == 0xAA for byte in plain[3:11])
        # A pair that is not of the code says nothing: such an identifier names no sector.
        volume, track, sector, check = (
            (((plain[k] << 1) | 1) & plain[k + 1]) if plain[k] & plain[k + 1] & 0xAA == 0xAA else None for k in (3, 5, 7, 9)
        )
        good = framed and check == volume ^ track ^ sector and plain[11:13] == b"\xde\xaa"
        return good, {"track": track, "sector": sector, "volume": volume}, None
    coded = plain[3:-3]
    if any(byte not in words for byte in coded):
        return False, {}, None
    running, values = 0, []
    for byte in coded[:-1]:
        running ^= words[byte]
        values.append(running)
    return running == words[coded[-1]] and plain[-3:-1] == b"\xde\xaa", {}, values


def read_6and2(kind, cells, _):
    """(sound, values) of one whole field."""
    sound, said, values = read_epilogued(kind, cells, UNSIX)
    if values is None:
        return sound, said
    low, high = values[:86], values[86:]
    body = []
    for k in range(256):
        pair = low[k % 86] >> 2 * (k // 86) & 3
        body.append(high[k] << 2 | (pair & 1) << 1 | pair >> 1)
    return sound, {"body": bytes(body)}


def read_5and3(kind, cells, _):
    """(sound, values) of one whole field."""
    sound, said, values = read_epilogued(kind, cells, UNFIVE)
    if values is None:
        return sound, said
    low, high = values[153::-1], values[154:]
    body = []
    for x in range(50, -1, -1):
        three = [low[x] >> 2, low[x + 51] >> 2, low[x + 102] >> 2]
        three.append((low[x] >> 1 & 1) << 2 | (low[x + 51] >> 1 & 1) << 1 | low[x + 102] >> 1 & 1)
        three.append((low[x] & 1) << 2 | (low[x + 51] & 1) << 1 | low[x + 102] & 1)
        body += [high[x + 51 * k] << 3 | three[k] for k in range(5)]
    # READING: "the 256th byte: N1[255] = b>>3, aux[153] = b&7": nothing is said of the two bits of aux[153] that no byte uses; they are
    # no constants that a field must have.
    return sound, {"body": bytes([*body, high[255] << 3 | low[153] & 7])}


MFM_TAGS = {"11111110": "identifier", "11111011": "block", "11111000": "block"}


def fields_mfm(cells, limit, block):
    """Fields that begin with three A1 that lack a clock, and a tag."""
    for at in everywhere(cells, A1 * 3, limit):
        kind = MFM_TAGS.get(cells[at + 49 : at + 64 : 2])
        if kind:
            yield kind, at, at + ((3 + 7) * 16 if kind == "identifier" else block)


def fields_fm(cells, limit, block):
    """Fields that begin with FE, FB or F8 with three clocks left out."""
    for tag, mark in FM_MARKS.items():
        for at in everywhere(cells, mark, limit):
            yield ("identifier", at, at + 7 * 16) if tag == 0xFE else ("block", at, at + block)


def read_mfm(kind, cells, complemented):
    """(sound, values) of one whole field: data cells only, the clock cells are not judged."""
    return marked(kind, cells[49::2], b"\xa1\xa1\xa1", complemented)


def read_fm(kind, cells, complemented):
    """(sound, values) of one whole field: data cells only, but for the mark."""
    return marked(kind, cells[1::2], b"", complemented)


def marked(kind, data, before, complemented):
    """(sound, values) of a field of FM or MFM by its data bits from the tag on; the CRC covers `before` too."""
    plain = int(data, 2).to_bytes(len(data) // 8, "big")
    sound = binascii.crc_hqx(before + plain, 0xFFFF) == 0
    if kind == "identifier":
        return sound, {"track": plain[1], "head": plain[2], "sector": plain[3], "length": plain[4]}
    body = inverted(plain[1:-2]) if complemented else plain[1:-2]
    return sound, {"body": body, "deleted": plain[0] == 0xF8}


@dataclass(frozen=True)
class Shape:
    """What a reader must know of a geometry to find its fields."""

    code: str
    size: int
    complemented: bool

    @property
    def identifier(self):
        """The length of an identifier in cells, its mark in it: of 4-to-5 the ten 1s."""
        return {"4to5": 90, "6and2": 112, "5and3": 112, "mfm": 160, "fm": 112}[self.code]

    @property
    def block(self):
        """The length of a block in cells, its mark in it: of 4-to-5 the whole sync ("2,640 cells with a sync of 40")."""
        group = {"4to5": 40 + 2600, "6and2": (3 + 343 + 3) * 8, "5and3": (3 + 411 + 3) * 8}
        return group.get(self.code) or ((4 if self.code == "mfm" else 1) + self.size + 2) * 16


def shape_of(geo):
    """The shape of a geometry's fields."""
    return Shape(geo.code, geo.size, geo.complemented)


CODES = {
    "4to5": (fields_4to5, read_4to5),
    "6and2": (fields_6and2, read_6and2),
    "5and3": (fields_5and3, read_5and3),
    "mfm": (fields_mfm, read_mfm),
    "fm": (fields_fm, read_fm),
}


@lru_cache(maxsize=1000)
def fields_of(shape, cells, circular):
    """All fields of a stretch, in their order. "flag 1: exactly one turn, the last cell is followed by the first": a field may run over the end."""
    find, read = CODES[shape.code]
    size = len(cells)
    text = cells
    while circular and size and len(text) < size + shape.block + 64:
        text += cells
    out = []
    for kind, start, end in find(text, size, shape.block):
        cut = end > len(text)
        sound, values = (False, {}) if cut else read(kind, text[start:end], shape.complemented)
        first = start % size
        out.append(Field(kind, first, first + end - start, sound, cut, values))
    return sorted(out, key=lambda found: found.start)
