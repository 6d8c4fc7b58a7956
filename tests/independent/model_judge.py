"""One side judged: every sector by all its sightings, or by its bytes and what a report says. Sentence by sentence, slow and literal.

It shares nothing with the program. Where the rules can be read in more than one way a comment that begins with "READING" quotes the
sentence and says which way was taken.
"""

from dataclasses import dataclass, field

from model_geometry import GEOMETRIES
from model_sightings import read_track


@dataclass(frozen=True)
class ModelSide:
    """One side of a master: its geometry's id, its dump, and what its identifiers say besides numbers."""

    geometry: str
    dump: bytes
    identity: dict = field(hash=False)
    volatile: frozenset = frozenset()  # sectors of files that a customer's machine may change


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
    size = GEOMETRIES[master.sides[name].geometry].size
    want = master.sides[name].dump[index * size : (index + 1) * size]
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
    geo = GEOMETRIES[side.geometry]
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
        on_disc = 0 if geo.heads == 1 else head
        if named != side.identity or values.get("head", on_disc) != on_disc or (geo.marked and values["length"] != geo.length):
            faults.append("identity")
        wrong += faults
        if kind is None:
            serials.append(serial)
        equal |= not faults
        if content is None or ("differs" in faults and compare(master, name, index, content)[0] != "differs"):
            content = body
    # READING: two sound sightings that hold two serials: no disc has two, so one of them is not this disc's.
    if len(set(serials)) > 1:
        wrong.append("serial")
    serial = serials[0] if len(set(serials)) == 1 else None
    for kind in ORDER:
        if kind in wrong:
            # READING: "sound and equal sectors": one that was also read soundly with other bytes is none.
            return kind, serial, equal and kind != "differs", content
    seen = [one for one in sightings if not one.cut_off]
    missed = number in reads.missed
    if equal:
        return (None if all(one.sound for one in seen) and not missed else "soft"), serial, True, content
    # "whose only sightings were cut off".
    # READING: it was missed in another stretch, or another track's number stood in its place, all the same: still not tried.
    if sightings and not seen:
        return "not-tried", None, False, None
    if any(one.all_but_sound for one in seen):
        return "density", None, False, None
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
    # READING: "no filler could equal it": judged on the master, as for `unproven`: the sector further on is not all one byte and not equal
    # to the sector before it.
    for k in range(index + 1, min(index + 17, len(master_bodies))):
        if master_bodies[k] == body and not one_value(body) and master_bodies[k - 1] != body:
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
        if kind == "differs" and (track, head, sector) in side.volatile:
            finding["looks"] = "volatile"
        elif kind == "differs" and (seems := looks(want, content, index)):
            finding["looks"] = seems
        out.append(finding)
    return out


def cylinder_of(geo, stretch, tpi):
    """The geometry's cylinder of a stretch: "`tpi` of twice the geometry's: the even cylinders are its tracks, the odd ones are ignored"."""
    if tpi != 2 * geo.tpi:
        return stretch.cylinder
    return None if stretch.cylinder % 2 else stretch.cylinder // 2


def judge_cells(master, name, capture):
    """Judge a capture against one side."""
    side = master.sides[name]
    geo = GEOMETRIES[side.geometry]
    tracks = {}
    for stretch in capture.stretches:
        cylinder = cylinder_of(geo, stretch, capture.tpi)
        if cylinder is not None and cylinder < geo.cylinders and stretch.head < geo.heads:
            tracks.setdefault((cylinder, stretch.head), []).append(stretch)
    reads = {key: read_track(geo, *key, found, capture.rpm) for key, found in tracks.items()}
    kinds, equal, content, serial = [], [], [], None
    for index, place in enumerate(geo.places()):
        kind, found, same, body = judge_sector(master, name, index, place, reads.get(place[:2]))
        kinds.append(kind)
        equal.append(same)
        content.append(body)
        # READING: "it is read out into `serial`": from a sound block that holds the master's bytes around
        # it, whatever its marks and identifier or other sightings gave.
        serial = found or serial
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
