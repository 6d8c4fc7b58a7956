"""The judgement of read-backs, sentence by sentence, as slow and as literal as it can be written.

It shares nothing with the program: cells are strings, fields are found by searching their marks at every cell. Where the rules can be
read in more than one way a comment that begins with "READING" quotes the sentence and says which way was taken.
"""

import binascii
import itertools
import json
import statistics
import struct
import zlib
from dataclasses import dataclass, field
from functools import lru_cache

from model_encode import A1, GEOMETRIES, NIBBLES, SIGNATURE, SIX, Stretch, bits

UNNIBBLE = {word: value for value, word in enumerate(NIBBLES)}
UNSIX = {byte: value for value, byte in enumerate(SIX)}
HEX4 = {f"{value:04b}": f"{value:x}" for value in range(16)}


class NoReadBackError(Exception):
    """The file is no read-back of this master."""


@dataclass(frozen=True)
class ModelSide:
    """One side of a master: its geometry's id, its dump, and what its identifiers say besides numbers."""

    geometry: str
    dump: bytes
    identity: dict = field(hash=False)


@dataclass(frozen=True)
class ModelSlot:
    """Where the serial stands: `at` is the offset in the side's dump, `size` the marker's length."""

    side: str
    at: int
    size: int


@dataclass(frozen=True)
class ModelMaster:
    """A master as far as judging needs it. `sides` maps A and B to a `ModelSide`."""

    name: str
    catalogue: str
    sides: dict = field(hash=False)
    slot: ModelSlot | None = None


# --- fields: what stands in the cells -----------------------------------------------------------------------------------------


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
        volume, track, sector, check = (((plain[k] << 1) | 1) & plain[k + 1] & 0xFF for k in (3, 5, 7, 9))
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
    "4to5": (fields_4to5, read_4to5, 80, 2600),
    "6and2": (fields_6and2, read_6and2, 112, 2792),
    "mfm": (fields_mfm, read_mfm, 160, 8288),
}


@lru_cache(maxsize=4000)
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


# --- sightings ----------------------------------------------------------------------------------------------------------------


@dataclass
class Sighting:
    """A sector passing the head: its identifier and what became of its block ("sound", "unsound", "none" or "cut")."""

    at: int
    identifier: Field
    state: str
    block: Field | None

    @property
    def sound(self):
        """A sighting is sound when its identifier and block both are."""
        return self.identifier.sound and self.state == "sound"

    @property
    def cut_off(self):
        """An identifier without fault whose block lies past an end of the stretch: not seen, which is no fault."""
        return self.identifier.sound and self.state == "cut"


def meet(code, stretch):
    """The sightings of one stretch, each block with the nearest identifier mark before it."""
    _, _, head_size, block_size = CODES[code]
    found = fields_of(code, stretch.cells, stretch.circular)
    size = len(stretch.cells)
    # "A field cut off by an end of the stretch was not seen"
    sightings = [Sighting(one.start, one, "none", None) for one in found if one.kind == "identifier" and not one.cut]
    for one in found:
        if one.kind != "block":
            continue
        before = [s for s in sightings if s.at < one.start] or (sightings if stretch.circular else [])
        if not before:
            continue
        owner = before[-1]
        # READING: "only if it begins less than a block's length behind that identifier": from the identifier's end to the block's mark
        # (its first cell; of 4-to-5 the first cell of the field), a block's length being that of the whole field, mark and off bytes in.
        behind = (one.start - owner.at) % size - head_size if stretch.circular else one.start - owner.at - head_size
        # READING: more than one block behind an identifier: the first counts.
        if 0 <= behind < block_size and owner.block is None:
            owner.block = one
            owner.state = "cut" if one.cut else "sound" if one.sound else "unsound"
    for one in sightings:
        # READING: no block was met and the stretch ends where it could still have begun: cut off, no fault.
        if one.state == "none" and not stretch.circular and size - (one.at + head_size) < block_size:
            one.state = "cut"
    return sightings


