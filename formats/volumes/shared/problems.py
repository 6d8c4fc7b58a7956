"""Problems of a volume in the making or being read: gathered, placed, and raised all at once."""

from collections.abc import Iterable, Iterator

from formats.errors import Problem, VolumeError
from formats.model.geometry import Address


class Problems(list[Problem]):
    """Problems as they are found; all of them are raised at once."""

    def add(self, where: str, what: str, beside: str = "") -> None:
        """Note one problem; `beside`: another place, with which its sentence ends."""
        self.append(Problem(where, what, beside))

    def stop(self) -> None:
        """Raise VolumeError when there are any."""
        if self:
            raise VolumeError(*self)


def key(where: str, name: str) -> str:
    """The dotted place of a key below `where`."""
    return f"{where}.{name}" if where else name


def sector_text(address: Address) -> str:
    """A sector for people."""
    return f"track {address.track} sector {address.sector}" + (f" head {address.head}" if address.head else "")


def other_numbers(where: str, numbers: Iterable[tuple[str, int, int]]) -> Iterator[Problem]:
    """A problem for each number that a record has other than it should be: what it is, as it stands there, as it should be."""
    for what, value, right in numbers:
        if value != right:
            yield Problem(where, f"{what}: {value:,}, where {right:,} was expected")
