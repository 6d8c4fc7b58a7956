"""Which sides and files carry a piece of data: across the sectors that a file is spread over, and where no file has it."""

import json
from pathlib import Path

import pytest
from bench import make_master, random_dump
from hypothesis import given, settings
from hypothesis import strategies as st
from versions import as_version_1

from formats import registry
from formats.volumes.shared.image import Image
from mastering.cli.main import run
from mastering.job.job import load
from mastering.master.bag import MasterError
from mastering.master.builder import build, payload, record
from mastering.master.master import Master, open_master, write_master
from mastering.master.search import Hit, Searcher

TITLE = '[title]\nname = "Lamplighter"\npublisher = "Saltmarsh Software"\ncatalogue = "SM-004"\nrevision = "1.2"\n'
KEYS = {
    "zoned-dos": 'type = "program"\nload_address = 0x2000\n',
    "catalog-dos": 'type = "binary"\nload_address = 0x2000\n',
    "block-tree": "type = 6\nload_address = 0x2000\n",
    "fat12": "",
}
VOLUMES = [
    (volume, geometry)
    for volume in KEYS
    for geometry in ("gcr4to5-35z", "gcr4to5-77z-2s", "gcr6and2-35x16x256", "gcr5and3-35x13x256", "mfm-40x9x512", "mfm-80x9x512-2s")
    if registry.volume(volume).fits(registry.geometry(geometry))
]
SOURCE = random_dump(registry.geometry("mfm-40x9x512"), 5)[:3000]


def master(folder: Path, volume: str, geometry: str, *sources: bytes) -> Master:
    """A master with these files in a volume, called F0, F1 ..."""
    text = f'{TITLE}[side.A]\ngeometry = "{geometry}"\nvolume = "{volume}"\n'
    for number, source in enumerate(sources):
        (folder / f"{number}.bin").write_bytes(source)
        text += f'[[side.A.file]]\nname = "F{number}"\nsource = "{number}.bin"\n{KEYS[volume]}'
    (folder / "job.toml").write_text(text)
    built = build(load(folder / "job.toml"))
    write_master(folder / "master", payload(built), record(built))
    return open_master(folder / "master")


@pytest.fixture(scope="module")
def on_every_volume(tmp_path_factory) -> list[Master]:
    return [master(tmp_path_factory.mktemp("search"), *each, b"short", SOURCE) for each in VOLUMES]


def found(one: Master, *pieces: bytes, side="A") -> list[Hit]:
    return Searcher(pieces).hits(one.sides[side], one.free_title)


# In files


@settings(max_examples=40)
@given(first=st.integers(0, 2990), size=st.integers(8, 1200))
def test_any_piece_of_a_file_is_found_where_it_lies_whatever_the_volume(on_every_volume, first, size):
    """Once, in the file, at its offset in the file's own bytes, in the sectors that hold it."""
    piece = SOURCE[first : first + size]
    for one in on_every_volume:
        side = one.sides["A"]
        file = registry.volume(side.volume).read(Image(side.geometry, side.dump)).files[1]
        owners = [address for number, address in enumerate(file.sectors) for _ in range(side.size - file.before[number > 0])]
        at = file.data.index(piece)
        assert found(one, piece) == [Hit("F1", at, tuple(dict.fromkeys(owners[at : at + len(piece)])))]


def test_a_piece_across_a_link_is_found_and_the_link_is_no_part_of_it(tmp_path):
    """Of 254 bytes in a block the first two are the load address: 252 of the source, then the next block."""
    one = master(tmp_path, "zoned-dos", "gcr4to5-35z", SOURCE)
    blocks = one.sides["A"].files[0]["sectors"]
    [hit] = found(one, SOURCE[250:256])
    assert (hit.offset, [list(address) for address in hit.sectors]) == (252, blocks[:2])
    [hit] = found(one, SOURCE[240:252])
    assert [list(address) for address in hit.sectors] == blocks[:1]
    [hit] = found(one, SOURCE[252:260])
    assert [list(address) for address in hit.sectors] == blocks[1:2]
    assert SOURCE[250:256] not in one.sides["A"].dump


