"""Catalog DOS: table of contents and catalog on track 17, each file's sectors in track/sector lists.

The volume counts the sectors of a track in the order of a dump, not by their identifiers. A text ends at its first 00, so one 00
is laid behind it. A sector that the map calls used and no file owns is common practice (tracks 0 to 2, reserved by hand), and
so is no problem.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from formats.errors import Problem
from formats.model.geometry import Geometry
from formats.source import Source
from formats.volumes.interface import FileIn, FileOut, VolumeIn, VolumeOut
from formats.volumes.shared.catalog_tables import (
    CATALOG,
    CONTENTS,
    DELETED,
    HIGHEST_VOLUME,
    JOB_PART,
    LIST,
    LOCKED,
    LONGEST,
    MAP_BITS,
    NAMES,
    NOTHING,
    PAIRS,
    PLANS,
    TEXT,
    TYPES,
    WORDS,
)
from formats.volumes.shared.content import check_room, check_step, check_type, check_word, refuse, word_of
from formats.volumes.shared.file_system import FileSystem
from formats.volumes.shared.free_space import DownwardSpace
from formats.volumes.shared.image import Image
from formats.volumes.shared.linked import Link, LinkedBuilder, Walk, link_of, parts_of
from formats.volumes.shared.names import check_names, shown, twice
from formats.volumes.shared.places import lay_places
from formats.volumes.shared.plans import plan_of
from formats.volumes.shared.problems import Problems, key, other_numbers
from formats.words import counted

SOURCES = (
    Source("A textbook on the 16-sector system", "chapter 4: table of contents, catalog, lists, 496 sectors free", "published"),
    Source("Sectors of a track taken from the highest down, lists before data", "", "from memory"),
    Source("13 sectors", "403 sectors free; release 2, catalog from sector 12, the map's bits from the highest down", "from memory"),
)


@dataclass(frozen=True)
class _File:
    """A file of the catalog: its entry, its track/sector lists, and its sectors in order (None for a hole)."""

    entry: Any
    lists: tuple[Link, ...]
    pairs: list[Link | None]

    @property
    def where(self) -> str:
        return shown(NAMES.load(self.entry.name))

    @property
    def number(self) -> int:
        number: int = self.entry.type & ~LOCKED
        return number


class _Reader(Walk):
    """One image, walked from its table of contents."""

    def __init__(self, image: Image) -> None:
        super().__init__(image)
        self.plan = plan_of(PLANS, image.geometry)
        self.contents = self.sector(CONTENTS, self.plan.contents)
        self.owners[self.plan.contents] = "table of contents"
        self.catalog = self.chain(link_of(self.contents.catalog), lambda link: link_of(self.sector(CATALOG, link).next), "catalog")
        self.files = [self._sectors(entry) for entry in self._entries()]
        for file in self.files:
            if wrong := self._short(file):
                self.problems.add(file.where, wrong)

    def _entries(self) -> Iterator[Any]:
        for link in self.catalog:
            for entry in self.sector(CATALOG, link).entries:
                if not entry.list.track:
                    return
                if entry.list.track != DELETED:
                    yield entry

    def _sectors(self, entry: Any) -> _File:
        where = shown(NAMES.load(entry.name))
        lists = self.chain(link_of(entry.list), lambda link: link_of(self.sector(LIST, link).next), where)
        listed = [pair for link in lists for pair in self.sector(LIST, link).pairs]
        for number, pair in enumerate(listed, 1):
            if pair.sector and not pair.track:
                self.problems.add(
                    where, f"pair {number} of its lists is 00 {pair.sector:02X}, which is neither a sector nor a hole (00 00)"
                )
        pairs = [link_of(pair) for pair in listed]
        while pairs and pairs[-1] is None:
            pairs.pop()
        for pair in pairs:
            self.chain(pair, lambda _: None, where)
        return _File(entry, lists, [pair for pair in pairs if pair is None or pair in self.addresses])

    def _words(self, file: _File) -> Any:
        """The words before the file's own bytes, None where it has none."""
        if file.number not in WORDS or not file.pairs or file.pairs[0] is None:
            return None
        return self.sector(WORDS[file.number], file.pairs[0])

    def _short(self, file: _File) -> str:
        """Why the sectors of a file don't hold as many bytes as its length word says; empty when they do."""
        words, room = self._words(file), len(file.pairs) * self.image.geometry.size
        if words is None:
            return "its length word is missing" if file.number in WORDS else ""
        need = WORDS[file.number].sizeof() + words.length
        return f"needs {counted(need, 'byte')} by its length word, its sectors hold {room:,}" if need > room else ""

    def _file(self, file: _File) -> FileOut:
        size = self.image.geometry.size
        content = b"".join(self.image.read(self.addresses[pair]) if pair else bytes(size) for pair in file.pairs)
        words = self._words(file)
        first = WORDS[file.number].sizeof() if words else 0
        last = first + words.length if words else len(content)
        if file.number == TEXT:
            last = len(content.partition(b"\0")[0])
        return FileOut(
            NAMES.load(file.entry.name),
            word_of(TYPES, file.number),
            words.get("address") if words else None,
            bool(file.entry.type & LOCKED),
            content[first:last],
            tuple(self.addresses[pair] for pair in file.pairs[: -(-last // size)] if pair),
            (first, 0),
        )

    @property
    def names(self) -> list[str]:
        """The names of the files, for people."""
        return [file.where for file in self.files]

    def volume(self) -> VolumeOut:
        """The files. A catalog has no label. `free`: the sectors of the disc whose bits in the map say free."""
        free = sum(link in self.addresses for link in self.free)
        files = tuple(self._file(file) for file in self.files)
        return VolumeOut(b"", free, self.image.geometry.size, files, {"volume": self.contents.volume})

    @property
    def free(self) -> list[Link]:
        """The sectors that the map calls free, of tracks that the disc lacks too."""
        words = ((track, entry.free >> self.behind) for track, entry in enumerate(self.contents.map))
        return [(track, bit) for track, word in words for bit in range(MAP_BITS) if word >> bit & 1]

    @cached_property
    def behind(self) -> int:
        """Bits of a track's entry in the map below that of sector 0; none where the map says that its bits lie as those of 16 sectors."""
        sectors = len(self.image.geometry.numbers(0))
        words = [entry.free for entry in self.contents.map[: self.image.geometry.cylinders]]
        low, high = (any(word & mask for word in words) for mask in ((1 << MAP_BITS - sectors) - 1, -1 << sectors))
        return 0 if low and not high else MAP_BITS - sectors

    def contradictions(self) -> Iterator[Problem]:
        """Problems that a reader can live with and a master can't."""
        geometry, contents = self.image.geometry, self.contents
        numbers = (
            ("tracks", contents.tracks, geometry.cylinders),
            ("sectors of a track", contents.sectors, len(geometry.numbers(0))),
            ("bytes of a sector", contents.size, geometry.size),
            ("pairs of a list", contents.pairs, PAIRS),
        )
        yield from other_numbers("table of contents", numbers)
        if not 1 <= contents.volume <= HIGHEST_VOLUME:
            yield Problem("table of contents", f"volume {contents.volume} is not 1 to {HIGHEST_VOLUME}")
        if self.plan.sure and contents.release != self.plan.release:
            yield Problem("table of contents", f"its system's release is {contents.release}, not {self.plan.release}")
        yield from twice(file.where for file in self.files)
        for file in self.files:
            count = len(file.lists) + sum(pair is not None for pair in file.pairs)
            if file.entry.sectors != count:
                yield Problem(file.where, f"the catalog gives it {counted(file.entry.sectors, 'sector')}, it has {count:,}")
            for number, link in enumerate(file.lists):
                if (offset := self.sector(LIST, link).offset) != number * PAIRS:
                    yield Problem(
                        file.where, f"list {number + 1} says that it begins with sector {offset} of the file, not {number * PAIRS}"
                    )
        yield from self._map()

    def _map(self) -> Iterator[Problem]:
        """Problems of the map's entries, and of the sectors that they call free."""
        geometry = self.image.geometry
        for track, entry in enumerate(self.contents.map):
            if entry.free & (1 << self.behind) - 1:
                yield Problem("free map", f"track {track} has bits behind its {len(geometry.numbers(0))} sectors")
            if entry.unused and track < geometry.cylinders:
                yield Problem("free map", f"the last two bytes of track {track} are {entry.unused:04X}, not 0000")
        yield from self.free_in_map(self.free, "free map")


class _Builder(LinkedBuilder):
    """Builds one side with this volume."""

    def __init__(self, geometry: Geometry, content: VolumeIn) -> None:
        super().__init__(geometry, content)
        self.plan = plan_of(PLANS, geometry)
        self.middle = self.plan.contents[0]
        above = range(self.middle + 1, geometry.cylinders)
        self.space = DownwardSpace(geometry, (*above, *range(self.middle - 1, self.plan.boot - 1, -1)))

    def build(self) -> Image:
        geometry, content = self.image.geometry, self.content
        owners = {address: "the catalog" for (track, _), address in self.addresses.items() if track == self.middle}
        boot = content.boot or b""
        sectors = [address for (track, _), address in self.addresses.items() if track < self.plan.boot]
        if len(boot) > len(sectors) * geometry.size:
            self.problems.add(key(content.where, "boot"), f"{len(boot):,} bytes, where {len(sectors) * geometry.size:,} fit")
        for start, address in zip(range(0, len(boot), geometry.size), sectors, strict=False):
            owners[address] = "the boot bytes"
            self.image.write(address, boot[start : start + geometry.size])
        lay_places(self.image, content.places, owners, self.problems)
        self.space.remove({*owners, *sectors})
        self._check()
        self.problems.stop()
        self._catalog([self._file(file) for file in content.files])
        self._contents()
        last = self.space.last(content.interleave or self.plan.step)
        unused = [address for address in sectors if address not in owners]
        self.image.spare = self.addresses[last] if last else unused[-1] if unused else None
        return self.image

    def _check(self) -> None:
        content, problems = self.content, self.problems
        refuse(content, "catalog-dos", ("image",), problems)
        check_step(content, len(self.image.geometry.numbers(0)) - 1, problems)
        if not 1 <= content.volume_number <= HIGHEST_VOLUME:
            problems.add(key(content.where, "volume_number"), f"{content.volume_number} is not 1 to {HIGHEST_VOLUME}")
        check_names(content.files, NAMES.problem, NAMES.store, problems)
        for file in content.files:
            _check_file(file, problems)
        needed = sum(_needed(file, self.image.geometry.size) for file in content.files)
        room = self.plan.first * CATALOG.entries.count
        check_room(content, needed, self.space.available(self.space.tracks), "sector", entries=room, problems=problems)

    def _file(self, file: FileIn) -> dict[str, Any]:
        """Lays a file's lists and sectors. Returns its catalog entry."""
        number = TYPES[str(file.type)]
        data = file.data + b"\0" * (number == TEXT)
        if number in WORDS:
            data = WORDS[number].build({"address": file.load_address, "length": len(data)}) + data
        size = self.image.geometry.size
        parts = [data[start : start + size] for start in range(0, len(data), size)]
        step = self.content.interleave or self.plan.step
        groups = [parts[start : start + PAIRS] for start in range(0, len(parts), PAIRS)]
        lists = [(self.space.next(step), [self.space.next(step) for _ in group]) for group in groups]
        following = [link for link, _ in lists[1:]] + [NOTHING]
        for place, ((link, pairs), then) in enumerate(zip(lists, following, strict=True)):
            for pair, part in zip(pairs, groups[place], strict=True):
                self.write(pair, part)
            filled = [parts_of(pair) for pair in (pairs + [NOTHING] * PAIRS)[:PAIRS]]
            self.write(link, LIST.build({"next": parts_of(then), "offset": place * PAIRS, "pairs": filled}))
        kept = {"type": number | LOCKED * file.locked, "name": NAMES.store(file.name, file.raw_name)}
        return {"list": parts_of(lists[0][0]), **kept, "sectors": len(lists) + len(parts)}

    def _catalog(self, entries: list[dict[str, Any]]) -> None:
        nothing = {"list": parts_of(NOTHING), "type": 0, "name": bytes(30), "sectors": 0}
        for place, sector in enumerate(range(self.plan.first, 0, -1)):
            seven = (entries[place * 7 : place * 7 + 7] + [nothing] * 7)[:7]
            then = (self.middle, sector - 1) if sector > 1 else NOTHING
            self.write((self.middle, sector), CATALOG.build({"next": parts_of(then), "entries": seven}))

    def _contents(self) -> None:
        geometry, last = self.image.geometry, self.space.latest[0] if self.space.latest else self.middle
        free, sectors = self.space.free, len(geometry.numbers(0))
        bits = [sum(1 << MAP_BITS - sectors + sector for sector in free.get(track, ())) for track in range(CONTENTS.map.count)]
        contents = {"catalog": parts_of((self.middle, self.plan.first)), "release": self.plan.release, "volume": self.content.volume_number}
        contents |= {"last": last, "direction": 1 if last >= self.middle else -1, "map": [{"free": each} for each in bits]}
        contents |= {"tracks": geometry.cylinders, "sectors": sectors, "size": geometry.size}
        self.write(self.plan.contents, CONTENTS.build(contents))


def _needed(file: FileIn, size: int) -> int:
    """How many sectors a file takes, those of its lists among them."""
    number = TYPES.get(str(file.type))
    data = -(-(len(file.data) + (WORDS[number].sizeof() if number in WORDS else number == TEXT)) // size)
    return data + max(1, -(-data // PAIRS))


def _check_file(file: FileIn, problems: Problems) -> None:
    where, source = key(file.where, "load_address"), key(file.where, "source")
    check_type(file, TYPES, "catalog-dos", problems)
    if file.type == "binary":
        check_word(file.load_address, where, problems)
    elif file.load_address is not None:
        problems.add(where, "only a binary file has one; leave the key out")
    if file.type == "text" and 0 in file.data:
        problems.add(source, f"a text ends at its first 00, and byte {file.data.index(0)} is one")
    if TYPES.get(str(file.type)) in WORDS and len(file.data) > LONGEST:
        problems.add(source, f"{len(file.data):,} bytes, where the length word counts to {LONGEST:,}")


VOLUME = FileSystem("catalog-dos", SOURCES, JOB_PART, PLANS, _Builder, _Reader)
