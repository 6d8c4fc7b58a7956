"""The other way round: what the program builds from known files, read by the models' own readers."""

import json

import model_catalog
import model_fat
import model_zoned
import pytest
from model_contents import GEOMETRIES, READERS
from model_volumes import ODD, File, lengths, noise, obverse, plain, rng_of, text

SIDES = [(volume, geometry) for volume, geometries in GEOMETRIES.items() for geometry in geometries]
EXTRA = {
    "zoned-dos": 'label = "FERRYMAN 16 CHAR"\ndisc_id = "Q7"',
    "catalog-dos": "volume_number = 7",
    "block-tree": 'label = "FERRY.MAN.15.CH"',
    "fat12": 'label = "FERRYMAN 11"',
}
LABELS = {"zoned-dos": b"FERRYMAN 16 CHAR", "catalog-dos": b"", "block-tree": b"FERRY.MAN.15.CH", "fat12": b"FERRYMAN 11"}


def job(folder, volume, geometry, files, extra="", tail=""):
    """A job of one side. `files`: (what a reader finds, keys of the job, source)."""
    folder.mkdir()
    lines = ["[title]", 'name = "Ferryman"', 'publisher = "Saltmarsh"', 'catalogue = "SM-031"', 'revision = "1.0"', "[side.A]"]
    lines += [f'geometry = "{geometry}"', f'volume = "{volume}"', extra]
    for k, (file, keys, source) in enumerate(files):
        (folder / f"{k}.bin").write_bytes(source)
        name = f'name_bytes = "{file.name.hex(" ")}"' if file.name in ODD else f"name = {json.dumps(file.name.decode())}"
        lines += ["[[side.A.file]]", name, f'source = "{k}.bin"', *keys, "locked = true" * file.locked]
    (folder / "job.toml").write_text("\n".join([*lines, tail]))
    return folder / "job.toml"


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


def catalog(_, rng):
    names = iter(plain(rng, 30, 30))
    for kind, before in (("binary", 4), ("integer", 2), ("floating", 2), ("text", 1)):
        long = [122 * 256 - 4, 122 * 256 - 3] if kind == "binary" else [4000]
        for k, length in enumerate([0, 1, 256 - before, 257 - before, 512 - before, 513 - before, *long]):
            source = (text if kind == "text" else noise)(rng, length)
            load = 0x4000 + k if kind == "binary" else None
            keys = [f'type = "{kind}"', *([f"load_address = {load}"] if load else [])]
            yield File(next(names), source, kind, load, k % 3 == 0), keys, source
    yield File(next(names), text(rng, 122 * 256), "text"), ['type = "text"'], None
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
