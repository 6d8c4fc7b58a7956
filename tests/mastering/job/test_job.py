"""Bad jobs: each has its one clear line with its dotted place, and all of them come at once."""

import tomllib
from pathlib import Path

import pytest
from bench import MARKER
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mastering.errors import MasteringError, ProblemsError
from mastering.job.job import load
from mastering.master.builder import build, record, unproven

GOOD = """
[title]
name = "Lamplighter"
publisher = "Saltmarsh Software"
catalogue = "SM-004"
revision = "1.2"

[side.A]
platform = "machine"
geometry = "gcr4to5-35z"
volume = "zoned-dos"

[[side.A.file]]
name = "LAMPLIGHTER"
source = "program.bin"
type = "program"
load_address = 0x2000
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "job.toml").write_text(GOOD)
    (tmp_path / "program.bin").write_bytes(b"\x60" * 600)
    (tmp_path / "marked.bin").write_bytes(b"\x60" * 100 + MARKER)
    (tmp_path / "side.bin").write_bytes(bytes(184_320))
    return tmp_path


def problems(shop: Path, text: str) -> list[str]:
    """What is wrong with a job, without the file's name in front of what was found while it was read."""
    (shop / "job.toml").write_text(text)
    with pytest.raises(ProblemsError) as raised:
        build(load(shop / "job.toml"))
    return list(map(str, raised.value.problems))


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new)


def keyed(line: str) -> str:
    """The job with another key of side A."""
    return changed('volume = "zoned-dos"', f'volume = "zoned-dos"\n{line}')


def test_a_good_job_builds(shop):
    built = build(load(shop / "job.toml"))
    assert built.sides["A"].files[0].data == b"\x00\x20" + b"\x60" * 600


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (changed('revision = "1.2"', 'revision = "1.2"\npublsher = "x"'), "title.publsher: unknown key; did you mean `publisher`?"),
        (changed('revision = "1.2"', ""), "title.revision: is missing"),
        (changed('"SM-004"', '"sm-004"'), "title.catalogue: must be up to 32 of A-Z, 0-9 and hyphens, with no hyphen at the end, not 'sm-004'"),
        (changed('name = "Lamplighter"', "name = 4"), "title.name: must be a text in quotes, not 4"),
        (changed('revision = "1.2"', 'revision = "1.2"\ndate = "today"'), "title.date: must be a date such as 2026-11-25, without quotes, not 'today'"),
        ("[sides]\n" + GOOD, "sides: unknown key; did you mean `side`?"),
        (GOOD + '\n[side.C]\n', "side.C: a disc has sides A (label up) and B (turned over)"),
        (changed("[side.A]", "[side.B]").replace("side.A", "side.B"), "side.A: is missing: side A is the one with the label up"),
        (changed("gcr4to5-35z", "gcr4to5-36z"), "side.A.geometry: there is no 'gcr4to5-36z'; did you mean gcr4to5-35z?"),
        (changed("zoned-dos", "fat12"), "side.A.volume: fat12 is not defined on gcr4to5-35z"),
        (changed("zoned-dos", "fat"), "side.A.volume: there is no 'fat'; did you mean fat12? there are block-tree, catalog-dos, fat12, none, zoned-dos"),
        (changed("0x2000", "0x20000"), "side.A.file[0].load_address: must be at most 65535 or 'in-file', not 131072"),
        (changed("load_address", "load_adress"), "side.A.file[0].load_adress: unknown key; did you mean `load_address`?"),
        (changed("program.bin", "missing.bin"), "side.A.file[0].source: there is no file missing.bin beside the job"),
        (changed("program.bin", "../program.bin"), "side.A.file[0].source: ../program.bin leads out of the job's folder; sources lie inside it"),
        (changed("program.bin", "/etc/passwd"), "side.A.file[0].source: /etc/passwd leads out of the job's folder; sources lie inside it"),
        (changed("program.bin", "link"), "side.A.file[0].source: link is a link out of the job's folder; sources lie inside it"),
        (changed("program.bin", "."), "side.A.file[0].source: . is not a file"),
        (changed('name = "LAMPLIGHTER"', 'name_bytes = "4C 4"'), "side.A.file[0].name_bytes: must be bytes in hexadecimal, such as \"4C 41\", not '4C 4'"),
        (changed('name = "LAMPLIGHTER"', 'name = "A"\nname_bytes = "41"'), "side.A.file[0].name: a file has either `name` or `name_bytes`"),
        (GOOD + '\n[serial]\nside = "A"\nmarker = "<<SERIAL-GOES-HERE>>"', 'serial: is a key of each side now: write serial = { marker = "<<SERIAL-GOES-HERE>>" } in [side.A]'),
        (GOOD + "\n[[serial]]\n", 'serial: is a key of each side now: write serial = "free" in [side.A]'),
        (keyed('serial = { marker = "<<SERIAL>>" }'), "side.A.serial.marker: must have at least 20 characters, not '<<SERIAL>>'"),
        (keyed('serial = "fre"'), 'side.A.serial: must be "free", "none", { marker = "<<SERIAL-GOES-HERE>>" } or, without a volume, { track = 34, sector = 15, offset = 0, bytes = 40 }, not \'fre\''),
        (keyed("serial = { track = 1 }"), "side.A.serial.sector: is missing"),
        (keyed("serial = { track = 1, sector = 0 }"), 'side.A.serial: zoned-dos knows its free sectors: write serial = "free", or a marker in a file; a place is for volume "none"'),
        (changed('volume = "zoned-dos"', 'volume = "zoned-dos"\ndisc_id = "SMX"'), "side.A.disc_id: must be two printable ASCII characters, not 'SMX'"),
        (changed('volume = "zoned-dos"', 'volume = "zoned-dos"\nsuffix = "dump"'), "side.A.suffix: 'dump' is a name of the master's own"),
        (changed('volume = "zoned-dos"', 'volume = "zoned-dos"\nfree = "ones"'), "side.A.free: must be 'numbered' or 'zero', not 'ones'"),
        (changed('volume = "zoned-dos"', 'volume = "zoned-dos"\norder = "as-numbered"'), "side.A.order: goes with `image` only"),
        (GOOD + '\n[[side.A.place]]\ntrack = 36\nsector = 0\nsource = "program.bin"', "side.A.place[0]: gcr4to5-35z has no track 36 head 0 sector 0"),
        (GOOD + '\n[[side.A.place]]\ntrack = -1\nsector = 0\nsource = "program.bin"', "side.A.place[0].track: must be at least 0, not -1"),
    ],
)  # fmt: skip
def test_one_thing_wrong(shop, text, said):
    (shop / "link").symlink_to("/etc/passwd")
    assert problems(shop, text) == [said]


