"""A name that there is not: the nearest is offered, however few there are."""

import pytest

from mastering.errors import unknown


@pytest.mark.parametrize(
    ("name", "known", "said"),
    [
        ("LEVLS", ["A", "C", "LEVELS", "B"], "there is no 'LEVLS'; did you mean LEVELS? there are A, C, LEVELS, B"),
        ("levels", ["A", "LEVELS"], "there is no 'levels'; did you mean LEVELS? there are A, LEVELS"),
        ("demoo", ["demo"], "there is no 'demoo'; did you mean demo?"),
        ("X", ["LEVELS"], "there is no 'X'; there are LEVELS"),
        ("name7x", [f"name{number}" for number in range(20)], "there is no 'name7x'; did you mean name7?"),
        ("x", list("ABCDEFGHIJ"), "there is no 'x'; there are A, B, C, D, E, F, G, H, I, J"),
    ],
)
def test_the_nearest_name_is_offered(name, known, said):
    assert unknown(name, known) == said
