"""`batch run` at a simulated table, with drives and hands that are programs of their own."""

import pytest
from benchtable import Bench
from table import one_side


def story(events: list[dict]) -> list[str]:
    words = {"hands": "action", "guard": "kind", "verdict": "read"}
    return [f"{event[words[event['event']]]}" if event["event"] in words else event["event"] for event in events]


def test_two_good_discs_in_one_drive(tmp_path):
    bench = Bench(tmp_path)
    events = bench.run()
    assert bench.errors == [] and bench.status == 0
    one = ["insert", "writing", "turn-over", "writing", "reading", "pass", "turn-over", "reading", "pass", "take-out-good"]
    assert story(events) == [*one, *one, "done"]
    assert list(bench.verdicts().values()) == ["pass", "pass"]
    assert events[-1]["good"] == events[-1]["wanted"] == 2
    assert bench.sound()


@pytest.mark.parametrize(
    "trouble, guard",
    [
        ({"at": "turn-over", "kind": "forgets"}, "not-turned-over"),
        ({"at": "write", "kind": "not-ready"}, "not-ready"),
        ({"at": "read", "face": "B", "kind": "breaks"}, "command-failed"),
    ],
)
def test_a_mishap_is_caught_and_the_disc_comes_out_good(tmp_path, trouble, guard):
    bench = Bench(tmp_path, good=1)
    bench.goes_wrong(trouble)
    events = bench.run()
    assert guard in story(events) and bench.status == 0
    assert list(bench.verdicts().values()) == ["pass"] and bench.sound()


def test_a_finished_disc_that_was_put_back_is_not_written_over(tmp_path):
    bench = Bench(tmp_path, good=2)
    bench.goes_wrong({"at": "insert", "serial": "SM-004-0002-V", "kind": "finished-disc"})
    events = bench.run()
    assert "finished-disc" in story(events) and bench.status == 0, story(events)
    assert list(bench.verdicts().values()) == ["pass", "pass"]


def test_a_reader_that_hands_back_the_written_file_passes_no_disc(tmp_path):
    bench = Bench(tmp_path, good=1)
    image = bench.folder / "bench" / bench.batch / "to-write" / "SM-004-0001-X-B.write.capture"
    bench.goes_wrong({"at": "read", "face": "B", "kind": "hands-back", "file": str(image)})
    events = bench.run()
    written = [place for place, word in enumerate(story(events)) if word == "written-file"]
    assert len(written) >= 1 and bench.status == 0


def test_a_writing_that_spoils_side_b_is_read_again_elsewhere_written_again_and_saved(tmp_path):
    bench = Bench(tmp_path, ("D1", "D2"), good=1)
    bench.goes_wrong({"at": "write", "face": "B", "kind": "spoils"})
    events = bench.run()
    reads = [(event["drive"], event["side"], event["read"]) for event in events if event["event"] == "verdict"]
    assert reads == [("D2", "B", "fail"), ("D1", "B", "fail"), ("D1", "B", "pass"), ("D2", "A", "pass")] and bench.status == 0
    assert list(bench.verdicts().values()) == ["pass"]


def test_a_run_that_was_killed_goes_on_where_the_discs_are(tmp_path):
    bench = Bench(tmp_path, good=2)
    bench.goes_wrong({"at": "turn-over", "kind": "breaks"})
    bench.run()
    assert bench.status == 2  # the hands could not go on
    events = bench.run()
    assert bench.status == 0, (bench.errors, story(events))
    assert sorted(bench.verdicts().values()) == ["pass", "pass"] and bench.sound()


def test_a_drive_that_spoils_disc_after_disc_is_held_and_the_others_go_on(tmp_path):
    bench = Bench(tmp_path, ("D1", "D2", "D3"), good=4, hold_after=2)
    bench.goes_wrong(*({"at": "write", "drive": "D1", "face": face, "kind": "spoils"} for face in "ABABABAB"))
    events = bench.run()
    held = [event["drive"] for event in events if event["event"] == "hold"]
    assert "D1" in held, story(events)
    after = [event for event in events[[event["event"] for event in events].index("hold") :] if event["event"] in ("writing", "reading")]
    assert bench.sound() and all(event["drive"] not in held for event in after[len(held) + 2 :])
    assert len([verdict for verdict in bench.verdicts().values() if verdict == "pass"]) in (3, 4) or bench.status == 1


def test_a_bench_that_does_not_fit_the_ledger_is_refused_before_anything_is_written(tmp_path):
    bench = Bench(tmp_path)
    bench.file.write_text(bench.file.read_text().replace("[drive.D1]", "[drive.D9]") + '[drive.R1]\nby_hand = "from-r1"\n')
    bench.run()
    assert bench.status == 2 and len(bench.errors) == 3
    assert "drive.D9: the ledger knows no such drive" in bench.errors[0] and "drive.R1.by_hand: " in bench.errors[2]
    assert bench.verdicts() == {}


def test_the_label_is_printed_before_the_last_look_and_a_disc_with_a_wrong_one_gets_another(tmp_path):
    bench = Bench(tmp_path, good=1, label=True)
    bench.goes_wrong({"at": "label", "kind": "wrong-label"})
    words = story(bench.run())
    assert bench.status == 0
    assert words[5:] == ["pass", "label", "wrong-label", "label", "reading", "pass", "take-out-good", "done"]
    rows = [line for line in bench.done("ledger", "export").json if line["kind"] == "label"]
    assert [row["serial"] for row in rows] == ["SM-004-0001-X"] * 2
    pdf = (bench.folder / "bench" / "labels" / "SM-004-0001-X.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-") and pdf.rstrip().endswith(b"%%EOF")


def test_a_finished_disc_of_a_title_without_serials_is_not_written_over_either(tmp_path):
    bench = Bench(tmp_path, good=2, master=one_side())
    bench.goes_wrong({"at": "insert", "serial": "SM-004-0002-V", "kind": "finished-disc"})
    words = story(bench.run())
    assert words.count("finished-disc") == 1 and words.count("writing") == 2 and bench.status == 0, words
    assert list(bench.verdicts().values()) == ["pass", "pass"]
