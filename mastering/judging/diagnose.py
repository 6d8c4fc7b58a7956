"""What an operator should know before the sectors: blank, other side, other master, other geometry, shifted, short."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mastering.judging.compare import Judged, Target, compare_dump
from mastering.judging.evidence import DumpReadBack, ReadBack

_SHIFTED_AT_LEAST = 8


@dataclass(frozen=True)
class Candidate:
    """A side that a read-back may really be of, and how people call it."""

    target: Target
    label: str


@dataclass(frozen=True)
class Case:
    """A read-back, the side that it is judged as, that job's other sides, and the sides of other masters at hand.

    `apart` is `distance`, or a verifier's memory of it.
    """

    readback: ReadBack
    target: Target
    sides: Sequence[Candidate]
    masters: Callable[[], Sequence[Candidate]]
    apart: "Callable[[Target, Target], Distance]"


def diagnose(cases: Sequence[Case]) -> tuple[str | None, tuple[str, ...]]:
    """The first diagnosis that holds for every side that a read-back may be judged as; and what it matches, best share first."""
    for name, holds in _ORDER:
        answers = [holds(case) for case in cases]
        if all(matches is not None for matches in answers):
            shares = {match for matches in answers for match in matches or ()}
            return name, tuple(label for _, label in sorted(shares, key=lambda match: (-match[0], match[1])))
    return None, ()


Matches = list[tuple[float, str]] | None


def _plainly(holds: bool) -> Matches:
    return [] if holds else None


def _blank(case: Case) -> Matches:
    return _plainly(case.readback.is_blank(case.target))


def _other_side(case: Case) -> Matches:
    return list(_matching(case, case.sides)) or None


def _other_master(case: Case) -> Matches:
    return list(_matching(case, case.masters())) or None


def _other_geometry(case: Case) -> Matches:
    return _plainly(case.readback.is_of_other_geometry(case.target))


def _shifted(case: Case) -> Matches:
    judged = case.readback.judged(case.target)
    return _plainly(judged is not None and is_shifted(judged))


def _short(case: Case) -> Matches:
    return _plainly(case.readback.is_short(case.target, [side.target for side in case.sides]))


_ORDER: tuple[tuple[str, Callable[[Case], Matches]], ...] = (
    ("blank", _blank),
    ("other-side", _other_side),
    ("other-master", _other_master),
    ("other-geometry", _other_geometry),
    ("shifted", _shifted),
    ("short", _short),
)


def _matching(case: Case, candidates: Sequence[Candidate]) -> Iterator[tuple[float, str]]:
    """Share and label of the candidates that have more than half of the sectors in which they differ from the side judged."""
    judged = case.readback.judged(case.target)
    for candidate in candidates:
        apart = case.apart(case.target, candidate.target)
        if judged is not None and isinstance(case.readback, DumpReadBack) and 2 * apart.at_most(judged) <= apart.total:
            continue
        as_candidate = case.readback.judged(candidate.target)
        equal = 0 if as_candidate is None else int((as_candidate.equal & apart.differing).sum())
        if 2 * equal > apart.total:
            yield equal / apart.total, candidate.label


@dataclass(frozen=True)
class Distance:
    """How far a candidate is from the side judged.

    `differing`: by place of its sectors, where it differs; `total`: how many those are; `alike`: in how many of them the side's own
    dump would be the candidate's all the same (none, but where layouts differ).
    """

    differing: npt.NDArray[np.bool_]
    total: int
    alike: int
    sectors_each: int

    def at_most(self, judged: Judged) -> int:
        """No more sectors than this can be the candidate's: those that are alike, and those touched by a sector that differs."""
        return self.alike + int(np.count_nonzero(judged.kinds)) * self.sectors_each


def distance(judged: Target, candidate: Target) -> Distance:
    """A candidate's distance from the side judged. Where layouts differ, all of the candidate's sectors count as differing."""
    if same_layout(judged, candidate):
        differing: npt.NDArray[np.bool_] = (judged.rows != candidate.rows).any(axis=1)
        return Distance(differing, int(differing.sum()), 0, 1)
    dump = judged.side.dump
    can_be = len(dump) <= len(candidate.side.dump) and len(dump) % candidate.side.size == 0
    alike = int(compare_dump(candidate, dump, None).equal.sum()) if can_be else 0
    everywhere = np.ones(len(candidate.rows), np.bool_)
    return Distance(everywhere, len(everywhere), alike, judged.side.size // candidate.side.size + 2)


def same_layout(one: Target, other: Target) -> bool:
    """Whether two sides have the same sectors: the same geometry, and the same length.

    Jobs may give one name to geometries of their own that differ, so the name alone is not believed.
    """
    if len(one.side.dump) != len(other.side.dump) or one.side.geometry_id != other.side.geometry_id:
        return False
    return one.side.geometry_digest == other.side.geometry_digest or _seen(one) == _seen(other)


def _seen(target: Target) -> tuple[object, ...]:
    """What of a geometry tells a reader its sectors."""
    geometry = target.geometry
    return geometry.addresses, geometry.identifier, geometry.block


def is_shifted(judged: Judged) -> bool:
    """More than half of the differing sectors, and eight or more, hold what the master has a little further on."""
    if len(judged.differing) < _SHIFTED_AT_LEAST:
        return False
    shifted = [place for place, looks in judged.looks.items() if looks == "shifted"]
    if len(shifted) < _SHIFTED_AT_LEAST:
        return False
    steps = Counter(step for place in shifted for step in judged.shifts(place))
    step = steps.most_common(1)[0][0]
    inside = (judged.differing + step < len(judged.kinds)).sum()  # what is past the end has nothing further on
    return bool(2 * len(shifted) > inside)
