"""How a disc stands: the rules of verdict and action over plain reads."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mastering.judging.standing import PASSES_AFTER_DOUBT, Read, disc_action, disc_verdict, side_standing

VERDICTS = ("pass", "marginal", "fail")
READS = st.lists(st.sampled_from(VERDICTS), min_size=1, max_size=12)


def reads(verdicts, writing=1, by="D1", diagnosis=None, void=False):
    return [Read(number, "A", writing, by, verdict, diagnosis, void) for number, verdict in enumerate(verdicts, 1)]


def standing(verdicts, **keys):
    return side_standing(reads(verdicts, **keys), [1])


# A side


def test_a_side_that_was_never_written_or_never_read_is_open():
    assert side_standing([], []).verdict == "open"
    assert side_standing([], [1]).verdict == "open"


@given(READS)
def test_a_side_passes_only_on_a_pass(verdicts):
    found = standing(verdicts).verdict
    assert (found == "pass") <= (verdicts[-1] == "pass")
    assert (found == "fail") == (verdicts[-1] == "fail")


@given(READS)
def test_two_passes_settle_every_doubt_and_no_fewer_do(verdicts):
    doubted = any(verdict != "pass" for verdict in verdicts)
    assert standing([*verdicts, "pass", "pass"]).verdict == "pass"
    assert standing([*verdicts, "fail", "pass"]).verdict == "marginal"
    assert PASSES_AFTER_DOUBT == 2
    if doubted and verdicts[-1] != "pass":
        assert standing([*verdicts, "pass"]).verdict == "marginal"


@given(READS, READS)
def test_what_an_earlier_writing_gave_says_nothing_of_the_newest(before, after):
    together = reads(before) + reads(after, writing=2)
    assert side_standing(together, [1, 2]).verdict == standing(after).verdict
    assert side_standing(together, [1, 2]).first_bad == (before[0] != "pass")
    assert side_standing(together, [1, 2]).rewritten


@pytest.mark.parametrize(
    "mistake", [{"diagnosis": diagnosis} for diagnosis in ("other-side", "other-master", "other-geometry", "short")] + [{"void": True}]
)
@given(READS, st.integers(0, 12))
def test_a_mistake_anywhere_among_the_reads_changes_nothing(mistake, verdicts, place):
    mistaken = reads(["fail"], **mistake)
    mixed = reads(verdicts)[:place] + mistaken + reads(verdicts)[place:]
    assert side_standing(mixed, [1]) == standing(verdicts)


@pytest.mark.parametrize("diagnosis", ["blank", "shifted"])
def test_a_disc_read_as_blank_or_shifted_is_judged(diagnosis):
    assert standing(["fail"], diagnosis=diagnosis).verdict == "fail"


def test_failures_and_readers_are_those_of_the_newest_writing():
    found = side_standing(reads(["fail", "fail"], by="D1") + reads(["fail"], writing=2, by="D2"), [1, 2])
    assert (found.failed, found.readers) == (1, {"D2"})


# A disc


def sides(*stories):
    return {name: standing(story.split()) if story else side_standing([], []) for name, story in zip("AB", stories, strict=False)}


@pytest.mark.parametrize(
    ("a", "b", "verdict", "action"),
    [
        ("", "", "open", "turn-over"),
        ("pass", "", "open", "turn-over"),
        ("marginal", "", "open", "turn-over"),
        ("fail", "", "fail", "read-again"),
        ("pass", "pass", "pass", "box"),
        ("pass", "marginal", "marginal", "read-again"),
        ("fail pass", "pass", "marginal", "read-again"),
        ("fail", "marginal", "fail", "read-again"),
        ("fail fail", "fail", "fail", "write-again"),
    ],
)
def test_a_disc_is_as_good_as_its_worst_side(a, b, verdict, action):
    for pair in ((a, b), (b, a)):
        assert disc_verdict(sides(*pair).values(), rejected=False) == verdict
        assert disc_action(sides(*pair), False, ["D1"]) == action


@pytest.mark.parametrize("story", ["", "pass", "marginal", "fail"])
def test_rejected_by_eye_is_bad_for_good(story):
    assert disc_verdict(sides(story).values(), rejected=True) == "fail"
    assert disc_action(sides(story), True, ["D1", "D2"]) == "reject"


@pytest.mark.parametrize(
    ("failed", "writing", "readers", "drives", "action"),
    [
        (1, 1, "D1", "D1", "read-again"),
        (1, 2, "D1", "D1", "read-again"),
        (2, 1, "D1", "D1", "write-again"),
        (2, 1, "D1", "D1 D2", "other-drive"),
        (2, 1, "D1 D2", "D1 D2", "write-again"),
        (3, 1, "D1 D2", "D1 D2 D3", "other-drive"),
        (2, 2, "D1", "D1 D2", "reject"),
        (2, 1, "D9", "D1", "other-drive"),
    ],
)
def test_after_a_failure(failed, writing, readers, drives, action):
    verdicts = ["fail"] * failed
    made = [Read(n, "A", writing, by, verdict, None) for n, (verdict, by) in enumerate(zip(verdicts, itertools.cycle(readers.split())), 1)]
    found = {"A": side_standing(made, range(1, writing + 1))}
    assert disc_action(found, False, drives.split()) == action


def test_a_reader_whose_read_passed_has_read_this_writing_too():
    made = [*reads(["fail"], by="D1"), *reads(["pass"], by="D2"), *reads(["fail"], by="D1")]
    assert disc_action({"A": side_standing(made, [1])}, False, ["D1", "D2"]) == "write-again"


@given(st.integers(0, 3), st.integers(1, 5))
def test_a_disc_is_written_as_often_as_the_bench_allows(rewrites, writing):
    made = reads(["fail", "fail"], writing=writing)
    assert disc_action({"A": side_standing(made, [writing])}, False, ["D1"], rewrites) == (
        "reject" if writing > rewrites else "write-again"
    )
