"""What is said to the people at the bench: one sentence each, most urgent first, and an action that fits."""

import json

import numpy as np
import pytest
from promises import at_least, at_most
from scipy.stats import hypergeom
from shopfloor import A, B, Fault, ledger, part

from mastering.cli.commands.advise import command
from mastering.deciding.advice import advise
from mastering.deciding.reasons import OtherCulprit
from mastering.deciding.sampling import checked_in_all, let_through
from mastering.deciding.statistics.comparisons import chance_at_any_time, chance_of_count
from mastering.deciding.statistics.history import History, Outcome, Written
from mastering.deciding.statistics.settings import Settings
from mastering.deciding.statistics.states import InUse
from mastering.words.advice import _FIGURES, explanation, line, sentence, to_try

SHOP = Settings()


def advised(history, settings=SHOP, **in_use):
    """The entries by what they are about, for everything in the history unless said otherwise."""
    everything = {"lots": dict.fromkeys(history.lots, 100), "drives": history.drives, "batches": dict.fromkeys(history.batches, 60)}
    return advise(history, InUse(**{**everything, **in_use}), settings, np.random.default_rng(1))


def entry(entries, about, name):
    return next(each for each in entries if (each.about, each.name) == (about, name))


def discs(text, lot="L1", drive="D1", batch="B-0001"):
    """Discs as a text: a failed on side A, b on side B, x in turn on one of them, . good."""
    made, turn = [], 0
    for each in text:
        side = "ab"[turn % 2] if each == "x" else each
        turn += each == "x"
        made.append(
            Outcome(
                f"{lot}-{len(made) + 1}",
                batch,
                lot,
                side in "ab",
                (Written(A, drive, drive, side == "a"), Written(B, drive, drive, side == "b")),
            )
        )
    return made


def dealt(text, lot="L1"):
    """The same, dealt alternately to two drives."""
    made = discs(text, lot)
    return [
        each if number % 2 else each._replace(written=tuple(one._replace(wrote="D2", read="D2") for one in each.written))
        for number, each in enumerate(made)
    ]


# Shape


def test_a_line_as_other_programs_read_it():
    history = ledger(np.random.default_rng(1), 200, Fault("lot", "L2", 0.3))
    lines = [json.loads(json.dumps(line(each, simulated=False))) for each in advised(history)]
    first = lines[0]
    assert list(first) == ["about", "name", "level", "say", "discs", "bad", "working", "culprits", "try", "why", "simulated"]
    assert (first["about"], first["name"], first["level"]) == ("lot", "L2", "stop")
    assert first["culprits"][0]["kind"] == "lot" and first["culprits"][0]["name"] == "L2"
    assert sum(each["chance"] for each in first["culprits"]) == pytest.approx(1)
    assert {each["kind"] for each in first["culprits"]} <= {"none", "lot", "drive", "head", "side", "both"}
    assert all("culprits" in each for each in lines if each["level"] in ("stop", "look"))
    assert all("culprits" not in each for each in lines if each["level"] == "fine")


def test_the_most_urgent_comes_first():
    levels = [each.level for each in advised(ledger(np.random.default_rng(1), 200, Fault("lot", "L2", 0.3)))]
    assert levels == sorted(levels, key=["stop", "look", "wait", "fine"].index)


def test_everything_in_use_has_one_entry_and_one_sentence():
    entries = advised(ledger(np.random.default_rng(2), 100))
    assert sorted((each.about, each.name) for each in entries) == [
        ("batch", "B-0001"), ("drive", "D1"), ("drive", "D2"), ("lot", "L1"), ("lot", "L2"), ("lot", "L3"),
    ]  # fmt: skip
    assert all(sentence(each).endswith(".") and ". " not in sentence(each) for each in entries)


def test_an_empty_ledger():
    entries = advised(History.of([]), lots={"L1": 100}, drives=["D1"], batches={"B-0001": 40})
    assert [(each.about, each.level, each.discs) for each in entries] == [("lot", "wait", 0), ("drive", "wait", 0), ("batch", "wait", 0)]
    assert sentence(entries[0]) == "Lot L1: no disc judged yet."


# Lots


def test_a_bad_lot():
    """The numbers for what is left: beta-binomial, 4 bad of 21. Three of the four failed on one drive."""
    found = entry(advised(History.of(dealt("." * 8 + "x....x..x...x")), lots={"L1": 80}), "lot", "L1")
    assert (found.level, found.discs, found.bad) == ("stop", 21, 4)
    assert sentence(found) == (
        "Lot L1: set the rest aside; 4 of its first 21 discs failed, and about 9 of the 59 left will be bad (1 to 21); "
        "the data can't tell it from drive D2 yet."
    )
    assert found.why["stopped_at"] == 21
    assert to_try(found) == (
        "Write L1-9, L1-17, L1-21 again on D1 and read them there: bad blanks fail again, what D2 did does not; take rejected ones back first."
    )


