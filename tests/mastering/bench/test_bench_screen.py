"""What the operator sees from the corner of an eye: one thing to do."""

from hypothesis import given
from hypothesis import strategies as st

from mastering.bench.floor import Hands
from mastering.bench.screen import Screen, lines
from mastering.words.hands import FACES, GUARDS, say

S17 = "SM-004-0017-X"


def test_the_screen_of_a_running_batch():
    screen = Screen(
        "Lamplighter 1.2, batch B-0003", 12, 40, 9, ["Turn over disc 0017 in D1: label down."],
        {"D1": "waits for you", "D2": "reads side B of 0016"}, "Disc 0015 passed.", "", {"space": "done", "r": "reject", "?": "why"},
    )  # fmt: skip
    assert lines(screen) == [
        "Lamplighter 1.2, batch B-0003                            12 of 40 good   9 today",
        "",
        "  Turn over disc 0017 in D1: label down.",
        "",
        "  D1     waits for you",
        "  D2     reads side B of 0016",
        "",
        "Disc 0015 passed.",
        "",
        "[space] done   [r] reject   [?] why",
    ]


texts = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=300)


@given(
    texts,
    st.lists(texts, max_size=3),
    st.dictionaries(st.sampled_from(["D1", "D2", "R1", "a-long-name"]), texts),
    texts,
    texts,
    st.booleans(),
)
def test_it_fits_and_keeps_what_to_do_and_the_keys(title, now, drives, last, why, paused):
    shown = lines(
        Screen(title, 1, 2, 3, [text for text in now if text.strip()][:2], drives, last, why, {"space": "done", "q": "stop"}, paused=paused)
    )
    assert len(shown) <= 24 and all(len(line) <= 80 for line in shown)
    assert shown[-1] == "[space] done   [q] stop"


def test_simulated_discs_are_marked_on_every_screen():
    assert lines(Screen("x", 0, 1, 0, [], {}, simulated=True))[0].startswith("SIMULATED")


def test_every_action_says_the_disc_the_drive_and_the_face():
    for action in ("insert", "turn-over", "reseat", "move", "label"):
        for face, words in FACES.items():
            sentence = say(Hands(action, S17, "D1", face, source="D2"), S17)
            assert "0017" in sentence and "D1" in sentence and words in sentence
    assert say(Hands("insert", S17, "D1", "A", fresh=True), S17, "L-07") == (
        "Put a fresh blank of lot L-07 into D1, label up. It becomes disc 0017."
    )
    assert say(Hands("take-out-bad", S17, "D1"), S17) == "Disc 0017 is bad. Take it out of D1: red dot, reject box."


def test_every_guard_has_its_words():
    for kind in GUARDS:
        assert say(Hands("take-out", S17, "D1", why=kind), S17).startswith(GUARDS[kind])
