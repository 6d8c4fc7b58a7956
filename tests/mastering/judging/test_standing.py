"""How a disc stands: each rule as a story of the bench, and what holds for every story. `disc_stories` says how a story is written."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mastering.judging.custody import disc_standing
from mastering.judging.standing import READS_OF_A_DOUBT, is_spent, settling, side_standing, verdict_of, why_unsettled
from tests.helpers.disc_stories import standing, step, summary, tell

STORIES = {
    # A serial handed out stands for a disc that is open until judged
    "a blank that nobody wrote is open": ("", "A open B open: open, write"),
    "written, not read: write comes first in the book, so it is still to do": ("write both", "A open B open: open, write"),
    "one side read well: the other face comes next": ("write both, A pass", "A pass B open: open, turn-over"),
    "both sides read well": ("write both, A pass, B pass", "A pass B pass: pass, box"),
    "a disc is as good as its worst side": ("write both, A pass, B soft", "A pass B marginal: marginal, read-again"),
    "an open side hides a soft one": ("write both, A soft", "A marginal B open: open, turn-over"),
    "a failed side counts before an open one": ("write both, A fail", "A fail B open: fail, read-again"),
    # Which reads settle
    "a struck-out read settles nothing": ("write both, A pass, B pass, B fail, strike 3", "A pass B pass: pass, box"),
    "the wrong face up settles nothing": ("write both, A pass, B other-side", "A pass B open: open, turn-over"),
    "another title's disc settles nothing": ("write both, A pass, B other-master", "A pass B open: open, ask"),
    "another machine's format settles nothing": ("write both, A pass, B other-geometry", "A pass B open: open, ask"),
    "a read that ended early settles nothing": ("write both, A pass, B short", "A pass B open: open, read-again"),
    "a read of no side settles nothing": ("write both, A pass, B pass, ? fail", "A pass B pass: pass, box"),
    "a simulated read settles nothing at a real bench": ("write both, A pass, B simulated pass", "A pass B open: open, read-again"),
    "evidence that the batch does not accept settles nothing": ("write both, A pass, B sums pass", "A pass B open: open, read-again"),
    "blank and shifted settle": ("write both, A pass, B blank", "A pass B fail: fail, read-again"),
    "shifted settles": ("write both, A pass, B shifted", "A pass B fail: fail, read-again"),
    "another revision on a good side is a doubt": ("write both, A pass, B pass, B other-master", "A pass B marginal: marginal, read-again"),
    "another geometry on a good side is a doubt": ("write both, A pass, B pass, B other-geometry", "A pass B marginal: marginal, read-again"),
    "the wrong face on a good side is none": ("write both, A pass, B pass, B other-side", "A pass B pass: pass, box"),
    "a doubt by another revision takes two good reads": (
        "write both, A pass, B pass, B other-master, B pass", "A pass B marginal: marginal, read-again",
    ),
    "and ends with the second": ("write both, A pass, B pass, B other-master, B pass, B pass", "A pass B pass: pass, box"),
    "a good read that settles nothing makes no good side": (
        "write both, A pass, B simulated pass, B other-master", "A pass B open: open, ask",
    ),
    "the newest writing counts, not the one before": ("write both, A fail, A fail, B pass, write A, A pass, B pass", "A pass B pass: pass, box"),
    "what is written is open until it is read": ("write both, A fail, A fail, B pass, write A", "A open B open: open, turn-over"),
    # Doubt
    "a good read after a failed one is a doubt": ("write both, B pass, A fail, A pass", "A marginal B pass: marginal, read-again"),
    "two good reads after a failed one pass": ("write both, B pass, A fail, A pass, A pass", "A pass B pass: pass, box"),
    "a soft read among them begins the count again": (
        "write both, B pass, A soft, A pass, A soft, A pass", "A marginal B pass: marginal, read-again",
    ),
    "a doubt after a pass is one, too": ("write both, B pass, A pass, A soft, A pass", "A marginal B pass: marginal, read-again"),
    "a struck-out doubt is none": ("write both, B pass, A fail, A pass, strike 2", "A pass B pass: pass, box"),
    # Spent
    "failed twice: written again": ("write both, B pass, A fail, A fail", "A fail B pass: fail, write-again"),
    "failed twice stays failed, whatever is read later": (
        "write both, B pass, A fail, A fail, A pass, A pass, A pass", "A fail B pass: fail, write-again",
    ),
    "failed twice with good reads between": ("write both, B pass, A fail, A pass, A pass, A fail, A pass", "A fail B pass: fail, write-again"),
    "one failure of two struck out": ("write both, B pass, A fail, A fail, strike 2", "A fail B pass: fail, read-again"),
    "five soft reads": ("write both, B pass, A soft, A soft, A soft, A soft, A soft", "A fail B pass: fail, write-again"),
    "a doubt that ends with its fifth read": ("write both, B pass, A soft, A soft, A soft, A pass, A pass", "A pass B pass: pass, box"),
    "a doubt that has not ended with its fifth read": (
        "write both, B pass, A soft, A pass, A soft, A soft, A pass, A pass, A pass", "A fail B pass: fail, write-again",
    ),
    "four reads of a doubt": ("write both, B pass, A soft, A pass, A soft, A pass", "A marginal B pass: marginal, read-again"),
    "a later doubt counts anew": (
        "write both, B pass, A soft, A soft, A pass, A pass, A soft, A soft, A soft, A pass, A pass", "A pass B pass: pass, box",
    ),
    "good reads before the doubt are none of its five": (
        "write both, B pass, A pass, A pass, A soft, A soft, A soft, A soft", "A marginal B pass: marginal, read-again",
    ),
    "nothing on a side that the bench wrote: written again at once": (
        "bench writes A, bench writes B, A blank, B pass", "A fail B pass: fail, write-again",
    ),
    "nothing on a side that somebody wrote: perhaps not written at all": ("write both, A blank, B pass", "A fail B pass: fail, read-again"),
    "a blank read that was struck out spends nothing": (
        "bench writes A, bench writes B, A blank, B pass, strike 1, A pass", "A pass B pass: pass, box",
    ),
    # Last look
    "side B written over and over: somebody must look at A again": (
        "write both, A pass, B fail, B fail, write B, B pass", "A open B pass: open, turn-over",
    ),
    "one good read settles it": ("write both, A pass, B fail, B fail, write B, B pass, A pass", "A pass B pass: pass, box"),
    "a soft read does not": ("write both, A pass, B fail, B fail, write B, B pass, A soft", "A marginal B pass: marginal, read-again"),
    "of the two reads that end a doubt the older may be older": (
        "write both, A soft, A pass, B fail, B fail, write B, B pass, A pass", "A pass B pass: pass, box",
    ),
    "a doubt that ended before is looked at once more": (
        "write both, A soft, A pass, A pass, B fail, B fail, write B, B pass", "A open B pass: open, turn-over",
    ),
    "a soft side that is overtaken stays soft": (
        "write both, A soft, B fail, B fail, write B, B pass", "A marginal B pass: marginal, read-again",
    ),
    "a failed side that is overtaken stays failed": (
        "write both, A fail, B fail, B fail, write B, B pass", "A fail B pass: fail, read-again",
    ),
    "a side's own new writing overtakes it by itself": ("write both, A pass, B pass, write A", "A open B open: open, turn-over"),
    # Rejected for good
    "the rewriting failed twice, too": ("write both, B pass, A fail, A fail, write A, A fail, A fail", "A fail B open: fail, reject"),
    "it stays bad after two lucky reads": (
        "write both, B pass, A fail, A fail, write A, A fail, A fail, A pass, A pass, B pass", "A fail B pass: fail, reject",
    ),
    "thirty soft reads come to an end": (
        "write both, B pass" + ", A soft" * 5 + ", write A" + ", A soft" * 25, "A fail B open: fail, reject",
    ),
    "until reads are struck out": (
        "write both, A fail, A fail, write A, A fail, A fail, A pass, strike 4, B pass", "A marginal B pass: marginal, read-again",
    ),
    "a writing too many takes nothing back": (
        "write both, A fail, A fail, write A, A fail, A fail, write A, A pass, B pass", "A pass B pass: fail, reject",
    ),
    "by eye": ("write both, A pass, B pass, by eye", "A pass B pass: fail, reject"),
    "by eye, before it was written": ("by eye", "A open B open: fail, reject"),
    "by eye, whatever is read later": ("write both, by eye, A pass, B pass", "A pass B pass: fail, reject"),
    "by eye, whatever is struck out": ("write both, A fail, by eye, strike 1", "A open B open: fail, reject"),
    "restored by eye": ("write both, A pass, B pass, by eye, restore", "A pass B pass: pass, box"),
    "rejected again after it was restored": ("write both, A pass, B pass, by eye, restore, by eye", "A pass B pass: fail, reject"),
    "restored: one more writing": ("write both, A fail, A fail, write A, A fail, A fail, restore", "A fail B open: fail, write-again"),
    "restored, and that one is spent as well": (
        "write both, A fail, A fail, write A, A fail, A fail, restore, write A, A fail, A fail", "A fail B open: fail, reject",
    ),
    "restored, and that one is good": (
        "write both, A fail, A fail, write A, A fail, A fail, restore, write A, A pass, B pass", "A pass B pass: pass, box",
    ),
    "restored by eye allows one more writing, too": (
        "write both, by eye, restore, A fail, A fail, write A, A fail, A fail, B pass", "A fail B pass: fail, write-again",
    ),
    # Taken over
    "taken over to be finished, writings count on": (
        "write both, A fail, A fail, continue, write A, A fail, A fail, B pass", "A fail B pass: fail, reject",
    ),
    "taken over to be finished, what was read stands": ("write both, A pass, continue, B pass", "A pass B pass: pass, box"),
    "reworked: the side with another program is open again": ("write both, A pass, B pass, rework B", "A pass B open: open, turn-over"),
    "reworked: the side that was left alone gets its last look": (
        "write both, A pass, B pass, rework B, write B, B pass", "A open B pass: open, turn-over",
    ),
    "reworked and read": ("write both, A pass, B pass, rework B, write B, B pass, A pass", "A pass B pass: pass, box"),
    "reworked: rewrites begin anew": (
        "write both, A pass, B fail, B fail, write B, B pass, A pass, rework B, write B, B fail, B fail", "A open B fail: fail, write-again",
    ),
    "reworked: and end anew": (
        "write both, A pass, B pass, rework B, write B, B fail, B fail, write B, B fail, B fail", "A open B fail: fail, reject",
    ),
    "reworked: a side left alone counts its writing as the first": (
        "write both, A fail, A fail, write A, A pass, B pass, rework B, write B, B pass, A fail, A fail", "A fail B pass: fail, write-again",
    ),
    # Holds
    "what a held drive read since its last good read settles nothing": (
        "write both, B pass @D2, elsewhere D1, A fail, hold D1 A", "A open B pass: open, read-again",
    ),
    "its last good read still counts": ("write both, A pass, B fail, hold D1 B", "A pass B open: open, read-again"),
    "what it read before that still counts": (
        "write both, A fail, elsewhere D1, B fail, hold D1 B", "A fail B open: fail, read-again",
    ),
    "another drive's reads still count": ("write both, A fail @D2, B pass @D2, hold D1 A", "A fail B pass: fail, read-again"),
    "what it reads after its check counts": ("write both, A fail, hold D1 A, A pass, B pass", "A pass B pass: pass, box"),
    "a hold unspends a writing": ("write both, B pass @D2, A fail, A fail, hold D1 A, A pass @D2", "A pass B pass: pass, box"),
    "a hold takes a rejection for good back": (
        "write both, A fail, A fail, write A, B pass @D2, A fail, A fail, hold D1 A, A pass @D2", "A pass B pass: pass, box",
    ),
    "a hold takes no rejection by eye back": ("write both, A fail, by eye, hold D1 A", "A open B open: fail, reject"),
    "the second drive fails it as well: the reader was right": (
        "write both @D3, B pass @D2, A fail @D1, hold D1 A, A fail @D2", "A fail B pass: fail, write-again",
    ),
    "the writer is held then, and both reads still settle": (
        "write both @D2, B pass @D3, A fail @D1, hold D1 A, A fail @D2, hold D2 A", "A fail B pass: fail, write-again",
    ),
    "what else the reader read of it still settles nothing": (
        "write both @D3, B pass @D2, A fail @D1, A soft @D1, hold D1 A, A fail @D2", "A fail B pass: fail, write-again",
    ),
    "struck out, the first failure confirms nothing": (
        "write both @D3, B pass @D2, A fail @D1, A soft @D1, hold D1 A, A fail @D2, strike 2", "A fail B pass: fail, read-again",
    ),
    "the second drive reads it well: the reader was wrong": (
        "write both @D3, B pass @D2, A fail @D1, hold D1 A, A pass @D2", "A pass B pass: pass, box",
    ),
    # What to do with an open disc
    "nothing is written since the read that settled nothing: its own action": ("write both, A other-side", "A open B open: open, turn-over"),
    "something is written since: on with the work": ("write both, A short, write both", "A open B open: open, write"),
    "the newest of two reads that settled nothing": ("write both, A other-master, B short", "A open B open: open, read-again"),
    "a good read that settled nothing is made again": ("write both, A sums pass", "A open B open: open, read-again"),
    "the read of a decided side asks for nothing": ("write both, A pass, A short", "A pass B open: open, turn-over"),
}  # fmt: skip


@pytest.mark.parametrize("rule", STORIES)
def test_the_rules_of_a_disc(rule):
    story, expected = STORIES[rule]
    assert summary(story) == expected


ONE_SIDED = {
    "one face only: good": ("write A, A pass", "A pass: pass, box"),
    "one face only: no last look": ("write A, A fail, A fail, write A, A pass", "A pass: pass, box"),
    "one face only: nothing read": ("write A", "A open: open, write"),
}


@pytest.mark.parametrize("rule", ONE_SIDED)
def test_a_disc_with_one_side(rule):
    story, expected = ONE_SIDED[rule]
    assert summary(story, sides="A") == expected


def test_a_batch_that_reads_each_side_as_it_is_written_waives_the_last_look():
    story = "write A, A pass, write B, B pass"
    assert summary(story) == "A open B pass: open, turn-over"
    assert summary(story, each_side=True) == "A pass B pass: pass, box"


def test_a_disc_is_written_as_often_as_its_newest_batch_allows():
    spent = "write both, B pass, A fail, A fail"
    again = spent
    for rewrites in range(4):
        assert summary(again, rewrites=rewrites).endswith("reject")
        assert summary(again, rewrites=rewrites + 1).endswith("write-again")
        again += ", write A, A fail, A fail"


@pytest.mark.parametrize(
    ("story", "reason"),
    [
        ("write A, A fail", None), ("write A, A fail, strike 1", "void"), ("write A, ? fail", "no-side"), ("write A, A sums pass", "evidence"),
        ("write A, A simulated pass", "simulated"), ("write A, A short", "short"), ("write A, A other-side", "other-side"),
        ("write A, A other-master", "other-master"), ("write A, A pass, A other-master", None), ("write A, A fail, hold D1 A", "hold"),
    ],
)  # fmt: skip
def test_a_read_that_does_not_count_says_why(story, reason):
    rows = tell(story, "A")
    assert why_unsettled(rows, rows.reads[-1]) == reason


def test_in_rates_by_drive_a_hold_unsettles_nothing():
    rows = tell("write A, A fail, hold D1 A", "A")
    assert [len(settling(rows, rows.writings[0], holds)) for holds in (True, False)] == [0, 1]


# Decided, working


@pytest.mark.parametrize(
    ("story", "decided", "working"),
    [
        ("", False, False), ("write both", False, False), ("write both, A short", False, False), ("write both, A pass", False, True),
        ("write both, A pass, B fail", False, True), ("write both, A pass, B pass", True, False), ("by eye", True, False),
        ("write both, A fail, A fail, write A, A fail, A fail", True, False), ("write both, A pass, B pass, rework A B", False, False),
        ("write both, A pass, B pass, rework B", False, True),
    ],
)  # fmt: skip
def test_a_disc_is_decided_when_it_is_good_or_rejected_and_working_when_a_read_of_it_counts(story, decided, working):
    found = standing(story)
    assert (found.decided, found.working) == (decided, working)


# What to do, and where


@pytest.mark.parametrize(
    ("story", "action", "drives"),
    [
        ("write both, B pass, A fail", "read-again", {"A": "D2"}),
        ("write both, B pass, A fail @D2", "read-again", {"A": "D1"}),
        ("write both, B pass, A soft, A soft @D2", "read-again", {"A": "D1"}),
        ("write both, B pass, A fail, A fail", "write-again", {"A": "D2"}),
        ("write both, A soft, B fail", "read-again", {"B": "D2"}),
        ("write both, A other-side", "turn-over", {"A": "D2"}),
        ("write both, A pass", "turn-over", {}),
        ("write both, A pass, B pass", "box", {}),
        ("by eye", "reject", {}),
    ],
)
def test_another_drive_is_named_where_there_is_one(story, action, drives):
    found = step(story)
    assert (found.action, dict(found.drives)) == (action, drives)


@pytest.mark.parametrize(
    ("held", "retired", "action", "drives"),
    [
        ("", "", "read-again", {"A": "D2"}),
        ("D2", "", "read-again", {}),
        ("", "D2", "read-again", {}),
        ("D1", "", "read-again", {"A": "D2"}),
        ("D1 D2", "", "clean-drive", {}),
        ("D1", "D2", "clean-drive", {}),
        ("", "D1 D2", "read-again", {}),
    ],
)
def test_where_every_drive_that_serves_the_side_is_held_a_drive_is_cleaned_first(held, retired, action, drives):
    found = step("write both, B pass, A fail", held=held, retired=retired)
    assert (found.action, dict(found.drives)) == (action, drives)


@pytest.mark.parametrize("story", ["write both, A pass, B pass", "by eye", "write both, A other-master"])
def test_what_needs_no_drive_waits_for_none(story):
    assert step(story, held="D1 D2").action == step(story).action


def test_the_sides_that_an_action_is_about():
    assert step("write both, A pass").sides == ("B",)
    assert step("write both, A pass, B fail, B fail, write B, B pass").sides == ("A",)
    assert step("write both, A fail, B fail, B fail").sides == ("B",)
    assert step("write both, A fail, B fail").sides == ("A", "B")
    assert step("write both, A fail, A fail, write A, A fail, A fail").sides == ("A",)
    assert step("write both, A pass, B short").because.number == 2


# What holds for every story

VERDICTS = ("pass", "marginal", "fail")
READS = st.lists(st.sampled_from(["pass", "soft", "fail", "short", "other-master", "sums pass"]), min_size=1, max_size=14)


def of_one_side(reads, begin="write A"):
    return tell(", ".join([begin, *(f"A {read}" for read in reads)]), "A")


def verdict(reads):
    return side_standing(of_one_side(reads), "A").verdict


@given(READS)
def test_a_pass_rests_on_a_pass_and_after_a_doubt_on_two(reads):
    found = side_standing(of_one_side(reads), "A")
    counted = [each.verdict for each in settling(of_one_side(reads), found.writing)]
    if found.verdict == "pass":
        assert counted[-1] == "pass"
        assert all(each == "pass" for each in counted) or counted[-2:] == ["pass", "pass"]


@given(READS, st.lists(st.sampled_from(["pass", "soft", "fail"]), max_size=8))
def test_spent_stays_spent(before, after):
    if side_standing(of_one_side(before), "A").spent:
        assert verdict([*before, *after]) == "fail"


@given(READS)
def test_every_doubt_of_a_writing_that_is_not_spent_can_be_ended_by_good_reads(reads):
    found = side_standing(of_one_side(reads), "A")
    ended = side_standing(of_one_side([*reads, "pass", "pass"]), "A")
    assert ended.verdict == "pass" or ended.spent
    if not found.spent and found.verdict == "pass":
        assert verdict([*reads, "pass"]) == "pass"


@given(READS, READS)
def test_what_an_earlier_writing_gave_says_nothing_of_the_newest(before, after):
    rows = of_one_side(after, begin=", ".join(["write A", *(f"A {read}" for read in before), "write A"]))
    assert side_standing(rows, "A").verdict == verdict(after)


@given(READS, st.data())
def test_a_struck_out_read_leaves_the_disc_as_if_it_had_never_been_made(reads, data):
    """But for the action of an open disc: that is still the newest read's own."""
    struck = data.draw(st.integers(0, len(reads) - 1))
    rows = of_one_side(reads)
    void = replace(rows, reads=tuple(replace(each, void=each.number == struck + 1) for each in rows.reads))
    without = replace(rows, reads=tuple(each for each in rows.reads if each.number != struck + 1))
    assert disc_standing(void) == disc_standing(without)


