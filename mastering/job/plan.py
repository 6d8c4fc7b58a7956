"""What a job asks for: its title, its sides, and how each side carries the serial. Values only; `mastering.job.job` reads them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from formats.model.geometry import Address, Geometry
from formats.volumes.interface import Volume, VolumeIn

SLOT_BYTES = 40  # of a slot in a free sector, and of a place that says no other
LONGEST_SERIAL = len("-000001-X")  # what a serial of six digits has behind the catalogue number


@dataclass(frozen=True)
class Title:
    """The title that a master is built of. `edition`: its name, None for the job itself; `disc` of `discs`: which disc of a set."""

    name: str
    publisher: str
    catalogue: str
    revision: str
    edition: str | None = None
    disc: int = 1
    discs: int = 1

    @property
    def serial_bytes(self) -> int:
        """The least length of a serial's slot: the catalogue number's serial with six digits."""
        return len(self.catalogue) + LONGEST_SERIAL


@dataclass(frozen=True)
class SlotPlan:
    """How a side carries the serial: in a free sector that the builder picks, in a marker's place, at a place, or not at all.

    `demanded`: the job asks for it in so many words, so it is an error where it can't be had. `marker`: the bytes that hold the place.
    `address`, `offset`, `bytes`: the place.
    """

    kind: Literal["free", "marker", "place", "none"]
    demanded: bool = False
    marker: bytes = b""
    address: Address | None = None
    offset: int = 0
    bytes: int = SLOT_BYTES


@dataclass(frozen=True)
class SidePlan:
    """One side to build; `volatile` says for each file of `content` whether the customer's machine may change it."""

    name: str
    platform: str
    geometry: Geometry
    volume: Volume
    content: VolumeIn
    volatile: tuple[bool, ...]
    free: str
    suffix: str | None
    slot: SlotPlan

    @property
    def where(self) -> str:
        """The place of its table in the job, such as `side.A`."""
        return f"side.{self.name}"


@dataclass(frozen=True)
class Job:
    """A whole job, its sources read."""

    title: Title
    sides: Mapping[str, SidePlan]
