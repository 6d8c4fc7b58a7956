"""What the file systems share: the rule for names, who owns which sector, chains with an end, bytes at fixed sectors.

Everything here is bounded by the number of sectors of the disc, whatever the bytes on it are.
"""

from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from formats.errors import Problem, VolumeError
from formats.model.geometry import Address, Geometry
from formats.source import Source
from formats.volumes.interface import FileIn, Place, VolumeIn, VolumeOut
from formats.volumes.shared.image import Image
from formats.volumes.shared.plans import has_plan
from formats.words import counted

Unit = TypeVar("Unit", bound=Hashable)

ASCII = frozenset(range(0x20, 0x60))  # the 64 characters that every keyboard and printer of the time had
ANY_BYTE = frozenset(range(0x100))


class Problems(list[Problem]):
    """Problems as they are found; all of them are raised at once."""

    def add(self, where: str, what: str) -> None:
        """Note one problem."""
        self.append(Problem(where, what))

    def stop(self) -> None:
        """Raise VolumeError when there are any."""
        if self:
            raise VolumeError(*self)


def key(where: str, name: str) -> str:
    """The dotted place of a key below `where`."""
    return f"{where}.{name}" if where else name


def shown(name: bytes) -> str:
    """A name for people: ASCII as it stands, any other byte (and the % itself) as %XX."""
    return "".join(chr(byte) if 0x20 <= byte < 0x7F and byte != 0x25 else f"%{byte:02X}" for byte in name)


def say(address: Address) -> str:
    """A sector for people."""
    return f"track {address.track} sector {address.sector}" + (f" head {address.head}" if address.head else "")


# Names


@dataclass(frozen=True)
class NameRule:
    """Names of 1 to `longest` bytes, filled up with `pad`; a text's characters are `allowed`, a raw name's bytes are `raw`.

    `high` is set in each byte of a text as it is stored. A raw name is stored as it is given.
    """

    longest: int
    pad: int
    high: int = 0x00
    allowed: frozenset[int] = ASCII
    raw: frozenset[int] = ANY_BYTE

    def problem(self, name: bytes, raw: bool = False) -> str:
        """Why this is no name of this volume; empty when it is one."""
        if not name:
            return f"the name is empty, where 1 to {self.longest} characters were expected"
        if len(name) > self.longest:
            return f"{shown(name)} has {len(name)} characters, where 1 to {self.longest} fit"
        wrong = bytes(byte for byte in dict.fromkeys(name) if byte not in (self.raw if raw else self.allowed))
        if wrong:
            return f"{shown(name)} has {' '.join(shown(bytes([byte])) for byte in wrong)!r}, not among the volume's characters"
        if self._stored(name, raw)[-1] == self.pad:
            return f"{shown(name)} ends with the byte that fills up short names, so its end would be lost"
        return ""

    def _stored(self, name: bytes, raw: bool) -> bytes:
        return name if raw else bytes(byte | self.high for byte in name)

    def store(self, name: bytes, raw: bool = False) -> bytes:
        """The name as it stands on the disc."""
        return self._stored(name, raw).ljust(self.longest, bytes([self.pad]))

    def load(self, stored: bytes) -> bytes:
        """The name that stands on the disc: a text where every byte of it has the `high` bit, else the bytes as they are."""
        name = stored.rstrip(bytes([self.pad]))
        return bytes(byte & ~self.high for byte in name) if all(byte & self.high == self.high for byte in name) else name


def check_names(
    files: Sequence[FileIn], problem: Callable[[bytes, bool], str], store: Callable[[bytes, bool], bytes], problems: Problems
) -> None:
    """Note each name that breaks the rule, and each that another file has already, as they are stored."""
    seen: dict[bytes, FileIn] = {}
    for file in files:
        where = key(file.where, "name_bytes" if file.raw_name else "name")
        wrong = problem(file.name, file.raw_name)
        if wrong:
            problems.add(where, wrong)
            continue
        first = seen.setdefault(store(file.name, file.raw_name), file)
        if first is not file:
            problems.add(where, f"two files have the name {shown(file.name)}" + (f", the other is {first.where}" if first.where else ""))


def twice(names: Iterable[str]) -> Iterator[Problem]:
    """A problem for each name that more than one entry of a directory has: its system finds the first of them only."""
    for name, count in Counter(names).items():
        if count > 1:
            yield Problem(name, f"{count} entries of the directory have this name")


def check_type(file: FileIn, types: Mapping[str, int], volume: str, problems: Problems) -> None:
    """Note a type that the volume has no word for."""
    if file.type not in types:
        given = "no type is given" if file.type is None else f"{file.type!r} is no type"
        problems.add(key(file.where, "type"), f"{given}; {volume} has {', '.join(types)}")


def check_word(value: object, where: str, problems: Problems) -> None:
    """Note a number that two bytes can't hold."""
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 0xFFFF:
        problems.add(
            where,
            "is missing: such a file needs one, for instance 0x2000" if value is None else f"{value!r} is not a number from 0 to 65535",
        )


def check_step(content: VolumeIn, most: int, problems: Problems) -> None:
    """Note an interleave that the volume can't step by."""
    if content.interleave is not None and not 1 <= content.interleave <= most:
        problems.add(key(content.where, "interleave"), f"a step of {content.interleave}, where 1 to {most} make sense")


def refuse(content: VolumeIn, volume: str, unused: Iterable[str], problems: Problems) -> None:
    """Note each key (of `label`, `boot`, `image`, `interleave`) that is given and that this volume has no use for."""
    for name in unused:
        if getattr(content, name):
            problems.add(key(content.where, name), f"{volume} has no place for it; leave the key out")


