"""The bench's screen on a terminal, and its keys. It draws when something changed and never waits for a key."""

import os
import select
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from mastering.bench import floor as f
from mastering.bench.screen import Screen, lines
from mastering.bench.settings import Bench
from mastering.errors import MasteringError
from mastering.words.hands import event_text, number_of, say, why_text

if TYPE_CHECKING:
    from mastering.bench.runner import Runner
    from mastering.ledger.store import Ledger

_TWO_AT_ONCE = ("take-out-good", "take-out-bad", "insert", "move")  # actions that one key answers together with the next insert or move
_CLEAR, _HOME, _REST = "\x1b[2J", "\x1b[H", "\x1b[K"
_GOOD_SOUND, _BAD_SOUND = "\a", "\a\a"


class Terminal:
    """The person at the table. Use it within `with`: it takes the keyboard and gives it back."""

    def __init__(self, ledger: "Ledger", bench: Bench) -> None:
        self._ledger, self._bench = ledger, bench
        self._hands: f.Hands | None = None
        self._second: f.Hands | None = None
        self._done: f.HandsDone | None = None
        self._typed = ""
        self._last, self._drives = "", dict.fromkeys(bench.drives, "empty")
        self._why = self._rejecting = self._paused = False
        self._drawn: list[str] = []
        self._made_good = 0
        self._settings: Any = None

    def __enter__(self) -> "Terminal":
        from mastering.platform import raw_keyboard

        if not (sys.stdin.isatty() and sys.stdout.isatty()):
            raise MasteringError("the bench needs a terminal; without one say --auto, with `hands` in bench.toml")
        self._settings = raw_keyboard(sys.stdin.fileno())
        self._settings.__enter__()
        sys.stdout.write(_CLEAR)
        return self

    def __exit__(self, *error: object) -> None:
        self._settings.__exit__(None, None, None)
        sys.stdout.write("\n")
        sys.stdout.flush()

    # What the runner asks

    def ask(self, hands: f.Hands) -> None:
        """Begins to ask for an action; one that the last key answered already is done."""
        self._hands, self._typed, self._rejecting = hands, "", False
        self._done = f.HandsDone() if hands == self._second else None
        self._second = None

    def answer(self) -> f.HandsDone | None:
        """What was done, once a key said so."""
        done, self._done = self._done, None
        if done is not None:
            self._hands = None
        return done

    def show(self, event: Mapping[str, Any]) -> None:
        """Takes an event into the picture."""
        drive = event["drive"]
        if event["event"] in ("writing", "reading"):
            self._drives[drive] = f"{event['event']} side {event['side']} of {number_of(event['serial'])}"
        elif drive in self._drives and event["event"] in ("verdict", "guard"):
            self._drives[drive] = "waits for you"
        elif event["event"] == "hold":
            self._drives[drive] = "ON HOLD until its check"
        if event["event"] in ("verdict", "guard", "hold", "done"):
            self._last = event_text(event)
        if event["event"] == "verdict":
            sys.stdout.write(_GOOD_SOUND if event["read"] == "pass" else _BAD_SOUND)
            self._made_good += event["verdict"] == "pass"

    def tick(self, runner: "Runner") -> None:
        """Takes the keys that were pressed, and draws what changed."""
        while select.select([sys.stdin], [], [], 0)[0]:
            pressed = os.read(sys.stdin.fileno(), 1).decode("latin-1")
            if not pressed or pressed == "\x03":
                raise KeyboardInterrupt
            self._key(pressed, runner)
        self._draw(runner)

    # Keys

    def _key(self, key: str, runner: "Runner") -> None:
        if self._rejecting:
            self._rejecting = False
            if key in "yY":
                self._reject(runner)
        elif key in "pP":
            self._paused = not self._paused
            runner.carry_out(runner.loop.pause(self._paused))
        elif key in "qQ":
            runner.carry_out(runner.loop.stop())
            self._last = "No more discs are begun; those at the table are finished."
        elif key == "?":
            self._why = not self._why
        elif self._hands is not None:
            self._hands_key(key, self._hands, runner)

    def _hands_key(self, key: str, hands: f.Hands, runner: "Runner") -> None:
        """A key that answers what the hands were asked for."""
        if hands.action == "look":
            if key in "gGxX":
                self._done = f.HandsDone(rubbed=key in "xX")
                if key in "xX":
                    runner.ledger_floor.reject(hands.serial, "rubbed or shedding")
        elif key in "xX":
            self._rejecting = True
        elif hands.action == "label":
            self._label_key(key, hands)
        elif key in " \r\n":
            self._second = self._with(hands, runner.loop.after_that)
            self._done = f.HandsDone()

    def _label_key(self, key: str, hands: f.Hands) -> None:
        """The number on the label, typed or scanned: it must be the disc's own."""
        if key in "\r\n" and self._typed:
            own = self._typed.upper() in (hands.serial, number_of(hands.serial), number_of(hands.serial).lstrip("0"))
            self._done = f.HandsDone(hands.serial if own else self._typed)
        elif key in "\x7f\b":
            self._typed = self._typed[:-1]
        elif key.isalnum() or key == "-":
            self._typed += key

    def _reject(self, runner: "Runner") -> None:
        if self._hands is not None:
            runner.ledger_floor.reject(self._hands.serial, "by eye, at the bench")
            self._hands = None
            runner.carry_out(runner.loop.reject())

    @staticmethod
    def _with(hands: f.Hands, after: f.Hands | None) -> f.Hands | None:
        """The action that the same key answers; None where each needs a look of its own."""
        both = after is not None and hands.action in _TWO_AT_ONCE and after.action in ("insert", "move")
        return after if both else None

    # The picture

    def _draw(self, runner: "Runner") -> None:
        size = os.get_terminal_size()
        shown = lines(self._screen(runner), min(size.columns, 200), size.lines)
        if shown != self._drawn:
            self._drawn = shown
            text = "".join(f"{line}{_REST}\r\n" for line in shown[:-1]) + f"{shown[-1]}{_REST}"
            sys.stdout.write(f"{_HOME}{text}\x1b[J")
            sys.stdout.flush()

    def _screen(self, runner: "Runner") -> Screen:
        hands, site = self._hands, runner.current_site
        now = []
        if hands is not None:
            now.append(say(hands, hands.serial, runner.ledger_floor.lot_of(hands.serial) if hands.fresh else None))
            second = self._with(hands, runner.loop.after_that)
            if second is not None:
                now.append(say(second, second.serial, runner.ledger_floor.lot_of(second.serial) if second.fresh else None))
            if hands.action == "label":
                now.append(f"Number on the label: {self._typed}_")
        if self._rejecting:
            now.append("Reject this disc for good? [y] yes, any other key: no")
        title = f"{site.master.label}, batch {site.batch}" if site else "The bench"
        wanted, good = runner.progress
        why = why_text(hands.why, hands.action) if self._why and hands is not None else ""
        return Screen(
            title, good, wanted, self._made_good, now, self._drives, self._last, why, self._keys(hands), runner.simulated, self._paused
        )

    def _keys(self, hands: f.Hands | None) -> dict[str, str]:
        own: dict[str, str] = {}
        if hands is not None and hands.action == "look":
            own = {"g": "looks good", "x": "rubbed or shedding"}
        elif hands is not None:
            own = {"Enter": "number typed"} if hands.action == "label" else {"space": "done"}
            own["x"] = "reject by eye"
        return own | {"p": "go on" if self._paused else "pause", "q": "stop after these", "?": "why"}
