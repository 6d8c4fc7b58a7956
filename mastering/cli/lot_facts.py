"""The options that say what is known of a lot of blanks."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])


def lot_facts(command: Command) -> Command:
    """The options of `lot add` and `lot change`."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


_OPTIONS = (
    click.option("--count", type=click.IntRange(1), metavar="N", help="How many blanks there are."),
    click.option(
        "--coercivity", type=click.IntRange(1), metavar="OE", help="Of their coating: about 300 for double, 600 for high density."
    ),
    click.option("--faces", type=click.IntRange(1, 2), metavar="N", help="How many faces their maker certified."),
    click.option("--condition", type=click.Choice(["new", "used", "erased"]), help="Never recorded, recorded, or erased in bulk."),
    click.option("--hub-ring/--no-hub-ring", default=None, help="Whether they have a reinforced hub."),
    click.option("--inner-box", type=click.IntRange(1), metavar="N", help="How many lie in one inner box, often ten."),
    click.option("--price", type=click.FloatRange(0), metavar="P", help="What one blank costs."),
    click.option("--supplier", metavar="TEXT", help="Where they came from."),
)