def other_numbers(where: str, numbers: Iterable[tuple[str, int, int]]) -> Iterator[Problem]:
    """A problem for each number that a record has other than it should be: what it is, as it stands there, as it should be."""
    for what, found, right in numbers:
        if found != right:
            yield Problem(where, f"{what}: {found:,}, where {right:,} was expected")


# Sectors


def claim(owners: dict[Unit, str], units: Iterable[Unit], owner: str) -> list[tuple[Unit, str]]:
    """Give units to an owner; those that had one keep it and are returned with it."""
    taken = []
    for unit in units:
        if unit in owners:
            taken.append((unit, owners[unit]))
        else:
            owners[unit] = owner
    return taken


def lay_places(image: Image, places: Sequence[Place], owners: dict[Address, str], problems: Problems) -> list[Address]:
    """Lay bytes at fixed sectors and make them their owners, but where the volume or another place is; the sectors laid."""
    geometry = image.geometry
    laid: list[Address] = []
    for place in places:
        where = place.where or "place"
        start = geometry.places.get(place.address)
        count = -(-len(place.data) // geometry.size)
        if start is None:
            problems.add(where, f"{geometry.id} has no {say(place.address)}")
        elif not count:
            problems.add(where, "there are no bytes to place")
        elif start + count > len(geometry.addresses):
            past = start + count - len(geometry.addresses)
            problems.add(where, f"{counted(count, 'sector')} from {say(place.address)} on run {past:,} past the end of the disc")
        else:
            run = geometry.addresses[start : start + count]
            for address, owner in claim(owners, run, where):
                problems.add(where, f"{say(address)} is taken by {owner}")
            for number, address in enumerate(run):
                image.write(address, place.data[number * geometry.size : (number + 1) * geometry.size])
            laid += run
    return laid


def follow(
    first: Unit | None,
    following: Callable[[Unit], Unit | None],
    exists: Callable[[Unit], bool],
    owners: dict[Unit, str],
    owner: str,
    said: Callable[[Unit], str],
) -> tuple[tuple[Unit, ...], str]:
    """Own the units of a chain; they, and what was wrong with it: empty when it comes to its end.

    It stops where it leads to a unit that does not exist or that has an owner, so all chains of a disc together are never
    longer than the disc. `said`: a unit for people.
    """
    found: list[Unit] = []
    unit = first
    while unit is not None:
        if not exists(unit):
            return tuple(found), f"its chain leads to {said(unit)}, where no data can be"
        if unit in owners:
            if unit in found:
                return tuple(found), f"its chain runs in a circle: it comes to {said(unit)} a second time"
            return tuple(found), f"its chain runs into {said(unit)}, which belongs to {owners[unit]} already"
        owners[unit] = owner
        found.append(unit)
        unit = following(unit)
    return tuple(found), ""


def check_room(content: VolumeIn, needed: int, available: int, unit: str, *, entries: int, problems: Problems) -> None:
    """Note by how much a disc is too full, and files that its directory has no entry for."""
    if needed > available:
        over = needed - available
        text = f"the disc is too full: needs {counted(over, f'more {unit}')} than the {available:,} it has"
        problems.add(content.where, text)
    if len(content.files) > entries:
        problems.add(content.where, f"the directory is too full: {counted(len(content.files), 'file')}, where it holds {entries}")


def word_of(types: Mapping[str, int], number: int) -> str | int:
    """The volume's word for a type, or the number where it has none."""
    return next((word for word, known in types.items() if known == number), number)


# The whole


class Builder(Protocol):
    """One volume in the making."""

    def build(self) -> Image:
        """The side; VolumeError with every problem."""
        ...


class Reader(Protocol):
    """One volume, walked when it was made; `problems` is what keeps it from being read to its end."""

    problems: Problems

    @property
    def names(self) -> Iterable[str]:
        """What the problems of an entry are called by: every entry's name for people."""
        ...

    def volume(self) -> VolumeOut:
        """What was read; of a file with a problem as much as could be followed."""
        ...

    def contradictions(self) -> Iterator[Problem]:
        """What a reader can live with and a master can't."""
        ...


@dataclass(frozen=True)
class FileSystem:
    """A volume (see `formats.volumes.interface`) from its plans by geometry, its builder and its reader."""

    id: str
    sources: tuple[Source, ...]
    plans: Mapping[str, object]
    builder: Callable[[Geometry, VolumeIn], Builder]
    reader: Callable[[Image], Reader]
    listed: Callable[[Sequence[bytes]], list[int]] | None = None

    def fits(self, geometry: Geometry) -> bool:
        """Whether there is a plan for that geometry."""
        return has_plan(self.plans, geometry)

    def order(self, names: Sequence[bytes]) -> list[int]:
        """The places of some files in the order in which `read` lists them: their own, where there are no directories."""
        return self.listed(names) if self.listed else list(range(len(names)))

    def build(self, geometry: Geometry, content: VolumeIn) -> Image:
        """A side with these files. VolumeError with every problem."""
        return self.builder(geometry, content).build()

    def read(self, image: Image) -> VolumeOut:
        """Its files. VolumeError when they can't be followed."""
        reader = self.reader(image)
        reader.problems.stop()
        return reader.volume()

    def readable(self, image: Image) -> tuple[VolumeOut, list[Problem]]:
        """The files that can be followed to their end, and why the others can't. VolumeError when it is more than files that is broken."""
        reader = self.reader(image)
        broken = list(reader.problems)
        lost = {problem.where for problem in broken}
        if not lost.issubset(reader.names):
            reader.problems.stop()
        held = reader.volume()
        return replace(held, files=tuple(file for file in held.files if shown(file.name) not in lost)), broken

    def check(self, image: Image) -> list[Problem]:
        """Everything in it that contradicts itself."""
        reader = self.reader(image)
        return [*reader.problems, *reader.contradictions()]
