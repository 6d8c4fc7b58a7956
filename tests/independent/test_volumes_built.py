"""The other way round: what the program builds from known files, read by the models' own readers."""

import json

import model_catalog
import model_fat
import model_zoned
import pytest
from model_contents import GEOMETRIES, READERS
from model_volumes import ODD, File, job, lengths, noise, obverse, plain, rng_of, text

SIDES = [(volume, geometry) for volume, geometries in GEOMETRIES.items() for geometry in geometries]
EXTRA = {
    "zoned-dos": 'label = "FERRYMAN 16 CHAR"\ndisc_id = "Q7"',
    "catalog-dos": "volume_number = 7",
    "block-tree": 'label = "FERRY.MAN.15.CH"',
    "fat12": 'label = "FERRYMAN 11"',
}
LABELS = {"zoned-dos": b"FERRYMAN 16 CHAR", "catalog-dos": b"", "block-tree": b"FERRY.MAN.15.CH", "fat12": b"FERRYMAN 11"}


def build(folder, *rest, **more):
    """The dump of a job's side, and the folder of its master."""
    path = job(folder, *rest, **more)
    status, _, err = obverse("build", path, "--out", folder / "master")
    assert status == 0, err
    return (folder / "master" / "data" / "side-A.dump").read_bytes(), folder / "master"


def zoned(_, rng):
    names = iter(plain(rng, 16, 28))
    for kind in model_zoned.TYPES:
        for k, length in enumerate(lengths(254, 254 * 40)):
            source = noise(rng, length)
            if kind != "program" or (k % 2 and length > 1):
                load = source[0] + 256 * source[1] if kind == "program" else None
                key = ['load_address = "in-file"'] if kind == "program" else []
                yield File(next(names), source, kind, load, k % 3 == 0), [f'type = "{kind}"', *key], source
            else:
                data = bytes([k, 0x20]) + source
                yield File(next(names), data, kind, 0x2000 + k, k % 3 == 0), [f'type = "{kind}"', f"load_address = {0x2000 + k}"], source
    for name in ODD:
        yield File(name, b"odd", "user"), ['type = "user"'], b"odd"


def catalog(geometry, rng):
    names = iter(plain(rng, 30, 30))
    for kind, before in (("binary", 4), ("integer", 2), ("floating", 2), ("text", 1)):
        long = [122 * 256 - 4, 122 * 256 - 3] if kind == "binary" else [4000]
        for k, length in enumerate([0, 1, 256 - before, 257 - before, 512 - before, 513 - before, *long]):
            source = (text if kind == "text" else noise)(rng, length)
            load = 0x4000 + k if kind == "binary" else None
            keys = [f'type = "{kind}"', *([f"load_address = {load}"] if load else [])]
            yield File(next(names), source, kind, load, k % 3 == 0), keys, source
    whole = text(rng, 256 * (122 if "16x" in geometry else 3))  # the 00 behind it has a sector, and a list, to itself
    yield File(next(names), whole, "text"), ['type = "text"'], None
    for name in ODD:
        yield File(name, b"odd", "integer"), ['type = "integer"'], b"odd"


def tree(_, rng):
    for k, (name, length) in enumerate(zip(plain(rng, 15, 9), lengths(512, 20000), strict=True)):
        yield File(name, noise(rng, length), 31 * k, 7000 * k, k % 3 == 0), [f"type = {31 * k}", f"load_address = {7000 * k}"], None
    for k in range(30):
        name = b"CAVES.AND.HALLS/" + (b"DEEP/" if k > 25 else b"") + b"C%d" % k
        yield File(name, noise(rng, k), 6, 0x300), ["type = 6", "load_address = 0x300"], None


def fat(geometry, rng):
    unit = 512 * model_fat.MEDIA[geometry][0]
    names = [*plain(rng, 8, 9), b"12345678.ABC", b"A.B", b"!#$%&'()", b"-@^_.$1", b"Z"]
    for k, name in enumerate(names):
        data = noise(rng, [*lengths(unit, 30 * unit), 5][min(k, 9)])
        yield File(name, data, locked=k % 3 == 0), [], None


MAKERS = {"zoned-dos": zoned, "catalog-dos": catalog, "block-tree": tree, "fat12": fat}


@pytest.mark.parametrize(("volume", "geometry"), SIDES)
def test_a_built_side_holds_what_its_job_says(volume, geometry, tmp_path):
    files = list(MAKERS[volume](geometry, rng_of("built", geometry)))
    files = [(file, keys, file.data if source is None else source) for file, keys, source in files]
    dump, master = build(tmp_path / "job", volume, geometry, files, extra=EXTRA[volume])
    found = READERS[volume](geometry, dump)
    assert [(f.name, f.type, f.load, f.locked) for f in found.files] == [(f.name, f.type, f.load, f.locked) for f, *_ in files]
    assert found.files == [file for file, *_ in files]
    assert found.label == LABELS[volume]
    status, out, _ = obverse("contents", master, "--json")
    side = json.loads(out[-1])
    assert (status, side["free"], side["unit"]) == (0, found.free, found.unit)