def test_a_bad_lot_that_fails_on_both_drives():
    """It is compared with a lot that did not fail on the same drives."""
    found = entry(advised(History.of(dealt("." * 40, "L2") + dealt("x..xx..x" * 4)), lots={"L1": 80, "L2": 100}), "lot", "L1")
    assert (found.level, to_try(found)) == ("stop", None)
    assert "can't tell" not in sentence(found)
    assert found.culprits[0].name == "L1" and found.culprits[0].chance > 0.9


def test_one_lot_on_one_drive_is_stopped_and_nothing_is_named():
    """Eight of forty: what all discs have in common can't be told apart, and chance does not explain it."""
    entries = advised(History.of(discs("x....x...x.." + "x...x....x..x" + "....x.........x")), lots={"L1": 100})
    lot, drive = entry(entries, "lot", "L1"), entry(entries, "drive", "D1")
    assert lot.level == "stop"
    assert "the data can't tell it from drive D1" in sentence(lot)
    assert to_try(lot) in (
        "Run 20 discs of L1 on another drive and 20 of another lot on D1.",
        "Unless all of it is one inner box: clean the heads, then run 20 discs of L1 from another inner box.",
    )
    assert drive.level in ("look", "wait")
    chances = {(each.kind, each.name): each.chance for each in lot.culprits}
    assert chances["none", ""] < 0.2
    assert chances["lot", "L1"] > 0.3


def test_the_only_drive_is_never_condemned_for_what_all_lots_do():
    """Eight lots that fail alike on one drive: it may be the drive, or all these blanks are poor, and nothing tells."""
    made = [each for number in range(8) for each in discs("..x....x...x...x....x...x", f"L{number}")]
    found = entry(advised(History.of(made)), "drive", "D1")
    assert (found.culprits[0].kind, found.culprits[0].whole) == ("drive", True)
    assert found.culprits[0].chance > 0.5
    assert found.level == "look"
    assert "not the discs" not in sentence(found)


def apart(text):
    """Discs each of a lot and on a drive of its own, so that nothing but their batch is common to them."""
    return History.of([discs(each, f"L{number}", f"D{number}")[0] for number, each in enumerate(text)])


def test_a_batch_of_few_discs_is_too_early_however_bad():
    found = entry(advised(apart("xx..x..x..")), "batch", "B-0001")
    assert chance_at_any_time(4, 10, SHOP.tolerable) < SHOP.wolf / 10
    assert found.level == "wait"


def test_what_would_be_odd_if_it_were_looked_at_once_is_not_told_of_a_batch():
    """3 of 24, looked at after every disc: more than can be tolerated, but no alarm."""
    assert chance_of_count(3, 24, SHOP.tolerable) < SHOP.wolf < chance_at_any_time(3, 24, SHOP.tolerable)
    assert entry(advised(apart("....x........x.......x..")), "batch", "B-0001").level == "wait"


def test_the_first_bad_disc_of_a_batch_is_no_alarm():
    for text in ("x", "..x", ".x.x" + "." * 8):
        assert entry(advised(History.of(dealt(text))), "batch", "B-0001").level == "wait"


def test_looking_after_every_disc_hardly_ever_cries_wolf_over_a_batch():
    """A good batch of 40 at 3 %, its lots and drives so many that none of them speaks first."""
    rng, cried = np.random.default_rng(11), 0
    for _ in range(60):
        text = "".join("x" if bad else "." for bad in rng.random(40) < 0.03)
        spread = [discs(each, f"L{number}", f"D{number}")[0] for number, each in enumerate(text)]
        cried += any(entry(advised(History.of(spread[:count])), "batch", "B-0001").level == "look" for count in range(1, 41))
    at_most(cried, 60, 0.10)


def test_a_good_lot_is_never_called_good_without_numbers():
    found = entry(advised(History.of(dealt("." * 30))), "lot", "L1")
    assert (found.level, sentence(found)) == ("fine", "Lot L1: go on; 0 of 30 failed (it may still be up to 11.4 %), no sign of trouble.")


def test_too_early():
    found = entry(advised(History.of(dealt("..x..."))), "lot", "L1")
    assert (found.level, to_try(found)) == ("wait", None)
    assert sentence(found) == "Lot L1: carry on, too early to tell: 1 of 6 failed; 2 more failures within the next 7 discs would stop it."


def test_what_it_says_would_stop_a_lot_does_and_no_less():
    history = dealt("..x..." + "....." + "xx")
    assert entry(advised(History.of(history)), "lot", "L1").level == "stop"
    assert entry(advised(History.of(dealt("..x..." + "......" + "xx"))), "lot", "L1").level == "wait"


