"""The contract's section 6 on captures, story by story: each says what happened to one sector and what must be said of it."""

from dataclasses import replace

import numpy as np
import pytest
from bench import IDS, Copy, found, judge, master_of, random_dump, with_tag
from hypothesis import given, settings
from hypothesis import strategies as st

from formats.containers.capture import Track
from formats.model.geometry import Address, Gap
from formats.tracks.reading import Stretch, read_fields

SECTOR = {
    "fm-40x18x128-288rpm": Address(20, 0, 4),
    "gcr4to5-35z": Address(18, 0, 3),
    "gcr4to5-77z-2s": Address(95, 1, 3),
    "gcr5and3-35x13x256": Address(17, 0, 5),
    "gcr6and2-35x16x256": Address(17, 0, 5),
    "mfm-40x9x512": Address(20, 0, 4),
    "mfm-40x9x512-2s": Address(20, 1, 4),
}
EPILOGUES = ("gcr5and3", "gcr6and2")  # codes whose fields end with three bytes that are the same everywhere
CLOCKED = [name for name in IDS if "fm-" in name]


@pytest.fixture(params=IDS)
def name(request) -> str:
    return request.param


@pytest.fixture
def copy(name) -> Copy:
    return Copy(master_of(name))


@pytest.fixture
def sector(name) -> Address:
    return SECTOR[name]


def empty(place: tuple[int, int]) -> Track:
    return Track(*place, False, 4_000_000, 0, b"")


# Sound copies


def test_the_masters_own_cells_pass(copy):
    verdict = copy.verdict()
    assert (verdict.verdict, verdict.action, verdict.evidence, verdict.findings) == ("pass", "box", "cells", ())
    assert verdict.good == verdict.expected == len(copy.geometry.addresses)


@given(data=st.data())
@settings(max_examples=25)
def test_rotation_turns_and_marks_make_no_difference(data):
    copy = Copy(master_of(data.draw(st.sampled_from(IDS))))
    instead = {}
    for place in list(copy.cells)[::7]:
        turns = data.draw(st.sampled_from([1.12, 1.5, 2.0, 3.3]))
        first = data.draw(st.integers(0, len(copy.cells[place]) - 1))
        count = len(copy.cells[place])
        marks = range(count - first, int(count * turns), count) if data.draw(st.booleans()) else ()
        instead[place] = [copy.track(place, copy.turns(place, turns, first), False, marks)]
    assert copy.verdict(instead).verdict == "pass"


def test_other_gaps_syncs_and_orders_make_no_difference(name):
    """Longer syncs, shorter gaps between sectors, another order round the track: another formatter's sound disc."""
    geometry = master_of(name).sides["A"].geometry

    def other(element):
        if not isinstance(element, Gap):
            return element
        return replace(element, count=(element.count or 9) + 1) if element.fill == 0 else replace(element, count=max(element.minimum, 5))

    order = () if len(geometry.zones) > 1 else tuple(reversed(geometry.numbers(0)))
    foreign = replace(geometry, sector=tuple(map(other, geometry.sector)), order=order)
    assert judge(master_of(name), Copy(master_of(name), geometry=foreign).capture()).verdict == "pass"


@pytest.mark.parametrize("speed", [0.975, 1.025])
def test_a_disc_written_on_a_slow_or_fast_drive_passes(copy, name, speed):
    """Its turns have fewer or more cells than nominal; what gives way is the gap at the track's end and those between sectors."""
    geometry = copy.geometry
    tight = replace(
        geometry, sector=tuple(replace(each, count=max(each.minimum, 1)) if isinstance(each, Gap) else each for each in geometry.sector)
    )
    slim = Copy(master_of(name), geometry=tight)
    instead = {}
    for place, cells in slim.cells.items():
        count = int(len(cells) * speed)
        turn = np.concatenate((cells, cells[-400:], cells[-400:], cells[-4000:]))[:count]
        instead[place] = [slim.track(place, np.resize(turn, int(2.2 * count)), False)]
    assert slim.verdict(instead).verdict == "pass"


