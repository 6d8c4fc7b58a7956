"""What checking only some discs would let through: against published tables, scipy, and a simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hypergeom

from mastering.deciding.sampling import accepted, checked_in_all, let_through


def test_the_chance_that_a_batch_passes():
    """SAS/QC User's Guide, PROBHYPR: 120 discs with 22 bad ones, 20 checked, 1 allowed."""
    assert accepted(20, 1, 120, 22) == pytest.approx(0.0762970752, abs=1e-10)


@given(st.integers(1, 60), st.integers(0, 5), st.integers(100, 300), st.integers(0, 40))
def test_it_is_hypergeometric_as_scipy_has_it(checked, allowed, batch, bad):
    assert accepted(checked, allowed, batch, bad) == pytest.approx(hypergeom.cdf(allowed, batch, bad, checked), abs=1e-9)


def test_what_checking_only_some_lets_through():
    """200 discs, 6 bad ones among them: 32 checked and 2 allowed, simulated here."""
    rng = np.random.default_rng(9)
    met = rng.hypergeometric(6, 194, 32, 20_000)
    out = np.where(met <= 2, 6 - met, 0)
    assert let_through(32, 2, 200, 6) == pytest.approx(out.mean(), abs=3 * out.std() / np.sqrt(20_000))
    assert let_through(200, 0, 200, 6) == 0
    assert let_through(32, 2, 200, 0) == 0
    assert checked_in_all(200, 0, 200, 6) == 200
