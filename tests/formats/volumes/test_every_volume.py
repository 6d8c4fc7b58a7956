"""What holds for every volume, and the side without one."""

import pytest

from formats import registry
from formats.errors import VolumeError
from formats.model.geometry import Address
from formats.source import Source
from formats.volumes.interface import FileIn, PlacedBytes, VolumeIn
from formats.volumes.shared.image import Image

IDS = registry.names("volumes", foreign=False)
GEOMETRIES = registry.names("geometries", foreign=False)
PAIRS = [(name, geometry) for name in IDS for geometry in GEOMETRIES if registry.volume(name).fits(registry.geometry(geometry))]
# What a volume of nothing has free: drive manuals (40 tracks: from memory), a textbook's count, the table of parameter blocks.
FREE = {
    "gcr4to5-35z": 664,
    "gcr4to5-35z20": 670,
    "gcr4to5-40z": 749,
    "gcr4to5-77z": 2052,
    "gcr4to5-77z-2s": 4133,
    "gcr5and3-35x13x256": 403,
    "gcr6and2-35x16x256": {"catalog-dos": 496, "block-tree": 273},
    "mfm-40x8x512": 313,
    "mfm-40x8x512-2s": 315,
    "mfm-40x9x512": 351,
    "mfm-40x9x512-2s": 354,
    "mfm-80x9x512-2s": 713,
    "mfm-80x15x512-2s": 2371,
}
FILE_SYSTEMS = [pair for pair in PAIRS if pair[0] != "none"]


def test_each_volume_stands_on_its_geometries_and_no_others():
    families = {
        "zoned-dos": ("gcr4to5-",),
        "catalog-dos": ("gcr6and2-35x16x256", "gcr5and3-35x13x256"),
        "block-tree": ("gcr6and2-35x16x256",),
        "fat12": ("mfm-",),
    }
    assert {pair for pair in PAIRS if pair[0] in families} == {
        (name, geometry) for name, family in families.items() for geometry in FREE if geometry.startswith(family)
    }
    assert {geometry for name, geometry in PAIRS if name == "none"} == set(GEOMETRIES)


@pytest.mark.parametrize("name, geometry", FILE_SYSTEMS)
def test_a_volume_of_nothing(name, geometry):
    volume, declared = registry.volume(name), registry.geometry(geometry)
    image = volume.build(declared, VolumeIn(()))
    free = FREE[geometry]
    assert volume.read(image).free == (free if isinstance(free, int) else free[name])
    assert volume.read(image).files == ()
    assert volume.check(image) == []
    unused = set(declared.addresses) - image.used
    assert all(not any(image.read(address)) for address in unused)


@pytest.mark.parametrize("name, geometry", FILE_SYSTEMS)
def test_the_same_content_gives_the_same_bytes(name, geometry):
    type_ = {"zoned-dos": "user", "catalog-dos": "integer", "block-tree": 4}.get(name)
    files = [FileIn(b"F%d" % number, bytes([number]) * 700, type=type_) for number in range(30)]
    first, second = (registry.volume(name).build(registry.geometry(geometry), VolumeIn(files)) for _ in range(2))
    assert first.dump == second.dump and first.used == second.used


@pytest.mark.parametrize("name", [name for name in IDS if name != "none"])
def test_every_file_system_names_its_sources(name):
    sources = registry.volume(name).sources
    assert sources and all(isinstance(source, Source) and source.title for source in sources)


@pytest.mark.parametrize("geometry", GEOMETRIES)
def test_a_ready_image_is_taken_as_it_is(geometry):
    declared, none = registry.geometry(geometry), registry.volume("none")
    dump = bytes(place % 251 for place in range(declared.dump_bytes))
    image = none.build(declared, VolumeIn((), image=dump))
    assert image.dump == dump
    assert image.used == set(declared.addresses)
    assert none.check(Image(declared, dump)) == []
    held = none.read(image)
    assert (held.label, held.free, held.unit, held.files) == (b"", 0, declared.size, ())


def test_what_does_not_go_with_a_ready_image():
    declared = registry.geometry(GEOMETRIES[0])
    content = VolumeIn([FileIn(b"A", b"")], places=[PlacedBytes(Address(1, 0, 0), b"x")], boot=b"x", interleave=3, where="side.B")
    with pytest.raises(VolumeError) as error:
        registry.volume("none").build(declared, content)
    assert [problem.where for problem in error.value.problems] == [
        "side.B.image",
        "side.B.file",
        "side.B.place",
        "side.B.boot",
        "side.B.interleave",
    ]


