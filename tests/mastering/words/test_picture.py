"""A geometry in text: to scale, complete, and no wider than the screen."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats import registry
from formats.model.record import Record
from mastering.words.geometries import geometry_text
from mastering.words.layout import rendered
from mastering.words.picture import pieces, scaled, sector_bar, turn_bar

GEOMETRIES = [registry.geometry(name) for name in registry.names("geometries", foreign=False)]


@pytest.fixture(params=GEOMETRIES, ids=lambda geometry: geometry.id)
def geometry(request):
    return request.param


def told(geometry, columns=100) -> list[str]:
    return list(rendered(geometry_text(geometry, columns), columns))


@pytest.mark.parametrize("columns", [72, 80, 100, 132])
def test_no_line_is_wider_than_the_screen_and_every_number_is_whole(geometry, columns):
    lines = told(geometry, columns)
    assert max(map(len, lines)) <= columns
    if len(geometry.zones) == 1:  # of several the least and the greatest are shown
        assert all(f"{piece.cells:,}" in "\n".join(lines) for piece in pieces(geometry, geometry.sector, geometry.zones[0]))


def test_the_pieces_are_all_cells_of_a_track(geometry):
    """Together with what is left they are the whole cells of a turn; in MFM and FM sixteen cells are a byte."""
    for zone in geometry.zones:
        lead, sector = (pieces(geometry, elements, zone) for elements in (geometry.lead, geometry.sector))
        assert sum(piece.cells for piece in sector) == geometry.sector_cells(zone)
        assert sum(piece.cells for piece in lead) == sum(geometry.laid_cells(each, zone) for each in geometry.lead)
        if geometry.code in ("fm", "mfm"):
            assert all(piece.cells == 16 * piece.bytes for piece in (*lead, *sector))
        names = [
            field.name for record in geometry.sector if isinstance(record, Record) for field in record.fields if field.name != "residue"
        ]
        held = [piece.name.partition(" ")[2] for piece in sector if piece.kind in ("identifier", "block")]
        assert held == names


def test_the_bar_of_a_turn_is_to_scale(geometry):
    """Each sector's left end stands in its own column, less than one off, and every number can be read where there is room."""
    for zone in geometry.zones:
        bar = turn_bar(geometry, zone, 96)
        lead = sum(geometry.laid_cells(each, zone) for each in geometry.lead)
        column = geometry.track_cells(zone.first - geometry.first_track) / len(bar)
        starts = [match.start() for match in re.finditer(r"\|", bar)]
        assert len(bar) == 96 and len(starts) == zone.sectors
        assert all(abs(at - (lead + n * geometry.sector_cells(zone)) / column) < 1 for n, at in enumerate(starts))
        numbers = [int(number) for number in re.findall(r"\|(\d+)", bar)]
        assert numbers == list(geometry.order or geometry.numbers(zone.first - geometry.first_track))


def test_the_bar_of_a_sector_is_to_scale(geometry):
    """The block, which is by far the longest, has its share of the columns, but for those lent to what is shorter than one."""
    for zone in geometry.zones:
        bar = sector_bar(geometry, zone, 96)
        share = sum(piece.cells for piece in pieces(geometry, geometry.sector, zone) if piece.kind == "block") / geometry.sector_cells(zone)
        assert len(bar) == 96 and set(bar) == set("sI.B") and abs(bar.count("B") - 96 * share) < 4


@given(st.lists(st.integers(0, 10_000), min_size=1, max_size=30).filter(any), st.integers(40, 120))
def test_columns_add_up_and_nothing_that_is_there_vanishes(lengths, width):
    exact, kept = scaled(lengths, width), scaled(lengths, width, least=1)
    assert sum(exact) == sum(kept) == width
    assert all((columns > 0) == (length > 0) for length, columns in zip(lengths, kept, strict=True))


def test_what_is_told_of_one_is_what_its_source_says():
    """The 18-sector track pattern (facts of the format: 32 x 4E, 12 x 00, C2 C2 C2 FC, 32 x 4E, gap 2 of 22, gap 3 of 24, 14 left)."""
    text = "\n".join(told(registry.geometry("mfm-40x18x256"), 132))
    rows = [(name, int(count)) for name, count in re.findall(r"^ {4}(\w+(?: \w+)?) +(\d+) +[\d,]+ ", text, re.MULTILINE)]
    assert [count for name, count in rows if name in ("gap", "sync")] == [32, 12, 32, 12, 22, 12, 24, 14]
    assert ("block body", 256) in rows and ("index mark", 3) in rows
    assert "4,096  8,192.0  the dump's bytes" in text  # 256 bytes of 16 cells of 2 µs
    text = " ".join(text.split())
    assert "0.61 % faster, less than the tolerance" in text and "usual tolerance ±1.5 %" in text


def rows(name: str) -> dict[str, list[str]]:
    """The rows of the table of parts by their names, in order: bytes, cells, times and what they hold."""
    made: dict[str, list[str]] = {}
    for part, rest in re.findall(r"^ {4}(\w+(?: \w+)?) {2,}(\S.*)$", "\n".join(told(registry.geometry(name), 132)), re.MULTILINE):
        made.setdefault(part, []).append(" ".join(rest.split()))
    return made


def test_the_marks_of_fm_are_told_by_clocks_and_cells():
    """FD179X-02 data sheet: FE, FB and F8 with clocks C7; their cells are CV033 to CV035, the index mark's CV032."""
    fm = rows("fm-40x16x128")
    assert fm["identifier type"] == ["1 16 64.0 FE with clocks C7: cells F57E"]
    assert fm["block type"] == ["1 16 64.0 FB or F8 with clocks C7: cells F56F or F56A"]
    assert fm["index mark"] == ["1 16 64.0 cells F77A"]
    assert rows("mfm-40x9x512")["identifier type"] == ["1 16 32.0 FE"]


