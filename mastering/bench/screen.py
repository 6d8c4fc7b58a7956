"""The bench's screen as lines of text: the one thing that the hands do next on top, then the drives, then how far the batch is. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from textwrap import wrap

WIDTH, HEIGHT = 80, 24


@dataclass(frozen=True)
class Screen:
    """All that stands on the screen.

    `now`: what the hands do next, and behind it what the same key answers; `drives`: each drive's state.
    `last`: the last verdict or guard, one sentence. `why`: a longer reason, empty while nobody asks. `keys`: what each key does now.
    """

    title: str
    good: int
    wanted: int
    today: int
    now: Sequence[str]
    drives: Mapping[str, str]
    last: str = ""
    why: str = ""
    keys: Mapping[str, str] = field(default_factory=dict)
    simulated: bool = False
    paused: bool = False


def lines(screen: Screen, width: int = WIDTH, height: int = HEIGHT) -> list[str]:
    """The screen's lines: at most `height`, none longer than `width`. The action and the keys stay whatever is long."""
    head = _head(screen, width)
    now = [line for sentence in screen.now or ["Nothing for the hands: the drives are at work."] for line in wrap(sentence, width - 4)]
    now = ["PAUSED. Nothing is begun.", *now] if screen.paused else now
    top = [head, "", *(f"  {line}" for line in now), ""]
    bottom = ["", *_keys(screen.keys, width)]
    room = height - len(top) - len(bottom)
    middle = [f"  {name:<6} {state}"[:width] for name, state in screen.drives.items()]
    middle += ["", *wrap(screen.last, width)] if screen.last else []
    middle += ["", *wrap(screen.why, width)] if screen.why else []
    return [*top, *middle[: max(room, 0)], *bottom][:height]


def _head(screen: Screen, width: int) -> str:
    """The first line: title and count; SIMULATED wherever no disc is involved."""
    count = f"{screen.good} of {screen.wanted} good   {screen.today} today"
    mark = "SIMULATED  " if screen.simulated else ""
    title = screen.title[: width - len(count) - len(mark) - 2]
    return f"{mark}{title}".ljust(width - len(count)) + count


def _keys(keys: Mapping[str, str], width: int) -> list[str]:
    """What the keys do, on as few lines as it takes; a key and its word stay together."""
    rows = [""]
    for key, word in keys.items():
        piece = f"[{key}] {word}"
        rows[-1:] = [f"{rows[-1]}   {piece}".strip()] if len(rows[-1]) + len(piece) + 3 <= width else [rows[-1], piece]
    return rows
