"""Editions: variants of a job that leave out or replace files, each built into a master of its own.

An edition is read as a change of the job's TOML, and what comes out is read like any job: there is one reader of jobs. A master is told
apart by catalogue number and revision, so an edition's revision is the job's with the edition's name behind it, if it says no other.
Serials are numbered by catalogue number, so two editions of one number never have one serial twice.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from mastering.errors import ProblemsError, unknown
from mastering.job.job import load, parse_file
from mastering.job.schema import EditionKeys, LeaveOutKeys, ReplaceKeys, TitleKeys, parse, parse_rest
from mastering.master.builder import Built, build

PLAIN = "plain"  # what the job without any edition is called beside them

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,31}")
Table = dict[str, Any]


@dataclass(frozen=True)
class Variant:
    """The TOML of a job as one edition has it. `origins`: for places in it that stand elsewhere in the file, where they stand."""

    name: str
    raw: Table
    origins: Mapping[str, str] = field(default_factory=dict)

    def placed(self, problem: str) -> str:
        """A problem with the places that the publisher wrote."""
        places = sorted(self.origins, key=len, reverse=True)
        if not places:
            return problem
        pattern = rf"(?<![\w.])({'|'.join(map(re.escape, places))})(?!\w)"
        return re.sub(pattern, lambda found: self.origins[found[1]], problem)


def build_all(path: Path, each: Callable[[Sequence[Variant]], Iterable[Variant]] = iter) -> dict[str, Built]:
    """The job in a file and each of its editions, built, by name; the job itself is `PLAIN` and the first.

    `each` is given all variants and gives them back one by one, to show how far it is.

    ProblemsError with every problem of all of them at once; MasteringError when the file is no TOML at all.
    """
    raw = parse_file(path)
    problems: list[str] = []
    made: dict[str, Built] = {}
    editions = list(variants(raw, problems))
    told: dict[str, None] = {}  # what is wrong with the job itself is told once
    for variant in each([Variant(PLAIN, raw), *editions]):
        try:
            made[variant.name] = build(load(path, variant.raw))
        except ProblemsError as error:
            for problem in (variant.placed(each.removeprefix(f"{path}: ")) for each in error.problems):
                own = variant.name == PLAIN or problem.startswith(f"edition.{variant.name}.")
                if problem not in told:
                    told[problem if own else f"edition.{variant.name}: {problem}"] = None
    if told or problems:
        raise ProblemsError([f"{path}: {problem}" for problem in (*told, *problems)])
    return made


def variants(raw: Table, problems: list[str]) -> Iterator[Variant]:
    """The editions of a job's TOML, as far as they can be made; what is wrong with them is added to `problems`."""
    tables = raw.get("edition", {})
    if not isinstance(tables, dict):
        problems.append("edition: must hold tables, [edition.NAME]")
        return
    apart = _Apart(raw.get("title"))
    for name, table in tables.items():
        where = f"edition.{name}"
        if not _NAME.fullmatch(name) or name == PLAIN:
            problems.append(f"{where}: a name has up to 32 of a-z, 0-9, - and _, begins with a letter or digit, and is not {PLAIN}")
        elif not isinstance(table, dict):
            problems.append(f"{where}: must be a table, [{where}]")
        else:
            variant = _Edition(name, table, raw, problems).variant()
            problems += apart.problems(where, variant.raw.get("title"))
            yield variant


class _Apart:
    """What masters are told apart by: the ledger's two words and the people's."""

    def __init__(self, title: Any) -> None:
        self._seen: dict[tuple[str, ...], str] = {}
        list(self.problems("the job itself", title))

    def problems(self, where: str, title: Any) -> Iterator[str]:
        """What the job or an earlier edition has already."""
        for keys in (("catalogue", "revision"), ("name", "revision")):
            if isinstance(title, dict) and all(isinstance(title.get(key), str) for key in keys):
                first = self._seen.setdefault((*keys, *(title[key] for key in keys)), where)
                if first != where:
                    yield f"{where}: {' and '.join(keys)} are those of {first}, so their discs could not be told apart; change one of them"


