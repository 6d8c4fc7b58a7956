"""A disc that somebody wrote over, or a customer's machine changed: nothing to write again without asking, and no fault of the reader."""

from dataclasses import replace

import pytest
from bench import Copy, judge, judge_dump, master_of, random_dump
from hypothesis import given
from hypothesis import strategies as st

from formats import registry
from mastering.words.verdicts import hands_text, read_text

ZONED = "gcr4to5-35z"
SCORES = [[20, 0, 5], [20, 0, 6]]


@pytest.fixture
def zoned():
    return master_of(ZONED)


def with_scores(master):
    """The master with a file that the customer's machine may change, in two sectors of track 20."""
    files = ({"name": "LAMP", "volatile": False, "sectors": [[20, 0, 4]]}, {"name": "HIGH SCORES", "volatile": True, "sectors": SCORES})
    return replace(master, sides={"A": replace(master.sides["A"], files=files)})


def changed(dump, *places):
    made = bytearray(dump)
    for place in places:
        made[place * 256 + 7] ^= 0x55
    return bytes(made)


@pytest.mark.parametrize(("places", "action"), [((400,), "ask"), ((400, 401), "ask"), ((399, 400), "read-again"), ((399,), "read-again")])
def test_only_files_that_the_customers_machine_may_change_are_changed(zoned, places, action):
    master = with_scores(zoned)
    verdict = judge_dump(master, changed(zoned.sides["A"].dump, *places))
    assert (verdict.verdict, verdict.action) == ("fail", action)
    looks = [finding.looks for finding in verdict.findings]
    assert looks == ["volatile" if place in (400, 401) else None for place in places]
    if action == "ask":
        assert hands_text(verdict, master.sides) == "Ask where it was: the customer's machine changed HIGH SCORES."
        assert read_text(verdict, master.sides) == "the customer's machine changed HIGH SCORES"


def test_a_changed_score_that_reads_as_the_sector_before_is_a_changed_score(zoned):
    """`volatile` comes before the looks of a reader's mistake."""
    dump = bytearray(zoned.sides["A"].dump)
    dump[400 * 256 : 401 * 256] = dump[399 * 256 : 400 * 256]
    assert [finding.looks for finding in judge_dump(with_scores(zoned), bytes(dump)).findings] == ["volatile"]


def test_a_master_of_before_that_names_no_sectors_has_no_such_files(zoned):
    files = ({"name": "HIGH SCORES", "volatile": True},)
    master = replace(zoned, sides={"A": replace(zoned.sides["A"], files=files)})
    assert judge_dump(master, changed(zoned.sides["A"].dump, 400)).action == "read-again"


@pytest.mark.parametrize(("differing", "action"), [(341, "write-again"), (342, "ask")])
def test_another_disc_was_written_over_it(zoned, differing, action):
    """More than half of its sectors are sound and hold something else: no bad writing does that."""
    dump = zoned.sides["A"].dump
    other = random_dump(registry.geometry(ZONED), 7)
    verdict = judge(zoned, Copy(zoned, dump=other[: differing * 256] + dump[differing * 256 :]).capture())
    assert sum(finding.kind == "differs" for finding in verdict.findings) == differing
    assert (verdict.diagnosis, verdict.action) == (None, action)
    if action == "ask":
        say = "Ask where it came from: another disc was written over it (342 of 683 sectors hold something else)."
        assert hands_text(verdict, zoned.sides) == say
        assert read_text(verdict, zoned.sides) == "another disc was written over it: 342 of 683 sectors hold something else"


@given(st.integers(0, 683))
def test_a_dump_alone_never_says_so(differing):
    """What a reader could not read it may have filled, so it is read again."""
    master = master_of(ZONED)
    dump = master.sides["A"].dump
    other = random_dump(registry.geometry(ZONED), 7)
    verdict = judge_dump(master, other[: differing * 256] + dump[differing * 256 :])
    assert verdict.action == ("read-again" if differing else "box")


def test_sectors_left_out_of_a_capture_were_written_so_those_left_out_of_a_dump_were_read_so(zoned):
    dump = zoned.sides["A"].dump
    moved = dump[: 300 * 256] + dump[301 * 256 :] + b"\xf6" * 256
    told = [judge_dump(zoned, moved), judge(zoned, Copy(zoned, dump=moved).capture())]
    assert [(verdict.diagnosis, verdict.action) for verdict in told] == [("shifted", "read-again"), ("shifted", "write-again")]
    assert [hands_text(verdict, zoned.sides).split(":")[0] for verdict in told] == ["Read it again", "Write it again"]
