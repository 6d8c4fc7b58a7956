"""What `need` and `plan` say to people: the action first, then the numbers that carry it."""

from collections.abc import Iterator, Sequence

from formats.words import counted
from mastering.deciding.costs import GoodDisc
from mastering.deciding.planning import ENOUGH_LOTS, Need
from mastering.deciding.schedule import DEFAULTS, DayPlan, Steps
from mastering.words.layout import Table
from mastering.words.times import local_time

_HANDS = 0.9  # of the day: from here on the hands are its limit

# Blanks


def need_sentences(need: Need) -> Iterator[str]:
    """What to lay out, what the lot lacks for it, and what it costs."""
    yield _load(need)
    if need.left is not None and need.left < need.load:
        yield f"{_called(need, begins=True)} has {need.left} left: take {need.load - need.left} more of another one."
    if need.cost is not None and need.break_even is not None:
        yield _prices(need, need.cost, need.break_even)


def _load(need: Need) -> str:
    blanks, copies = counted(need.load, "blank"), counted(need.good, "good copy", "good copies")
    return f"Lay out {blanks} for {copies} ({100 * need.assurance:g} % sure): {_because(need)}."


def _because(need: Need) -> str:
    if need.basis == "lot":
        return f"{need.bad} of the {counted(need.discs, 'disc')} of {_called(need)} failed{_working(need)}"
    if need.basis == "lots":
        aware = "and lots differ" if need.lots >= ENOUGH_LOTS else "too few lots to know how they differ"
        because = f"{need.bad} of {need.discs} failed in {counted(need.lots, 'lot')}{_working(need)}, {aware}"
    else:
        because = "no disc has been judged yet: as for ordinary old blanks"
    return because if need.lot is None else f"no disc of {_called(need)} has been judged yet; {because}"


def _working(need: Need) -> str:
    """The discs that are neither passed nor rejected, where there are any."""
    return f", {need.working} unfinished" if need.working else ""


def _prices(need: Need, cost: float, break_even: float) -> str:
    """The cost, and whether (or from where on) a new lot is cheaper."""
    if need.basis != "lot":
        return f"That costs {cost:.2f}; go on with blanks that you have until {_percent(break_even)} of them are bad, then buy others."
    then = "by cost alone buy others" if need.rate > break_even else "by cost alone go on with it"
    about = f"about {_percent(need.rate)} of {_called(need)} are bad, and others are cheaper from {_percent(break_even)} on"
    return f"That costs {cost:.2f}; {about}: {then}."


def _called(need: Need, *, begins: bool = False) -> str:
    called = f"lot {need.lot}" if need.lot else "this lot"
    return called[0].upper() + called[1:] if begins else called


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def good_discs_table(good_discs: Sequence[tuple[str, GoodDisc]]) -> Table:
    """What a good disc costs, blank and time, of each lot and supplier."""
    rows = []
    for name, cost in good_discs:
        most = "any price" if cost.high is None else f"{cost.high:.2f}"
        rows.append((name, "none was good" if cost.price is None else f"{cost.price:.2f}", f"{cost.low:.2f} to {most}"))
    return Table([("", "a good disc costs", "95 % sure"), *rows])


# A day


def plan_sentences(plan: DayPlan) -> Iterator[str]:
    """What is to be made, when it ends, what one more drive would save, and where the steps' times are from."""
    boxes, discs = counted(plan.work.boxes, "box", "boxes"), counted(plan.work.discs, "good disc")
    sides = counted(plan.written * plan.work.sides, "side")
    yield f"{boxes}: {discs}, about {sides} to write; lay out {counted(plan.blanks, 'blank')}."
    if plan.left is not None and plan.left < plan.blanks:
        yield f"The lots in use have {counted(plan.left, 'blank')} left: get {plan.blanks - plan.left} more."
    busy = f"the hands are busy for {duration(plan.day.hand_minutes)}, the drives for {duration(plan.day.drive_minutes)}"
    yield f"With {counted(plan.drives, 'drive')} it takes {duration(plan.day.minutes)} and ends at {_ends(plan)}: {busy}."
    limit = ": the limit is the hands, not the drives" if plan.day.hand_minutes > _HANDS * plan.day.minutes else ""
    yield f"One more drive would save {duration(plan.saves) if plan.saves >= 1 else 'nothing'}{limit}."
    if plan.days is not None:
        yield f"The backlog of {counted(plan.backlog or 0, 'box', 'boxes')} lasts {counted(plan.days, 'day')} at this rate."
    yield _step_times(plan.steps)


def _step_times(steps: Steps) -> str:
    """Where the steps' times are from."""
    origins = {"ledger": "from the ledger", "given": "as given", "default": "by default"}
    by_origin = {kind: [f"{name} {steps.seconds[name]:.0f} s" for name in DEFAULTS if steps.origin[name] == kind] for kind in origins}
    return "Step times " + "; ".join(f"{origins[kind]}: {', '.join(names)}" for kind, names in by_origin.items() if names) + "."


def _ends(plan: DayPlan) -> str:
    """The time at which the day ends, with its date where that is another one than the start's."""
    return local_time(plan.finish, plan.start)


def duration(minutes: float) -> str:
    """A duration as people say it: `2 h 20 min`."""
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"
