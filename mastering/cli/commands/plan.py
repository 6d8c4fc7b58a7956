"""`obverse plan`: the day's work."""

import click

from mastering.cli.options import json_option, ledger_option, open_ledger, shop
from mastering.cli.output import json_lines, lines
from mastering.errors import MasteringError


@click.command(short_help="Plan the day: discs, blanks, hands, drives, and when it ends.")
@click.option("--boxes", type=click.IntRange(1, 100_000), default=20, show_default=True, metavar="N", help="How many boxes to make.")
@click.option("--drives", type=click.IntRange(1, 64), metavar="K", help="How many drives.  [default: those of the ledger, else 1]")
@click.option("--per-box", type=click.IntRange(1, 100), default=1, show_default=True, metavar="N", help="Discs in a box.")
@click.option("--sides", type=click.IntRange(1, 2), metavar="N", help="Sides of a disc.  [default: the newest open batch's, else 2]")
@click.option("--each-side", is_flag=True, help="Each side is read right after it was written, before the disc is turned over.")
@click.option("--backlog", type=click.IntRange(0), metavar="N", help="How many boxes wait to be made, today's among them.")
@click.option("--lot", metavar="L", help="The lot that the blanks are from.")
@click.option("--step", "steps", multiple=True, metavar="NAME=SECONDS", help="A step's time; may be given again.")
@ledger_option
@json_option("Print a JSON line.")
def command(
    boxes: int,
    drives: int | None,
    per_box: int,
    sides: int | None,
    each_side: bool,
    backlog: int | None,
    lot: str | None,
    steps: tuple[str, ...],
    ledger: str | None,
    as_json: bool,
) -> None:
    """Plan a day's boxes: the discs and blanks that they take, what hands and drives are busy with, and when it ends.

    The steps take what is given, else what the ledger's own times say, else usual ones; it says which. Steps: insert, write, turn-over,
    read, take-out, pack.
    """
    from mastering.cli.settings import settings
    from mastering.clock import moment, now
    from mastering.deciding.planning import need
    from mastering.deciding.schedule import DEFAULTS, Steps, Work, plan
    from mastering.deciding.supply import LotSupply, blanks_left, working_drives
    from mastering.ledger.supply import drive_supplies, lot_supplies
    from mastering.ledger.tables import DRIVES, LOTS
    from mastering.ledger.work_times import sides_of, step_times

    times: dict[str, float] = {}
    lots: list[LotSupply] = []
    if ledger is not None or lot is not None or shop().ledger(None).exists():
        with open_ledger(ledger) as opened, opened.read() as known:
            if lot is not None:
                known.id_of(LOTS, "lot", lot)
            times, lots = step_times(known, DEFAULTS), [each for each in lot_supplies(known) if lot in (None, each.name)]
            if drives is None and known.ids(DRIVES):
                drives = working_drives(drive_supplies(known))
            sides = sides or sides_of(known.batches())
    work = Work(boxes, per_box, sides or 2, each_side)
    judged = [(each.bad, each.discs) for each in lots if each.discs and each.usable]
    blanks = need(work.discs, judged, judged[0] if lot and judged else None, settings=settings(shop()))
    start, times_of_steps = moment(now(), "the clock"), Steps.of(times, dict(map(_step, steps)))
    made = plan(work, blanks, 1 if drives is None else drives, times_of_steps, start, backlog, blanks_left(lots))
    if as_json:
        json_lines([made.plain()])
    else:
        from mastering.words.planning import plan_sentences

        lines(plan_sentences(made))


def _step(text: str) -> tuple[str, float]:
    name, equals, seconds = text.partition("=")
    try:
        return name, float(seconds if equals else "")
    except ValueError:
        raise MasteringError(f"--step {text}: expected a step and its seconds, such as write=85") from None
