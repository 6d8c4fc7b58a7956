"""FAT12 volumes against programs that no one here wrote: a file system checker, a formatter, a library that reads and writes."""

import subprocess
import warnings
from datetime import date

import pytest

from formats import registry
from formats.model.geometry import Address
from formats.volumes.interface import FileIn, PlacedBytes, VolumeIn
from formats.volumes.shared.image import Image

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the library's own base uses a deprecated way to declare itself
    from pyfatfs.PyFatFS import PyFatFS

# Every number of the media, for a formatter that guesses some of them wrong: media, sectors of a cluster, entries, heads and sectors of a
# track, sectors of a table.
MEDIA = {
    "mfm-40x8x512": ("0xFE", 1, 64, "1/8", 1),
    "mfm-40x9x512": ("0xFC", 1, 64, "1/9", 2),
    "mfm-40x8x512-2s": ("0xFF", 2, 112, "2/8", 1),
    "mfm-40x9x512-2s": ("0xFD", 2, 112, "2/9", 2),
    "mfm-80x9x512-2s": ("0xF9", 2, 112, "2/9", 3),
    "mfm-80x15x512-2s": ("0xF9", 1, 224, "2/15", 7),
}
NAMES = sorted(MEDIA)

FILES = [
    FileIn(b"LAMP.COM", bytes(range(256)) * 17 + b"end", locked=True),
    FileIn(b"EMPTY", b""),
    FileIn(b"ONE.DAT", b"1"),
    FileIn(b"CLUSTER.BIN", b"C" * 1024),
    *(FileIn(b"F%d.TXT" % number, b"light " * number) for number in range(40)),
]


def built(name: str, **keys) -> Image:
    content = {"files": FILES, "label": b"SALT MARSH", "date": date(1984, 1, 31)} | keys
    return registry.volume("fat12").build(registry.geometry(name), VolumeIn(**content))


def checked(path) -> str:
    """What the checker says of an image that it must not touch; fails when it is not there or finds anything."""
    run = subprocess.run(["fsck.fat", "-n", "-v", str(path)], capture_output=True, text=True, timeout=30, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    return run.stdout


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    "keys",
    [
        {"files": []},
        {"files": [], "label": b""},
        {},
        {"interleave": 5},
        {"boot": b"\xeb\x3c\x90" + bytes(59) + b"\xcd\x19"},
        {"places": [PlacedBytes(Address(30, 0, 3), bytes([7]) * 5000)]},
    ],
    ids=["empty", "no label", "files", "interleave", "boot", "place"],
)
def test_the_checker_finds_nothing_in_a_built_volume(name, keys, tmp_path):
    path = tmp_path / "side.dump"
    path.write_bytes(built(name, **keys).dump)
    files = keys.get("files", FILES)
    label = 1 if keys.get("label", b"L") else 0
    assert f"{len(files) + label} files" in checked(path)
    assert path.read_bytes() == built(name, **keys).dump


@pytest.mark.parametrize("name", NAMES)
def test_the_checker_finds_a_lost_cluster(name, tmp_path):
    """The judge is awake: cluster 200, which no file has, marked as a chain's end in both tables."""
    dump = built(name).dump
    for table in (512, 512 * (1 + MEDIA[name][4])):
        dump[table + 300 : table + 302] = b"\xff\x0f"
    path = tmp_path / "side.dump"
    path.write_bytes(dump)
    assert subprocess.run(["fsck.fat", "-n", str(path)], capture_output=True, timeout=30, check=False).returncode == 1


@pytest.mark.parametrize("name", NAMES)
def test_the_library_reads_what_was_built(name, tmp_path):
    path = tmp_path / "side.dump"
    path.write_bytes(built(name).dump)
    disc = PyFatFS(str(path), encoding="cp437", read_only=True)
    assert sorted(disc.listdir("/")) == sorted(file.name.decode() for file in FILES)
    for file in FILES:
        assert disc.readbytes(f"/{file.name.decode()}") == file.data
    assert disc.getinfo("/LAMP.COM", ["details"]).modified.date() == date(1984, 1, 31)


def formatted(name: str, path) -> bytes:
    """An image that a general-purpose formatter made, told every number."""
    geometry = registry.geometry(name)
    media, cluster, entries, track, _ = MEDIA[name]
    path.write_bytes(bytes(geometry.dump_bytes))
    options = [
        "-a",
        "-F",
        "12",
        "-S",
        "512",
        "-s",
        cluster,
        "-R",
        1,
        "-f",
        2,
        "-r",
        entries,
        "-M",
        media,
        "-g",
        track,
        "-D",
        0,
        "-h",
        0,
    ]
    options += ["-n", "FOREIGN", "-i", "0badcafe", "--invariant"]
    subprocess.run(["mkfs.fat", *map(str, options), str(path)], check=True, capture_output=True, timeout=30)
    return path.read_bytes()