def turn_cells(stretch, sightings, rpm):
    """The length of a turn in cells, as the capture file's description has it."""
    if stretch.circular:
        return len(stretch.cells)
    if stretch.marks and len(stretch.marks) > 1:
        return statistics.median(b - a for a, b in zip(stretch.marks, stretch.marks[1:], strict=False))
    distances, last = [], {}
    for one in sightings:
        if one.identifier.sound:
            who = (one.identifier.values["track"], one.identifier.values["sector"])
            if who in last:
                distances.append(one.at - last[who])
            last[who] = one.at
    # READING: "the usual distance between sightings of the same sector": the median over this stretch, sound identifiers only.
    return statistics.median_low(distances) if distances else 60e12 / rpm / stretch.cell_ps


def holes(stretch, places, turn, sector):
    """The intervals of a stretch in which a sector with identifiers at `places` is missed."""
    size = len(stretch.cells)
    if stretch.circular:
        if not places:
            return [(0, size)]
        around = [*places, places[0] + size]
        return [(a, b) for a, b in itertools.pairwise(around) if b - a > 1.5 * turn]
    if not places:
        return [(0, size)] if size > turn + sector or size == 0 else []
    out = [(a, b) for a, b in itertools.pairwise(places) if b - a > 1.5 * turn]
    if places[0] > turn + sector:
        out.append((0, places[0]))
    if size - places[-1] > turn + sector:
        out.append((places[-1], size))
    return out


@dataclass
class TrackReads:
    """All that was met of one track: per sector its sightings, whether it was missed somewhere, what other tracks' numbers stood there."""

    sightings: dict
    missed: set
    strangers: set
    any_sound: bool = False


def near(stretch, a, b, turn):
    """Within half a turn of each other."""
    apart = abs(a - b)
    if stretch.circular:
        apart = min(apart, len(stretch.cells) - apart)
    return apart <= turn / 2


def read_track(geo, cylinder, stretches, rpm):
    """Hand every sighting of a track's stretches to its sector."""
    numbers = geo.sectors(cylinder)
    track = cylinder + geo.first_track
    out = TrackReads({n: [] for n in numbers}, set(), set())
    for stretch in stretches:
        met = meet(geo.code, stretch) if stretch.cells else []
        out.any_sound |= any(f.sound for f in fields_of(geo.code, stretch.cells, stretch.circular)) if stretch.cells else False
        turn = turn_cells(stretch, met, rpm)
        one_sector = turn / len(numbers)  # READING: "more than one turn and one sector": a sector is a turn shared by the track's sectors
        here = {n: [] for n in numbers}
        lost = []
        for one in met:
            values = one.identifier.values
            if one.identifier.sound and values["track"] == track and values["sector"] in here:
                here[values["sector"]].append(one)
            elif one.identifier.sound and values["track"] != track:
                # READING: "another track's": any other number, whether the geometry has such a track or not.
                out.strangers.add(values["sector"])
            elif not one.identifier.sound:
                lost.append(one)
        named = {n: list(found) for n, found in here.items()}
        rest = []
        for one in lost:
            # READING: "counts for the sector that it names on this track": its track and sector numbers, unsound as they are, name it.
            values = one.identifier.values
            n = values.get("sector")
            if values.get("track") == track and n in here and not any(s.sound and near(stretch, s.at, one.at, turn) for s in here[n]):
                named[n].append(one)
            else:
                rest.append(one)
        gaps = {n: holes(stretch, sorted(s.at for s in found), turn, one_sector) for n, found in named.items()}
        for one in rest:
            absent = [n for n in numbers if any(a <= one.at < b for a, b in gaps[n])]
            if len(absent) == 1:
                named[absent[0]].append(one)
        for n in numbers:
            out.sightings[n] += sorted(named[n], key=lambda s: s.at)
            if holes(stretch, sorted(s.at for s in named[n]), turn, one_sector):
                out.missed.add(n)
    return out


