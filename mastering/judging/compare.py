"""A read-back's sectors held against one side of a master: the kind of finding of each, by the contract's section 6."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from formats.containers.sector_report import Report
from formats.model.geometry import Address, Geometry
from mastering.judging.sightings import Sighted
from mastering.judging.verdict import KINDS, NUMBER, Finding, Looks
from mastering.judging.volatile import volatile_sectors
from mastering.master.master import Side
from mastering.master.serial import read_slot

Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]

_SHIFTS = range(1, 17)  # how many sectors further on a dropped sector's successors are looked for


class Target:
    """One side of a master as arrays: what a read-back is compared with."""

    def __init__(self, side: Side, catalogue: str) -> None:
        self.side, self.catalogue = side, catalogue
        self.name = side.name

    @cached_property
    def geometry(self) -> Geometry:
        """The side's geometry, as the master meant it."""
        return self.side.geometry

    @cached_property
    def rows(self) -> Bytes:
        """The master's sectors, in the order of the dump (n, bytes of a sector)."""
        return np.frombuffer(self.side.dump, np.uint8).reshape(-1, self.side.size)

    @cached_property
    def fillable(self) -> Flags:
        """Sectors that a reader's filler could equal."""
        flags = np.zeros(len(self.rows), np.bool_)
        flags[self.unproven] = True
        return flags

    @cached_property
    def unproven(self) -> Places:
        """Places of the sectors that a reader's filler could equal."""
        return np.array(self.side.unproven, np.int64)

    @cached_property
    def volatile(self) -> frozenset[int]:
        """Places of the sectors that a customer's machine may change."""
        sectors = volatile_sectors(self.side)
        return frozenset(place for place, address in enumerate(self.geometry.addresses) if address in sectors) if sectors else frozenset()

    @cached_property
    def slot(self) -> tuple[int, int, int] | None:
        """The serial slot: place of its sector, first and behind-last byte in it."""
        slot = self.side.slot
        if slot is None or self.side.slot_start is None:
            return None
        return self.side.slot_start // self.side.size, slot.offset, slot.offset + slot.bytes

    def around_slot(self, row: bytes) -> bool:
        """Whether the slot's sector has the master's bytes outside the slot."""
        if self.slot is None:
            return False
        place, first, last = self.slot
        own = self.rows[place].tobytes()
        return bool(row[:first] == own[:first] and row[last:] == own[last:])

    def slot_text(self, row: bytes) -> str:
        """What the slot in its sector's bytes holds, a character a byte."""
        return "" if self.slot is None else row[self.slot[1] : self.slot[2]].decode("latin-1")

    def read_slot(self, row: bytes) -> tuple[bool, str | None]:
        """Whether the slot in its sector's bytes holds what it may, and the serial."""
        if self.slot is None:
            return True, None
        place, first, last = self.slot
        return read_slot(row[first:last], self.rows[place, first:last].tobytes(), self.catalogue)


