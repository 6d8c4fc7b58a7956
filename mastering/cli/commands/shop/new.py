"""`obverse shop new`."""

from pathlib import Path

import click

from mastering.cli.output import lines


@click.command(short_help="Begin a shop: its settings and an empty ledger.")
@click.argument("folder", type=click.Path(), metavar="DIR")
@click.option("--ledger", metavar="FILE", help="Where its ledger lies.  [default: ledger.sqlite in the folder]")
@click.option("--practice", is_flag=True, help="A shop to practise in: simulated reads count.")
def command(folder: str, ledger: str | None, practice: bool) -> None:
    """Begin a shop in DIR: shop.toml and bench.toml, with comments, and an empty ledger. No other command begins a ledger.

    Every command finds the shop from DIR and any folder below it.
    """
    from mastering.recording.shops import begin_shop

    shop = begin_shop(Path(folder), ledger, practice)
    if practice:
        lines([f"{shop.folder}: a shop to practise in; no disc that was really made belongs into its ledger"])
    else:
        lines([f"{shop.folder}: a shop, with shop.toml, bench.toml and an empty ledger ({shop.ledger(None)})"])
    lines(["next: obverse lot add, obverse drive add, obverse batch open"])