# --- serials ------------------------------------------------------------------------------------------------------------------

LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def check_character(text):
    """ISO/IEC 7064 MOD 37,36."""
    product = 36
    for letter in text:
        total = (product + LETTERS.index(letter)) % 36 or 36
        product = total * 2 % 37
    return LETTERS[(37 - product) % 36]


def is_serial(text, catalogue):
    """CATALOGUE-NNNN-C: a number of four digits or more, from 0001, and the check character over the letters and digits before it."""
    if not text.startswith(catalogue + "-") or text.count("-") != catalogue.count("-") + 2:
        return False
    number, check = text[len(catalogue) + 1 :].split("-")
    if not (number.isascii() and number.isdigit() and len(number) >= 4 and int(number) > 0):
        return False
    if len(number) > 4 and number[0] == "0":
        return False
    return check == check_character("".join(c for c in catalogue + number if c in LETTERS))


# --- findings -----------------------------------------------------------------------------------------------------------------


@dataclass
class Judged:
    """A side's read-back judged against one candidate side, before side and diagnosis are chosen."""

    findings: list
    equal: list  # per sector in dump order: has it a sound and equal sighting?
    serial: str | None
    sound: int = 0  # sound fields met
    content: list = field(default_factory=list)


def bodies(side):
    """A dump, cut into sectors."""
    size = GEOMETRIES[side.geometry].size
    return [side.dump[k : k + size] for k in range(0, len(side.dump), size)]


def slot_of(master, name, index):
    """(first, last + 1) of the serial slot inside this sector, or None."""
    if master.slot is None or master.slot.side != name:
        return None
    size = GEOMETRIES[master.sides[name].geometry].size
    first = master.slot.at - index * size
    return (first, first + master.slot.size) if 0 <= first < size else None


def compare(master, name, index, body):
    """(kind or None, serial): "differs", "serial" or equal."""
    want = bodies(master.sides[name])[index] if index >= 0 else b""
    slot = slot_of(master, name, index)
    if slot is None:
        return (None if body == want else "differs"), None
    a, b = slot
    if body[:a] != want[:a] or body[b:] != want[b:]:
        return "differs", None
    if body[a:b] == want[a:b]:
        return None, None
    text = body[a:b].decode("latin-1")
    shown = text.rstrip(" ")
    return (None, shown) if is_serial(shown, master.catalogue) else ("serial", None)


ORDER = ["differs", "data-mark", "identity", "serial"]


def judge_sector(master, name, index, place, reads):
    """(kind or None, serial, equal, body) of one sector, by all its sightings."""
    side = master.sides[name]
    _, head, _, number = place
    if reads is None:
        return "not-tried", None, False, None
    sightings = reads.sightings[number]
    wrong, serials, equal, content = [], [], False, None
    for one in sightings:
        if not one.sound:
            continue
        values, body = one.identifier.values, one.block.values["body"]
        faults = []
        kind, serial = compare(master, name, index, body)
        if kind:
            faults.append(kind)
        if one.block.values.get("deleted"):
            faults.append("data-mark")
        named = {key: values[key] for key in side.identity}
        on_disc = 0 if GEOMETRIES[side.geometry].heads == 1 else head
        if named != side.identity or values.get("head", on_disc) != on_disc or values.get("length", 2) != 2:
            faults.append("identity")
        wrong += faults
        if not faults:
            equal = True
            serials.append(serial)
        if content is None or ("differs" in faults and compare(master, name, index, content)[0] != "differs"):
            content = body
    serial = next((s for s in serials if s), None)
    for kind in ORDER:
        if kind in wrong:
            return kind, serial, equal, content
    seen = [one for one in sightings if not one.cut_off]
    missed = number in reads.missed
    if equal:
        return (None if all(one.sound for one in seen) and not missed else "soft"), serial, True, content
    # "whose only sightings were cut off".
    # READING: it was missed in another stretch, or another track's number stood in its place, all the same: still not tried.
    if sightings and not seen:
        return "not-tried", None, False, None
    if any(one.identifier.sound and one.state == "unsound" for one in seen):
        return "block-check", None, False, None
    if any(one.identifier.sound and one.state == "none" for one in seen):
        return "no-block", None, False, None
    if seen:
        return "identifier-check", None, False, None
    if number in reads.strangers:
        return "misplaced", None, False, None
    return ("absent" if missed else "not-tried"), None, False, None


