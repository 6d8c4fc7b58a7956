"""Any story of a bench, and a tiny model of it: the ledger says the same, passes its check, and comes back from its own export."""

import tempfile
from collections import Counter
from itertools import pairwise
from pathlib import Path
from shutil import rmtree

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from table import Table, capture_of, said, two_sides

from mastering.ledger.store import Ledger

DAYS = st.sampled_from(["pass", "pass", "pass", "marginal", "fail", "fail", "short", "other-side", "blank"])
VERDICTS = {"pass": "pass", "marginal": "marginal", "fail": "fail", "blank": "fail"}  # of the days that settle anything
DISCS = 2
RARELY = st.sampled_from([False, False, False, False, True])


class Story(RuleBasedStateMachine):
    """The model of a side is its writings, each a list of reads `[number, day, void]`; of a disc its two sides."""

    @initialize()
    def open(self):
        self.folder = Path(tempfile.mkdtemp())
        self.table = Table(self.folder, two_sides(), drives=("D1", "D2"), discs=DISCS, rules=("--each-side",))
        self.sides = {(serial, side): [] for serial in self.table.serials for side in "AB"}
        self.rejected: set[str] = set()
        self.reads: Counter[str] = Counter()
        self.files: dict[tuple[str, str], list[tuple[Path, int]]] = {}
        self.closed = self.marked = False
        lot_and_drive = ("--lot", "L-07", "--drive", "D1", "--each-side")
        [opened] = self.table.done("batch", "open", self.table.master.path, "--good", 1, *lot_and_drive, "--json").json
        self.stamped = opened["batch"]  # its discs carry their serials
        [self.third] = self.table.hand_out(1, self.stamped)
        self.rows = len(self.table.rows())

    def teardown(self):
        if not hasattr(self, "table"):
            return
        table, other = self.table, ("--ledger", self.folder / "other.sqlite")
        assert table.sound()
        exported = table.done("ledger", "export").out
        (self.folder / "rows.jsonl").write_text("\n".join(exported))
        Ledger.open(self.folder / "other.sqlite", create=True).__exit__()
        assert said("ledger", "import", self.folder / "rows.jsonl", *other).status == 0
        assert said("ledger", "export", *other).out == exported
        assert said("ledger", "check", *other).status == 0
        assert said("batch", "show", table.batch, "--json", *other).out == table.done("batch", "show", table.batch, "--json").out
        rmtree(self.folder)

    # What happens

    def serial(self, number: int) -> str:
        return self.table.serials[number]

    @precondition(lambda self: not self.closed)
    @rule(
        disc=st.integers(0, DISCS - 1),
        side=st.sampled_from("AB"),
        days=st.lists(DAYS, min_size=1, max_size=4),
        rewritten=RARELY,
        drive=st.sampled_from(("D1", "D2")),
    )
    def record(self, disc, side, days, rewritten, drive):
        for place, day in enumerate(days):
            self.one_read(disc, side, day, rewritten and place == 0, drive)

    def one_read(self, disc, side, day, rewritten, drive, capture=None):
        serial, writings = self.serial(disc), self.sides[self.serial(disc), side]
        number = self.reads[serial] + 1
        if capture is None:
            path = self.table.file(f"{serial}-{side}-{number}.dump", *self.table.on_a_day(side, day))
        else:
            path = self.table.file(f"{serial}-{side}-{number}.capture", capture)
        known = bool(writings) and bool(writings[-1]) and not rewritten  # a read of this writing told its drive
        words = (() if known else ("--wrote", drive)) + (("--rewritten",) if rewritten else ())
        if rewritten and self.is_rejected(serial):
            assert "take another blank" in self.table.refused("batch", "record", self.table.batch, path, *words)
            return
        answer = self.table.record(path, *words)
        [line], [standing] = answer.reads, answer.discs
        if not self.reads[serial]:  # all its sides were written before the first is read
            self.sides[serial, "A"].append([])
            self.sides[serial, "B"].append([])
            self.rows += 2
        elif rewritten:
            writings.append([])
            self.rows += 1
        writings[-1].append([number, day, False])
        assert (line["read"], line["writing"]) == (number, len(writings))
        self.reads[serial] = number
        self.files.setdefault((serial, side), []).append((path, number))
        self.rows += 1
        assert (standing["sides"][side], standing["verdict"]) == (self.side(serial, side), self.disc(serial))

    @precondition(lambda self: self.files and not self.closed)
    @rule(data=st.data())
    def record_again(self, data):
        _, files = data.draw(st.sampled_from(sorted(self.files.items())))
        path, number = data.draw(st.sampled_from(files))
        [line] = self.table.record(path, *data.draw(st.sampled_from([(), ("--rewritten",)]))).reads
        assert (line["again"], line["read"]) == (True, number)

    @precondition(lambda self: not self.closed)
    @rule(disc=st.integers(0, DISCS - 1), side=st.sampled_from("AB"))
    def offer_what_was_to_be_written(self, disc, side):
        serial, folder = self.serial(disc), self.folder / f"images-{self.rows}"
        words = ("batch", "image", self.table.batch, serial, "--side", side, "--out", folder, "--capture", "--again")
        if self.is_rejected(serial):
            self.table.refused(*words)
            return
        self.table.done(*words)
        self.rows += 1
        image = folder / f"{serial}-{side}.write.capture"
        assert "to be written" in self.table.refused("batch", "record", self.table.batch, image, "--wrote", "D1")
        copy = self.table.file(f"{serial}-{side}-copied.capture", image.read_bytes())
        assert "byte for byte" in self.table.refused("batch", "record", self.table.batch, copy, "--wrote", "D1")

    @precondition(lambda self: not self.closed)
    @rule(disc=st.integers(0, DISCS - 1))
    def offer_one_discs_capture_for_another(self, disc):
        capture = capture_of(self.table.master, "B", f"reader {self.rows}")
        self.one_read(disc, "B", "pass", False, "D1", capture)
        twin = self.table.file(f"{self.serial(1 - disc)}-B-twin.capture", capture)
        words = ("batch", "record", self.table.batch, twin, "--wrote", "D1")
        assert f"byte for byte the capture of {self.serial(disc)}" in self.table.refused(*words)

    @precondition(lambda self: not self.marked)
    @rule()
    def a_disc_that_was_not_written_from_its_image_holds_the_marker(self):
        path = self.table.file(f"{self.third}-A-marker.dump", self.table.master.sides["A"].dump)
        [line] = self.table.said("batch", "record", self.stamped, path, "--json").reads
        assert (line["verdict"], [finding["kind"] for finding in line["findings"]]) == ("fail", ["serial"])
        self.marked = True
        self.rows += 3  # both its writings, and the read

    @precondition(lambda self: any(self.reads.values()))
    @rule(data=st.data())
    def void(self, data):
        serial = data.draw(st.sampled_from(sorted(self.reads)))
        number = data.draw(st.integers(1, self.reads[serial]))
        words = ("batch", "amend", self.table.batch, serial, "--read", number, "--void", "--reason", "dust")
        all_reads = (read for (of, _), writings in self.sides.items() if of == serial for writing in writings for read in writing)
        read = next(each for each in all_reads if each[0] == number)
        if read[2]:
            assert "already" in self.table.refused(*words)
            return
        self.table.done(*words)
        read[2] = True
        self.rows += 1

    @rule(disc=st.integers(0, DISCS - 1), sure=RARELY)
    def reject(self, disc, sure):
        if not sure:
            return
        words = ("batch", "reject", self.table.batch, self.serial(disc), "--by-eye", "--reason", "mould")
        if self.serial(disc) in self.rejected:
            assert "already" in self.table.refused(*words)
            return
        self.table.done(*words)
        self.rejected.add(self.serial(disc))
        self.rows += 1

    @precondition(lambda self: not self.closed and self.rows > 16)
    @rule()
    def close(self):
        self.table.done("batch", "close", self.table.batch)
        self.closed = True
        self.rows += 1

    @precondition(lambda self: self.closed)
    @rule(disc=st.integers(0, DISCS - 1), day=DAYS)
    def record_too_late(self, disc, day):
        path = self.table.file(f"{self.serial(disc)}-A-late.dump", *self.table.on_a_day("A", day))
        assert "closed" in self.table.refused("batch", "record", self.table.batch, path)

    # What must be so

    def side(self, serial: str, side: str) -> str | None:
        """A side's verdict by the text: the newest read's; a pass after a doubt needs a second one behind it; a spent writing fails."""
        writings = self.sides[serial, side]
        verdicts = self.verdicts(writings[-1]) if writings else []
        if self.spent(verdicts):
            return "fail"
        if not verdicts or set(verdicts) == {"pass"}:
            return verdicts[-1] if verdicts else None
        if verdicts[-1] != "pass":
            return verdicts[-1]
        return "pass" if verdicts[-2] == "pass" else "marginal"

    @staticmethod
    def verdicts(writing: list) -> list[str]:
        return [VERDICTS[day] for _, day, void in writing if day in VERDICTS and not void]

    @staticmethod
    def spent(verdicts: list[str]) -> bool:
        """Two failures, or five reads from one that did not pass on, of which no two running passed."""
        fives = (verdicts[place : place + 5] for place in range(len(verdicts) - 4) if verdicts[place] != "pass")
        return verdicts.count("fail") >= 2 or any(("pass", "pass") not in pairwise(five) for five in fives)

    def counts(self, serial: str) -> bool:
        """Whether a disc carries this serial: none does that was closed before anything was done with it."""
        return bool(self.sides[serial, "A"] or self.sides[serial, "B"] or not self.closed or serial in self.rejected)

    def is_rejected(self, serial: str) -> bool:
        second = (writing for side in "AB" for writing in self.sides[serial, side][1:])
        return serial in self.rejected or any(self.spent(self.verdicts(writing)) for writing in second)

    def disc(self, serial: str) -> str:
        found = {self.side(serial, side) for side in "AB"}
        if self.is_rejected(serial) or "fail" in found:
            return "fail"
        return "open" if None in found else "marginal" if "marginal" in found else "pass"

    @invariant()
    def the_ledger_says_the_same(self):
        if not hasattr(self, "table"):
            return
        batch, *discs = self.table.done("batch", "show", self.table.batch, "--json").json
        assert batch["state"] == ("closed" if self.closed else "open")
        counted = [serial for serial in self.table.serials if self.counts(serial)]
        stand = {v: [self.disc(s) for s in counted].count(v) for v in ("pass", "marginal", "fail", "open")}
        assert batch["discs"] == stand | {"rejected": sum(map(self.is_rejected, counted))}
        assert [line["serial"] for line in discs] == counted
        for line in discs:
            serial = line["serial"]
            assert line["sides"] == {side: self.side(serial, side) for side in "AB"}
            assert line["verdict"] == self.disc(serial)
        left = [serial for serial in self.table.serials if self.closed and self.disc(serial) == "fail"]  # never finished, and bad
        decided = {serial for serial in self.table.serials if self.disc(serial) == "pass" or self.is_rejected(serial)} | set(left)
        rates = self.table.done("rates", "--by", "lot", "--json").json
        bad = sum(self.disc(serial) == "fail" for serial in decided)
        assert [(line["discs"], line["bad"]) for line in rates] == ([(len(decided), bad)] if decided else [])
        assert len(self.table.rows()) == self.rows


TestStory = Story.TestCase
TestStory.settings = settings(
    max_examples=8,
    stateful_step_count=10,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # a story is told as it was found: shorter ones take minutes to find
    suppress_health_check=list(HealthCheck),
)


@pytest.mark.campaign
class TestManyStories(Story.TestCase):
    settings = settings(max_examples=200, stateful_step_count=50, suppress_health_check=list(HealthCheck))
