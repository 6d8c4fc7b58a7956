"""Rates in words: a table, with a bar to scale for each rate where there is room for one."""

from collections.abc import Iterator, Sequence

from mastering.deciding.rates import Rate, wilson
from mastering.words.layout import TIE, Block, Table, rendered

TOO_FEW = 20  # discs below which a rate says little
_BARS = (20, 16, 12, 10, 8)  # columns of a bar, as there is room
_HEADS = {  # of the columns that a grouping has beside its rate
    "working": "unfinished",
    "abandoned": "abandoned",
    "first pass": "first pass",
    "rewritten": "written again",
    "saved": "saved",
    "lost": "lost",
    "rescued": "rescued",
    "denied": "denied",
}
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
    """Rates in a table, a row each; without bars where `bar_length` is 0."""
    scale = f"0{TIE * (bar_length - 6)}100{TIE}%" if bar_length else ""
    counts = [_counts(rate) for rate in rates]
    keys = [key for key in _HEADS if any(count.get(key) for count in counts)]
    head = ("", "discs", "bad", "rate", f"95{TIE}% sure", *(_HEADS[key] for key in keys), scale, "")
    body = (_row(rate, [count.get(key, "") for key in keys], bar_length) for rate, count in zip(rates, counts, strict=True))
    rows = [tuple(row) for row in (head, *body)]
    return Table([row if bar_length else (*row[:-2], row[-1]) for row in rows], indent)


def _counts(rate: Rate) -> dict[str, str]:
    """What a grouping counts beside its rate, as it is shown; what is nowhere but 0 is left out."""
    counts = {key: f"{value:,}" for key, value in rate.more.items() if key in _HEADS and value}
    if rate.more.get("first_read"):
        counts["first pass"] = percent(1 - rate.more["first_bad"] / rate.more["first_read"])
    if rate.more.get("rescues"):
        counts["rescued"] = f"{rate.more['rescued']} of {rate.more['rescues']}"
    return counts


def _row(rate: Rate, counts: Sequence[str], bar_length: int) -> tuple[str, ...]:
    low, high = wilson(rate.bad, rate.discs)
    return (
        _group(rate),
        f"{rate.discs:,}",
        f"{rate.bad:,}",
        percent(rate.bad / rate.discs),
        f"{100 * low:.1f} to {percent(high)}",
        *counts,
        bar(rate.bad / rate.discs, low, high, bar_length),
        ", ".join(_remarks(rate)),
    )


def _group(rate: Rate) -> str:
    """A group's name; of a track its side and number, and its head where that is not the first."""
    if rate.by != "track" or rate.group.count("/") != 2:
        return rate.group
    side, head, track = rate.group.split("/")
    return f"side {side},{f' head {head},' if head != '0' else ''} track {track}".replace(" ", TIE)


def percent(share: float) -> str:
    """A share in percent; the number and its sign stay on one line."""
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
