"""Rates: the interval against published values and an independent program; what the table says to people."""

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, norm

from mastering.deciding.rates import Z95, wilson

# R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17 (1998) 857-872,
# Table I, method 3 (score, without continuity correction), 95 %: looked up, as quoted to four decimals.
NEWCOMBE = {(81, 263): (0.2553, 0.3662), (15, 148): (0.0624, 0.1605), (0, 20): (0.0000, 0.1611), (1, 29): (0.0061, 0.1718)}
# R's package binom, binom.confint(method = "wilson"), as kept in the tests of statsmodels 0.15.0: looked up.
R_BINOM = {
    (4, 20): (0.0806576625797981, 0.4160174322518935),
    (4, 200): (0.00780442641634947, 0.05028708690682643),
    (0, 30): (0, 0.11351339),
}


@pytest.mark.parametrize(("bad", "discs"), NEWCOMBE)
def test_the_interval_is_the_published_one(bad, discs):
    assert tuple(round(limit, 4) for limit in wilson(bad, discs)) == NEWCOMBE[bad, discs]


@pytest.mark.parametrize(("bad", "discs"), R_BINOM)
def test_the_interval_is_the_one_of_another_program(bad, discs):
    assert wilson(bad, discs) == pytest.approx(R_BINOM[bad, discs], rel=1e-7, abs=1e-9)


@given(st.integers(1, 2_000_000).flatmap(lambda discs: st.tuples(st.integers(0, discs), st.just(discs))))
def test_the_interval_is_scipys(counts):
    bad, discs = counts
    found = binomtest(bad, discs).proportion_ci(0.95, method="wilson")
    assert wilson(bad, discs) == pytest.approx((found.low, found.high), rel=1e-9, abs=1e-12)


@given(st.integers(1, 2_000_000).flatmap(lambda discs: st.tuples(st.integers(0, discs), st.just(discs))))
def test_the_interval_holds_the_rate_and_has_a_mirror_image(counts):
    bad, discs = counts
    low, high = wilson(bad, discs)
    assert 0 <= low <= bad / discs <= high <= 1
    assert wilson(discs - bad, discs) == pytest.approx((1 - high, 1 - low), abs=1e-12)


def test_the_ends_are_exact():
    assert wilson(0, 7)[0] == 0
    assert wilson(7, 7)[1] == 1


def test_the_quantile_is_the_normal_distributions():
    assert pytest.approx(norm.ppf(0.975), rel=1e-15) == Z95


@pytest.mark.parametrize(("bad", "discs"), [(0, 0), (-1, 5), (6, 5)])
def test_no_share_has_no_interval(bad, discs):
    with pytest.raises(ValueError, match="no share"):
        wilson(bad, discs)


def test_rates_are_told_without_scipy(tmp_path):
    from table import Table, two_sides

    table = Table(tmp_path, two_sides())
    table.done("batch", "reject", table.batch, table.serials[0], "--by-eye", "--reason", "mould")
    program = (
        "import sys; from mastering.cli.main import run; "
        f"status = run(['rates', '--by', 'lot', '--ledger', {str(table.ledger)!r}]); "
        "print(status, 'sqlalchemy' in sys.modules, sorted({'scipy', 'numpy', 'construct'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "0 True []"
    assert "L-07" in done.stdout