def test_a_title_is_on_one_line(shop):
    said = "title.name: must be on one line, without control characters, not 'Lamp\\nlighter'"
    assert problems(shop, changed('name = "Lamplighter"', 'name = "Lamp\\nlighter"')) == [said]


def test_a_marker_has_room_for_the_serials(shop):
    text = keyed('serial = { marker = "<<SERIAL-GOES-HERE>>" }').replace('"SM-004"', '"SALTMARSH-SOFTWARE-004"')
    assert problems(shop, text.replace("program.bin", "marked.bin")) == [
        "side.A.serial.marker: must have at least 31 characters: serials such as SALTMARSH-SOFTWARE-004-000001-X take its place"
    ]


def test_a_long_title_leaves_every_free_sector_its_own_text(shop):
    """Never all one value, never equal to the sector before, always with the place in it."""
    (shop / "job.toml").write_text(changed('name = "Lamplighter"', f'name = "{"L" * 200}"').replace('"1.2"', f'"{"2" * 200}"'))
    side = build(load(shop / "job.toml")).sides["A"]
    assert unproven(side.dump, 256) == []
    assert b"side A track 1 sector 0 free. " in side.dump[:256]


def test_a_byte_order_mark_before_a_job_is_passed_over(shop):
    (shop / "job.toml").write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load(shop / "job.toml").title.name == "Lamplighter"


def test_a_source_that_is_too_large_is_not_read(shop):
    with (shop / "program.bin").open("wb") as file:
        file.truncate(1 << 34)
    assert problems(shop, GOOD) == ["side.A.file[0].source: program.bin has 17,179,869,184 bytes, a source at most 16,777,216"]


