"""`bench.toml`: what stands on this table. Read into frozen values, with all problems at once, each with its dotted place."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from formats.errors import Problem
from formats.volumes.shared.problems import Problems
from mastering.errors import ProblemsError, unknown
from mastering.job.schema import Keys, Text, parse
from mastering.toml import read_toml

Arguments = Annotated[list[Text], Field(min_length=1, max_length=100)]
LabelWhen = Literal["before-last-look", "on-pass", "after"]

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_OF_A_DRIVE = ("dump", "capture", "side", "serial", "drive", "output", "tracks")
_KNOWN: Mapping[str, Sequence[str]] = {
    "write": _OF_A_DRIVE,
    "read": _OF_A_DRIVE,
    "probe": _OF_A_DRIVE,
    "hands": ("action", "drive", "serial", "side"),
    "label": ("pdf", "serial"),
}
_NEEDED: Mapping[str, Sequence[str]] = {
    "write": ("dump", "capture"),
    "read": ("output",),
    "probe": ("output",),
    "hands": ("action",),
    "label": ("pdf",),
}
_GROUPS = ("track", "head", "sector", "tries", "failed")


class BenchKeys(Keys):
    """[bench]."""

    hold_after: Annotated[int, Field(ge=1, le=1000)] = 3
    hold_share: Annotated[float, Field(gt=0, le=1)] = 0.25
    hands: Arguments | None = None
    label: Arguments | None = None
    label_when: LabelWhen = "before-last-look"


class DriveKeys(Keys):
    """[drive.NAME] of a drive that this machine runs."""

    index: Literal["needed", "ignored"] = "needed"
    write: Arguments | None = None
    read: Arguments | None = None
    probe: Arguments | None = None
    output: Literal[".dump", ".capture"] = ".capture"
    report: bool = False
    seconds: Annotated[float, Field(gt=0, le=86_400)] = 120.0
    turns: Annotated[float, Field(ge=0, le=1000)] = 1.0
    report_line: Text | None = None
    clean_line: Text | None = None


class ByHandKeys(Keys):
    """[drive.NAME] of a drive with a screen of its own."""

    by_hand: Text


@dataclass(frozen=True)
class Drive:
    """A drive as the bench reaches it. `by_hand`: the folder of its files, and then it has no commands; times in seconds."""

    name: str
    by_hand: Path | None = None
    index_needed: bool = True
    write: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    probe: tuple[str, ...] = ()
    output: str = ".capture"
    report: bool = False
    seconds: float = 120.0
    turns: float = 1.0
    report_line: re.Pattern[str] | None = None
    clean_line: re.Pattern[str] | None = None


@dataclass(frozen=True)
class Bench:
    """A table: its drives by name, and what holds for all of them. `folder` is where bench.toml lies; commands run there."""

    folder: Path
    drives: Mapping[str, Drive]
    hold_after: int = 3
    hold_share: float = 0.25
    hands: tuple[str, ...] = ()
    label: tuple[str, ...] = ()
    label_when: LabelWhen = "before-last-look"


def load(path: Path) -> Bench:
    """The bench that a file describes. ProblemsError names everything that is wrong in it, MasteringError a file that can't be read."""
    raw = read_toml(path, "a bench file")
    problems = Problems()
    bench = _bench(path.absolute().parent, raw, problems)
    if problems:
        raise ProblemsError(problems, path)
    return bench


def _bench(folder: Path, raw: dict[str, Any], problems: Problems) -> Bench:
    """What the tables of a bench file say; what is wrong is added to `problems`."""
    for key in raw:
        if key not in ("bench", "drive"):
            problems.add(key, unknown(key, ("bench", "drive")))
    table = _table(raw.get("bench", {}), "bench", problems)
    keys = parse(BenchKeys, table, "bench", problems) or BenchKeys()
    for command in ("hands", "label"):
        problems += _command_problems(command, getattr(keys, command), f"bench.{command}")
    drives = _table(raw.get("drive", {}), "drive", problems)
    if not drives:
        problems.add("drive", "no drive is named; a table [drive.D1] says how to reach one")
    made = [_drive(folder, name, _table(value, f"drive.{name}", problems), problems) for name, value in drives.items()]
    hands, label = tuple(keys.hands or ()), tuple(keys.label or ())
    return Bench(folder, {drive.name: drive for drive in made}, keys.hold_after, keys.hold_share, hands, label, keys.label_when)