def test_a_lot_without_a_count():
    found = entry(advised(History.of(dealt("." * 8 + "x....x..x...x")), lots={"L1": None}), "lot", "L1")
    assert sentence(found) == "Lot L1: set the rest aside; 4 of its first 21 discs failed; the data can't tell it from drive D2 yet."


def test_an_inner_box_is_no_reason_to_stop_the_lot():
    found = entry(advised(History.of(dealt("." * 40 + "xx.xxx.x.x"))), "lot", "L1")
    assert found.level == "look"
    assert sentence(found).startswith(
        "Lot L1: set the rest of that inner box aside; 7 of discs 41 to 50 failed, 0 of the other 40: an inner box or a fouled head, not the lot"
    )
    assert to_try(found) == "Clean the heads, then run 20 discs of L1 from another inner box, dealt alternately to all drives."


def test_a_released_lot_begins_anew():
    history = History.of(dealt("." * 8 + "x....x..x...x" + "." * 30))
    assert entry(advised(history), "lot", "L1").level == "stop"
    assert entry(advised(history, since={("lot", "L1"): 21}), "lot", "L1").level == "fine"


def test_a_lot_is_not_stopped_for_what_a_drive_did():
    history = ledger(np.random.default_rng(4), 200, Fault("drive", "D1", 0.5, first=60))
    entries = advised(history)
    assert entry(entries, "drive", "D1").level == "stop"
    found = entry(entries, "lot", "L3")
    assert found.level == "wait"
    assert "but that is drive D1, not the lot" in sentence(found)


def test_a_bad_lot_beside_a_bad_drive_is_not_innocent():
    """The drive is the likelier one, but the lot is not called innocent: first it is to be found out."""
    rng = np.random.default_rng(5)
    made = []
    for number in range(240):
        lot, drive = ("L2" if number >= 120 else "L1"), f"D{number % 3 + 1}"
        bad = bool(rng.random() < (0.7 if drive == "D1" else 0.3 if lot == "L2" and number > 180 else 0.02))
        made += [each for each in discs("x" if bad else ".", lot, drive)]
    found = entry(advised(History.of(made)), "lot", "L2")
    assert found.level in ("stop", "look")
    assert not isinstance(found.reason, OtherCulprit)


# Drives


def test_a_drive_that_fails_more_often():
    history = ledger(np.random.default_rng(4), 200, Fault("drive", "D1", 0.5, first=60))
    found = entry(advised(history), "drive", "D1")
    assert sentence(found).startswith("Drive D1: stop using it and clean its heads; ")
    assert "it is drive D1, not the discs (99 % sure)" in sentence(found)
    assert found.why["since"]["discs"] + found.why["before"]["discs"] == 100


def test_after_cleaning_a_drive_begins_anew():
    history = ledger(np.random.default_rng(4), 200, Fault("drive", "D1", 0.5, 60, 120))
    assert entry(advised(history), "drive", "D1").level in ("stop", "look")
    entries = advised(history, since={("drive", "D1"): 121})
    assert entry(entries, "drive", "D1").level == "fine"
    assert not any(each.accuses("drive", "D1") and each.chance > 0.5 for one in entries for each in one.culprits)
    found = entry(entries, "lot", "L2")
    assert found.level == "wait"
    assert "but that is drive D1 before its last cleaning, not the lot" in sentence(found)


def test_one_drive_and_one_lot_can_not_be_told_apart():
    entries = advised(History.of(discs("." * 60 + "x..xx.x...x.x..xx...x.x.x..x")))
    found = entry(entries, "drive", "D1")
    assert found.level == "look"
    assert to_try(found) == "Run 20 discs of L1 on another drive and 20 of another lot on D1."


def test_a_fouled_head_is_no_worn_drive():
    found = entry(advised(History.of(discs("." * 60 + "xxx.xx.x" + "." * 12))), "drive", "D1")
    assert found.level == "look"
    assert "a disc that sheds or a fouled head, not a worn drive" in sentence(found)


def test_a_drive_is_judged_by_first_writings_and_a_lot_by_what_became_of_the_disc():
    """What a bad drive spoils and a good one saves speaks against the drive only."""
    saved = [each._replace(bad=False) for each in discs("." * 30 + "x.x..x.x.xx..x.x")]
    entries = advised(History.of([each for pair in zip(saved, discs("." * 46, drive="D2"), strict=True) for each in pair]))
    assert entry(entries, "lot", "L1").bad == 0
    assert entry(entries, "drive", "D1").bad == 8
    assert entry(entries, "drive", "D1").level in ("stop", "look")


def test_discs_rejected_by_eye_speak_against_the_lot_only():
    made = [Outcome("", "B-0001", "L1", number % 3 == 0, ()) for number in range(21)]
    entries = advised(History.of(made), drives=["D1"])
    assert entry(entries, "lot", "L1").level == "stop"
    assert entry(entries, "drive", "D1").discs == 0


