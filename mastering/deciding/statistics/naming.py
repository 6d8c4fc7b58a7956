"""Who is named: from the chances of all suspects to the one that may be called the culprit, or none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log

from mastering.deciding.statistics.settings import Settings

HEAD_TOLD = 0.92  # of a drive's (lot's) chance: from here on the head (inner box) is named, below it the drive (lot)
LIKELIER = log(3.0)  # how much better than any rival a culprit must explain the same discs


@dataclass(frozen=True)
class Culprit:
    """A suspect and its chance. All chances of a judgement add up to 1.

    `kind`: `none`, `lot`, `inner` (an inner box), `drive`, `head` (one surface of one drive), `side`, `title` or `both` (a lot and a drive,
    named `L-07+D1`). `part_of`: the drive of a head or pair, the lot of an inner box. `earlier`: a drive as it was before its chart was
    restarted; `reads`: a drive as what read discs that another one wrote. `whole`: all discs are of this suspect, so that there is
    nothing to compare it with. `log`: the logarithm of the likelihood of the discs, were it to blame.
    """

    kind: str
    name: str
    chance: float
    part_of: str = ""
    earlier: bool = False
    reads: bool = False
    whole: bool = False
    log: float = 0.0

    @property
    def about(self) -> tuple[str, str]:
        """The kind and name of the lot, drive, side or title that the suspect is, or is part of."""
        return ("drive", self.part_of) if self.kind == "head" else (self.kind, self.name)

    def accuses(self, kind: str, name: str) -> bool:
        """Whether the suspect is this lot or drive as it is now, part of it, or a pair with it."""
        if self.earlier and kind == "drive":
            return False
        return self.about == (kind, name) or (self.kind == "both" and name == {"lot": self.lot, "drive": self.part_of}.get(kind))

    @property
    def lot(self) -> str:
        """The lot that the suspect is or is part of; empty for a suspect that blames no lot."""
        if self.kind == "both":
            return self.name.removesuffix(f"+{self.part_of}")
        return {"lot": self.name, "inner": self.part_of}.get(self.kind, "")

    @property
    def drive(self) -> str:
        """The drive that the suspect is or is part of; empty for a suspect that blames no drive."""
        return self.part_of if self.kind in ("head", "both") else self.name if self.kind == "drive" else ""

    def plain(self) -> dict[str, object]:
        """The suspect as in `advise --json`; `earlier` stands only where it is true."""
        return {"kind": self.kind, "name": self.name, "chance": self.chance} | ({"earlier": True} if self.earlier else {})


def fold(culprits: Sequence[Culprit]) -> list[Culprit]:
    """A drive's surfaces and both its roles counted to the drive, a lot's inner boxes to the lot.

    A surface or an inner box that holds nearly all of the chance stays a suspect of its own.
    """
    kept = [each for each in culprits if each.kind not in ("lot", "inner", "drive", "head")]
    for whole, part in (("lot", "inner"), ("drive", "head")):
        for name, earlier in dict.fromkeys((each.name, each.earlier) for each in culprits if each.kind == whole):
            roles = [each for each in culprits if (each.kind, each.name, each.earlier) == (whole, name, earlier)]
            parts = [each for each in culprits if (each.kind, each.part_of, each.earlier) == (part, name, earlier)]
            total = sum(each.chance for each in (*roles, *parts))
            likeliest = max((*roles, *parts), key=lambda each: each.chance)
            if likeliest.kind == part and likeliest.chance >= HEAD_TOLD * total:
                kept.append(likeliest)
                total -= likeliest.chance
            reads = sum(each.chance for each in (*roles, *parts) if each.reads) > total / 2
            log = max(each.log for each in (*roles, *parts))
            kept.append(replace(roles[0], chance=total, reads=reads, whole=any(each.whole for each in roles), log=log))
    return sorted(kept, key=lambda each: -each.chance)


def doubted(culprits: Sequence[Culprit], factor: float) -> tuple[Culprit, ...]:
    """The chances where the odds that nothing is wrong are so many times higher."""
    weights = [each.chance * (factor if each.kind == "none" else 1.0) for each in culprits]
    changed = (replace(each, chance=weight / sum(weights)) for each, weight in zip(culprits, weights, strict=True))
    return tuple(sorted(changed, key=lambda each: -each.chance))


def blamed(culprits: Sequence[Culprit], kind: str, name: str) -> float:
    """The chance that this lot or drive is to blame: alone, as a part of it, or together with another."""
    return sum(each.chance for each in culprits if not each.earlier and name == (each.lot if kind == "lot" else each.drive))


def named(culprits: Sequence[Culprit], settings: Settings) -> Culprit | None:
    """The culprit, or None when there is none or it can't be told.

    A lot or drive that may be to blame alone or together with another has the sum of those chances. Who explains the discs hardly
    better than a rival does (a title that came with a new lot, a lot on a drive of its own) is not named.
    """
    first = max(culprits, key=lambda each: each.chance, default=None)
    if first is None or first.kind == "none" or first.whole:
        return None
    if first.kind in ("lot", "drive") and not first.earlier:
        first = replace(first, chance=blamed(culprits, first.kind, first.name))
    if first.chance < settings.sure or any(_rivals(first, each) for each in culprits):
        return None
    return first


def suspects(culprits: Sequence[Culprit], share: float = 0.9) -> list[Culprit]:
    """The likeliest ones that together hold this share of the chances."""
    likeliest: list[Culprit] = []
    for each in culprits:
        if sum(one.chance for one in likeliest) >= share:
            break
        likeliest.append(each)
    return likeliest


def _rivals(first: Culprit, other: Culprit) -> bool:
    """Whether another single suspect explains the discs nearly as well, and blames neither the same lot nor the same drive."""
    if other.kind in ("none", "both") or (first.kind, first.name) == (other.kind, other.name):
        return False
    if (first.lot and first.lot == other.lot) or (first.drive and first.drive == other.drive):
        return False
    return first.log - other.log < LIKELIER