@dataclass(frozen=True, eq=False)
class Judged:
    """What a read-back is worth as a copy of a target; arrays by place in the dump.

    `kinds`: number of the finding's kind; `equal`: sound, and the master's bytes (around the slot); `known`: `rows` holds bytes
    that were read; elsewhere they are the master's. `slot`: what the serial slot holds where its sector has the finding `serial`, each
    text once (a byte is a character). `rescued`: how failing sectors of a capture of times could be read after all.
    """

    target: Target
    kinds: npt.NDArray[np.uint8]
    equal: Flags
    known: Flags
    rows: Bytes
    serial: str | None
    slot: tuple[str, ...] = ()
    rescued: Mapping[int, Looks] = field(default_factory=dict)

    @cached_property
    def differing(self) -> Places:
        """Places of the sectors that differ."""
        places: Places = (self.kinds == NUMBER["differs"]).nonzero()[0]
        return places

    @cached_property
    def looks(self) -> dict[int, Looks]:
        """What each differing sector looks like, where it looks like anything."""
        return {place: look for place in self.differing.tolist() if (look := self._look(place)) is not None}

    def _look(self, place: int) -> Looks | None:
        if place in self.target.volatile:
            return "volatile"
        row = self.rows[place].tobytes()
        if self.shifts(place):
            return "shifted"
        if place and self.known[place - 1] and row == self.rows[place - 1].tobytes():
            return "repeats-previous"
        return "filled" if row == row[:1] * len(row) else None

    def shifts(self, place: int) -> list[int]:
        """By how many sectors (1 to 16) further on in the master a sector's bytes stand.

        A master's sector that a filler could equal, judged on the master as for `unproven`, shows no shift.
        """
        row, size, dump = self.rows[place].tobytes(), self.target.side.size, self.target.side.dump
        if dump.find(row, (place + 1) * size, (place + 1 + len(_SHIFTS)) * size) < 0:
            return []
        starts = ((step, (place + step) * size) for step in _SHIFTS)
        return [step for step, at in starts if dump[at : at + size] == row and not self.target.fillable[place + step]]

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Every sector's finding, in the order of the dump."""
        places = self.kinds.nonzero()[0].tolist()
        looks = {**self.looks, **self.rescued}
        addresses = self.target.geometry.addresses
        return tuple(Finding(*addresses[place], KINDS[self.kinds[place]], looks.get(place)) for place in places)

    @property
    def good(self) -> int:
        """Sectors without a finding, or with `soft` only."""
        return int(np.count_nonzero(_GOOD[self.kinds]))


def compare_dump(target: Target, dump: bytes, report: Report | None) -> Judged:
    """A dump, whole or short by whole sectors, and what its reader reported."""
    size = target.side.size
    count, covered = len(target.rows), len(dump) // size
    whole = dump if covered == count else dump + target.side.dump[len(dump) :]
    rows = np.frombuffer(whole, np.uint8).reshape(count, size)
    kinds = np.zeros(count, np.uint8)
    kinds[_unequal_rows(rows, target.rows)] = NUMBER["differs"]
    serial, held = None, set()
    if target.slot and target.slot[0] < covered:
        place = target.slot[0]
        row = rows[place].tobytes()
        if target.around_slot(row):
            right, serial = target.read_slot(row)
            kinds[place] = 0 if right else NUMBER["serial"]
            held = {target.slot_text(row)}
    kinds[covered:] = NUMBER["not-tried"]
    if report is not None:
        kinds = _reported(target, report, kinds)
        if target.slot and kinds[target.slot[0]] not in (0, NUMBER["soft"]):
            serial = None
    return Judged(target, kinds, _EQUAL[kinds], np.arange(count) < covered, rows, serial, _held(target, kinds, held))


_GOOD = np.array([kind in ("", "soft") for kind in KINDS])
_EQUAL = np.array([kind in ("", "soft", "serial") for kind in KINDS])  # kinds whose bytes are the master's, where a dump has no report


def _unequal_rows(one: Bytes, other: Bytes) -> Places:
    """Places of the rows that are not the same, some of them several times."""
    width, rest = divmod(one.shape[1], 8)
    if rest:  # eights of bytes would reach into the next row
        return np.flatnonzero((one != other).any(axis=1))
    places: Places = (one.reshape(-1).view(np.uint64) != other.reshape(-1).view(np.uint64)).nonzero()[0] // width
    return places


