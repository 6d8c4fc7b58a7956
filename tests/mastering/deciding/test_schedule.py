"""A day's work: when it ends, and what one more drive saves."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mastering.deciding.planning import need
from mastering.deciding.schedule import DEFAULTS, Steps, Work, _Bench, cycle, plan, schedule
from mastering.errors import MasteringError
from mastering.words.planning import duration, plan_sentences

MORNING = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
STEPS = Steps.of()
ORDINARY = [(3, 100)]


def test_common_practice_seven_minutes_a_box():
    """20 boxes with one drive: 2 h 20 min."""
    made = plan(Work(20), need(20, []), 1, STEPS, MORNING, backlog=60)
    assert duration(made.day.minutes) == "2 h 20 min"
    assert made.day.minutes / 20 == pytest.approx(7, abs=0.05)
    assert made.plain()["finish"] == "2026-11-25T11:20:00Z"


def test_a_line_as_other_programs_read_it():
    line = plan(Work(20), need(20, []), 1, STEPS, MORNING).plain()
    assert {"boxes": 20, "discs": 20, "blanks": 23, "minutes": 140.0, "hand_minutes": 91.0, "drive_minutes": 115.5}.items() <= line.items()


def test_what_is_said():
    said = list(plan_sentences(plan(Work(20), need(20, []), 1, Steps.of({"write": 80.0}, {"pack": 120}), MORNING, backlog=50)))
    assert said == [
        "20 boxes: 20 good discs, about 42 sides to write; lay out 23 blanks.",
        "With 1 drive it takes 2 h 15 min and ends at 11:15 UTC: the hands are busy for 1 h 1 min, the drives for 1 h 52 min.",
        "One more drive would save 1 h 3 min.",
        "The backlog of 50 boxes lasts 3 days at this rate.",
        "Step times from the ledger: write 80 s; as given: pack 120 s; by default: insert 15 s, turn-over 15 s, read 80 s, take-out 15 s.",
    ]


def test_by_hand_one_disc():
    """Insert, write, turn over, write, read, turn over, read, take out, pack: 15 + 85 + 15 + 85 + 80 + 15 + 80 + 15 + 210 seconds."""
    day = schedule(Work(1), 1, 1, STEPS)
    assert day.minutes == pytest.approx(600 / 60)
    assert day.hand_minutes == pytest.approx(270 / 60)
    assert day.drive_minutes == pytest.approx(330 / 60)


def test_by_hand_two_discs_on_two_drives():
    """One side, 10 s for each step of the hands, 100 s to write and read: the second drive is served 10 s behind the first."""
    steps = Steps.of(given={"insert": 10, "write": 60, "read": 40, "take-out": 10, "pack": 30})
    assert schedule(Work(2, sides=1), 2, 2, steps).minutes == pytest.approx((10 + 10 + 100 + 10 + 30 + 30) / 60)
    assert schedule(Work(2, sides=1), 2, 1, steps).minutes == pytest.approx((2 * 120 + 30) / 60)


def test_the_order_of_a_discs_steps():
    names = [step for _, step in cycle(Work(1))]
    assert names == ["insert", "write", "turn-over", "write", "read", "turn-over", "read", "take-out"]
    assert [step for _, step in cycle(Work(1, each_side=True))] == ["insert", "write", "read", "turn-over", "write", "read", "take-out"]
    assert [step for _, step in cycle(Work(1, sides=1))] == ["insert", "write", "read", "take-out"]


@settings(max_examples=40)
@given(st.integers(1, 30), st.integers(1, 3), st.sampled_from([1, 2]), st.integers(1, 4), st.integers(0, 6))
def test_no_day_is_shorter_than_what_the_hands_or_a_drive_must_do(boxes, per_box, sides, drives, spoilt):
    work = Work(boxes, per_box, sides)
    written = work.discs + spoilt
    day, more = schedule(work, written, drives, STEPS), schedule(work, written, drives + 1, STEPS)
    handling = 30 + 15 * (2 if sides == 2 else 0)
    assert day.hand_minutes == pytest.approx((written * handling + boxes * DEFAULTS["pack"]) / 60)
    assert day.drive_minutes == pytest.approx(written * sides * (DEFAULTS["write"] + DEFAULTS["read"]) / 60)
    busiest = -(-written // drives) * sides * (DEFAULTS["write"] + DEFAULTS["read"]) / 60
    assert max(day.hand_minutes, busiest) <= day.minutes + 1e-6
    assert day.minutes <= day.hand_minutes + day.drive_minutes + 1e-6
    assert more.minutes <= day.minutes + 5


SECONDS = st.floats(0, 300, allow_subnormal=False)


@given(
    st.dictionaries(st.sampled_from(sorted(DEFAULTS)), SECONDS), st.integers(1, 20), st.integers(1, 3), st.integers(1, 6), st.booleans(),
)  # fmt: skip
def test_every_day_ends_whatever_the_seconds_are(seconds, boxes, per_box, drives, each_side):
    """The hands' minutes are those of their steps, to the last one: what rounding left to be packed once never ended."""
    work, steps = Work(boxes, per_box, 2, each_side), Steps.of(given=seconds)
    bench = _Bench(work, work.discs + 3, drives, steps)
    for _ in range(20 * (work.discs + 3)):
        if not bench.busy:
            break
        bench.step()
    assert not bench.busy
    of_discs = sum(steps.seconds[name] for who, name in cycle(work) if who == "hands") * (work.discs + 3)
    assert bench.hands == pytest.approx(of_discs + steps.seconds["pack"] * boxes)


def test_bad_blanks_take_time_too():
    good, bad = (plan(Work(20), need(20, [seen], seen), 1, STEPS, MORNING) for seen in ((0, 300), (60, 300)))
    assert good.written == 20 and bad.written == 25
    assert bad.day.minutes - good.day.minutes == pytest.approx(5 * 390 / 60)


def test_when_the_hands_are_what_it_waits_for():
    said = list(plan_sentences(plan(Work(20), need(20, ORDINARY), 3, STEPS, MORNING)))
    assert said[2] == "One more drive would save nothing: the limit is the hands, not the drives."


def test_what_can_not_be_is_refused():
    with pytest.raises(MasteringError, match="0 drives"):
        plan(Work(20), need(20, []), 0, STEPS, MORNING)
    with pytest.raises(MasteringError, match="0 boxes"):
        Work(0)
    with pytest.raises(MasteringError, match="step polish: not a step of the work; known: insert"):
        Steps.of(given={"polish": 10})
    with pytest.raises(MasteringError, match="step write: -1"):
        Steps.of(given={"write": -1})


@pytest.mark.parametrize(("minutes", "said"), [(0.2, "0 min"), (59.6, "1 h 0 min"), (140, "2 h 20 min")])
def test_durations(minutes, said):
    assert duration(minutes) == said