@given(READS)
def test_reading_comes_to_an_end(reads):
    """Whatever is read, a writing is decided, or a doubt has fewer than five reads, and never two failures."""
    rows = of_one_side(reads)
    found = side_standing(rows, "A")
    counted = [each.verdict for each in settling(rows, found.writing)]
    if found.verdict in ("marginal", "fail") and not found.spent:
        assert counted.count("fail") < 2
        good = max((place for place in range(1, len(counted)) if counted[place - 1] == counted[place] == "pass"), default=-1)
        assert 0 < len(counted[good + 1 :]) - next(n for n, each in enumerate(counted[good + 1 :]) if each != "pass") < READS_OF_A_DOUBT


def chance_of_a_rewriting(fails, softs=0.0):
    """The exact chance that a sound side is written again whose reads fail and are soft so often, by following every story to its end."""
    chances = {"pass": 1 - fails - softs, "marginal": softs, "fail": fails}
    rewritten, stories = 0.0, [((), 1.0)]
    while stories:
        before, chance = stories.pop()
        for what in VERDICTS:
            verdicts, now = (*before, what), chance * chances[what]
            settled = settling(rows := of_one_side(["soft" if each == "marginal" else each for each in verdicts]), rows.writings[0])
            if is_spent(settled, rows.writings[0]):
                rewritten += now
            elif verdict_of(verdicts) != "pass" and now > 0:
                stories.append((verdicts, now))
    return rewritten


def test_a_sound_side_whose_reader_fails_two_of_a_hundred_is_rewritten_in_fewer_than_one_of_a_thousand():
    assert chance_of_a_rewriting(0.02) == pytest.approx(0.02 * (0.02 + 0.98 * 0.02))  # a second failure before two good reads
    assert chance_of_a_rewriting(0.02) < 0.001
    assert chance_of_a_rewriting(0.5) > 0.3


def test_a_disc_that_only_ever_reads_soft_is_written_as_often_as_allowed_and_then_rejected():
    story = "write both, B pass"
    while (found := step(story)).action != "reject":
        assert len(story) < 1000
        story += ", write A" if found.action == "write-again" else ", A soft"
    assert story.count("A soft") == 2 * READS_OF_A_DOUBT