def one_value(body):
    """One byte value throughout."""
    return len(set(body)) == 1


def looks(master_bodies, content, index):
    """How a `differs` sector looks, or None."""
    body = content[index]
    before = content[index - 1] if index else None
    # READING: "no filler could equal it": its bytes are not all the same and not those of the sector before, in the read-back.
    if not one_value(body) and body != before and body in master_bodies[index + 1 : index + 17]:
        return "shifted"
    if body == before:
        return "repeats-previous"
    return "filled" if one_value(body) else None


def with_looks(side, kinds, content):
    """Findings in dump order from a kind (or None) for each sector."""
    want = bodies(side)
    out = []
    for index, (kind, (_, head, track, sector)) in enumerate(zip(kinds, GEOMETRIES[side.geometry].places(), strict=True)):
        if kind is None:
            continue
        finding = {"track": track, "head": head, "sector": sector, "kind": kind}
        if kind == "differs" and (seems := looks(want, content, index)):
            finding["looks"] = seems
        out.append(finding)
    return out


def judge_cells(master, name, capture):
    """Judge a capture against one side."""
    side = master.sides[name]
    geo = GEOMETRIES[side.geometry]
    tracks = {}
    for stretch in capture.stretches:
        cylinder = stretch.cylinder
        if capture.tpi == 96:
            if cylinder % 2:
                continue
            cylinder //= 2
        if cylinder < geo.cylinders and stretch.head < geo.heads:
            tracks.setdefault((cylinder, stretch.head), []).append(stretch)
    reads = {key: read_track(geo, key[0], found, capture.rpm) for key, found in tracks.items()}
    kinds, equal, content, serial = [], [], [], None
    for index, place in enumerate(geo.places()):
        kind, found, same, body = judge_sector(master, name, index, place, reads.get(place[:2]))
        kinds.append(kind)
        equal.append(same)
        content.append(body)
        if found and kind in (None, "soft"):
            serial = found
    sound = sum(one.any_sound for one in reads.values())
    return Judged(with_looks(side, kinds, content), equal, serial, sound, content)


def judge_bytes(master, name, data, states):
    """Judge a dump; `states` is the report's {(track, head, sector): (state, tries)} or None."""
    side = master.sides[name]
    geo = GEOMETRIES[side.geometry]
    kinds, equal, content, serial = [], [], [], None
    for index, (_, head, track, sector) in enumerate(geo.places()):
        body = data[index * geo.size : (index + 1) * geo.size]
        content.append(body)
        state, tries = (states.get((track, head, sector), ("not-tried", None))) if states is not None else ("good", None)
        if len(body) < geo.size:
            state = "not-tried" if state in ("good", "soft") else state
        kind, same = state, False
        if state in ("good", "soft"):
            kind, found = compare(master, name, index, body)
            same = kind is None
            if same:
                serial = found or serial
                kind = "soft" if state == "soft" or (tries or 0) > 1 else None
        kinds.append(kind)
        equal.append(same)
    return Judged(with_looks(side, kinds, content), equal, serial, 0, content)


# --- captures -----------------------------------------------------------------------------------------------------------------


@dataclass
class Capture:
    """A capture as read from its file, turned round when it says that it is reversed."""

    stretches: list
    rpm: float
    tpi: float | None
    simulated: bool