def test_words_of_the_volume_are_no_part_of_a_file(tmp_path):
    one = master(tmp_path, "catalog-dos", "gcr6and2-35x16x256", SOURCE[:300])
    first = one.sides["A"].files[0]["sectors"][0]
    [hit] = found(one, SOURCE[:20])
    assert (hit.file, hit.offset, [list(address) for address in hit.sectors]) == ("F0", 0, [first])
    [hit] = found(one, b"\x00\x20" + (300).to_bytes(2, "little") + SOURCE[:8])
    geometry = one.sides["A"].geometry
    assert hit == Hit(None, geometry.places[tuple(first)] * 256, (tuple(first),))


def test_a_whole_source_is_found_behind_its_load_address(tmp_path):
    [hit] = found(master(tmp_path, "zoned-dos", "gcr4to5-35z", b"x", SOURCE), SOURCE)
    assert (hit.file, hit.offset, len(hit.sectors)) == ("F1", 2, 12)


def test_every_place_is_told_once_overlaps_too(tmp_path):
    one = master(tmp_path, "fat12", "mfm-40x9x512", b"zq" + b"abab" * 3 + b"qz", b"abab")
    assert [(hit.file, hit.offset) for hit in found(one, b"abab")] == [("F0", 2), ("F0", 4), ("F0", 6), ("F0", 8), ("F0", 10), ("F1", 0)]


def test_what_lies_behind_a_files_end_is_in_no_file(tmp_path):
    """The rest of a file's last sector is the volume's."""
    one = master(tmp_path, "fat12", "mfm-40x9x512", b"the end")
    assert [hit.file for hit in found(one, b"the end")] == ["F0"]
    assert {hit.file for hit in found(one, b"end\0\0")} == {None}


# Where no file has it


def test_the_text_of_free_sectors_is_no_data(tmp_path):
    """It names the catalogue number; what a file says of it is found all the same, and what lies half in a free sector, too."""
    one = master(tmp_path, "zoned-dos", "gcr4to5-35z", b"This is SM-004, Lamplighter 1.2.")
    assert one.sides["A"].dump.count(b"SM-004 side A") > 600
    assert [hit.file for hit in found(one, b"SM-004")] == ["F0"]
    assert found(one, b"<<SERIAL") == [], "nor is the slot for the serial"
    old = as_version_1(one, tmp_path / "old")
    assert old.sides["A"].dump.count(b"Lamplighter 1.2") > 600
    assert [hit.file for hit in found(old, b"Lamplighter 1.2")] == ["F0"]
    place = one.sides["A"].geometry.places[17, 0, 0]
    [hit] = found(one, one.sides["A"].dump[place * 256 - 20 : place * 256 + 20])
    assert [tuple(address) for address in hit.sectors] == [(16, 0, 20), (17, 0, 0)]