def test_a_side_that_fails_everywhere():
    entries = advised(ledger(np.random.default_rng(6), 200, Fault("side", "B", 0.3)))
    found = entry(entries, "drive", "D1")
    assert found.level == "look"
    assert "nearly always on side B, whatever the lot and the drive" in sentence(found)


# Many comparisons, batches, places


def test_of_50_good_lots_none_is_stopped():
    stopped = 0
    for seed in range(25):
        history = ledger(np.random.default_rng(seed), 50 * 60, lots=50, mixed=True)
        stopped += any(each.level == "stop" and each.about == "lot" for each in advised(history))
    at_most(stopped, 25, 0.10)


def test_a_lot_that_fails_by_chance_among_many_is_watched():
    bad = dealt("." * 8 + "x....x..x...x", "L0")
    good = [each for number in range(1, 50) for each in dealt("." * 20, f"L{number}")]
    found = entry(advised(History.of(bad + good)), "lot", "L0")
    assert found.level == "wait"
    assert "which one of 50 lots in use does by chance" in sentence(found)


def test_a_batch_speaks_up_only_where_neither_lot_nor_drive_does():
    spread = [discs("x" if number % 8 == 0 else ".", f"L{number % 10}", f"D{number // 8 % 4}")[0] for number in range(80)]
    found = entry(advised(History.of(spread)), "batch", "B-0001")
    assert (found.level, found.bad) == ("look", 10)
    stopped = advised(History.of(dealt("x..x.x...x.x" * 5)))
    assert entry(stopped, "batch", "B-0001").level == "wait"


def test_a_worn_place():
    made = dealt("." * 100)
    for number in range(0, 100, 8):
        one, other = made[number].written  # side A, side B
        made[number] = made[number]._replace(bad=True, written=(one._replace(failed=True, tracks=(18, 19)), other))
    found = next(each for each in advised(History.of(made)) if each.about == "track")
    assert (found.name, found.level, found.discs, found.bad) == ("A/0/18-19", "look", 13, 13)
    assert sentence(found).startswith("Tracks 18 to 19 of side A: look there for a worn or dirty place; 13 of 13")


def test_the_same_ledger_gives_the_same_advice():
    history = ledger(np.random.default_rng(8), 150, Fault("drive", "D1"))
    assert [line(each, simulated=False) for each in advised(history)] == [line(each, simulated=False) for each in advised(history)]


def test_why_every_disc_is_verified_has_the_right_numbers():
    """Of 200 discs 6 are bad: 32 are looked at, 2 of them may be bad; or 59, none of them, and else all. Exact, by scipy too."""
    said = " ".join((command.help or "").split())
    met = np.arange(3)
    assert let_through(32, 2, 200, 6) == pytest.approx(((6 - met) * hypergeom.pmf(met, 200, 6, 32)).sum()) == pytest.approx(4.887, abs=5e-4)
    assert "sends 4.9 of the 6 to customers on average" in said
    assert let_through(59, 0, 200, 6) < 1
    assert checked_in_all(59, 0, 200, 6) == pytest.approx(59 + 141 * (1 - hypergeom.pmf(0, 200, 6, 59)))
    assert "checks 183 of the 200 anyway" in said


def test_every_figure_is_explained():
    """In whole sentences, and without the names that other programs read."""
    explained = {
        "low",
        "high",
        "confidence",
        "fail_adds",
        "score",
        "log_evidence",
        "since",
        "before",
    }  # within another's sentence, or not at all
    for each in advised(ledger(np.random.default_rng(4), 200, Fault("drive", "D1", 0.5, first=60))):
        assert each.why.keys() <= _FIGURES.keys() | explained
        assert not any("_" in text or "{" in text for text in explanation(each))


# Promises


def test_a_20_percent_lot_is_stopped_by_its_15th_disc_in_half_of_all_cases():
    rng = np.random.default_rng(9)
    stopped = 0
    for _ in range(150):
        history = ledger(rng, 15, Fault("lot", "L1"), lots=1)
        stopped += entry(advised(history), "lot", "L1").level == "stop"
    at_least(stopped, 150, 0.5)


def test_runs_condemn_neither_lot_nor_drive():
    """Ten discs at 80 %: without telling runs .99 of the lots and .98 of the drives were condemned (150 ledgers each)."""
    rng = np.random.default_rng(10)
    lots = drives = 0
    for _ in range(80):
        inner_box = part(ledger(rng, 120, Fault("lot", "L1", 0.8, 40, 49), lots=1), 90)
        lots += entry(advised(inner_box), "lot", "L1").level == "stop"
        fouled = part(ledger(rng, 160, Fault("drive", "D1", 0.8, 80, 99), lots=2), 130)
        drives += entry(advised(fouled), "drive", "D1").level == "stop"
    at_most(lots, 80, 0.25)
    at_most(drives, 80, 0.10)
