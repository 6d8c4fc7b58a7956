"""What the bench says to the person with a disc in each hand: the action first, which drive, which face up; why comes last."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from mastering.bench.checking import Tried


class Action(Protocol):
    """What the hands are asked to do; `mastering.bench.floor.Hands` is one."""

    @property
    def action(self) -> str: ...  # noqa: D102
    @property
    def drive(self) -> str | None: ...  # noqa: D102
    @property
    def source(self) -> str | None: ...  # noqa: D102
    @property
    def face(self) -> str: ...  # noqa: D102
    @property
    def fresh(self) -> bool: ...  # noqa: D102
    @property
    def returns(self) -> bool: ...  # noqa: D102
    @property
    def why(self) -> str | None: ...  # noqa: D102


FACES: Mapping[str, str] = {"A": "label up", "B": "label down"}

GUARDS: Mapping[str, str] = {
    "not-turned-over": "The disc was not turned over.",
    "finished-disc": "That is a finished disc. Put it back on its pile.",
    "rejected-disc": "That is a rejected disc. Put it back into the reject box.",
    "other-title": "That is a disc of another title. Put it back where it belongs.",
    "returned-disc": "That is a customer's disc. Put it back where it belongs.",
    "wrong-drive": "That is another disc of this batch.",
    "too-fast": "The read was too fast to be one: the disc did not turn.",
    "stale-file": "The read-back's file was there before the disc was read.",
    "written-file": "The drive handed back the image that was to be written, not what is on the disc.",
    "command-failed": "The drive's program failed.",
    "nothing-done": "The drive's program ended and did nothing.",
    "not-ready": "The drive is not ready. Is its door closed?",
    "no-disc": "No disc is in the drive.",
    "faces-swapped": "The label is on the wrong face: both sides will be written again.",
    "wrong-label": "The label carries another number. Void it and stick the new one.",
    "no-label": "No number was read from the label. Stick it again.",
}


def number_of(serial: str) -> str:
    """A serial's number, which is what stands large on the label: SM-004-0017-X says 0017."""
    parts = serial.split("-")
    return parts[-2] if len(parts) > 2 else serial


def say(hands: Action, serial: str, lot: str | None = None) -> str:
    """One action of the hands as a sentence or two."""
    disc, drive, face = f"disc {number_of(serial)}", hands.drive, FACES[hands.face]
    blank = "a fresh blank" + (f" of lot {lot}" if lot else "")
    sentences = {
        "insert": f"Put {blank} into {drive}, {face}. It becomes {disc}." if hands.fresh else f"Put {disc} into {drive}, {face}.",
        "turn-over": f"Turn over {disc} in {drive}: {face}.",
        "reseat": f"Take {disc} out of {drive} and put it back, {face}. Close the door.",
        "move": f"Move {disc} from {hands.source} to {drive}, {face} as it is.",
        "label": f"Take {disc} out of {drive}, stick label {number_of(serial)} on it, put it back, {face}. Type the label's number.",
        "look": f"Take {disc} out of {drive} and look at it through its slot, without touching it: is it rubbed, scratched or shedding?",
        "take-out": f"Take {disc} out of {drive} and lay it aside." if not hands.why else f"Take the disc out of {drive}.",
        "take-out-good": f"{disc.capitalize()} is good. Take it out of {drive}: sleeve, good pile.",
        "take-out-bad": f"{disc.capitalize()} is bad. Take it out of {drive}: red dot, reject box.",
    }
    said = sentences[hands.action]
    return f"{GUARDS[hands.why]} {said}" if hands.why else said


def event_text(event: Mapping[str, object]) -> str:
    """An event of the bench as a line for someone who reads along; empty for what the screen shows elsewhere."""
    serial, drive, side = event["serial"], event["drive"], event["side"]
    of = f"{serial} side {side} in {drive}"
    kind = event["event"]
    if kind == "writing":
        return f"writing {of}"
    if kind == "reading":
        return f"reading {of}"
    if kind == "verdict":
        return f"{serial} side {side}: {event['read']}; the disc: {event['verdict']}, {event['action']}"
    if kind == "guard":
        return f"{of}: {GUARDS[str(event['kind'])]} {event['say']}".rstrip()
    if kind == "hold":
        return f"{drive} is on hold: `obverse drive check {drive} MASTER` comes before its next disc"
    return f"batch {event['batch']}: {event['good']} of {event['wanted']} good" if kind == "done" else ""


def why_text(guard: str | None, action: str) -> str:
    """The longer reason of an action, for who asks."""
    if guard is not None:
        return f"{GUARDS[guard]} Nothing was written on the disc since, and nothing of this was recorded as a read."
    return _WHY.get(action, "")


_WHY: Mapping[str, str] = {
    "insert": "The label's face is side A, which is written first. Never open a jacket; touch a disc at its jacket only.",
    "turn-over": "The head reaches the lower face only; the other side is written or read with the disc turned over.",
    "move": "Another drive reads what this one wrote: a drive that is out of line reads its own writings well, a customer's does not.",
    "label": "The last read with the label up proves label, face, serial and title at once. Felt tip, one label, never one over another.",
    "look": "A disc that sheds its coating fouls the head and spoils the next discs. Clean heads only as the drive's manual permits.",
    "take-out-bad": "Its last allowed writing failed, or it was rejected by eye. The red dot keeps it out of every drive.",
}


def tried_text(tried: "Tried") -> list[str]:
    """What a drive's command gave, for who writes a bench file."""
    ended = tried.ended
    rows = [f"ran: {' '.join(tried.arguments)}"]
    if ended.why != "not-started":
        status = f"status {ended.status}" if ended.status is not None else ended.why
        rows.append(f"ended: {status} after {ended.seconds:.1f} seconds; {len(ended.console.splitlines())} lines on its console")
    if tried.problem:
        return [*rows, f"{tried.key}: {tried.problem}"]
    rows.append(f"left: {tried.output.name}, {tried.output.stat().st_size:,} bytes")
    identified = tried.identified
    if identified is not None and identified.matches:
        best = identified.matches[0]
        serial = f", serial {identified.serial}" if identified.serial else ""
        return [*rows, f"would be taken for: {best.label}{serial}, {best.equal} of {best.of} sectors"]
    if identified is not None and identified.recorded:
        name, sound, of = identified.recorded
        return [*rows, f"would be taken for: no master at hand; {sound} of {of} sectors of {name} are sound"]
    blank = identified is not None and identified.blank
    return [*rows, f"would be taken for: {'a disc on which nothing is recorded' if blank else 'nothing that is known'}"]