def test_a_reversed_capture_is_turned_round(copy):
    tracks = copy.capture().tracks
    backwards = []
    for track in tracks:
        cells = np.unpackbits(np.frombuffer(track.bits, np.uint8))[: track.cells][::-1]
        backwards.append(replace(track, bits=np.packbits(cells).tobytes()))
    assert judge(copy.master, replace(copy.capture(), tracks=tuple(backwards), reversed=True)).verdict == "pass"
    assert judge(copy.master, replace(copy.capture(), tracks=tuple(backwards))).diagnosis == "blank"


@pytest.mark.parametrize("name", [name for name in IDS if "-77" not in name])  # of which no drive has twice the tracks
def test_a_drive_of_twice_the_tracks_reads_the_even_ones(copy):
    tracks = [
        each
        for track in copy.capture().tracks
        for each in (replace(track, cylinder=2 * track.cylinder), empty((2 * track.cylinder + 1, track.head)))
    ]
    assert judge(copy.master, replace(copy.capture(), tracks=tuple(tracks), tpi=96.0)).verdict == "pass"


def test_cylinders_and_heads_beyond_the_geometry_are_ignored(copy):
    extra = [Track(cylinder, 0, True, 4_000_000, 16, b"\xff\xff") for cylinder in range(copy.geometry.cylinders, 45)]
    extra += [empty((3, 1))] if copy.geometry.heads == 1 else []
    assert judge(copy.master, replace(copy.capture(), tracks=(*extra, *copy.capture().tracks))).verdict == "pass"


def test_a_capture_of_other_cylinders_only_was_not_tried(copy):
    tracks = (Track(80, 0, True, 2_000_000, 16, b"\xff\xff"), Track(95, 1, False, 2_000_000, 0, b""))
    verdict = judge(copy.master, replace(copy.capture(), tracks=tracks))
    assert (verdict.diagnosis, set(found(verdict).values())) == ("blank", {"not-tried"})


# One sector's damage


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_flipped_cell_in_the_block_fails_its_check(copy, sector, share):
    _, block = copy.fields(sector)
    cell = block.body + int((block.end - block.body) * share)
    cell += (cell - block.body + 1) % 2 if copy.geometry.code in ("fm", "mfm") else 0  # a data cell, not a clock
    copy.flip(sector, cell)
    verdict = copy.verdict()
    assert found(verdict) == {sector: "block-check"}
    assert (verdict.verdict, verdict.action, verdict.good) == ("fail", "read-again", verdict.expected - 1)


def test_without_the_blocks_mark_there_is_no_block(copy, sector):
    _, block = copy.fields(sector)
    copy.flip(sector, block.body - 2)
    assert found(copy.verdict()) == {sector: "no-block"}


def test_without_the_identifiers_mark_the_sector_is_never_met(copy, sector):
    identifier, _ = copy.fields(sector)
    copy.flip(sector, identifier.body - 2)
    assert found(copy.verdict()) == {sector: "absent"}


def test_a_damaged_identifier_counts_for_the_one_sector_that_is_missed(copy, sector):
    identifier, _ = copy.fields(sector)
    copy.flip(sector, identifier.end - 41 if copy.geometry.code not in EPILOGUES else identifier.end - 33)
    assert found(copy.verdict()) == {sector: "identifier-check"}


def test_sector_numbers_of_damaged_identifiers_are_believed_first(copy, sector):
    """Two damaged identifiers: one still names its sector, so just one sector is missed, and the other counts for that."""
    other = sector._replace(sector=sector.sector + 2)
    for address, cell in ((sector, "check"), (other, "number")):
        identifier, _ = copy.fields(address)
        record = copy.geometry.identifier
        cells_a_byte = (identifier.end - identifier.body) // record.size if copy.geometry.code not in EPILOGUES else 16
        wanted = record.checks[0].stored if cell == "check" else "sector"
        at = identifier.body + record.offsets[wanted] * cells_a_byte
        copy.flip(address, at + cells_a_byte - 1)
    assert found(copy.verdict()) == {sector: "identifier-check", other: "identifier-check"}


