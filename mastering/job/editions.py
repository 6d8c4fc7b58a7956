"""Editions: variants of a job that leave out or replace files, each read like any job, as there is one reader of jobs.

An edition is read as a change of the job's TOML. A master is told apart by catalogue number and revision, so an edition's revision is
the job's with the edition's name behind it, if it says no other. Serials are numbered by catalogue number, so two editions of one number
never have one serial twice.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from formats.errors import Problem
from formats.volumes.shared.problems import Problems
from mastering.errors import unknown
from mastering.job.schema import EditionKeys, LeaveOutKeys, ReplaceKeys, TitleKeys, parse, parse_rest

PLAIN = "plain"  # what the job without any edition is called beside them

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,31}")
Table = dict[str, Any]


@dataclass(frozen=True)
class Variant:
    """The TOML of a job as one edition has it. `origins`: for places in it that stand elsewhere in the file, where they stand."""

    name: str
    raw: Table
    origins: Mapping[str, str] = field(default_factory=dict)

    def placed(self, problem: Problem) -> Problem:
        """A problem with the places that the publisher wrote."""
        return replace(problem, where=self._origin(problem.where), beside=self._origin(problem.beside))

    def _origin(self, place: str) -> str:
        """Where in the file a place of this variant stands: the longest part of it that stands elsewhere decides."""
        for inner in sorted(self.origins, key=len, reverse=True):
            if place == inner or place.startswith((f"{inner}.", f"{inner}[")):
                return self.origins[inner] + place[len(inner) :]
        return place


def variants(raw: Table, problems: Problems) -> Iterator[Variant]:
    """The editions of a job's TOML, as far as they can be made; what is wrong with them is added to `problems`."""
    tables = raw.get("edition", {})
    if not isinstance(tables, dict):
        problems.add("edition", "must hold tables, [edition.NAME]")
        return
    apart = _Apart(raw.get("title"))
    for name, table in tables.items():
        where = f"edition.{name}"
        if not _NAME.fullmatch(name) or name == PLAIN:
            problems.add(where, f"a name has up to 32 of a-z, 0-9, - and _, begins with a letter or digit, and is not {PLAIN}")
        elif not isinstance(table, dict):
            problems.add(where, f"must be a table, [{where}]")
        else:
            variant = _Edition(name, table, raw, problems).variant()
            problems += apart.problems(where, variant.raw.get("title"))
            yield variant


class _Apart:
    """Keeps the masters of a job apart: by catalogue number and revision (the ledger), by name and revision (people)."""

    def __init__(self, title: Any) -> None:
        self._seen: dict[tuple[str, ...], str] = {}
        list(self.problems("the job itself", title))

    def problems(self, where: str, title: Any) -> Iterator[Problem]:
        """A problem for each pair of words that the job itself or an earlier edition has already."""
        for keys in (("catalogue", "revision"), ("name", "revision")):
            if isinstance(title, dict) and all(isinstance(title.get(key), str) for key in keys):
                first = self._seen.setdefault((*keys, *(title[key] for key in keys)), where)
                if first != where:
                    what = f"{' and '.join(keys)} are those of {first}, so their discs could not be told apart; change one of them"
                    yield Problem(where, what)


class _Edition:
    """Applies one edition's table to the job's TOML."""

    def __init__(self, name: str, table: Table, raw: Table, problems: Problems) -> None:
        self.name, self.table, self.where, self.problems = name, table, f"edition.{name}", problems
        parse(EditionKeys, table, self.where, problems)
        self.raw = {key: value for key, value in raw.items() if key != "edition"}
        self.origins: dict[str, str] = {}
        sides = raw.get("side")
        self.sides: Table = dict(sides) if isinstance(sides, dict) else {}
        self.files = {side: list(_files(side, table)) for side, table in self.sides.items()}

    def variant(self) -> Variant:
        """The job's TOML with all changes of this edition."""
        self._title()
        for number, entry in enumerate(_list(self.table.get("leave_out"))):
            self._leave_out(entry, f"{self.where}.leave_out[{number}]")
        replaced = self.table.get("replace", [])
        if not isinstance(replaced, list) or not all(isinstance(each, dict) for each in replaced):
            self.problems.add(f"{self.where}.replace", f"must be an array of tables, [[{self.where}.replace]]")
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
        """Lays the keys of [edition.NAME.side.A] over the side's; its files and places are added after the side's."""
        for side, table in _dict(self.table.get("side")).items():
            where = f"{self.where}.side.{side}"
            if not isinstance(self.sides.get(side), dict) or not isinstance(table, dict):
                self.problems.add(where, f"the job has no side {side}" if side not in self.sides else f"must be a table, [{where}]")
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
            self.problems.add(where, 'must be a file\'s name, or a table such as {side = "A", name = "LEVELS"}')
        elif parse(LeaveOutKeys, table, where, self.problems):
            for side, file in self._named(table, where):
                self.files[side].remove(file)

    def _replace(self, given: Table, where: str) -> None:
        right = parse_rest(ReplaceKeys, given, where, self.problems).model_fields_set
        table = {key: value for key, value in given.items() if key in right}
        if {"name", "name_bytes"} & (given.keys() - table.keys()):
            return  # its problem has been told
        files = self._named(table, where)
        if len(files) > 1:
            sides = " and ".join(side for side, _ in files)
            self.problems.add(f"{where}.side", f"is missing: sides {sides} both have such a file")
            return
        for side, file in files:
            instead = {key: value for key, value in table.items() if key not in ("side", "name", "name_bytes")}
            keys = {key: f"{where}.{key}" for key in instead}
            self.files[side][self.files[side].index(file)] = _File({**file.table, **instead}, file.where, keys)

    def _named(self, table: Table, where: str) -> "list[tuple[str, _File]]":
        """The files that a table names, with their sides; a problem when there is none."""
        wanted = _name(table)
        if wanted is None:
            self.problems.add(where, "names a file with either `name` or `name_bytes`")
            return []
        sides = [side for side in self.files if table.get("side", side) == side]
        there = [(side, file) for side in sides for file in self.files[side]]
        named = [(side, file) for side, file in there if _name(file.table) == wanted]
        if not named:
            names = list(dict.fromkeys(str(_name(file.table)) for _, file in there if _name(file.table)))
            what = unknown(wanted, names) if names else f"there is no {wanted!r}; there are no files"
            self.problems.add(where, f"{what}" + (f" on side {table['side']}" if "side" in table else ""))
        return named

    def _lay(self, side: str, files: "list[_File]") -> None:
        """Writes the files of a side, as the edition has them, into the TOML, and notes where each one stands in the job."""
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
    """The name of a file's table, `name_bytes` in one spelling; None when the table has neither name nor bytes, or both."""
    table = _dict(file)
    name, name_bytes = table.get("name"), table.get("name_bytes")
    if (name is None) == (name_bytes is None):
        return None
    return str(name) if name is not None else f"name_bytes {str(name_bytes).upper().replace(' ', '')}"


def _list(value: Any) -> list[Any]:
    """The value when it is a list, else an empty list: the reader of jobs reports the wrong type."""
    return value if isinstance(value, list) else []


def _dict(value: Any) -> Table:
    return value if isinstance(value, dict) else {}