def test_a_two_head_geometry_leaves_no_side_b(shop):
    side_b = GOOD[GOOD.index("[side.A]") :].replace("side.A", "side.B")
    text = GOOD[: GOOD.index("[side.A]")] + '[side.A]\nplatform = "m"\ngeometry = "mfm-40x9x512-2s"\nvolume = "fat12"\n' + side_b
    assert problems(shop, text) == ["side.B: a two-head geometry records both faces, so such a job has side A only"]


def test_a_ready_image_of_the_wrong_length(shop):
    text = GOOD[: GOOD.index("[side.A]")] + '[side.A]\nplatform = "m"\ngeometry = "mfm-40x9x512"\nvolume = "none"\nimage = "program.bin"\n'
    assert problems(shop, text) == ["side.A.image: program.bin has 600 bytes, 183,720 bytes too short for mfm-40x9x512 (184,320)"]
    text = text.replace("program.bin", "side.bin") + 'order = "block-order"\n'
    assert problems(shop, text) == ["side.A.order: mfm-40x9x512 has no such order; it has as-numbered, or a list of one track's sectors"]


@pytest.mark.parametrize(
    ("geometry", "order", "said"),
    [
        ("mfm-40x9x512", [0, 1, 2, 3, 4, 5, 6, 7, 8], "must name each sector of mfm-40x9x512 once, 1 to 9; or be as-numbered"),
        ("mfm-40x9x512-2s", [1, 1], "must name each sector of mfm-40x9x512-2s once, 1 to 9; or be as-numbered, heads-apart"),
        ("gcr4to5-35z", "file-order", "gcr4to5-35z has no such order; it has as-numbered"),
        (
            "gcr4to5-35z",
            [1, 0],
            "gcr4to5-35z has no one list of sectors for all tracks, which differ in their number; it has as-numbered",
        ),
    ],
)
def test_an_order_that_the_sectors_can_not_have(shop, geometry, order, said):
    (shop / "side.bin").write_bytes(bytes(100))
    side = f'[side.A]\nplatform = "m"\ngeometry = "{geometry}"\nvolume = "none"\nimage = "side.bin"\norder = {order!r}\n'
    assert problems(shop, GOOD[: GOOD.index("[side.A]")] + side) == [f"side.A.order: {said}"]


def test_orders_of_a_ready_image(shop):
    rows = [bytes([number]) * 512 for number in range(9)]
    (shop / "side.bin").write_bytes(b"".join(rows) * 40)
    text = GOOD[: GOOD.index("[side.A]")] + '[side.A]\nplatform = "m"\ngeometry = "mfm-40x9x512"\nvolume = "none"\nimage = "side.bin"\n'
    (shop / "job.toml").write_text(text + "order = [9, 8, 7, 6, 5, 4, 3, 2, 1]\n")
    assert build(load(shop / "job.toml")).sides["A"].dump == b"".join(reversed(rows)) * 40


def test_a_dump_that_would_be_taken_for_a_capture_is_refused(shop):
    (shop / "side.bin").write_bytes(bytes.fromhex("8A4F42560D0A1A0A").ljust(184_320, b"\0"))
    text = GOOD[: GOOD.index("[side.A]")] + '[side.A]\nplatform = "m"\ngeometry = "mfm-40x9x512"\nvolume = "none"\nimage = "side.bin"\n'
    [said] = problems(shop, text)
    assert said.startswith("side.A: its first eight bytes are the signature of a capture")


BY_MARKER = 'serial = { marker = "<<SERIAL-GOES-HERE>>" }\n'
SERIAL = keyed(BY_MARKER).replace("program.bin", "marked.bin")


def test_the_marker_lies_in_one_sector_once(shop):
    (shop / "job.toml").write_text(SERIAL)
    slot = build(load(shop / "job.toml")).sides["A"].slot
    assert slot.plain() == {"track": 17, "head": 0, "sector": 0, "offset": 104, "bytes": 20, "place": 336}
    (shop / "marked.bin").write_bytes(b"\x60" * 100)
    assert problems(shop, SERIAL) == ["side.A.serial.marker: '<<SERIAL-GOES-HERE>>' is not on side A; it must occur there once"]
    (shop / "marked.bin").write_bytes(MARKER * 2)
    assert problems(shop, SERIAL) == ["side.A.serial.marker: '<<SERIAL-GOES-HERE>>' occurs 2 times on side A; it must occur there once"]


