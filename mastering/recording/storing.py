"""Stamped images in their folder, with the list that says which file is for which disc and side."""

import os
from collections.abc import Callable, Sequence
from pathlib import Path

from mastering.errors import MasteringError
from mastering.files import replace_file, write_files
from mastering.judging.readback import WRITE_LIST
from mastering.judging.to_write import Listed, list_text, listed_in
from mastering.recording.writing import Image


def store_images(folder: Path, images: Sequence[Image]) -> Callable[[], None]:
    """What writes images into a folder, which may be there already. MasteringError at once when that can't be done.

    The list comes first, so that no image ever lies in a folder that does not name it.
    """
    for image in images:
        if os.path.lexists(folder / image.file):
            raise MasteringError(
                f"{folder / image.file}: exists already; name a folder that has none, so that no disc gets another's serial"
            )
    if os.path.lexists(folder) and not folder.is_dir():
        raise MasteringError(
            f"{folder}: exists already and is no folder; name a folder, or for one image a file that ends in .dump or .capture"
        )
    if not folder.absolute().parent.is_dir():
        raise MasteringError(f"{folder}: can't be made: its folder is not there")
    names = {image.file for image in images}
    listed = [each for each in listed_in(str(folder)) if each.file not in names]
    listed += [Listed(image.file, image.serial, image.side, image.sha256) for image in images]

    def store() -> None:
        try:
            folder.mkdir(exist_ok=True)
        except OSError as error:
            raise MasteringError(f"{folder}: can't be made: {error.strerror}") from error
        replace_file(folder / WRITE_LIST, list_text(tuple(listed)).encode())
        write_files(folder, {image.file: image.data for image in images})

    return store
