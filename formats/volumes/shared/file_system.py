"""A volume put together from its plans, its builder and its reader."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from formats.errors import Problem
from formats.model.geometry import Geometry
from formats.source import Source
from formats.volumes.interface import FileIn, JobPart, VolumeIn, VolumeOut
from formats.volumes.shared.image import Image
from formats.volumes.shared.names import shown
from formats.volumes.shared.plans import has_plan
from formats.volumes.shared.problems import Problems


class Builder(Protocol):
    """Builds one side with this volume."""

    def build(self) -> Image:
        """The side; VolumeError with every problem."""
        ...


class Reader(Protocol):
    """Reads one volume, which it walks when it is created. `problems`: what keeps the volume from being read to its end."""

    problems: Problems

    @property
    def names(self) -> Iterable[str]:
        """Every entry's name for people, as the `where` of its problems has it."""
        ...

    def volume(self) -> VolumeOut:
        """The volume as it was read; of a file with a problem as much as could be followed."""
        ...

    def contradictions(self) -> Iterator[Problem]:
        """Problems that a reader can live with and a master can't."""
        ...


@dataclass(frozen=True)
class FileSystem:
    """A volume (see `formats.volumes.interface`) from its plans by geometry, its builder and its reader.

    `listed`: the order in which its directories list files, by their names; None: that of the job.
    """

    id: str
    sources: tuple[Source, ...]
    job_part: JobPart
    plans: Mapping[str, object]
    builder: Callable[[Geometry, VolumeIn], Builder]
    reader: Callable[[Image], Reader]
    listed: Callable[[Sequence[bytes]], list[int]] | None = None
    doubted: Callable[[FileIn], Iterator[Problem]] | None = None
    is_file_system: bool = True

    def doubts(self, file: FileIn) -> Iterator[Problem]:
        """What a publisher may have overlooked in a file that can be built as it is."""
        return self.doubted(file) if self.doubted else iter(())

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
        """The volume with its files. VolumeError when the directory or a file can't be followed."""
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
        """Everything in a volume that contradicts itself."""
        reader = self.reader(image)
        return [*reader.problems, *reader.contradictions()]
