"""A disc's history told in a few words, and how it stands: for tests of the rules.

    write both, A pass, B fail @D2, strike 2, write B, B pass

`write A`: a writing entered by a command; `bench writes A`: one that the bench made. `A pass`, `A soft`, `A fail`: a read; also a
diagnosis (`A other-side`), `simulated` or `sums` (evidence that the batch does not accept) before the verdict: `A simulated pass`.
`@D2`: by this drive (D1 where nothing is said). `by eye`, `restore`, `continue`, `rework B` (side B is to be written), `strike 2` (the
disc's second read is void), `hold D1 A` (this disc's side A puts drive D1 on hold), `elsewhere D1` (a good read of another disc in D1).
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import cast

from mastering.judging.actions import Drive, Step, next_step
from mastering.judging.custody import DiscStanding, disc_standing
from mastering.judging.standing import DiscRows, Hold, Read, Take, Writing
from mastering.judging.verdict import State

SERIAL = "SM-004-0001-V"
VERDICTS: dict[str, State] = {"pass": "pass", "soft": "marginal", "fail": "fail"}
OWN_ACTIONS = {"other-side": "turn-over", "other-master": "ask", "other-geometry": "ask", "short": "read-again", "blank": "write-again"}


@dataclass
class Story:
    """A disc's rows while its story is told."""

    rows: DiscRows
    row: int = 10  # the disc's own rows begin behind those of its batch
    passed: dict[str, int] = field(default_factory=dict)  # each drive's newest passing read, of whatever disc

    def tell(self, step: str) -> None:
        """Adds the rows of one step."""
        words = step.split()
        drive = next((word[1:] for word in words if word[0] == "@"), "D1")
        words = [word for word in words if word[0] != "@"]
        told: dict[str, Callable[[list[str], str], None]] = {
            "write": self._write, "bench": self._write, "strike": self._strike, "by": self._reject, "restore": self._restore,
            "continue": self._take, "rework": self._take, "hold": self._hold, "elsewhere": self._elsewhere,
        }  # fmt: skip
        told.get(words[0], self._read)(words, drive)

    def _next(self) -> int:
        self.row += 1
        return self.row

    def _write(self, words: list[str], drive: str) -> None:
        sides = self.rows.sides if words[-1] == "both" else (words[-1],)
        for side in sides:
            number = max((each.number for each in self.rows.writings if each.side == side), default=0) + 1
            writing = Writing(self._next(), side, number, drive, words[0] == "bench")
            self.rows = replace(self.rows, writings=(*self.rows.writings, writing))

    def _read(self, words: list[str], drive: str) -> None:
        side, *more, what = words
        number = max((each.number for each in self.rows.writings if each.side == side), default=None) if side != "?" else None
        diagnosis = None if what in VERDICTS else what
        verdict = VERDICTS.get(what, "fail")
        action = {"pass": "box", "marginal": "read-again"}.get(verdict, OWN_ACTIONS.get(diagnosis or "", "read-again"))
        read = Read(
            len(self.rows.reads) + 1, None if side == "?" else side, number, drive, verdict, diagnosis, False, self._next(),
            "simulated" in more, "ask" if side == "?" else action, "sums" not in more, False,
        )  # fmt: skip
        self.rows = replace(self.rows, reads=(*self.rows.reads, read))
        if verdict == "pass":
            self.passed[drive] = self.row

    def _strike(self, words: list[str], _: str) -> None:
        struck = {int(word) for word in words[1:]}
        self.rows = replace(self.rows, reads=tuple(replace(each, void=each.void or each.number in struck) for each in self.rows.reads))
        self._next()

    def _reject(self, _: list[str], __: str) -> None:
        self.rows = replace(self.rows, rejects=(*self.rows.rejects, self._next()))

    def _restore(self, _: list[str], __: str) -> None:
        self.rows = replace(self.rows, restores=(*self.rows.restores, self._next()))

    def _take(self, words: list[str], _: str) -> None:
        take = Take(self._next(), words[0] == "rework", tuple(words[1:]))
        self.rows = replace(self.rows, takes=(*self.rows.takes, take))

    def _hold(self, words: list[str], _: str) -> None:
        hold = Hold(words[1], self.passed.get(words[1], 0), self._next(), SERIAL, words[2])
        self.rows = replace(self.rows, holds=(*self.rows.holds, hold))

    def _elsewhere(self, words: list[str], _: str) -> None:
        self.passed[words[1]] = self._next()


def tell(story: str, sides: str = "AB", rewrites: int = 1, each_side: bool = False) -> DiscRows:
    """The rows of a disc's history."""
    told = Story(DiscRows(SERIAL, tuple(sides), rewrites=rewrites, each_side=each_side))
    for step in filter(None, map(str.strip, story.split(","))):
        told.tell(step)
    return told.rows


def standing(story: str, sides: str = "AB", rewrites: int = 1, each_side: bool = False) -> DiscStanding:
    """How a disc with this history stands."""
    return disc_standing(tell(story, sides, rewrites, each_side))


def step(story: str, sides: str = "AB", drives: str = "D1 D2", held: str = "", retired: str = "") -> Step:
    """What to do next with it, in a batch made on these drives, of which some are on hold or retired."""
    rows = tell(story, sides)
    serves = frozenset(sides)
    made = [Drive(name, serves, serves, name in held.split(), name in retired.split()) for name in drives.split()]
    return next_step(rows, disc_standing(rows), made)


def summary(story: str, sides: str = "AB", rewrites: int = 1, each_side: bool = False) -> str:
    """A disc in one line: each side's verdict, its own, and the action: `A pass B open: open, turn-over`."""
    rows = tell(story, sides, rewrites, each_side)
    found = disc_standing(rows)
    of_sides = " ".join(f"{side} {each.verdict}" for side, each in found.sides.items())
    everywhere = frozenset(cast(str, sides))
    return f"{of_sides}: {found.verdict}, {next_step(rows, found, [Drive('D1', everywhere, everywhere)]).action}"