@pytest.mark.parametrize("name, geometry", FILE_SYSTEMS)
def test_a_files_bytes_lie_in_its_sectors_behind_what_is_the_volumes_own(name, geometry):
    """Of any length: what stands before them in the first sector, then in each later one, taken away, they are all that is left."""
    volume, declared = registry.volume(name), registry.geometry(geometry)
    given = {
        "zoned-dos": [("program", "in-file"), ("sequential", None)],
        "catalog-dos": [("binary", 0x2000), ("integer", None), ("text", None)],
        "block-tree": [(4, 0x2000)],
        "fat12": [(None, None)],
    }[name]
    sizes = [2, declared.size - 4, declared.size, 3 * declared.size + 5]
    files = [
        FileIn(b"F%d" % number, bytes(1 + at * 7 % 255 for at in range(size)), False, type_, address)
        for number, (size, (type_, address)) in enumerate((size, kind) for size in sizes for kind in given)
    ]
    image = volume.build(declared, VolumeIn(files))
    for file in volume.read(image).files:
        first, later = file.before
        parts = [image.read(address)[later if number else first :] for number, address in enumerate(file.sectors)]
        assert b"".join(parts)[: len(file.data)] == file.data
        assert all(len(b"".join(parts[:count])) < len(file.data) for count in range(len(parts)))


# The sector that is taken last


KINDS = {"zoned-dos": {"type": "user"}, "catalog-dos": {"type": "text"}, "block-tree": {"type": 4}, "fat12": {}}


def filled(name, geometry, left, **more):
    """A volume with one file of the volume's own that leaves so many units free, built by trying shorter ones."""
    volume, declared = registry.volume(name), registry.geometry(geometry)
    empty = volume.read(volume.build(declared, VolumeIn((), **more)))
    for units in range(empty.free - left, 0, -1):  # lists and indexes take some
        data = b"x" * (units * empty.unit - 1)
        try:
            image = volume.build(declared, VolumeIn([FileIn(b"ALL", data, **KINDS[name])], **more))
        except VolumeError:
            continue
        if volume.read(image).free == left:
            return image
        assert volume.read(image).free < left or left == 0
    raise AssertionError("no file leaves so much")


@pytest.mark.parametrize("name, geometry", FILE_SYSTEMS)
def test_a_file_that_leaves_one_unit_leaves_the_spare_sector(name, geometry):
    """The spare sector of an empty volume is one of the last unit that is free when a file has taken all others."""
    volume, declared = registry.volume(name), registry.geometry(geometry)
    spare = volume.build(declared, VolumeIn(())).spare
    nearly = filled(name, geometry, left=1)
    assert spare not in nearly.used and nearly.spare == spare
    assert len(set(declared.addresses) - nearly.used) >= 1


# How many sectors a full volume keeps that nothing uses: issue 13's own counts.
RESERVED = {"zoned-dos": range(17, 28), "catalog-dos": (48, 39), "block-tree": (4,), "fat12": (0,)}


@pytest.mark.parametrize("name, geometry", FILE_SYSTEMS)
def test_a_full_volume_has_a_reserved_sector_that_nothing_uses_but_fat12(name, geometry):
    declared, full = registry.geometry(geometry), filled(name, geometry, left=0)
    unused = set(declared.addresses) - full.used
    assert len(unused) in RESERVED[name]
    assert (full.spare in unused) if unused else full.spare is None


@pytest.mark.parametrize("name, geometry", [pair for pair in FILE_SYSTEMS if pair[0] in ("catalog-dos", "block-tree")])
def test_the_reserved_sector_is_none_of_the_boot_bytes_nor_of_a_place(name, geometry):
    declared = registry.geometry(geometry)
    full = filled(name, geometry, left=0)
    kept = sum(address not in full.used for address in declared.addresses)
    boot = filled(name, geometry, left=0, boot=b"b" * ((kept - 1) * declared.size))
    assert boot.spare == full.spare and boot.spare not in boot.used
    placed = filled(name, geometry, left=0, places=[PlacedBytes(full.spare, b"p")])
    assert placed.spare != full.spare and placed.spare not in placed.used
    assert filled(name, geometry, left=0, boot=b"b" * (kept * declared.size)).spare is None
