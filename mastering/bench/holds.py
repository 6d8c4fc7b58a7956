"""When a drive stops itself: discs running whose first read failed, or one read with too many bad tracks. Pure, for one run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Why = Literal["running", "share"]


@dataclass
class HoldWatch:
    """Watches the first read of each side of each disc.

    `hold_after`: discs running that fail; `hold_share`: the share of a side's tracks that are bad in one read.
    A first read that fails counts against the drive that read and, where another wrote, against that one too. Discs of stopped lots don't
    count. One writing puts a drive on hold at most once.
    """

    hold_after: int = 3
    hold_share: float = 0.25
    _running: dict[str, list[str]] = field(default_factory=dict)
    _reasons: dict[str, Why] = field(default_factory=dict)
    _counted: set[tuple[str, str]] = field(default_factory=set)

    def after(self, line: Mapping[str, Any], tracks: int, stopped_lot: bool = False) -> dict[str, Why]:
        """The drives that a read's line puts on hold, and why; `tracks`: how many tracks its side has."""
        key = (line["serial"], line["side"] or "")
        if line["side"] is None or line["diagnosis"] not in (None, "blank", "shifted") or stopped_lot or key in self._counted:
            return {}
        self._counted.add(key)
        drives = dict.fromkeys(drive for drive in (line["read_by"], line["wrote"]) if drive)
        if line["verdict"] != "fail":  # a soft read neither counts nor clears
            self._running |= {drive: [] for drive in drives if line["verdict"] == "pass"}
            return {}
        why: dict[str, Why] = {}
        for drive in drives:
            running = self._running.setdefault(drive, [])
            if line["serial"] not in running:
                running.append(line["serial"])
            if len(running) >= self.hold_after:
                why[drive] = "running"
        if line["read_by"] and line["diagnosis"] is None and _bad_tracks(line) > self.hold_share * tracks:
            why[line["read_by"]] = "share"
        for drive, reason in why.items():
            self._running[drive], self._reasons[drive] = [], reason
        return why

    def reason(self, drive: str) -> Why:
        """Why a drive was put on hold last."""
        return self._reasons[drive]


def _bad_tracks(line: Mapping[str, Any]) -> int:
    """On how many tracks a read has a finding other than `soft`."""
    return len({(finding["track"], finding["head"]) for finding in line["findings"] if finding["kind"] != "soft"})