def test_each_side_may_have_a_place_for_the_serial(shop):
    (shop / "b.bin").write_bytes(MARKER.ljust(184_320, b"\0"))
    other = '\n[side.B]\ngeometry = "mfm-40x9x512"\nvolume = "none"\nimage = "b.bin"\n'
    (shop / "job.toml").write_text(SERIAL + other + BY_MARKER)
    built = build(load(shop / "job.toml"))
    assert [(name, side.slot.place) for name, side in built.sides.items()] == [("A", 336), ("B", 0)]
    assert record(built)["serials"] == {name: side.slot.plain() for name, side in built.sides.items()}


def test_a_marker_across_a_sectors_end_is_told_from_one_that_is_missing(shop):
    text = GOOD[: GOOD.index("[side.A]")] + '[side.A]\nplatform = "m"\ngeometry = "mfm-40x9x512"\nvolume = "none"\nimage = "side.bin"\n'
    (shop / "side.bin").write_bytes((b"\x60" * 500 + MARKER).ljust(184_320, b"\0"))
    said = problems(shop, text + BY_MARKER)
    assert said == ["side.A.serial.marker: it lies across the end of track 0 sector 1; move it, so that it lies within one sector"]


def test_a_marker_across_a_blocks_end_in_a_file(shop):
    (shop / "marked.bin").write_bytes(b"\x60" * 240 + MARKER)
    said = problems(shop, SERIAL)
    assert said == ["side.A.serial.marker: in LAMPLIGHTER it lies across a sector's end; move it, so that it lies within one sector"]


def test_everything_wrong_is_told_at_once(shop):
    text = GOOD.replace("revision", "revsion").replace("gcr4to5-35z", "gcr").replace("program.bin", "none.bin").replace("0x2000", '"here"')
    assert [problem.partition(":")[0] for problem in problems(shop, text)] == [
        "title.revision", "title.revsion", "side.A.file[0].load_address", "side.A.file[0].source", "side.A.geometry",
    ]  # fmt: skip


def test_what_keeps_a_volume_from_being_built_is_told_with_the_rest(shop):
    text = GOOD.replace('revision = "1.2"', "").replace('"LAMPLIGHTER"', '"lamplighter"').replace('"program"', '"nope"')
    said = [problem.partition(":")[0] for problem in problems(shop, text)]
    assert said == ["title.revision", "side.A.file[0].name", "side.A.file[0].type"]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"x = " + b"1" * 5000, "not TOML"),
        (b"[title\n", "not TOML"),
        (b"\xff\xfe", "byte 0: not UTF-8"),
        (b"x = 1\n" * 300_000, "1,800,000 bytes, a job file has at most 1,048,576"),
        (b"side = 4\ntitle = 5\n", r"title: must be a table, \[title\]\n.*side: must hold tables"),
    ],
)
def test_a_file_that_is_no_job(shop, data, said):
    (shop / "job.toml").write_bytes(data)
    with pytest.raises(MasteringError, match=said):
        load(shop / "job.toml")


@pytest.mark.parametrize("path", ["/dev/zero", "/"])
def test_a_job_that_is_no_file_is_not_read(path):
    with pytest.raises(MasteringError, match=f"{path}: not a file; a job file was expected"):
        load(Path(path))


def test_a_job_that_is_not_there(shop):
    with pytest.raises(MasteringError, match=r"nothing.toml: can't be read: No such file or directory"):
        load(shop / "nothing.toml")


def test_the_platforms_words_are_the_publishers_to_leave_out(shop):
    (shop / "job.toml").write_text(changed('platform = "machine"', ""))
    assert build(load(shop / "job.toml")).job.sides["A"].platform == ""


# One wrong key hides no other


def places(told: list[str]) -> list[str]:
    return [problem.partition(": ")[0] for problem in told]


def test_all_that_is_wrong_with_a_file_is_told_at_once(shop):
    """Found by the reader of the job: a source that is not there, a word that is too large; by the volume: a type, a name."""
    wrong = 'name = "lamp"\nsource = "missing.bin"\ntype = "prog"\nload_address = 99999\n'
    told = problems(shop, GOOD[: GOOD.index('name = "LAMPLIGHTER"')] + wrong)
    where = "side.A.file[0]."
    assert sorted(places(told)) == [where + key for key in ("load_address", "name", "source", "type")]


