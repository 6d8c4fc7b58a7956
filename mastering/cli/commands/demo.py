"""`obverse demo`: the whole job on an invented shop, with simulated drives."""

import sys
from pathlib import Path

import click

from mastering.cli.output import columns, lines, progress


@click.command(short_help="Show the whole job on an invented shop, with simulated drives.")
@click.option("--out", type=click.Path(), default="obverse-demo", show_default=True, metavar="DIR", help="The shop's folder to make.")
@click.option("--again", is_flag=True, help="Replace what an earlier demo made.")
def command(out: str, again: bool) -> None:
    """Build an invented title's master for two machines, judge a dozen practice reads, make a batch of forty discs, rate lots and drives.

    The discs and drives are simulated: nothing is written but the folder DIR.
    """
    from mastering.demo.shop import make_demo
    from mastering.demo.words import demo_text

    demo = make_demo(Path(out), again, lambda numbers: progress(numbers, "discs"))
    lines(demo_text(demo, Path(out), columns(sys.stdout)))
