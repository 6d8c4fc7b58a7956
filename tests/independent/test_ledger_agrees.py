"""The program's verdicts, actions, counts and rates against the model's, for whole ledgers that were never its own.

Each ledger is imported by one process and asked by others. A disagreement names the seed: `make_ledger(seed)` makes the same lines again.
"""

import json
import random
from pathlib import Path

import console
import pytest
from model_ledger import batch_lines
from model_ledger_make import make_ledger
from model_ledger_rates import rates
from model_ledger_rows import replay, serial_of

ROOT = Path(__file__).parents[2]
LIMITS = ("rate", "low", "high")


def obverse(*arguments):
    """The program's answer: exit status, lines on standard output, standard error."""
    run = console.run(*arguments, cwd=ROOT)
    assert "Traceback" not in run.stderr, run.stderr
    return run.returncode, run.stdout.splitlines(), run.stderr


def asked(ledger, *arguments):
    """What the program says of a ledger, as JSON lines."""
    status, out, err = obverse(*arguments, "--ledger", ledger)
    assert status in (0, 1), err  # the contract does not say whether a bad disc makes `show` end with 1
    return [json.loads(line) for line in out]


def written(path, lines):
    path.write_text("".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines))
    return path


def imported(tmp_path, lines, name="ledger"):
    """The lines, in the ledger of a new shop."""
    status, _, err = obverse("shop", "new", tmp_path / f"{name}-shop")
    assert status == 0, err
    ledger = tmp_path / f"{name}-shop" / "ledger.sqlite"
    status, _, err = obverse("ledger", "import", written(tmp_path / f"{name}.jsonl", lines), "--ledger", ledger)
    assert status == 0, err
    return ledger


def said(line, wanted):
    """What a line says of the things wanted: more keys may stand in it."""
    return {key: line.get(key, "(nothing)") for key in wanted}


def compare(got, want):
    """Lines against lines, one by one, all that is asked for."""
    assert [said(line, other) for line, other in zip(got, want, strict=False)] == want
    assert len(got) == len(want)


def compare_rates(got, want):
    """Rates against rates: numbers exactly, the interval as far as floating point carries it."""
    compare(got, [{key: value for key, value in line.items() if key not in LIMITS} for line in want])
    for line, other in zip(got, want, strict=True):
        assert [line[key] for key in LIMITS] == pytest.approx([other[key] for key in LIMITS], rel=1e-9, abs=1e-12), other["group"]
        assert 0 <= line["low"] <= line["rate"] <= line["high"] <= 1


def agree(tmp_path, lines):
    """Everything that section 8 lets one ask of a ledger."""
    ledger, led = imported(tmp_path, lines), replay(lines)
    assert obverse("ledger", "check", "--ledger", ledger)[0] == 0
    for name in led.batches:
        compare(asked(ledger, "batch", "show", name, "--json"), batch_lines(led, name))
    for by in ("batch", "lot", "inner", "drive", "side", "track"):
        compare_rates(asked(ledger, "rates", "--by", by, "--json"), rates(led, by))
    compare_rates(asked(ledger, "rates", "--by", "drive", "--role", "read", "--json"), rates(led, "drive", "read"))
    return ledger


@pytest.mark.parametrize("seed", range(4))
def test_the_program_and_the_model_say_the_same_of_a_ledger(tmp_path, seed):
    agree(tmp_path, make_ledger(seed, earlier=seed == 3))


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(1000, 1100))
def test_many_more_ledgers(tmp_path, seed):
    lines = make_ledger(seed, discs=random.Random(seed).randint(1, 100), earlier=seed % 10 == 9)
    again = random.Random(seed).randint(1, len(lines))
    agree(tmp_path, lines[:again] if seed % 2 else lines)  # a ledger is one after each of its rows


@pytest.mark.parametrize("seed", [0, 3])
def test_an_export_is_what_was_imported_row_by_row_and_can_be_imported_again(tmp_path, seed):
    lines = make_ledger(seed, discs=20)
    ledger = imported(tmp_path, lines)
    exported = asked(ledger, "ledger", "export")
    compare(exported, lines)
    assert asked(imported(tmp_path, exported, "second"), "ledger", "export") == exported


def test_the_lists_are_the_same_lines_and_batches_have_state_and_discs(tmp_path):
    lines = make_ledger(1)
    ledger, led = imported(tmp_path, lines), replay(lines)
    for what in ("lot", "drive"):
        compare(asked(ledger, what, "list", "--json"), [line for line in lines if line["kind"] == what])
    wanted = []
    for line in lines:
        if line["kind"] == "batch":
            head = batch_lines(led, line["batch"])[0]
            wanted.append(line | {"state": head["state"], "discs": head["discs"]})
    compare(asked(ledger, "batch", "list", "--json"), wanted)