def test_a_type_that_is_too_large_does_not_hide_that_a_name_is_a_directorys(shop):
    side = GOOD[: GOOD.index("[side.A]")] + '[side.A]\ngeometry = "gcr6and2-35x16x256"\nvolume = "block-tree"\n'
    files = '[[side.A.file]]\nname = "CAVES"\nsource = "program.bin"\ntype = 256\n[[side.A.file]]\nname = "CAVES/A"\nsource = "program.bin"\ntype = 4\n'
    assert sorted(places(problems(shop, side + files))) == ["side.A.file[0]", "side.A.file[0].type"]


def test_a_wrong_key_of_a_side_does_not_hide_what_is_wrong_with_its_files(shop):
    told = problems(shop, changed('platform = "machine"', "platform = 4").replace('type = "program"', 'type = "prog"'))
    assert places(told) == ["side.A.platform", "side.A.file[0].type"]


def test_a_wrong_marker_does_not_hide_a_wrong_side(shop):
    assert places(problems(shop, keyed("serial = { marker = 5, side = 4 }\nfree = 1"))) == [
        "side.A.free",
        "side.A.serial.marker",
        "side.A.serial.side",
    ]


def test_a_missing_source_does_not_hide_that_a_place_is_taken(shop):
    told = problems(shop, GOOD + '[[side.A.place]]\ntrack = 18\nsector = 0\nsource = "missing.bin"\n')
    assert places(told) == ["side.A.place[0].source", "side.A.place[0]"]


def test_a_key_that_is_misspelt_is_not_missing_too(shop):
    told = problems(shop, changed("load_address", "load_adress").replace('type = "program"', 'type = "prog"'))
    assert places(told) == ["side.A.file[0].load_adress", "side.A.file[0].type"]


@pytest.mark.parametrize("keys", ["", 'name = "A"\nname_bytes = "41"\n'])
def test_a_file_without_a_name_or_with_two_has_one_problem(shop, keys):
    assert places(problems(shop, changed('name = "LAMPLIGHTER"\n', keys))) == ["side.A.file[0].name"]


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-1, 70_000) | st.sampled_from(["A", "in-file", "program.bin", "program", "4C 41", "", "as-numbered"]),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["name", "source"]), inner, max_size=2),
    max_leaves=4,
)  # fmt: skip
SIDE_KEYS = ("label", "disc_id", "volume_number", "interleave", "free", "boot", "image", "order", "suffix", "serial")
SLOTS = st.fixed_dictionaries(
    {},
    optional={key: st.integers(-1, 50) for key in ("track", "head", "sector", "offset", "bytes")}
    | {"marker": st.sampled_from(["<<SERIAL-GOES-HERE>>", "x", "`" * 2000, 4])},
)
FILE_KEYS = ("name", "name_bytes", "source", "type", "load_address", "locked", "volatile")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    side=st.dictionaries(st.sampled_from(SIDE_KEYS), VALUES | SLOTS | st.sampled_from(["free", "none", "zero"]), max_size=3),
    file=st.dictionaries(st.sampled_from(FILE_KEYS), VALUES, max_size=6),
    place=st.dictionaries(st.sampled_from(["track", "sector", "head", "source"]), VALUES, max_size=4),
    on=st.sampled_from([("gcr4to5-35z", "zoned-dos"), ("gcr6and2-35x16x256", "catalog-dos"), ("mfm-40x9x512", "fat12"), ("mfm-40x9x512", "none")]),
)  # fmt: skip
def test_whatever_stands_in_a_side_it_is_built_or_has_its_problems(shop, side, file, place, on):
    raw = tomllib.loads(GOOD) | {"side": {"A": side | {"geometry": on[0], "volume": on[1], "file": [file], "place": [place]}}}
    try:
        build(load(shop / "job.toml", raw))
    except ProblemsError as error:
        assert all("side.A" in str(problem) for problem in error.problems)


def test_a_volume_of_a_broken_side_is_proved_with_what_is_right_of_it(shop):
    """Two wrong keys of a side, and a file that is too large for the disc."""
    (shop / "large.bin").write_bytes(bytes(200_000))
    told = problems(shop, changed('platform = "machine"', "free = 4\ninterleave = 0").replace("program.bin", "large.bin"))
    assert sorted(places(told)) == ["side.A", "side.A.free", "side.A.interleave"] and "the disc is too full" in told[-1]