def parse_capture(data):
    """Read the chunks of a capture with `CELL` only."""
    at, head, stretches = len(SIGNATURE), {}, []
    while at < len(data):
        (size,) = struct.unpack_from(">I", data, at)
        kind, payload = data[at + 4 : at + 8], data[at + 8 : at + 8 + size]
        if struct.unpack_from(">I", data, at + 8 + size)[0] != zlib.crc32(kind + payload):
            raise NoReadBackError("a chunk's CRC is wrong")
        at += 12 + size
        if kind == b"HEAD":
            head = json.loads(payload)
        elif kind == b"CELL":
            cylinder, face, flags, cell_ps, count = struct.unpack_from(">BBHII", payload)
            cells = bits(payload[12:])[:count]
            stretches.append(Stretch(cylinder, face, cells, cell_ps, bool(flags & 1)))
        elif kind == b"MARK":
            stretches[-1].marks = list(struct.unpack_from(f">{(size - 2) // 4}I", payload, 2))
    if head.get("reversed"):
        for one in stretches:
            one.cells = one.cells[::-1]
            if one.marks is not None:
                one.marks = [len(one.cells) - mark for mark in reversed(one.marks)]
    return Capture(stretches, head["rpm"], head.get("tpi"), bool(head.get("simulated")))


# --- side, diagnosis, verdict -------------------------------------------------------------------------------------------------


class Readback:
    """One read-back, judged against any side of any master when asked."""

    def __init__(self, data, report=None):
        self.data = data
        self.capture = parse_capture(data) if data.startswith(SIGNATURE) else None
        self.states = None if report is None else parse_report(report)
        self.evidence = "cells" if self.capture else "dump" if report is None else "report"
        self.known = {}

    def against(self, master, name):
        """Judge it against one side."""
        key = (id(master), name)
        if key not in self.known:
            if self.capture:
                self.known[key] = judge_cells(master, name, self.capture)
            else:
                self.known[key] = judge_bytes(master, name, self.data, self.states)
        return self.known[key]

    def fits(self, side):
        """A dump of the side's length; captures always fit."""
        return self.capture is not None or len(self.data) == len(side.dump)


STATES = ["good", "soft", "unread", "not-tried", "data-mark", "identity", "serial", "block-check", "no-block", "identifier-check",
          "misplaced", "absent"]  # fmt: skip


def parse_report(text):
    """A sector report's rows."""
    lines = text.splitlines()
    if lines[0] != "track,head,sector,state,tries":
        raise NoReadBackError("header")
    out = {}
    for line in lines[1:]:
        track, head, sector, state, tries = line.split(",")
        key = (int(track), int(head), int(sector))
        if key in out or state not in STATES:
            raise NoReadBackError(line)
        out[key] = (state, int(tries) if tries else None)
    return out


def differing(one, other):
    """The sectors (of `other`'s dump order) in which two sides differ: all of them where geometry or length differ."""
    a, b = bodies(one), bodies(other)
    if one.geometry != other.geometry or len(a) != len(b):
        return list(range(len(b)))
    return [k for k in range(len(b)) if a[k] != b[k]]


def short_for(readback, master, name):
    """`short`: a dump of one sector or more that ends early at a sector's end and has no other side's length."""
    side, size = master.sides[name], len(readback.data)
    others = [other for key, other in master.sides.items() if key != name]
    early = 0 < size < len(side.dump) and size % GEOMETRIES[side.geometry].size == 0
    return readback.capture is None and early and all(size != len(other.dump) for other in others)


