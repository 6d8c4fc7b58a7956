"""What a publisher may have overlooked in a job that can be built as it is. Pure."""

import re
from collections.abc import Iterator

from formats.errors import Problem
from mastering.job.plan import SidePlan
from mastering.master.builder import Built

_MARKER = re.compile(rb"<<[^<>\x00-\x1f\x7f-\xff]{0,80}?SERIAL[^<>\x00-\x1f\x7f-\xff]{0,80}?>>")


def doubts(built: Built) -> Iterator[Problem]:
    """Each doubt about a job, with its place: sides without a serial, texts that look like a marker, load addresses."""
    for name, side in built.sides.items():
        plan = side.plan
        if side.slot is None:
            yield Problem(f"{plan.where}.serial", f"side {name} carries no serial: on this side two discs can't be told apart")
        for file in plan.content.files:
            yield from plan.volume.doubts(file)
        if plan.slot.kind != "marker":
            yield from _undeclared_markers(plan)


def _undeclared_markers(plan: SidePlan) -> Iterator[Problem]:
    """Texts that look like a serial's marker on a side that declares none."""
    sources = [(f"{file.where}.source", file.data) for file in plan.content.files]
    for where, data in [*sources, (f"{plan.where}.image", plan.content.image or b"")]:
        for text in dict.fromkeys(match[0].decode("ascii") for match in _MARKER.finditer(data)):
            declared = f'serial = {{ marker = "{text}" }} in [{plan.where}]'
            yield Problem(where, f"it holds {text}, and no marker is declared: discs would carry this text; if it is one, write {declared}")