def _table(value: Any, where: str, problems: Problems) -> dict[str, Any]:
    if isinstance(value, dict):
        return value
    problems.add(where, f"must be a table, not {value!r}")
    return {}


def _drive(folder: Path, name: str, raw: dict[str, Any], problems: Problems) -> Drive:
    """One drive; as far as its keys are right."""
    where = f"drive.{name}"
    if "by_hand" in raw:
        by_hand = parse(ByHandKeys, raw, where, problems)
        return Drive(name, by_hand=folder / by_hand.by_hand) if by_hand else Drive(name)
    keys = parse(DriveKeys, raw, where, problems)
    if keys is None:
        return Drive(name)
    commands = {command: tuple(getattr(keys, command) or ()) for command in ("write", "read", "probe")}
    for command, arguments in commands.items():
        problems += _command_problems(command, arguments, f"{where}.{command}")
    problems += _output_problems(keys, where)
    report_line = _pattern(keys.report_line, f"{where}.report_line", problems)
    if report_line is not None:
        problems += _group_problems(report_line, f"{where}.report_line")
    clean_line = _pattern(keys.clean_line, f"{where}.clean_line", problems)
    return Drive(
        name, None, keys.index == "needed", **commands, output=keys.output, report=keys.report, seconds=keys.seconds,
        turns=keys.turns, report_line=report_line, clean_line=clean_line,
    )  # fmt: skip


def _command_problems(command: str, arguments: Sequence[str] | None, where: str) -> Iterator[Problem]:
    """What is wrong with a command's placeholders."""
    if not arguments:
        return
    used = {name for argument in arguments for name in _PLACEHOLDER.findall(argument)}
    for name in sorted(used - set(_KNOWN[command])):
        yield Problem(where, f"{{{name}}}: {unknown(name, _KNOWN[command])}")
    if not used & set(_NEEDED[command]):
        needed = " or ".join(f"{{{name}}}" for name in _NEEDED[command])
        yield Problem(where, f"{needed} is missing: without it the program doesn't know what to {_PURPOSE[command]}")


_PURPOSE = {"write": "write", "read": "leave its read-back in", "probe": "leave its read-back in", "hands": "do", "label": "print"}


def _output_problems(keys: DriveKeys, where: str) -> Iterator[Problem]:
    """Keys that contradict each other."""
    if keys.write is None and keys.read is None:
        yield Problem(where, "neither `write` nor `read` is there; a drive with a screen of its own has `by_hand` instead")
    if keys.probe is not None and keys.read is None:
        yield Problem(f"{where}.probe", "a drive that is probed needs `read` too")
    if keys.output == ".capture":
        for key in ("report_line", "clean_line"):
            if getattr(keys, key) is not None:
                yield Problem(f"{where}.{key}", 'is for dumps; this drive\'s `output` is ".capture"')
        if keys.report:
            yield Problem(f"{where}.report", 'a report lies beside a dump; this drive\'s `output` is ".capture"')
    if keys.report and keys.report_line is not None:
        yield Problem(f"{where}.report_line", "this reader leaves a report of its own (`report = true`); one of the two must go")


def _pattern(text: str | None, where: str, problems: Problems) -> re.Pattern[str] | None:
    if text is None:
        return None
    try:
        return re.compile(text)
    except re.error as error:
        problems.add(where, f"is no regular expression: {error}")
        return None


def _group_problems(pattern: re.Pattern[str], where: str) -> Iterator[Problem]:
    groups = set(pattern.groupindex)
    for name in ("track", "sector"):
        if name not in groups:
            yield Problem(where, f"has no group (?P<{name}>...), so no line says which sector it is about")
    for name in sorted(groups - set(_GROUPS)):
        yield Problem(where, f"group {name}: {unknown(name, _GROUPS)}")
