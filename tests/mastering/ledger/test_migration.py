"""Ledgers of before, taken anew from their log: nothing of theirs is lost, their verdicts stand, or it is said which changed and why."""

import json
import sqlite3
from contextlib import closing

import pytest
from table import done, said

from mastering.ledger import migrations
from mastering.ledger.log_writer import START, chained
from mastering.ledger.store import APPLICATION
from mastering.simulator.bench import Bench
from mastering.simulator.history import Shop, history
from mastering.simulator.quality import Course, DriveQuality, LotQuality

RANK = {"pass": 0, "marginal": 1, "open": 2, "fail": 3}


def of_before(path, lines: list[dict], verdicts: dict[str, str]) -> None:
    """A ledger as version 2 left it: its log, and of its other tables what the new program looks at."""
    with closing(sqlite3.connect(path)) as old:
        for _, statements in (step for step in migrations.steps(0) if step[0] <= 2):
            for statement in statements:
                old.execute(statement)
        before = START
        for number, line in enumerate(lines, 1):
            text = json.dumps(line, separators=(",", ":"))
            before = chained(before, text)
            old.execute("INSERT INTO log VALUES (?, ?, ?)", (number, text, before))
            if line["kind"] == "serial":
                old.execute(
                    "INSERT INTO discs VALUES (?, ?, 1, 1, 1, 0, ?, 0, 0, 0)", (number, line["serial"], RANK[verdicts[line["serial"]]])
                )
        old.execute("PRAGMA user_version = 2")
        old.execute(f"PRAGMA application_id = {APPLICATION}")
        old.commit()


def simulated_lines(discs: int = 60) -> list[dict]:
    """A shop's history in rows as they were before: no writings of their own, no `verify`, all drives simulated."""
    bench = Bench(5, {"L-01": LotQuality(Course(0.3)), "L-02": LotQuality(Course(0.02))}, {"D1": DriveQuality(), "D2": DriveQuality()})
    return [json.loads(json.dumps(line)) for line in history(bench, discs, Shop(per_batch=20))]


def read(serial: str, number: int, verdict: str, side: str = "A", **more) -> dict:
    wrong = [{"track": 1, "head": 0, "sector": 0, "kind": "absent"}] if verdict == "fail" else []
    line = {
        "kind": "read", "readback": f"{serial}-{side}-{number}.dump", "side": side, "evidence": "dump", "verdict": verdict, "diagnosis": None,
        "action": "box" if verdict == "pass" else "read-again", "sectors": {"expected": 683, "good": 683 - len(wrong)}, "unproven": 0,
        "simulated": False, "findings": wrong, "serial": serial, "on_disc": None, "batch": "B-0001", "read": number, "writing": 1,
        "lot": "L-07", "wrote": "D1", "read_by": "D1", "at": "2026-11-25T20:00:00Z",
    }  # fmt: skip
    return line | more


SERIALS = ["SM-004-0001-X", "SM-004-0002-V", "SM-004-0003-T"]
SHOP = [
    {"kind": "lot", "name": "L-07", "count": 40},
    *({"kind": "drive", "name": name, "tpi": 48, "heads": 1, "simulated": name == "S1"} for name in ("D1", "S1")),
    {"kind": "batch", "batch": "B-0001", "master": "Lamplighter 1.2", "catalogue": "SM-004", "digest": "0" * 64, "sides": {"A": "gcr4to5-35z"},
     "good": 2, "lots": ["L-07"], "drives": ["D1", "S1"], "operator": None, "at": "2026-11-25T20:00:00Z"},
    *({"kind": "serial", "batch": "B-0001", "serial": serial, "at": "2026-11-25T20:00:00Z"} for serial in SERIALS),
]  # fmt: skip


def test_a_simulated_shops_ledger_stays_as_it_was(tmp_path):
    path, lines = tmp_path / "ledger.sqlite", simulated_lines()
    of_before(path, lines, {line["serial"]: "pass" for line in lines if line["kind"] == "serial"})
    ledger = ("--ledger", path)
    said("ledger", "check", *ledger)  # whatever its verdicts were before
    assert said("ledger", "check", *ledger).status == 0
    exported = done("ledger", "export", *ledger).json
    assert [{key: value for key, value in row.items() if key != "chain"} for row in exported] == lines
    batches = done("batch", "list", "--json", *ledger).json
    assert [(batch["discs"]["pass"] + batch["discs"]["fail"]) for batch in batches] == [20, 20, 20]  # practice: simulated reads count
    assert all(line["each_side"] for line in done("batch", "show", "B-0001", "--json", *ledger).json[1:])
    rates = done("rates", "--by", "lot", "--json", *ledger).json
    assert sum(line["discs"] for line in rates) == 60
    assert all(line["simulated"] for line in rates)


def test_old_verdicts_stand_or_it_is_said_which_changed_and_why(tmp_path):
    """Failed twice was forgiven after two passes, and what a simulated drive read in a real batch proved a disc."""
    path = tmp_path / "ledger.sqlite"
    good, forgiven, simulated = SERIALS
    lines = [
        *SHOP,
        read(good, 1, "fail"), read(good, 2, "pass"), read(good, 3, "pass"),
        *(read(forgiven, number, verdict) for number, verdict in enumerate(("fail", "fail", "pass", "pass"), 1)),
        read(simulated, 1, "pass", read_by="S1", simulated=True),
    ]  # fmt: skip
    of_before(path, lines, dict.fromkeys(SERIALS, "pass"))
    answer = said("batch", "show", "B-0001", "--json", "--ledger", path)
    assert [(line["serial"], line["verdict"]) for line in answer.json[1:]] == [(good, "pass"), (forgiven, "fail"), (simulated, "open")]
    assert answer.err[0] == "obverse: the ledger was brought to this version; its rules change the verdict of 2 discs:"
    assert f"{forgiven}: pass before, fail by the rules of this version (a failed writing stays failed" in answer.err[1]
    assert f"{simulated}: pass before, open by the rules of this version (simulated reads count in a practice batch only)" in answer.err[2]
    assert said("batch", "list", "--ledger", path).err == []
    assert said("ledger", "check", "--ledger", path).status == 0


def test_a_migration_that_fails_leaves_the_ledger_of_before(tmp_path):
    path = tmp_path / "ledger.sqlite"
    of_before(path, [*SHOP, read(SERIALS[0], 1, "pass", side="B", sectors={"expected": 683, "good": 683})], dict.fromkeys(SERIALS, "open"))
    before = path.read_bytes()
    answer = said("lot", "list", "--ledger", path)
    assert (answer.status, len(answer.err)) == (2, 1)
    assert path.read_bytes() == before


@pytest.mark.parametrize("key", ["verify", "practice", "accept"])
def test_what_a_batch_does_not_say_is_as_it_was_before(tmp_path, key):
    path = tmp_path / "ledger.sqlite"
    of_before(path, SHOP, dict.fromkeys(SERIALS, "open"))
    [batch] = done("batch", "list", "--json", "--ledger", path).json
    assert key not in batch