def test_a_sector_that_is_right_at_some_turns_only_is_soft(copy, sector):
    place = copy.place(sector)
    cells = copy.turns(place, 3)
    _, block = copy.fields(sector)
    cells[len(copy.cells[place]) + block.body + 161 : len(copy.cells[place]) + block.body + 300] = 0
    verdict = copy.verdict({place: [copy.track(place, cells, False)]})
    assert found(verdict) == {sector: "soft"}
    assert (verdict.verdict, verdict.action, verdict.good) == ("marginal", "read-again", verdict.expected)


def test_a_sector_missed_on_one_turn_is_soft(copy, sector):
    place = copy.place(sector)
    count = len(copy.cells[place])
    cells = copy.turns(place, 3)
    identifier, block = copy.fields(sector)
    cells[count + identifier.start : count + block.end] = 0
    assert found(copy.verdict({place: [copy.track(place, cells, False)]})) == {sector: "soft"}


def test_an_empty_read_counts_as_a_turn_on_which_nothing_was_met(copy, sector):
    place = copy.place(sector)
    cylinder = place[0]
    every = {Address(sector.track, sector.head, number) for number in copy.geometry.numbers(cylinder)}
    assert found(copy.verdict({place: [copy.track(place), empty(place)]})) == dict.fromkeys(every, "soft")
    assert found(copy.verdict({place: [empty(place)]})) == dict.fromkeys(every, "absent")


def test_a_track_that_is_not_there_was_not_tried(copy, sector):
    place = copy.place(sector)
    every = {Address(sector.track, sector.head, number) for number in copy.geometry.numbers(place[0])}
    verdict = copy.verdict({place: []})
    assert found(verdict) == dict.fromkeys(every, "not-tried")
    assert verdict.diagnosis is None