def choose_side(readback, master, believed):
    """(name or None): the side that this read-back is of."""
    names = list(master.sides)
    if believed:
        return believed
    if len(names) == 1:
        return names[0]
    if readback.capture is None:
        fitting = [name for name in names if readback.fits(master.sides[name])]
        if len(fitting) == 1:
            return fitting[0]
        if not fitting and not any(short_for(readback, master, name) for name in names):
            raise NoReadBackError("a length that no side of this master has")
    a, b = (master.sides[name] for name in names)
    if a.geometry == b.geometry and a.dump == b.dump:
        return "A"
    # READING: "the side with more sound and equal sectors": sectors with at least one sound sighting that is the master's.
    counts = [
        sum(readback.against(master, name).equal[k] for k in differing(other, mine))
        for name, mine, other in ((names[0], a, b), (names[1], b, a))
    ]
    return None if counts[0] == counts[1] else names[counts[0] < counts[1]]


def blank(readback, side):
    """Capture: no sound identifier of any declared geometry; dump: one byte value throughout, and the master is not."""
    if readback.capture:
        return not any(
            found.kind == "identifier" and found.sound
            for stretch in readback.capture.stretches
            if stretch.cells
            for code in CODES
            for found in fields_of(code, stretch.cells, stretch.circular)
        )
    return len(readback.data) > 0 and one_value(readback.data) and not one_value(side.dump)


def is_candidates(readback, judged_side, master, name):
    """More than half of the sectors in which the candidate differs are sound and the candidate's: their share, or None."""
    candidate = master.sides[name]
    where = differing(judged_side, candidate)
    if not where:
        return None
    if readback.capture is None and len(readback.data) != len(candidate.dump) and len(readback.data) % GEOMETRIES[candidate.geometry].size:
        return None
    equal = readback.against(master, name).equal
    share = sum(equal[k] for k in where) / len(where)
    return share if share > 0.5 else None


def other_geometry(readback, master, name):
    """Captures: no sound field of this one, a tenth or more of the sectors of another declared one."""
    if readback.capture is None or readback.against(master, name).sound:
        return False
    own = master.sides[name].geometry
    for geo in GEOMETRIES.values():
        if geo.id == own or geo.code == GEOMETRIES[own].code:
            continue
        met = 0
        for stretch in readback.capture.stretches:
            if not stretch.cells or stretch.cylinder >= geo.cylinders or stretch.head >= geo.heads:
                continue
            track = stretch.cylinder + geo.first_track
            sound = {s.identifier.values["sector"] for s in meet(geo.code, stretch) if s.sound and s.identifier.values["track"] == track}
            met += len(sound & set(geo.sectors(stretch.cylinder)))
        if met * 10 >= len(geo.places()):
            return True
    return False


def diagnose(readback, master, name, judged, masters):
    """(diagnosis, matches): the first that holds."""
    side = master.sides[name]
    if blank(readback, side):
        return "blank", None
    for other in master.sides:
        if other != name and is_candidates(readback, side, master, other) is not None:
            return "other-side", [f"{master.name} {other}"]
    shares = []
    for candidate in masters:
        for other in candidate.sides:
            share = is_candidates(readback, side, candidate, other)
            if share is not None:
                shares.append((-share, f"{candidate.name} {other}"))
    if shares:
        return "other-master", [label for _, label in sorted(shares)]
    if other_geometry(readback, master, name):
        return "other-geometry", None
    differs = [f for f in judged.findings if f["kind"] == "differs"]
    shifted = [f for f in differs if f.get("looks") == "shifted"]
    # READING: "sectors past the end don't count": those whose place the read-back's shift puts behind the master's last sector.
    if shifted:
        want = bodies(side)
        order = {(track, head, sector): k for k, (_, head, track, sector) in enumerate(GEOMETRIES[side.geometry].places())}
        places = [order[f["track"], f["head"], f["sector"]] for f in shifted]
        steps = [next(s for s in range(1, 17) if want[k + s : k + s + 1] == [judged.content[k]]) for k in places]
        step = statistics.mode(steps)
        counted = [f for f in differs if order[f["track"], f["head"], f["sector"]] + step < len(want)]
        if len(shifted) >= 8 and len(shifted) * 2 > len(counted):
            return "shifted", None
    if lacks_the_end(readback, master, name):
        return "short", None
    return None, None