@pytest.mark.parametrize("name", NAMES)
def test_the_parameter_block_is_the_one_that_a_formatter_writes(name, tmp_path):
    theirs = formatted(name, tmp_path / "theirs")
    ours = built(name, files=[]).dump
    assert ours[11:39] == theirs[11:39]
    assert ours[54:62] == theirs[54:62] == b"FAT12   "
    assert ours[510:515] == theirs[510:515]


@pytest.mark.parametrize("name", NAMES)
def test_a_foreign_volume_is_read(name, tmp_path):
    """Files and folders put by the library into the formatter's image."""
    path = tmp_path / "theirs"
    formatted(name, path)
    disc = PyFatFS(str(path), encoding="cp437")
    put = [file for file in FILES[:20] if file.data]
    for file in put:
        disc.writebytes(f"/{file.name.decode()}", file.data)
    disc.makedir("/MAPS")
    disc.makedir("/MAPS/DEEP")
    disc.writebytes("/MAPS/LEVEL.ONE", b"1" * 3000)
    disc.writebytes("/MAPS/DEEP/LEVEL.TWO", b"2" * 700)
    disc.writebytes("/a name too long for 8.3.text", b"long")
    disc.close()
    image = Image(registry.geometry(name), path.read_bytes())
    found = registry.volume("fat12").read(image)
    theirs = {file.name: file.data for file in put}
    theirs |= {b"MAPS/LEVEL.ONE": b"1" * 3000, b"MAPS/DEEP/LEVEL.TWO": b"2" * 700, b"ANAMET.TEX": b"long"}
    assert found.label == b"FOREIGN"
    assert {file.name: file.data for file in found.files} == theirs
    assert registry.volume("fat12").check(image) == []
    checked(path)


@pytest.mark.parametrize("name", NAMES)
def test_two_checkers_agree_on_what_the_library_leaves_behind(name, tmp_path):
    """A removed file is no file any more. Release 1.1 of the library forgets to free its cluster: both checkers count the same."""
    path = tmp_path / "theirs"
    formatted(name, path)
    with PyFatFS(str(path), encoding="cp437") as disc:
        disc.writebytes("/ONE.DAT", b"1")
        disc.writebytes("/TWO.DAT", b"2")
        disc.remove("/ONE.DAT")
    image = Image(registry.geometry(name), path.read_bytes())
    assert [file.name for file in registry.volume("fat12").read(image).files] == [b"TWO.DAT"]
    theirs = subprocess.run(["fsck.fat", "-n", str(path)], capture_output=True, text=True, timeout=30, check=False)
    ours = registry.volume("fat12").check(image)
    assert f"Reclaimed {len(ours)} unused cluster" in theirs.stdout or (theirs.returncode, ours) == (0, [])


def places(name: str) -> dict[str, int]:
    """Where the boot sector stands in a dump, and the entries of the first two files: behind the label's."""
    root = 512 * (1 + 2 * MEDIA[name][4])
    return {"boot": 0, "first": root + 32, "second": root + 64}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("place", "offset", "found"),
    [
        ("boot", 11, b"\x00\x04"),
        ("boot", 22, b"\x58\x02"),
        ("first", 1, b"*\x01"),
        ("first", 0, b" "),
        ("first", 2, b"."),
        ("first", 8, b"<>?"),
        ("second", 0, b"LAMP    COM"),
    ],
    ids=["sector", "table", "name", "space", "dot", "extension", "twice"],
)
def test_what_the_checker_finds_is_found(name, place, offset, found, tmp_path):
    path, dump = tmp_path / "side.dump", built(name).dump
    start = places(name)[place] + offset
    dump[start : start + len(found)] = found
    path.write_bytes(dump)
    assert subprocess.run(["fsck.fat", "-n", str(path)], capture_output=True, timeout=30, check=False).returncode != 0
    assert registry.volume("fat12").check(Image(registry.geometry(name), bytes(dump)))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("found", [b"A B     TXT", b"\x05\x8e\xf1     COM", b"small   txt", b"EA DATA  SF", b"+,;=[]~` {}"])
def test_a_name_that_the_checker_lets_pass_is_sound(name, found, tmp_path):
    path, dump = tmp_path / "side.dump", built(name).dump
    start = places(name)["first"]
    dump[start : start + 11] = found
    path.write_bytes(dump)
    checked(path)
    assert registry.volume("fat12").check(Image(registry.geometry(name), bytes(dump))) == []