BLANKS = {**model_zoned.BLANK, **model_catalog.BLANK} | {name: media[-1] for name, media in model_fat.MEDIA.items()}


@pytest.mark.parametrize(("volume", "geometry"), SIDES)
def test_a_side_without_files_has_the_published_room(volume, geometry, tmp_path):
    """Facts.md: 664, 670, 2052 and 4133 blocks; 496 and 403 sectors; 273 blocks; 313, 351, 315, 354, 713 and 2371 clusters."""
    path = job(tmp_path / "job", volume, geometry, [])
    status, out, err = obverse("build", path, "--out", tmp_path / "master")
    assert status == 0, (out, err)
    found = READERS[volume](geometry, (tmp_path / "master" / "data" / "side-A.dump").read_bytes())
    assert (found.files, found.free) == ([], 273 if volume == "block-tree" else BLANKS[geometry])


# Full sides. Catalog: 491 and 399 sectors of text need 5 and 4 lists; block tree: 270 blocks need two index blocks and a master index.
LARGEST = {
    **{name: 254 * room for name, room in model_zoned.BLANK.items()},
    **{"gcr6and2-35x16x256": 491 * 256 - 1, "gcr5and3-35x13x256": 399 * 256 - 1},
    **{name: 512 * media[0] * media[-1] for name, media in model_fat.MEDIA.items()},
}


def one_of(volume, name, data):
    """A file that the volume takes, and its job's keys."""
    if volume == "fat12":
        return File(name, data), [], data
    kind = {"zoned-dos": "user", "catalog-dos": "text", "block-tree": 4}[volume]
    keys = [f"type = {json.dumps(kind)}"]
    return File(name, data, kind, 0 if volume == "block-tree" else None), keys, data


def refused(folder, *rest):
    """The one line that says why a job is not built; nothing is."""
    status, out, err = obverse("build", job(folder, *rest), "--out", folder / "master")
    assert (status, out, len(err), (folder / "master").exists()) == (2, [], 1, False), err
    return err[0]


@pytest.mark.parametrize(("volume", "geometry"), SIDES)
def test_a_file_as_long_as_there_is_room_is_laid_down_and_no_longer_one(volume, geometry, tmp_path):
    length = 270 * 512 if volume == "block-tree" else LARGEST[geometry]
    data = text(rng_of("full", geometry), length + 1)
    file = one_of(volume, b"ALL", data[:-1])
    dump, _ = build(tmp_path / "just", volume, geometry, [file])
    found = READERS[volume](geometry, dump)
    assert (found.files, found.free) == ([file[0]], 0)
    assert "too full" in refused(tmp_path / "over", volume, geometry, [one_of(volume, b"ALL", data)])


ENTRIES = {"gcr4to5-35z": 144, "gcr4to5-40z": 144, "gcr6and2-35x16x256": 105, "gcr5and3-35x13x256": 84}
ENTRIES |= {name: media[1] for name, media in model_fat.MEDIA.items()}


@pytest.mark.parametrize(("volume", "geometry"), [side for side in SIDES if side[1] in ENTRIES])
def test_as_many_files_as_the_directory_has_entries_and_no_more(volume, geometry, tmp_path):
    """Facts.md: at most 144 files; 105 files; 51 entries in the volume directory; the root's entries."""
    most = 51 if volume == "block-tree" else ENTRIES[geometry]
    files = [one_of(volume, b"F%d" % k, b"") for k in range(most + 1)]
    dump, _ = build(tmp_path / "just", volume, geometry, files[:-1])
    assert READERS[volume](geometry, dump).files == [file for file, *_ in files[:-1]]
    refused(tmp_path / "over", volume, geometry, files)


def test_blocks_follow_each_other_in_the_published_order(tmp_path):
    """CV108; first blocks on track 17, then 19, 16, 20; the map of tracks that are full and of those that nothing was put on (CV103 to CV107)."""
    order = [0, 10, 20, 8, 18, 6, 16, 4, 14, 2, 12, 1, 11, 3, 13, 5, 15, 7, 17, 9, 19]
    files = [one_of("zoned-dos", b"F%d" % k, bytes([k]) * 254 * count) for k, count in enumerate((21, 19, 21, 1))]
    dump, master = build(tmp_path / "job", "zoned-dos", "gcr4to5-35z", files)
    _, out, _ = obverse("contents", master, "--json")
    sectors = [json.loads(line)["sectors"] for line in out[:-1]]
    assert sectors[0] == [[17, 0, sector] for sector in order]
    assert [found[0] for found in sectors] == [[17, 0, 0], [19, 0, 0], [16, 0, 0], [20, 0, 0]]
    table = dump[357 * 256 :]
    assert [table[4 * track :][:4].hex() for track in (1, 16, 17, 18, 19, 24, 25, 35)] == [
        "15ffff1f", "00000000", "00000000", "11fcff07", "00000000", "13ffff07", "12ffff03", "11ffff01",
    ]  # fmt: skip