def lacks_the_end(readback, master, name):
    """`short`: a dump that ends early, or a capture that lacks the last cylinders."""
    if readback.capture is None:
        return short_for(readback, master, name)
    step = 2 if readback.capture.tpi == 96 else 1
    last = max((one.cylinder for one in readback.capture.stretches), default=-1)
    return last // step < GEOMETRIES[master.sides[name].geometry].cylinders - 1


ACTIONS = {"other-side": "turn-over", "other-master": "ask", "other-geometry": "ask", "blank": "write-again", "shifted": "read-again",
           "short": "read-again"}  # fmt: skip


def action_of(verdict):
    """What the hands do next."""
    if verdict["diagnosis"]:
        return ACTIONS[verdict["diagnosis"]]
    if verdict["side"] is None:
        return "ask"
    if verdict["verdict"] == "pass":
        return "box"
    if verdict["verdict"] == "marginal":
        return "read-again"
    kinds = {finding["kind"] for finding in verdict["findings"]}
    again = kinds & {"data-mark", "identity", "serial"} or ("differs" in kinds and verdict["evidence"] != "dump")
    return "write-again" if again else "read-again"


def unproven_of(side, judged):
    """The passing sectors that a reader's filler could equal, judged on the master."""
    want = bodies(side)
    found = {(f["track"], f["head"], f["sector"]) for f in judged.findings}
    places = GEOMETRIES[side.geometry].places()
    return sum(
        (track, head, sector) not in found and (one_value(want[k]) or (k > 0 and want[k] == want[k - 1]))
        for k, (_, head, track, sector) in enumerate(places)
    )


def judge(master, data, report=None, side=None, masters=()):
    """The verdict line (without the file's name) of one read-back. Raises `NoReadBackError`."""
    readback = Readback(data, report)
    name = choose_side(readback, master, side)
    out = {
        "side": name, "serial": None, "evidence": readback.evidence, "verdict": "fail", "diagnosis": None, "action": None, "sectors": None,
        "unproven": 0, "simulated": bool(readback.capture and readback.capture.simulated), "findings": [],
    }  # fmt: skip
    if name is None:
        every = [diagnose(readback, master, one, readback.against(master, one), masters) for one in master.sides]
        if len({diagnosis for diagnosis, _ in every}) == 1:
            out["diagnosis"] = every[0][0]
        out["action"] = action_of(out)
        return out
    chosen = master.sides[name]
    judged = readback.against(master, name)
    if not readback.fits(chosen) and not short_for(readback, master, name):
        # "A dump of the wrong length for the side that is believed: all not-tried, diagnosis other-side when that holds, else an error."
        others = [one for one in master.sides if one != name and readback.fits(master.sides[one])]
        if not any(is_candidates(readback, chosen, master, one) is not None for one in others):
            raise NoReadBackError("a length that this side does not have")
        count = len(bodies(chosen))
        judged = Judged(with_looks(chosen, ["not-tried"] * count, []), [False] * count, None)
        out["diagnosis"], matches = "other-side", [f"{master.name} {others[0]}"]
    else:
        out["diagnosis"], matches = diagnose(readback, master, name, judged, masters)
    faults = [f for f in judged.findings if f["kind"] != "soft"]
    expected = len(bodies(chosen))
    out["verdict"] = "fail" if faults or out["diagnosis"] else "marginal" if judged.findings else "pass"
    out["sectors"] = {"expected": expected, "good": expected - len(faults)}
    out["findings"], out["serial"] = judged.findings, judged.serial
    out["unproven"] = unproven_of(chosen, judged) if readback.evidence == "dump" else 0
    out["action"] = action_of(out)
    if matches and out["diagnosis"] in ("other-side", "other-master"):
        out["matches"] = matches
    return out
