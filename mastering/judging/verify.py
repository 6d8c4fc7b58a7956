"""A read-back judged against a master: which side it is, what is wrong with it, what to do. Opens no file."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from formats.errors import ContainerError
from formats.tracks.known_fields import KnownFields
from formats.words import counted
from mastering.judging.compare import Target
from mastering.judging.diagnose import Candidate, Case, Distance, diagnose, distance, same_layout
from mastering.judging.evidence import DumpReadBack, ReadBack
from mastering.judging.verdict import Finding, Verdict
from mastering.master.master import Master


class NoReadBackError(ContainerError):
    """A file whose length no side of the master has."""


_DISTANCES = 4096  # of pairs of sides that are remembered: more than masters are at hand
_KEPT = 24 << 20  # bytes, more than all arrays of a capture take; without it a tenth of judging was page faults


@dataclass(frozen=True)
class Verifier:
    """Judges read-backs of one master. `side`: the side that is believed, or None. `others`: the masters at hand.

    `margins`: whether a verdict lists the margin of every sector.
    `known_fields`: the fields of captures that it remembers for the next one. Threads may share a verifier, but not a read-back.
    """

    master: Master
    side: str | None = None
    others: Iterable[Master] = ()
    margins: bool = False
    known_fields: KnownFields = field(default_factory=KnownFields, compare=False, repr=False)

    def __post_init__(self) -> None:
        np.empty(_KEPT, np.uint8)  # let go of at once: an allocator learns from it to keep such blocks, not to fetch clean pages each time

    @cached_property
    def targets(self) -> dict[str, Target]:
        """The master's sides by name."""
        return {name: Target(side, self.master.catalogue) for name, side in self.master.sides.items()}

    @cached_property
    def _apart(self) -> Callable[[Target, Target], Distance]:
        """Distances of sides, each computed once."""
        return lru_cache(_DISTANCES)(distance)

    @cached_property
    def _foreign(self) -> list[Candidate]:
        """The sides of the other masters at hand."""
        others = [each for each in self.others if each.digest != self.master.digest]
        return [Candidate(Target(side, each.catalogue), f"{each.label} {name}") for each in others for name, side in each.sides.items()]

    def judge(self, readback: ReadBack) -> Verdict:
        """The verdict of a read-back. ContainerError when it is none of this master's."""
        targets = self._sides_of(readback)
        cases = [Case(readback, target, self._beside[target.name], lambda: self._foreign, self._apart) for target in targets]
        if len(targets) > 1:
            self._accept_any(readback, targets)
            diagnosis, matches = diagnose(cases)
            return Verdict(readback.name, None, None, readback.evidence, diagnosis, 0, None, 0, readback.simulated, (), matches)
        target = targets[0]
        if isinstance(readback, DumpReadBack) and self._is_wrong_length(readback, target):
            return self._of_wrong_length(readback, target, cases)
        judged = readback.accepted(target)
        complete = not judged.kinds.any()
        diagnosis, matches = (None, ()) if complete else diagnose(cases)
        if diagnosis == "other-side" and isinstance(readback, DumpReadBack) and len(readback.dump) != len(target.side.dump):
            return self._other_side(readback, target, matches)
        unproven = int(np.count_nonzero(judged.kinds[target.unproven] == 0)) if readback.evidence == "dump" else 0
        quality = readback.quality(target, judged)
        return Verdict(
            readback.name,
            target.name,
            judged.serial,
            readback.evidence,
            diagnosis,
            len(judged.kinds),
            judged.good,
            unproven,
            readback.simulated,
            judged.findings,
            matches,
            judged.slot,
            quality.margin() if quality else None,
            tuple(quality.margins()) if quality and self.margins else None,
            quality.drive() if quality else None,
        )

    # Which side

    def _sides_of(self, readback: ReadBack) -> list[Target]:
        """The side that a read-back is judged as; more than one when it can't be told."""
        targets = list(self.targets.values())
        if self.side is not None:
            return [self.targets[self.side]]
        if len(targets) == 1:
            return targets
        if isinstance(readback, DumpReadBack):
            whole = [target for target in targets if len(target.side.dump) == len(readback.dump)]
            if len(whole) == 1:
                return whole
            if not whole and not any(readback.could_be(target) for target in targets):
                raise NoReadBackError(f"{readback.name}: {self._lengths(len(readback.dump))}")
        one, other = targets
        if same_layout(one, other) and one.side.dump == other.side.dump:
            return [one]
        counts = [self._equal(readback, target, rival) for target, rival in ((one, other), (other, one))]
        if counts[0] == counts[1]:
            return targets
        return [one if counts[0] > counts[1] else other]

    def _equal(self, readback: ReadBack, target: Target, rival: Target) -> int:
        """Sound and equal sectors of a side among those in which it differs from the other one."""
        judged = readback.judged(target)
        return 0 if judged is None else int((judged.equal & self._apart(rival, target).differing).sum())

    @cached_property
    def _beside(self) -> dict[str, list[Candidate]]:
        """For each side the job's other sides."""
        sides = {name: Candidate(target, f"{self.master.label} {name}") for name, target in self.targets.items()}
        return {name: [side for other, side in sides.items() if other != name] for name in sides}

    # What is no read-back

    @staticmethod
    def _accept_any(readback: ReadBack, targets: Sequence[Target]) -> None:
        """Refuses what can be no side's read-back, with the first side's reason."""
        refusals = []
        for target in targets:
            try:
                readback.accepted(target)
            except ContainerError as refusal:
                refusals.append(refusal)
        if len(refusals) == len(targets):
            raise refusals[0]

    def _is_wrong_length(self, readback: DumpReadBack, target: Target) -> bool:
        """Whether a dump has neither the side's length nor one that is short of it."""
        others = [each.target for each in self._beside[target.name]]
        return len(readback.dump) != len(target.side.dump) and not readback.is_short(target, others)

    def _of_wrong_length(self, readback: DumpReadBack, target: Target, cases: Sequence[Case]) -> Verdict:
        """A dump that can't be the side that is believed: fit for one answer only, that it is the other side."""
        diagnosis, matches = diagnose(cases)
        if diagnosis != "other-side":
            raise NoReadBackError(f"{readback.name}: {self._lengths(len(readback.dump))}")
        return self._other_side(readback, target, matches)

    @staticmethod
    def _other_side(readback: DumpReadBack, target: Target, matches: tuple[str, ...]) -> Verdict:
        """The verdict of a dump whose length is not that of the side that is believed, and which is the other side."""
        findings = tuple(Finding(*address, "not-tried") for address in target.geometry.addresses)
        return Verdict(
            readback.name, target.name, None, readback.evidence, "other-side", len(findings), 0, 0, readback.simulated, findings, matches
        )

    def _lengths(self, length: int) -> str:
        """What is wrong with a dump's length."""
        for name, side in self.master.sides.items():
            if len(side.dump) == length and self.side not in (None, name):
                advice = f"and side {self.side} was asked for; leave --side out, or turn the disc over"
                return f"{length:,} bytes is the length of side {name}, {advice}"
        wanted = " or ".join(f"{len(side.dump):,} (side {name}, {side.geometry_id})" for name, side in self.master.sides.items())
        return f"no side of this master has a dump of {counted(length, 'byte')}: expected {wanted} bytes"
