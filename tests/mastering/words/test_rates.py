"""The table of rates: how sure each is, what was simulated, and that it fits the screen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mastering.deciding.rates import Rate, wilson
from mastering.words.layout import TIE, rendered
from mastering.words.rates import TOO_FEW, bar, rates_table, rates_text


def rows(*rates: Rate) -> list[list[str]]:
    return [[cell.replace(TIE, " ") for cell in row] for row in rates_table(rates, 20).rows]


def rate(discs, bad, *, simulated=False, **counts) -> Rate:
    more = {"rewritten": 0, "first_read": discs, "first_bad": bad} | counts
    return Rate("lot", "L-07", discs, bad, simulated, more)


def test_a_row_says_how_sure_the_rate_is():
    head, row = rows(rate(120, 9, first_bad=14, rewritten=2))
    assert dict(zip(head[:7], row, strict=False)) == {
        "": "L-07", "discs": "120", "bad": "9", "rate": "7.5 %", "95 % sure": "4.0 to 13.6 %", "first pass": "88.3 %", "written again": "2",
    }  # fmt: skip


@pytest.mark.parametrize(("discs", "said"), [(1, "too few to say"), (TOO_FEW - 1, "too few to say"), (TOO_FEW, ""), (1000, "")])
def test_below_twenty_discs_it_is_too_few_to_say(discs, said):
    assert TOO_FEW == 20
    assert rows(rate(discs, 1))[1][-1] == said


def test_what_was_simulated_is_called_so():
    assert rows(rate(50, 1, simulated=True))[1][-1] == "simulated"
    assert rows(rate(5, 1, simulated=True))[1][-1] == "too few to say, simulated"


def test_first_pass_counts_only_discs_that_were_read_at_all():
    told = [row[5] for row in rows(rate(10, 6, first_bad=2, first_read=8), rate(3, 3, first_bad=0, first_read=0), rate(4, 0))[1:]]
    assert told == ["75.0 %", "", "100.0 %"]


@given(st.integers(1, 5000).flatmap(lambda discs: st.tuples(st.integers(0, discs), st.just(discs))))
def test_the_bar_is_as_long_as_the_scale_and_shows_the_interval(counts):
    bad, discs = counts
    low, high = wilson(bad, discs)
    drawn = bar(bad / discs, low, high, 20)
    assert len(drawn) == 20
    assert drawn.count("#") + drawn.count("+") == round(bad / discs * 20)
    assert "-" in drawn or "+" in drawn


def test_the_scale_is_as_long_as_the_bar():
    head, row = rows(rate(20, 20))
    assert len(head[-2]) == len(row[-2])


@pytest.mark.parametrize("columns", [60, 80, 100])
def test_a_table_of_simulated_rates_fits_the_screen_with_every_number_whole(columns):
    lines = list(rendered(rates_text([rate(40, 3, simulated=True), rate(12_000, 371)], columns), columns))
    assert max(map(len, lines)) <= columns
    text = "\n".join(lines)
    for number in ("12,000", "371", "3.1 %", "2.8 to 3.4 %", "2.6 to 19.9 %", "96.9 %"):
        assert number in text


def test_the_bars_are_as_long_as_there_is_room():
    lines = {columns: list(rendered(rates_text([rate(40, 40)], columns), columns)) for columns in (64, 100)}
    assert lines[100][-2].count("+") + lines[100][-2].count("#") == 20
    assert 0 < lines[64][-2].count("+") + lines[64][-2].count("#") < 20
