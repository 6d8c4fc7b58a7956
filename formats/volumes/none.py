"""No volume: the side is a ready image, without files that this program knows of."""

from collections.abc import Iterator, Sequence

from formats.errors import Problem, VolumeError
from formats.model.geometry import Geometry
from formats.volumes.interface import FileIn, JobPart, VolumeIn, VolumeOut
from formats.volumes.shared.image import Image


class ReadyImage:
    """A side whose sectors all come from an image."""

    id = "none"
    is_file_system = False
    job_part = JobPart(
        """\
image = "{source}"
# order = "as-numbered"       # how the image holds the sectors, when not as a dump does
# serial = {{ track = 0, sector = 1, offset = 0, bytes = 40 }}   # bytes of the image that are free: each disc carries its serial there
""",
        source="image.bin",
        size=None,
    )

    def doubts(self, file: FileIn) -> Iterator[Problem]:
        """A ready image has no files."""
        return iter(())

    def fits(self, geometry: Geometry) -> bool:
        """Any geometry."""
        return True

    def order(self, names: Sequence[bytes]) -> list[int]:
        """Files keep the order of the job: without a file system there is no directory to sort."""
        return list(range(len(names)))

    def build(self, geometry: Geometry, content: VolumeIn) -> Image:
        """The image, every sector of it used. VolumeError when there is none, or when files, places or a boot come with it."""
        where = content.where
        problems = (
            [Problem(f"{where}.image".lstrip("."), "is missing: without a volume a side is a ready image")] if content.image is None else []
        )
        extra = (("file", content.files), ("place", content.places), ("boot", content.boot), ("interleave", content.interleave))
        problems += [Problem(f"{where}.{name}".lstrip("."), "does not go with a ready image") for name, given in extra if given]
        if problems:
            raise VolumeError(*problems)
        image = Image(geometry, content.image)
        image.used.update(geometry.addresses)
        return image

    def read(self, image: Image) -> VolumeOut:
        """No files."""
        return VolumeOut(b"", 0, image.geometry.size, ())

    def readable(self, image: Image) -> tuple[VolumeOut, list[Problem]]:
        """No files, and nothing that could be broken."""
        return self.read(image), []

    def check(self, image: Image) -> list[Problem]:
        """Nothing that could contradict itself."""
        return []


VOLUME = ReadyImage()