class _Edition:
    """One edition in the making."""

    def __init__(self, name: str, table: Table, raw: Table, problems: list[str]) -> None:
        self.name, self.table, self.where, self.problems = name, table, f"edition.{name}", problems
        parse(EditionKeys, table, self.where, problems)
        self.raw = {key: value for key, value in raw.items() if key != "edition"}
        self.origins: dict[str, str] = {}
        sides = raw.get("side")
        self.sides: Table = dict(sides) if isinstance(sides, dict) else {}
        self.files = {side: list(_files(side, table)) for side, table in self.sides.items()}

    def variant(self) -> Variant:
        """The job's TOML as this edition has it."""
        self._title()
        for number, entry in enumerate(_list(self.table.get("leave_out"))):
            self._leave_out(entry, f"{self.where}.leave_out[{number}]")
        replaced = self.table.get("replace", [])
        if not isinstance(replaced, list) or not all(isinstance(each, dict) for each in replaced):
            self.problems.append(f"{self.where}.replace: must be an array of tables, [[{self.where}.replace]]")
            replaced = []
        for number, entry in enumerate(replaced):
            self._replace(entry, f"{self.where}.replace[{number}]")
        self._sides()
        for side, files in self.files.items():
            if files or "file" in _dict(self.sides[side]):
                self._lay(side, files)
        if self.sides:
            self.raw["side"] = self.sides
        return Variant(self.name, self.raw, self.origins)

    def _title(self) -> None:
        title = self.raw.get("title")
        if not isinstance(title, dict):
            return
        given = {key: self.table[key] for key in TitleKeys.model_fields if key in self.table}
        self.origins |= {f"title.{key}": f"{self.where}.{key}" for key in given}
        if isinstance(title.get("revision"), str):
            given.setdefault("revision", f"{title['revision']}-{self.name}")
        self.raw["title"] = {**title, **given}

    def _sides(self) -> None:
        """Lays the keys of [edition.NAME.side.A] over the side's; its files and places come behind the side's."""
        for side, table in _dict(self.table.get("side")).items():
            where = f"{self.where}.side.{side}"
            if not isinstance(self.sides.get(side), dict) or not isinstance(table, dict):
                self.problems.append(
                    f"{where}: the job has no side {side}" if side not in self.sides else f"{where}: must be a table, [{where}]"
                )
                continue
            base = self.sides[side]
            self.origins |= {f"side.{side}.{key}": f"{where}.{key}" for key in table if key not in ("file", "place")}
            self.files[side] += [_File(file, f"{where}.file[{number}]") for number, file in enumerate(_list(table.get("file")))]
            merged = {**base, **table}
            for key in {"file", "place"} & set(base) & set(table):
                merged[key] = [*_list(base[key]), *_list(table[key])]
            count = len(_list(base.get("place")))
            self.origins |= {
                f"side.{side}.place[{count + number}]": f"{where}.place[{number}]" for number, _ in enumerate(_list(table.get("place")))
            }
            self.sides[side] = merged

    def _leave_out(self, entry: Any, where: str) -> None:
        table = {"name": entry} if isinstance(entry, str) else entry
        if not isinstance(table, dict):
            self.problems.append(f'{where}: must be a file\'s name, or a table such as {{side = "A", name = "LEVELS"}}')
        elif parse(LeaveOutKeys, table, where, self.problems):
            for side, file in self._named(table, where):
                self.files[side].remove(file)

    def _replace(self, given: Table, where: str) -> None:
        right = parse_rest(ReplaceKeys, given, where, self.problems).model_fields_set
        table = {key: value for key, value in given.items() if key in right}
        if {"name", "name_bytes"} & (given.keys() - table.keys()):
            return  # its problem has been told
        found = self._named(table, where)
        if len(found) > 1:
            sides = " and ".join(side for side, _ in found)
            self.problems.append(f"{where}.side: is missing: sides {sides} both have such a file")
            return
        for side, file in found:
            instead = {key: value for key, value in table.items() if key not in ("side", "name", "name_bytes")}
            keys = {key: f"{where}.{key}" for key in instead}
            self.files[side][self.files[side].index(file)] = _File({**file.table, **instead}, file.where, keys)

    def _named(self, table: Table, where: str) -> "list[tuple[str, _File]]":
        """The files that a table names, with their sides; a problem when there is none."""
        wanted = _name(table)
        if wanted is None:
            self.problems.append(f"{where}: names a file with either `name` or `name_bytes`")
            return []
        sides = [side for side in self.files if table.get("side", side) == side]
        there = [(side, file) for side in sides for file in self.files[side]]
        found = [(side, file) for side, file in there if _name(file.table) == wanted]
        if not found:
            known = list(dict.fromkeys(str(_name(file.table)) for _, file in there if _name(file.table)))
            what = unknown(wanted, known) if known else f"there is no {wanted!r}; there are no files"
            self.problems.append(f"{where}: {what}" + (f" on side {table['side']}" if "side" in table else ""))
        return found

    def _lay(self, side: str, files: "list[_File]") -> None:
        """Puts a side's files in their places."""
        self.sides[side] = {**self.sides[side], "file": [file.table for file in files]}
        for number, file in enumerate(files):
            place = f"side.{side}.file[{number}]"
            self.origins |= {f"{place}.{key}": origin for key, origin in file.keys.items()}
            if place != file.where:
                self.origins[place] = file.where


@dataclass(frozen=True)
class _File:
    """A file's table, where in the job it stands, and those of its keys that stand elsewhere."""

    table: Any
    where: str
    keys: Mapping[str, str] = field(default_factory=dict)


def _files(side: str, table: Any) -> Iterator[_File]:
    for number, file in enumerate(_list(_dict(table).get("file"))):
        yield _File(file, f"side.{side}.file[{number}]")


def _name(file: Any) -> str | None:
    """What a file is called, bytes in one spelling of them; None when it has no name, or two."""
    table = _dict(file)
    name, name_bytes = table.get("name"), table.get("name_bytes")
    if (name is None) == (name_bytes is None):
        return None
    return str(name) if name is not None else f"name_bytes {str(name_bytes).upper().replace(' ', '')}"


def _list(value: Any) -> list[Any]:
    """A list, or an empty one instead of what is none: the reader of jobs tells of that."""
    return value if isinstance(value, list) else []


def _dict(value: Any) -> Table:
    return value if isinstance(value, dict) else {}
