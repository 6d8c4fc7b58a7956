"""What an operator should know before the sectors: blank, other side, other master, other geometry, shifted, short."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from mastering.compare import Judged, Target
from mastering.verdict import Diagnosis
from mastering.view import View

_SHIFTED_AT_LEAST = 8


@dataclass(frozen=True)
class Candidate:
    """A side that a read-back may really be of, and how people call it."""

    target: Target
    label: str


@dataclass(frozen=True)
class Case:
    """A read-back, the side that it is judged as, that job's other sides, and the sides of other masters at hand."""

    view: View
    target: Target
    sides: Sequence[Candidate]
    masters: Callable[[], Sequence[Candidate]]


def diagnose(cases: Sequence[Case]) -> tuple[Diagnosis | None, tuple[str, ...]]:
    """The first diagnosis that holds for every side that a read-back may be judged as; and what it matches, best share first."""
    for name, holds in _ORDER:
        found = [holds(case) for case in cases]
        if all(matches is not None for matches in found):
            shares = {match for matches in found for match in matches or ()}
            return name, tuple(label for _, label in sorted(shares, key=lambda match: (-match[0], match[1])))
    return None, ()


Matches = list[tuple[float, str]] | None


def _plainly(holds: bool) -> Matches:
    return [] if holds else None


def _blank(case: Case) -> Matches:
    return _plainly(case.view.is_blank(case.target))


def _other_side(case: Case) -> Matches:
    return list(_matching(case, case.sides)) or None


def _other_master(case: Case) -> Matches:
    return list(_matching(case, case.masters())) or None


def _other_geometry(case: Case) -> Matches:
    return _plainly(case.view.is_of_other_geometry(case.target))


def _shifted(case: Case) -> Matches:
    judged = case.view.judged(case.target)
    return _plainly(judged is not None and is_shifted(judged))


def _short(case: Case) -> Matches:
    return _plainly(case.view.is_short(case.target, [side.target for side in case.sides]))


_ORDER: tuple[tuple[Diagnosis, Callable[[Case], Matches]], ...] = (
    ("blank", _blank),
    ("other-side", _other_side),
    ("other-master", _other_master),
    ("other-geometry", _other_geometry),
    ("shifted", _shifted),
    ("short", _short),
)


def _matching(case: Case, candidates: Sequence[Candidate]) -> Iterator[tuple[float, str]]:
    """Share and label of the candidates that have more than half of the sectors in which they differ from the side judged."""
    judged = case.view.judged(case.target)
    for candidate in candidates:
        differing = differences(case.target, candidate.target)
        total = int(differing.sum())
        if judged is not None and same_layout(case.target, candidate.target) and 2 * int((judged.kinds != 0).sum()) <= total:
            continue  # a sector that is the candidate's has a finding here, and those are too few
        found = case.view.judged(candidate.target)
        equal = 0 if found is None else int((found.equal & differing).sum())
        if 2 * equal > total:
            yield equal / total, candidate.label


def same_layout(one: Target, other: Target) -> bool:
    """Whether two sides have the same sectors."""
    return len(one.side.dump) == len(other.side.dump) and one.side.plain == other.side.plain


def differences(judged: Target, candidate: Target) -> np.typing.NDArray[np.bool_]:
    """By place of the candidate's sectors: where it differs from the side judged; everywhere when their layouts do."""
    if not same_layout(judged, candidate):
        return np.ones(len(candidate.rows), np.bool_)
    made: np.typing.NDArray[np.bool_] = (judged.rows != candidate.rows).any(axis=1)
    return made


def is_shifted(judged: Judged) -> bool:
    """More than half of the differing sectors, and eight or more, hold what the master has a little further on."""
    shifted = [place for place, looks in judged.looks.items() if looks == "shifted"]
    if len(shifted) < _SHIFTED_AT_LEAST:
        return False
    steps = Counter(step for place in shifted for step in judged.shifts(place))
    step = steps.most_common(1)[0][0]
    inside = (judged.differing + step < len(judged.kinds)).sum()  # what is past the end has nothing further on
    return bool(2 * len(shifted) > inside)
