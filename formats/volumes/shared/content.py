"""What of a job's content a volume has no use or no room for: types, words, keys, files."""

from collections.abc import Iterable, Mapping

from formats.volumes.interface import FileIn, VolumeIn
from formats.volumes.shared.problems import Problems, key
from formats.words import counted


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


def check_room(content: VolumeIn, needed: int, available: int, unit: str, *, entries: int, problems: Problems) -> None:
    """Notes by how much a disc is too full, and that there are more files than the directory has entries."""
    if needed > available:
        over = needed - available
        text = f"the disc is too full: needs {counted(over, f'more {unit}')} than the {available:,} it has"
        problems.add(content.where, text)
    if len(content.files) > entries:
        problems.add(content.where, f"the directory is too full: {counted(len(content.files), 'file')}, where it holds {entries}")


def word_of(types: Mapping[str, int], number: int) -> str | int:
    """The volume's word for a type's number; the number itself where the volume has no word for it."""
    return next((word for word, value in types.items() if value == number), number)
