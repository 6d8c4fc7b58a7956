"""What checking only some discs of a batch would let through: exact, by counting. Pure; imports nothing heavy, as a help page asks it."""

from math import comb


def let_through(checked: int, allowed: int, batch: int, bad: int) -> float:
    """The bad discs that go out on average of a batch with so many bad ones, of which only some are checked.

    A batch with more than `allowed` bad ones among those checked is checked in full; bad ones that are met are replaced.
    """
    return sum((bad - met) * _chance(met, checked, batch, bad) for met in range(min(allowed, bad, checked) + 1))


def checked_in_all(checked: int, allowed: int, batch: int, bad: int) -> float:
    """The discs that are checked on average by such a plan."""
    return checked + (batch - checked) * (1 - accepted(checked, allowed, batch, bad))


def accepted(checked: int, allowed: int, batch: int, bad: int) -> float:
    """The chance that no more than `allowed` bad ones are among those checked."""
    return sum(_chance(met, checked, batch, bad) for met in range(min(allowed, bad, checked) + 1))


def _chance(met: int, checked: int, batch: int, bad: int) -> float:
    """The chance of so many bad ones among those checked (hypergeometric)."""
    return comb(bad, met) * comb(batch - bad, checked - met) / comb(batch, checked)