def _reported(target: Target, report: Report, compared: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """The kinds when a reader's report stands beside the dump: what it calls good or soft is compared, any other state is the finding."""
    kinds = np.full(len(compared), NUMBER["not-tried"], np.uint8)
    for address, (state, tries) in report.rows.items():
        place = target.geometry.places.get(Address(*address))
        if place is None:  # of another geometry; `verify` has refused it for the side that is judged
            continue
        if state not in ("good", "soft"):
            kinds[place] = NUMBER[state]
        elif compared[place] == 0 and (state == "soft" or (tries or 0) > 1):
            kinds[place] = NUMBER["soft"]
        else:
            kinds[place] = compared[place]
    return kinds


def compare_cells(target: Target, sighted: Sighted) -> Judged:
    """A capture's sightings, each judged, each sector by all of its own."""
    count = len(target.rows)
    body = sighted.reading.blocks.bodies(sighted.block)
    same = (body == target.rows[sighted.place]).all(axis=1)
    wrong_serial, serial, held = _slots(target, sighted.place, body, same)
    identity = np.zeros(len(same), np.bool_)
    identifiers = sighted.reading.identifiers
    for name, value in _identity(target, sighted).items():
        identity |= identifiers.number(name)[sighted.identifier] != value
    deleted = sighted.reading.blocks.deleted[sighted.block]
    flags = {
        name: _any(count, sighted.place[chosen]) for name, chosen in (("differs", ~same), ("data-mark", deleted), ("identity", identity))
    }
    flags["serial"] = _any(count, sighted.place[wrong_serial])
    sound = _any(count, sighted.place)
    failed = sighted.density | sighted.block_check | sighted.no_block | sighted.identifier_check | sighted.missed
    rules = [*flags.items(), ("soft", sound & failed), ("", sound)]
    rules += [("density", sighted.density), ("block-check", sighted.block_check), ("no-block", sighted.no_block)]
    rules += [("identifier-check", sighted.identifier_check)]
    rules += [("not-tried", sighted.cut_off), ("misplaced", sighted.misplaced), ("absent", sighted.missed)]
    kinds = np.full(count, NUMBER["not-tried"], np.uint8)
    for name, holds in reversed(rules):  # the first rule that holds is laid last
        kinds[holds] = NUMBER[name]
    rows = target.rows
    if not same.all():
        rows = rows.copy()
        order = np.flatnonzero(~same)[::-1]  # of several that differ the first one read stays
        rows[sighted.place[order]] = body[order]
    equal = _any(count, sighted.place[same]) & ~flags["differs"]
    return Judged(target, kinds, equal, sound, rows, serial, _held(target, kinds, held))


def _any(count: int, places: Places) -> Flags:
    """A flag for each of so many sectors, set at these places."""
    flags = np.zeros(count, np.bool_)
    flags[places] = True
    return flags


def _identity(target: Target, sighted: Sighted) -> dict[str, int | Places]:
    """What the identity fields of each sound sighting's identifier should hold, the head among them where there is one."""
    wanted: dict[str, int | Places] = dict(target.side.identity)
    if "head" in target.geometry.identifier.offsets:
        heads = np.array([address.head for address in target.geometry.addresses], np.int64)
        wanted["head"] = heads[sighted.place]
    return wanted


def _slots(target: Target, places: Places, body: Bytes, same: Flags) -> tuple[Flags, str | None, set[str]]:
    """Where the slot's sightings hold neither marker nor serial, or not what the first one held; the serial; and all that they held.

    `same` is set where the bytes around the slot are the master's.
    """
    wrong = np.zeros(len(places), np.bool_)
    held: set[str] = set()
    if target.slot is None:
        return wrong, None, held
    texts: list[str | None] = []
    for sighting in np.flatnonzero(places == target.slot[0]).tolist():
        row = body[sighting].tobytes()
        if target.around_slot(row):
            same[sighting] = True
            held.add(target.slot_text(row))
            right, text = target.read_slot(row)
            texts += [text] if right else []
            wrong[sighting] = not right or text != texts[0]
    return wrong, texts[0] if texts and not wrong.any() else None, held


def _held(target: Target, kinds: npt.NDArray[np.uint8], texts: set[str]) -> tuple[str, ...]:
    """What the slot holds, where that is what is wrong with its sector."""
    return tuple(sorted(texts)) if target.slot and kinds[target.slot[0]] == NUMBER["serial"] else ()