def test_a_sector_that_both_ends_cut_was_not_tried(copy, sector):
    """One turn from the middle of its block on, not known to be a turn: the sector is cut off at both ends; that is no fault."""
    place = copy.place(sector)
    _, block = copy.fields(sector)
    cells = copy.turns(place, 1, (block.start + block.end) // 2)
    assert found(copy.verdict({place: [copy.track(place, cells, False)]})) == {sector: "not-tried"}
    assert copy.verdict({place: [copy.track(place, cells, True)]}).verdict == "pass"
    assert copy.verdict({place: [copy.track(place, copy.turns(place, 1.3, block.end - 100), False)]}).verdict == "pass"


def test_a_short_read_beside_a_whole_one_does_no_harm(copy, sector):
    place = copy.place(sector)
    whole, part = copy.track(place), copy.track(place, copy.turns(place, 0.4, 3_000), False)
    assert copy.verdict({place: [part, whole, part]}).verdict == "pass"


# Sound, and wrong


def test_other_bytes_with_a_right_check_differ_whatever_other_turns_gave(copy, name, sector):
    at = copy.geometry.places[sector] * copy.geometry.size
    other = Copy(copy.master, dump=copy.dump[:at] + bytes([copy.dump[at] ^ 1]) + copy.dump[at + 1 :])
    place = copy.place(sector)
    verdict = copy.verdict({place: [copy.track(place), copy.track(place), other.track(place)]})
    assert found(verdict) == {sector: "differs"}
    assert verdict.action == "write-again"


def test_another_discs_identity_is_found(copy, sector):
    wrong = {name: value ^ 1 for name, value in copy.side.identity.items()}
    other = Copy(copy.master, identity=wrong)
    place = copy.place(sector)
    every = {Address(sector.track, sector.head, number) for number in copy.geometry.numbers(place[0])}
    verdict = copy.verdict({place: [other.track(place)]})
    assert found(verdict) == dict.fromkeys(every, "identity")
    assert verdict.action == "write-again"


def test_another_tracks_identifier_is_misplaced(copy, sector):
    place, beside = copy.place(sector), (copy.place(sector)[0] + 1, sector.head)
    every = {Address(sector.track, sector.head, number) for number in copy.geometry.numbers(place[0])}
    assert found(copy.verdict({place: [copy.track(place, copy.cells[beside])]})) == dict.fromkeys(every, "misplaced")


@pytest.mark.parametrize("name", CLOCKED)
def test_deleted_data_is_a_finding(name, sector):
    copy = Copy(master_of(name))
    deleted = Copy(copy.master, geometry=with_tag(copy.geometry, b"\xf8"))
    _, block = copy.fields(sector)
    copy.splice(sector, block, deleted)
    verdict = copy.verdict()
    assert found(verdict) == {sector: "data-mark"}
    assert verdict.action == "write-again"


def test_what_looks_like_a_block_mark_within_an_identifier_is_none():
    """In FM the data bits 11000111 with one clock lost are FB with the clocks of a mark, half a bit on. Clocks are not judged."""
    copy, looked_at = Copy(master_of("fm-40x18x128-288rpm")), 0
    for address in copy.geometry.addresses:
        identifier, _ = copy.fields(address)
        data = "".join(map(str, copy.cells[copy.place(address)][identifier.body + 1 : identifier.end : 2]))
        if (bit := data.find("11000111")) >= 0:
            copy.flip(address, identifier.body + 2 * bit + 12)
            looked_at += 1
    assert looked_at > 10
    assert copy.verdict().verdict == "pass"


@pytest.mark.parametrize("name", CLOCKED)
def test_another_block_mark_is_no_block(name, sector):
    copy = Copy(master_of(name))
    strange = Copy(copy.master, geometry=with_tag(copy.geometry, b"\xfa"))
    _, block = copy.fields(sector)
    copy.splice(sector, block, strange)
    assert found(copy.verdict()) == {sector: "no-block"}


@pytest.mark.parametrize("name", ["mfm-40x9x512-2s"])
def test_the_other_heads_identifier_is_another_identity(name, sector):
    copy = Copy(master_of(name))
    identifier, _ = copy.fields(sector)
    copy.splice(sector, identifier, copy, source=sector._replace(head=0))
    assert found(copy.verdict()) == {sector: "identity"}


def test_of_two_copies_of_a_sector_the_wrong_one_counts(copy, sector):
    """A sector number that comes twice in a turn: a machine may read either."""
    other = sector._replace(sector=sector.sector + 1)
    identifier, _ = copy.fields(other)
    source, _ = copy.fields(sector)
    copy.splice(other, identifier, copy, source=sector, source_span=source)
    assert found(copy.verdict()) == {sector: "differs", other: "absent"}


# How long a turn is


@pytest.mark.parametrize("marked", [True, False])
@pytest.mark.parametrize("factor", [0.975, 1.025, 1])
def test_an_inexact_cell_length_hides_no_missed_turn_and_makes_none(copy, sector, marked, factor):
    """Index marks, or else the sightings themselves, say how long a turn is; what the file says of its drive comes last."""
    place = copy.place(sector)
    count = len(copy.cells[place])
    cells = copy.turns(place, 4)
    marks = range(0, 4 * count + 1, count) if marked else ()

    def verdict(run):
        track = copy.track(place, run, False, marks)
        return copy.verdict({place: [replace(track, cell_ps=int(track.cell_ps * factor))]})

    assert verdict(cells).verdict == "pass"
    identifier, block = copy.fields(sector)
    cells[2 * count + identifier.start : 2 * count + block.end] = 0
    assert found(verdict(cells)) == {sector: "soft"}


def test_a_sector_recorded_twice_makes_no_turn(copy, sector):
    """Two identifiers of one number in a read of less than a turn: their distance is not the length of a turn."""
    place = copy.place(sector)
    other = sector._replace(sector=max(copy.geometry.numbers(place[0])) if sector.sector < 7 else copy.geometry.first_sector)
    mine, theirs = copy.fields(sector), copy.fields(other)
    for own, span in zip(theirs, mine, strict=True):
        copy.splice(other, own, copy, source=sector, source_span=span)
    part = copy.track(place, copy.turns(place, 0.97, 0), False)
    assert set(found(copy.verdict({place: [copy.track(place), part]})).values()) <= {"absent"}


@pytest.mark.parametrize("name", ["fm-40x18x128-288rpm"])
def test_index_marks_say_how_long_a_turn_is_whatever_stands_twice_on_it(copy, sector):
    """Half of the sectors stand twice, three places apart: the others are absent, and these are good each time that they pass."""
    place = copy.place(sector)
    numbers = copy.geometry.numbers(place[0])
    for number in range(numbers[0], numbers[0] + 15, 6):
        for each in range(number, number + 3):
            twin = sector._replace(sector=each + 3)
            for own, span in zip(copy.fields(twin), copy.fields(sector._replace(sector=each)), strict=True):
                copy.splice(twin, own, copy, source=sector._replace(sector=each), source_span=span)
    count = len(copy.cells[place])
    track = copy.track(place, copy.turns(place, 3.2), False, (0, count, 2 * count, 3 * count))
    wanted = {sector._replace(sector=each) for each in numbers if (each - numbers[0]) % 6 >= 3}
    assert found(copy.verdict({place: [track]})) == dict.fromkeys(wanted, "absent")


def test_a_lost_index_mark_makes_no_longer_turn(copy, sector):
    place = copy.place(sector)
    count = len(copy.cells[place])
    for marks in ((0, 2 * count), (0, count, 3 * count), (0,)):
        assert copy.verdict({place: [copy.track(place, copy.turns(place, 3), False, marks)]}).verdict == "pass"
    cells = copy.turns(place, 4)
    identifier, block = copy.fields(sector)
    cells[count + identifier.start : count + block.end] = 0
    assert found(copy.verdict({place: [copy.track(place, cells, False, (0, 2 * count, 4 * count))]})) == {sector: "soft"}


def test_a_turn_on_which_nothing_was_met_makes_no_longer_turn(copy, sector):
    """Three turns without index marks, nothing met on the second: every sector was missed once."""
    place = copy.place(sector)
    count = len(copy.cells[place])
    cells = copy.turns(place, 3)
    cells[count : 2 * count] = 0
    assert found(copy.verdict({place: [copy.track(place, cells, False)]})) == dict.fromkeys(all_of(copy, sector), "soft")


# At which density


def all_of(copy: Copy, sector: Address) -> list[Address]:
    """The sectors of the track on which one lies."""
    return [sector._replace(sector=number) for number in copy.geometry.numbers(copy.place(sector)[0])]


@pytest.mark.parametrize("factor", [0.5, 2, 1.04, 0.96])
def test_a_side_at_another_density_fails_though_every_check_is_right(copy, factor):
    """Cells half or twice as long as the geometry's: no customer's drive reads them, so the side is written again."""
    tracks = tuple(replace(track, cell_ps=int(track.cell_ps * factor)) for track in copy.capture().tracks)
    verdict = judge(copy.master, replace(copy.capture(), tracks=tracks))
    assert found(verdict) == dict.fromkeys(copy.geometry.addresses, "density")
    assert (verdict.verdict, verdict.action, verdict.diagnosis, verdict.good) == ("fail", "write-again", None, 0)


@pytest.mark.parametrize("percent", [2.9, -2.9, 3.1, -3.1])
def test_the_cell_length_is_taken_with_the_speed_of_the_drive(copy, sector, percent):
    """A drive that turns a fifth faster meets cells that are a fifth shorter; of what is left 3 % are a drive's own."""
    place = copy.place(sector)
    read = copy.capture()
    cells = {each: 1 + percent / 100 if each == place else 1.0 for each in copy.cells}
    tracks = tuple(replace(each, cell_ps=round(each.cell_ps / 1.2 * cells[each.cylinder, each.head])) for each in read.tracks)
    wanted = dict.fromkeys(all_of(copy, sector), "density") if abs(percent) > 3 else {}
    assert found(judge(copy.master, replace(read, rpm=read.rpm * 1.2, tracks=tracks))) == wanted


@pytest.mark.parametrize(("factor", "kinds"), [(1.3, {"density"}), (1.031, {"density"}), (1.029, set())])
@pytest.mark.parametrize("how", ["flag", "marks", "two turns", "little more than a turn"])
def test_a_track_whose_turn_is_too_long_fails(copy, sector, factor, kinds, how):
    """Its drive turned slowly while it was written: a customer's drive meets its cells too close together."""
    place = copy.place(sector)
    turn = np.resize(copy.cells[place], int(len(copy.cells[place]) * factor))
    turn[len(copy.cells[place]) :] = 0
    turns = {"flag": 1, "marks": 1.2, "two turns": 2, "little more than a turn": 1.3}[how]
    cells = np.resize(turn, int(len(turn) * turns))
    track = copy.track(place, cells, how == "flag", (0, len(turn)) if how == "marks" else ())
    wanted = {address: kind for address in all_of(copy, sector) for kind in kinds}
    assert found(copy.verdict({place: [track]})) == wanted


@pytest.mark.parametrize("name", ["gcr6and2-35x16x256"])
@pytest.mark.parametrize(("twice", "shown"), [(8, True), (7, False)])
def test_half_of_a_tracks_sectors_show_how_short_its_turn_is(copy, sector, twice, shown):
    """13 of 16 sectors stand on a turn of 85 %, so many of them are met twice: with fewer than half they may just be recorded twice."""
    place = copy.place(sector)
    pitch = copy.geometry.pitches[place[0]]
    lead = copy.fields(sector._replace(sector=0))[0].start
    turn = np.zeros(int(len(copy.cells[place]) * 0.85), np.uint8)
    turn[: 13 * pitch] = copy.cells[place][lead : lead + 13 * pitch]
    read = copy.track(place, np.resize(turn, len(turn) + twice * pitch), False)
    kinds = found(copy.verdict({place: [read]}))
    met = set(read_numbers(copy, place, turn))
    assert len(met) == 13
    assert {address.sector for address, kind in kinds.items() if kind == "density"} == (met if shown else set())


def read_numbers(copy: Copy, place: tuple[int, int], cells: np.ndarray) -> list[int]:
    """The sectors whose identifiers stand in some cells of a track."""
    stretch = copy.track(place, cells, False)
    return read_fields(copy.geometry, [Stretch(stretch.bits, stretch.cells, False)]).identifiers.number("sector").tolist()


@pytest.mark.parametrize("name", ["gcr4to5-35z", "gcr4to5-77z-2s"])
def test_a_track_at_its_neighbour_zones_density_fails(name):
    """A writer that changed its density a track too late: fewer sectors stand with more room on a denser track."""
    copy = Copy(master_of(name))
    zone = copy.geometry.zones[1]
    place = (zone.first - copy.geometry.first_track, copy.geometry.heads - 1)
    denser = copy.track((place[0] - 1, place[1]))
    cells = np.concatenate((copy.cells[place], np.tile(np.array([0, 1], np.uint8), denser.cells)))[: denser.cells]
    address = next(each for each in copy.geometry.addresses if copy.place(each) == place)
    verdict = copy.verdict({place: [replace(copy.track(place, cells), cell_ps=denser.cell_ps)]})
    assert found(verdict) == dict.fromkeys(all_of(copy, address), "density")
    assert verdict.action == "write-again"


def test_a_sighting_at_another_density_is_unsound(copy, sector):
    """What was read soundly too is soft, other bytes are not believed, and a block that fails its check got less far."""
    place = copy.place(sector)
    whole = copy.track(place)
    dense = replace(whole, cell_ps=whole.cell_ps * 2)
    assert found(copy.verdict({place: [dense, whole]})) == dict.fromkeys(all_of(copy, sector), "soft")
    at = copy.geometry.places[sector] * copy.geometry.size
    other = Copy(copy.master, dump=copy.dump[:at] + bytes([copy.dump[at] ^ 1]) + copy.dump[at + 1 :])
    assert found(copy.verdict({place: [replace(other.track(place), cell_ps=dense.cell_ps)]}))[sector] == "density"
    _, block = copy.fields(sector)
    copy.flip(sector, block.body + 301)
    broken = replace(copy.track(place), cell_ps=dense.cell_ps)
    assert found(copy.verdict({place: [broken]})) == dict.fromkeys(all_of(copy, sector), "density") | {sector: "block-check"}
    assert found(copy.verdict({place: [broken, dense]}))[sector] == "density"


# What is not judged


@pytest.mark.parametrize("cells", [range(2, 18), range(3, 6)])
def test_the_last_two_bytes_of_a_zoned_field_are_not_judged(cells):
    copy, sector = Copy(master_of("gcr4to5-35z")), SECTOR["gcr4to5-35z"]
    for field in copy.fields(sector):
        copy.flip(sector, *(field.end - cell for cell in cells))
    assert copy.verdict().verdict == "pass"


@pytest.mark.parametrize("name", ["gcr5and3-35x13x256", "gcr6and2-35x16x256"])
def test_the_last_byte_of_an_epilogue_is_not_judged_and_the_first_two_are(name, sector):
    for back, kinds in ((4, set()), (12, {"identifier-check", "block-check"}), (20, {"identifier-check", "block-check"})):
        got = set()
        for which in (0, 1):
            copy = Copy(master_of(name))
            copy.flip(sector, copy.fields(sector)[which].end - back)
            got |= set(found(copy.verdict()).values())
        assert got == kinds


@pytest.mark.parametrize("name", CLOCKED)
def test_clock_cells_are_not_judged(name, sector):
    copy = Copy(master_of(name))
    for field in copy.fields(sector):
        copy.flip(sector, *range(field.body, field.end, 14))
    assert copy.verdict().verdict == "pass"


def test_gaps_are_not_judged(copy, sector):
    identifier, block = copy.fields(sector)
    rng = np.random.default_rng(3)
    place = copy.place(sector)
    gap = slice(identifier.end + 4, block.start - 60)
    copy.cells[place][gap] ^= (rng.random(max(0, gap.stop - gap.start)) < 0.2).astype(np.uint8)
    assert copy.verdict().verdict == "pass"


# Any cell


@given(data=st.data())
@settings(max_examples=60)
def test_no_single_cell_can_hurt_more_than_its_own_sector(data):
    name = data.draw(st.sampled_from(IDS))
    copy = Copy(master_of(name))
    sector = data.draw(st.sampled_from(copy.geometry.addresses))
    place = copy.place(sector)
    copy.cells[place][data.draw(st.integers(0, len(copy.cells[place]) - 1))] ^= 1
    verdict = copy.verdict()
    assert len(verdict.findings) <= 1
    assert all(finding.kind in {"block-check", "no-block", "identifier-check", "absent"} for finding in verdict.findings)


@given(data=st.data())
@settings(max_examples=40)
def test_a_copy_with_other_bytes_never_passes(data):
    """Any change of the sectors, soundly written, is found: never a false pass."""
    name = data.draw(st.sampled_from(IDS))
    master = master_of(name)
    dump = bytearray(master.sides["A"].dump)
    for _ in range(data.draw(st.integers(1, 3))):
        dump[data.draw(st.integers(0, len(dump) - 1))] ^= data.draw(st.integers(1, 255))
    changed = {at // master.sides["A"].size for at in range(len(dump)) if dump[at] != master.sides["A"].dump[at]}
    verdict = Copy(master, dump=bytes(dump)).verdict()
    places = master.sides["A"].geometry.places
    assert (
        {places[address] for address, kind in found(verdict).items() if kind == "differs"} == changed == {places[a] for a in found(verdict)}
    )


@given(cells=st.binary(max_size=600), seed=st.integers(0, 9))
@settings(max_examples=30)
def test_rubbish_never_passes(cells, seed):
    name = IDS[seed % len(IDS)]
    copy = Copy(master_of(name))
    places = sorted(copy.cells)
    bits = np.unpackbits(np.frombuffer(cells, np.uint8))
    verdict = copy.verdict({place: [copy.track(place, bits, seed > 4)] for place in places[seed:]} | {place: [] for place in places[:seed]})
    assert verdict.verdict == "fail"


def test_two_masters_of_one_geometry_differ_everywhere(name):
    """A check of the helpers: random dumps of two seeds share no sector."""
    geometry = master_of(name).sides["A"].geometry
    assert random_dump(geometry, 1) != random_dump(geometry, 2)
