"""What is to be written is no read-back: stamped images are told by their names, and by the list that lies beside them."""

import csv
import re
from dataclasses import dataclass, field
from pathlib import Path

from mastering.judging.readback import WRITE_LIST, ReadBackError, read_bounded

HEADER = ("file", "serial", "side", "digest")
_IMAGE = re.compile(r"\.write\.(dump|capture)$", re.IGNORECASE)
_LARGEST_LIST = 16 << 20


@dataclass(frozen=True)
class Listed:
    """An image in a folder's list: its file's name, the disc and side that it is for, its SHA-256."""

    file: str
    serial: str
    side: str
    digest: str


def image_name(serial: str, side: str, capture: bool) -> str:
    """How a stamped image is named."""
    return f"{serial}-{side}.write.{'capture' if capture else 'dump'}"


def short_name(number: int, side: str, suffix: str) -> str:
    """How it is named for machines that take no long names."""
    return f"{number:04}{side}.{suffix}"


def listed_in(folder: str) -> tuple[Listed, ...]:
    """The images that a folder's list names, none where it has no list. ReadBackError when the list can't be read."""
    path = Path(folder) / WRITE_LIST
    if not path.is_symlink() and not path.exists():
        return ()
    try:
        rows = list(csv.reader(read_bounded(str(path), _LARGEST_LIST).decode("utf-8").splitlines()))
    except (UnicodeDecodeError, csv.Error) as error:
        raise ReadBackError(f"{path}: no list of images ({error})") from error
    if not rows or tuple(rows[0]) != HEADER or any(len(row) != len(HEADER) for row in rows[1:]):
        raise ReadBackError(f"{path}: no list of images: expected lines of {', '.join(HEADER)}")
    return tuple(Listed(*row) for row in rows[1:])


def list_text(images: tuple[Listed, ...]) -> str:
    """The list of these images as a file's text."""
    lines = [",".join(HEADER), *(f"{each.file},{each.serial},{each.side},{each.digest}" for each in images)]
    return "".join(f"{line}\n" for line in lines)


@dataclass
class Guard:
    """Says of files whether they are what was to be written; remembers the lists of their folders."""

    _names: dict[str, dict[str, Listed]] = field(default_factory=dict)
    _digests: dict[str, set[str]] = field(default_factory=dict)

    def why_no_read(self, path: str, digest: str | None = None) -> str | None:
        """Why a file (with this SHA-256) is no read-back, None where nothing says so. ReadBackError when its folder's list is broken."""
        folder, _, name = path.rpartition("/")
        if _IMAGE.search(name):
            return "what was to be written, by its name: read the disc itself"
        if folder not in self._names:
            images = listed_in(folder or ".")
            self._names[folder] = {image.file: image for image in images}
            self._digests[folder] = {image.digest for image in images}
        if name in self._names[folder]:
            image = self._names[folder][name]
            return f"what was to be written on side {image.side} of {image.serial}, says {WRITE_LIST} beside it: read the disc itself"
        if digest is not None and digest in self._digests[folder]:
            return f"byte for byte an image that {WRITE_LIST} beside it names: read the disc itself"
        return None