@settings(max_examples=40)
@given(at=st.integers(0, 184_300), size=st.integers(12, 3000))
def test_any_piece_of_a_ready_image(at, size):
    dump = image.sides["A"].dump
    piece = dump[at : at + size]
    [hit] = found(image, piece)
    places = range(at // 512, (at + len(piece) - 1) // 512 + 1)
    assert hit == Hit(None, at, tuple(image.sides["A"].geometry.addresses[place] for place in places))


image = make_master({"A": ("mfm-40x9x512", random_dump(registry.geometry("mfm-40x9x512"), 1))})


def test_a_ready_image_is_searched_in_every_order_that_its_geometry_names():
    """A system of its own may lay its bytes in another order than the dump's."""
    geometry = registry.geometry("gcr6and2-35x16x256")
    dump = random_dump(geometry, 2)
    one = make_master({"A": (geometry.id, dump)})
    side = one.sides["A"]
    names = ["as-numbered", "file-order", "block-order"]
    for name in names:
        order = geometry.image_order(name)
        first, second = order[20:22]
        piece = b"".join(side.dump[geometry.places[each] * 256 :][:256] for each in (first, second))[200:300]
        assert found(one, piece) == [Hit(None, geometry.places[first] * 256 + 200, (first, second))]
    two_heads = make_master({"A": ("mfm-40x8x512-2s", random_dump(registry.geometry("mfm-40x8x512-2s"), 3))})
    dump = two_heads.sides["A"].dump
    piece = dump[8 * 512 - 10 : 8 * 512] + dump[16 * 512 : 16 * 512 + 10]  # the last of track 0 head 0, then track 1 head 0
    assert found(two_heads, piece) == [Hit(None, 8 * 512 - 10, ((0, 0, 8), (1, 0, 1)))]


def test_sectors_that_only_stand_beside_each_other_in_another_order_are_no_file_systems(tmp_path):
    one = master(tmp_path, "catalog-dos", "gcr6and2-35x16x256", SOURCE)
    geometry, dump = one.sides["A"].geometry, one.sides["A"].dump
    first, second = geometry.image_order("as-numbered")[100:102]
    rows = [dump[geometry.places[each] * 256 :][:256] for each in (first, second)]
    assert found(one, rows[0][-100:] + rows[1][:100]) == []


# Masters


def test_each_side_has_its_line_whether_it_carries_the_piece_or_not():
    geometry = registry.geometry("mfm-40x9x512")
    one = make_master({"A": (geometry.id, random_dump(geometry, 1)), "B": (geometry.id, random_dump(geometry, 2))})
    lines = list(Searcher([one.sides["B"].dump[1000:1100]]).lines(one))
    assert [(line["side"], line["found"], len(line["hits"])) for line in lines] == [("A", 0, 0), ("B", 1, 1)]
    assert lines[1] == {
        "master": str(one.path), "title": "Lamplighter 1.2", "digest": one.digest, "side": "B", "platform": "machine", "found": 1,
        "hits": [{"file": None, "offset": 1000, "sectors": [[0, 0, 2], [0, 0, 3]]}],
    }  # fmt: skip


def old_record(one: Master, target: Path, change) -> Master:
    """The same master with another record, every digest of it right."""
    files = {path.name: path.read_bytes() for path in (one.path / "data").iterdir() if path.name != "master.json"}
    kept = json.loads((one.path / "data" / "master.json").read_bytes())
    for file in kept["sides"]["A"]["files"]:
        change(file)
    write_master(target, files, kept)
    return open_master(target)


def test_a_master_that_does_not_say_where_bytes_begin_is_read_by_its_volume(on_every_volume, tmp_path):
    for number, one in enumerate(on_every_volume):
        older = old_record(one, tmp_path / str(number), lambda file: file.pop("before"))
        assert found(older, SOURCE[240:1240]) == found(one, SOURCE[240:1240])
        assert run(["check", str(older.path)]) == 0


def test_a_record_that_contradicts_the_disc_is_never_believed(on_every_volume, tmp_path, capsys):
    for number, (change, said) in enumerate(
        [
            (lambda file: file.update(before=[1, 1]), "its sectors do not hold the bytes that its digest says"),
            (lambda file: file.update(before="x"), "its record does not say where its bytes lie"),
            (lambda file: file.update(sectors=[[99, 0, 0]]), "its record does not say where its bytes lie"),
            (lambda file: file.pop("sectors"), "its record does not say where its bytes lie"),
        ]
    ):
        forged = old_record(on_every_volume[0], tmp_path / str(number), change)
        with pytest.raises(MasterError, match=said):
            list(Searcher([b"x"]).lines(forged))
        assert run(["find", "--text", "x", str(forged.path), str(image.path)]) == 2
        told = capsys.readouterr()
        assert told.err.startswith(f"obverse: {forged.path}: ") and said in told.err
        assert told.out.count("Lamplighter") == 1  # the other one is searched all the same


# The command


@pytest.fixture
def shelf(on_every_volume, tmp_path) -> Path:
    """A folder of masters, and what is none."""
    for number, one in enumerate(on_every_volume):
        (tmp_path / "shelf" / str(number)).parent.mkdir(exist_ok=True)
        (tmp_path / "shelf" / str(number)).symlink_to(one.path)
    (tmp_path / "shelf" / "notes.txt").write_text("not a master")
    (tmp_path / "piece.bin").write_bytes(SOURCE[100:900])
    return tmp_path


@pytest.mark.parametrize("option", [lambda folder: ("--bytes", folder / "piece.bin"), lambda folder: ("--hex", SOURCE[100:900].hex(" "))])
def test_a_piece_is_given_as_a_file_or_in_hexadecimal(shelf, capsys, option):
    assert run(["find", *map(str, option(shelf)), str(shelf / "shelf"), str(image.path), "--json"]) == 0
    told = capsys.readouterr()
    lines = [json.loads(line) for line in told.out.splitlines()]
    assert [line["found"] for line in lines] == [1] * len(VOLUMES) + [0]
    assert told.err.strip() == f"{len(VOLUMES)} of {len(VOLUMES) + 1} sides carry it; not: Lamplighter 1.2 A"


def test_a_text_is_found_with_bit_7_set_too(tmp_path, capsys):
    one = master(tmp_path, "catalog-dos", "gcr6and2-35x16x256", bytes(byte | 0x80 for byte in b"LIGHT THE LAMPS"), b"LIGHT THE LAMPS")
    assert [hit.file for hit in found(one, b"THE LAMPS")] == ["F1"]
    assert run(["find", "--text", "THE LAMPS", str(one.path)]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "Lamplighter 1.2 side A: 2 times",
        "  F0, byte 6: track 18 sector 2",
        "  F1, byte 6: track 18 sector 6",
    ]


def test_many_masters_are_shared_out_and_come_in_their_order(tmp_path, capsys, on_every_volume):
    folders = []
    for number in range(60):
        folder = tmp_path / f"{number:03}"
        folder.symlink_to(on_every_volume[number % len(on_every_volume)].path)
        folders.append(str(folder))
    assert run(["find", "--hex", SOURCE[:20].hex(), "--json", *folders]) == 0
    assert [json.loads(line)["master"] for line in capsys.readouterr().out.splitlines()] == folders


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "give the piece in one way: --bytes FILE, --hex BYTES or --text TEXT"),
        (["--hex", "41", "--text", "A"], "give the piece in one way"),
        (["--hex", "4"], "--hex '4': bytes of two hexadecimal digits were expected"),
        (["--hex", ""], "the piece: no bytes, which every master would carry"),
        (["--text", "ä"], "--text: only ASCII is written alike by all machines"),
        (["--bytes", "/nothing"], "/nothing: can't be read: No such file or directory"),
        (["--bytes", "/dev/null"], "/dev/null: a device, where a file was expected"),
    ],
)
def test_a_piece_that_is_none(capsys, options, said):
    assert run(["find", *options, str(image.path)]) == 2
    told = capsys.readouterr()
    assert said in told.err and told.out == ""


def test_a_folder_without_masters_does_not_keep_the_others_from_being_searched(tmp_path, capsys):
    held = str(master(tmp_path, "fat12", "mfm-40x9x512", b"x" * 300).path)
    (tmp_path / "none").mkdir()
    words = [str(tmp_path / "none"), held, str(tmp_path / "nowhere")]
    assert run(["find", "--text", "x", *words, "--json"]) == 2
    told = capsys.readouterr()
    assert [json.loads(line)["master"] for line in told.out.splitlines()] == [held]
    assert told.err.splitlines()[0] == f"obverse: {tmp_path / 'none'}: no master, and no master lies in it"
    assert told.err.splitlines()[1].startswith(f"obverse: {tmp_path / 'nowhere'}: ")


def test_a_folder_without_masters_is_an_error_not_an_answer(tmp_path, capsys):
    assert run(["find", "--text", "x", str(tmp_path)]) == 2
    assert capsys.readouterr().err == f"obverse: {tmp_path}: no master, and no master lies in it\n"
    assert run(["find", "--text", "x", str(tmp_path / "nothing")]) == 2
