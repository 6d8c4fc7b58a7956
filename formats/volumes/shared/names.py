"""The rule for the names of a volume, its check, and names for people."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from formats.errors import Problem
from formats.volumes.interface import FileIn
from formats.volumes.shared.problems import Problems, key

ASCII = frozenset(range(0x20, 0x60))  # the 64 characters that every keyboard and printer of the time had
ANY_BYTE = frozenset(range(0x100))


def shown(name: bytes) -> str:
    """A name for people: ASCII as it stands, any other byte (and the % itself) as %XX."""
    return "".join(chr(byte) if 0x20 <= byte < 0x7F and byte != 0x25 else f"%{byte:02X}" for byte in name)


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
            what = f"two files have the name {shown(file.name)}"
            problems.add(where, f"{what}, the other is" if first.where else what, first.where)


def twice(names: Iterable[str]) -> Iterator[Problem]:
    """A problem for each name that more than one entry of a directory has: its system finds the first of them only."""
    for name, count in Counter(names).items():
        if count > 1:
            yield Problem(name, f"{count} entries of the directory have this name")