def test_gaps_are_told_with_what_a_controller_asks_for():
    """FD179X-02 data sheet; firmware listings; two formatters below that sheet's 10 and 16."""
    assert rows("mfm-40x9x512")["gap"] == [
        "80 1,280 2,560.0 4E",
        "50 800 1,600.0 4E, at least 32 from the track's start",
        "22 352 704.0 4E, at least 22, at most 27",
        "80 1,280 2,560.0 4E, at least 24",
        "218 3,488 6,976.0 4E, at least 16",
    ]
    assert rows("mfm-40x9x512")["sync"][1:] == ["12 192 384.0 00, at least 8", "12 192 384.0 00, at least 12"]
    assert rows("fm-40x18x128")["gap"][-2] == "9 144 576.0 FF, at least 9"
    assert rows("fm-40x10x256")["gap"][-1] == "9 144 576.0 FF, at least 9"
    assert rows("gcr4to5-35z")["gap"][1].endswith(" 55, at least 4")


def test_columns_of_a_table_stand_below_each_other(geometry):
    """Every row is as wide before what it holds; of zones that differ the least and the greatest where there is no room for all."""
    head, *lines = (line for line in told(geometry, 132) if re.match(r"  part |    (gap|sync|mark|identifier|block|index) ", line))
    ends = [match.end() for match in re.finditer(r"bytes|cells|µs \d+-\d+", head)]
    assert len(lines) > 8 and len(ends) == 2 + len(geometry.zones)
    assert all(line[end - 1].isdigit() and line[end : end + 1] in (" ", "") for line in lines for end in ends)
    assert rows("gcr4to5-77z")["gap"][-1].startswith("100-141 800-1,131 ")


def test_fields_that_hold_one_thing_always_say_so():
    """The head's number; bytes that nobody judges; 256 bytes of 6-and-2 and a 00 are 342 and a check of bytes on the disc."""
    assert rows("mfm-40x9x512")["identifier head"] == ["1 16 32.0 00"]
    assert rows("mfm-40x9x512-2s")["identifier head"] == ["1 16 32.0 00 or 01"]
    assert rows("gcr4to5-35z")["identifier off"][0].endswith("0F 0F, not judged")
    assert rows("gcr6and2-35x16x256")["block body"] == ["257 2,744 10,976.0 the dump's bytes and 00, as 343 disc bytes"]
    assert rows("gcr5and3-35x13x256")["block body"][0].endswith("as 411 disc bytes")


def test_a_margin_that_reads_like_the_tolerance_is_said_to_be_just_below():
    text = " ".join(" ".join(told(registry.geometry("gcr4to5-77z"))).split())
    assert text.count("1.50 % faster, just below the tolerance") == 2 and "1.34 % faster, less than the tolerance" in text


def test_places_in_a_dump_are_told_ascending(geometry):
    """Also of two heads cylinder by cylinder whose zones begin on both."""
    zoned = registry.geometry("gcr4to5-40z")
    for each in (geometry, replace(zoned, heads=2, head_tracks=40), replace(zoned, heads=2, head_tracks=40, heads_apart=True)):
        places = [int(byte.replace(",", "")) for byte in re.findall(r"^  byte ([\d,]+)", "\n".join(told(each)), re.MULTILINE)]
        assert len(places) >= 4 and places == sorted(set(places))


def test_where_the_bytes_of_a_dump_lie():
    """CV110, CV130, CV132: file order; track 18 of the zoned disc at block 357; 78 of the two-headed one at 2083."""
    text = "\n".join(told(registry.geometry("gcr6and2-35x16x256")))
    assert "in a dump       of each track the sectors 0 13 11 9 7 5 3 1 14 12 10 8 6 4 2 15" in text
    assert "byte 91,392     track 18" in "\n".join(told(registry.geometry("gcr4to5-35z")))
    text = "\n".join(told(registry.geometry("gcr4to5-77z-2s")))
    assert "byte 533,248    track 78 head 1" in text and "all of head 0, then all of head 1" in text
    assert "cylinder by cylinder, head 0 then head 1" in "\n".join(told(registry.geometry("mfm-40x9x512-2s")))
    text = "\n".join(told(registry.geometry("fm-40x18x128-288rpm")))
    assert "every bit of them inverted on the track" in text and "round the track 1 3 5 7 9 11 13 15 17 2 4 6 8 10 12 14 16 18" in text


def test_what_disc_and_cuts_it_needs():
    """Drive handbooks: a second notch for a turned-over disc; a second index window where the drive needs the index hole."""

    def line(name: str) -> str:
        return " ".join(" ".join(told(registry.geometry(name))).split())

    assert "second write-enable notch at the mirrored place, and a second index window" in line("mfm-40x9x512")
    assert "second write-enable notch at the mirrored place; drives for it look for no index hole" in line("gcr4to5-35z")
    assert "none: both faces are recorded" in line("mfm-40x9x512-2s")
    assert "about 600 Oe (48 kA/m), 96 tracks to the inch" in line("mfm-80x15x512-2s")
    assert "about 300 Oe (24 kA/m), 100 tracks to the inch" in line("gcr4to5-77z")


def test_every_source_is_told(geometry):
    text = " ".join(" ".join(told(geometry)).split())
    assert all(f"{source.title}: {source.section}".strip() in text and f"({source.how})" in text for source in geometry.sources)