def test_an_empty_ledger_has_no_rates(tmp_path):
    ledger = imported(tmp_path, [line for line in make_ledger(2) if line["kind"] in ("lot", "drive", "batch", "serial")])
    assert asked(ledger, "rates", "--by", "lot", "--json") == []


# --- imports with one wrong line ----------------------------------------------------------------------------------------------

AT = "2026-11-25T19:00:00Z"
BATCH = {"kind": "batch", "batch": "B-0001", "master": "Lamplighter 1.2", "catalogue": "SM-004", "digest": "ab" * 32,
         "sides": {"A": "mfm-40x9x512"}, "good": 2, "lots": ["L-07"], "drives": ["D1"], "operator": None, "at": AT}  # fmt: skip
SERIAL = {"kind": "serial", "batch": "B-0001", "serial": serial_of("SM-004", 1), "at": AT}
READ = {"kind": "read", "readback": "a.dump", "side": "A", "serial": SERIAL["serial"], "on_disc": None, "evidence": "dump", "verdict": "pass",
        "diagnosis": None, "action": "box", "sectors": {"expected": 360, "good": 360}, "unproven": 0, "simulated": False, "findings": [],
        "batch": "B-0001", "read": 1, "writing": 1, "lot": "L-07", "wrote": "D1", "read_by": "D1", "at": AT}  # fmt: skip
CLOSE = {"kind": "close", "batch": "B-0001", "at": AT}
GOOD = [
    {"kind": "lot", "name": "L-07", "count": 10},
    {"kind": "drive", "name": "D1", "tpi": 48, "heads": 1, "simulated": False},
    BATCH,
    SERIAL,
    READ,
]
WRONG = {
    "no JSON": ["{"],
    "a list": [[]],
    "a kind that is none": [{"kind": "lott", "name": "L-08"}],
    "a lot without a name": [{"kind": "lot", "count": 3}],
    "a lot twice": [{"kind": "lot", "name": "L-07", "count": 11}],
    "a serial twice": [SERIAL],
    "a mistyped serial": [SERIAL | {"serial": "SM-004-0003-A"}],
    "a serial of another title": [SERIAL | {"serial": serial_of("SM-005", 2)}],
    "a serial of a batch that is none": [SERIAL | {"batch": "B-0002", "serial": serial_of("SM-004", 2)}],
    "a read of a serial not handed out": [READ | {"serial": serial_of("SM-004", 2)}],
    "a read of a side that the job lacks": [READ | {"side": "B", "read": 2}],
    "a read from a lot that is none": [READ | {"lot": "L-99", "read": 2}],
    "a read by a drive that is none": [READ | {"read_by": "D9", "read": 2}],
    "a verdict that is none": [READ | {"verdict": "good", "read": 2}],
    "a read without a verdict": [{key: value for key, value in (READ | {"read": 2}).items() if key != "verdict"}],
    "a read after the batch was closed": [CLOSE, READ | {"readback": "b.dump", "read": 2}],
    "a reject of an unknown disc": [{"kind": "reject", "batch": "B-0001", "serial": serial_of("SM-004", 9), "lot": None, "reason": "-", "at": AT}],
    "an amend of a read that is none": [{"kind": "amend", "batch": "B-0001", "serial": SERIAL["serial"], "lot": None, "wrote": None, "read": 7,
                                         "void": True, "reason": "-", "at": AT}],
    "a time that is none": [CLOSE | {"at": "yesterday"}],
}  # fmt: skip


def test_the_lines_before_the_wrong_one_are_right(tmp_path):
    assert len(asked(imported(tmp_path, GOOD), "ledger", "export")) == len(GOOD)


@pytest.mark.parametrize("what", WRONG)
def test_an_import_with_one_wrong_line_changes_nothing(tmp_path, what):
    ledger = imported(tmp_path, [{"kind": "lot", "name": "L-01", "count": 10}], "before")
    lines = [line if isinstance(line, str) else json.dumps(line) for line in GOOD + WRONG[what]]
    file = tmp_path / "wrong.jsonl"
    file.write_text("\n".join(lines) + "\n")
    status, out, err = obverse("ledger", "import", file, "--ledger", ledger)
    assert (status, out) == (2, [])
    assert len(err.splitlines()) == 1, err
    assert str(len(lines)) in err, f"which line is it? {err}"
    assert [line["name"] for line in asked(ledger, "ledger", "export")] == ["L-01"]
