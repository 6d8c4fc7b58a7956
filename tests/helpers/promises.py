"""Shares seen in a simulation held against what is promised, with the simulation's own sampling error."""

from math import sqrt


def error(promised, cases):
    """Two standard errors of a share that is as promised."""
    return 2 * sqrt(promised * (1 - promised) / cases)


def at_least(seen, cases, promised):
    assert seen / cases >= promised - error(promised, cases), f"{seen} of {cases}: {seen / cases:.3f}, promised {promised}"


def at_most(seen, cases, promised):
    assert seen / cases <= promised + error(promised, cases), f"{seen} of {cases}: {seen / cases:.3f}, promised no more than {promised}"
