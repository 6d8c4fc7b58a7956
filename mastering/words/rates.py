"""Rates in words: a table, with a bar to scale for each rate where there is room for one."""

from collections.abc import Iterator, Sequence

from mastering.deciding.rates import Rate, wilson
from mastering.words.layout import TIE, Block, Table, rendered

TOO_FEW = 20  # discs below which a rate says little
_BARS = (20, 12, 8)  # columns of a bar, as there is room
_LEGEND = "bar: # the rate, - between its limits, + both"


def rates_text(rates: Sequence[Rate], columns: int, indent: str = "") -> Iterator[Block]:
    """A table of rates in so many columns, and what its bars mean. A bar's whole length is 100 %."""
    for length in _BARS:
        table = rates_table(rates, length, indent)
        if len(list(rendered([table], columns))) <= len(rates) + 2:  # nothing but its head had to be wrapped
            yield table
            yield indent + _LEGEND
            return
    yield rates_table(rates, 0, indent)


def rates_table(rates: Sequence[Rate], bar_length: int, indent: str = "") -> Table:
    """A row a rate; without bars where their length is 0."""
    scale = f"0{TIE * (bar_length - 6)}100{TIE}%" if bar_length else ""
    head = ("", "discs", "bad", "rate", f"95{TIE}% sure", "first pass", "written again", scale, "")
    rows = [tuple(row) for row in (head, *(_row(rate, bar_length) for rate in rates))]
    return Table([row if bar_length else (*row[:-2], row[-1]) for row in rows], indent)


def _row(rate: Rate, bar_length: int) -> tuple[str, ...]:
    low, high = wilson(rate.bad, rate.discs)
    read = rate.discs - rate.unread
    return (
        rate.group,
        f"{rate.discs:,}",
        f"{rate.bad:,}",
        percent(rate.bad / rate.discs),
        f"{100 * low:.1f} to {percent(high)}",
        percent(1 - rate.first_bad / read) if read else "",
        f"{rate.rewritten:,}",
        bar(rate.bad / rate.discs, low, high, bar_length),
        ", ".join(_remarks(rate)),
    )


def percent(share: float) -> str:
    """A share in percent, its sign not parted from it."""
    return f"{100 * share:.1f}{TIE}%"


def bar(share: float, low: float, high: float, length: int) -> str:
    """A rate as a bar of `#` with its interval in `-`, and `+` where it is both."""
    cells = ["#" if place < round(share * length) else TIE for place in range(length)]
    for place in range(int(low * length), min(length, int(high * length) + 1)):
        cells[place] = "+" if cells[place] == "#" else "-"
    return "".join(cells)


def _remarks(rate: Rate) -> Iterator[str]:
    if rate.discs < TOO_FEW:
        yield "too few to say"
    if rate.simulated:
        yield "simulated"
