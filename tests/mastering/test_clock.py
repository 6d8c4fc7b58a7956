"""The clock: UTC, whole seconds, RFC 3339, and set by a variable for tests."""

from datetime import UTC, datetime, timedelta

import pytest

from mastering.clock import VARIABLE, moment, now, spelled
from mastering.errors import MasteringError


def test_the_time_is_utc_in_whole_seconds(monkeypatch):
    monkeypatch.delenv(VARIABLE, raising=False)
    text = now()
    assert len(text) == len("2026-11-25T19:30:00Z")
    assert text.endswith("Z")
    assert abs(datetime.now(UTC) - moment(text, "now")) < timedelta(minutes=5)


@pytest.mark.parametrize(
    ("set_to", "time"),
    [
        ("2026-11-25T19:30:00Z", "2026-11-25T19:30:00Z"),
        ("2026-11-25T20:30:00+01:00", "2026-11-25T19:30:00Z"),
        ("2026-11-25T19:30:00.999999Z", "2026-11-25T19:30:00Z"),
        ("0999-01-01T00:00:00Z", "0999-01-01T00:00:00Z"),
    ],
)
def test_the_variable_sets_it(monkeypatch, set_to, time):
    monkeypatch.setenv(VARIABLE, set_to)
    assert now() == time


@pytest.mark.parametrize(
    "text", ["", "yesterday", "2026-11-25T19:30:00", "2026-11-25", "2026-02-30T00:00:00Z", "19:30", "0001-01-01T00:00:00+14:00"]
)
def test_what_is_no_time_is_told_with_an_example(monkeypatch, text):
    monkeypatch.setenv(VARIABLE, text)
    with pytest.raises(MasteringError, match=VARIABLE) as told:
        now()
    assert "2026-11-25T19:30:00Z" in str(told.value)


def test_a_time_comes_back_as_it_was_written_down():
    time = datetime(2026, 11, 25, 19, 30, tzinfo=UTC)
    assert moment(spelled(time), "here") == time
