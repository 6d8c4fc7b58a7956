"""A geometry in a master is data that anybody may have edited: whatever stands there, it is a geometry or it is refused, at once."""

from fractions import Fraction

import pytest
from hostile import HOSTILE, places, with_value
from hypothesis import given, settings
from hypothesis import strategies as st

from formats import registry
from formats.errors import DefinitionError
from formats.model.bounds import out_of_bounds
from formats.model.geometry import Geometry
from formats.model.proof import problems, prove

NAMES = registry.names("geometries", foreign=False)
REFUSED = (DefinitionError, LookupError, TypeError, ValueError, AttributeError, ZeroDivisionError, RecursionError)


@pytest.mark.parametrize("name", NAMES)
def test_every_declared_geometry_is_within_bounds(name):
    assert list(out_of_bounds(registry.geometry(name))) == []


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        (("zones", 0, "last"), 10**30, "zones[0].last"),
        (("zones", 0, "sectors"), 10**30, "zones[0].sectors"),
        (("zones", 0, "cell_ns"), {"ratio": [10**40, 1]}, "zones[0].cell_ns"),
        (("zones", 0, "first"), True, "zones[0].first"),
        (("zones",), [], "zones"),
        (("sector", 1, "parts", 0, "fields", 0, "size"), 10**12, "sector[1].parts[0].fields[0].size"),
        (("sector", 0, "count"), 10**12, "sector[0].count"),
        (("sector", 0, "fill"), "", "sector[0].fill"),
        (("tail",), None, "tail"),
        (("tail",), {"is": "Zone", "first": 1, "last": 1, "sectors": 1, "cell_ns": 1}, "tail"),
        (("lead",), "abc", "lead"),
        (("rpm",), 0, "rpm"),
        (("tpi",), -1, "tpi"),
        (("heads",), 10**20, "heads"),
        (("order",), 7, "order"),
    ],
)
def test_a_number_that_no_disc_has_is_refused_by_its_place(path, value, where):
    plain = with_value(registry.geometry("mfm-40x9x512").plain(), path, value)
    with pytest.raises(DefinitionError) as error:
        prove(Geometry.from_plain(plain))
    assert [problem.where for problem in error.value.problems] == [where]


PLAINS = [registry.geometry(name).plain() for name in ("mfm-40x9x512", "gcr6and2-35x16x256", "gcr4to5-77z-2s", "fm-40x18x128-288rpm")]


@given(st.data())
@settings(max_examples=400)
def test_whatever_stands_anywhere_in_it_is_a_geometry_or_refused(data):
    plain = data.draw(st.sampled_from(PLAINS))
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(list(places(plain))))
        plain = with_value(plain, path, data.draw(HOSTILE))
    try:
        geometry = prove(Geometry.from_plain(plain))
    except REFUSED:
        return
    assert list(problems(geometry)) == []
    assert 0 < len(geometry.addresses) * geometry.size == geometry.dump_bytes < 1 << 28


def test_a_zone_without_cells_is_told_and_nothing_divided_by_it():
    plain = with_value(registry.geometry("mfm-40x9x512").plain(), ("zones", 0, "cell_ns"), Fraction(0))
    with pytest.raises(DefinitionError, match="zone 0-39 is empty"):
        prove(Geometry.from_plain(plain))
