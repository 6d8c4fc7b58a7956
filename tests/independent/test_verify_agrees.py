"""The program's verdicts against the model's, whole, on hundreds of damaged read-backs of masters that the program built.

A disagreement names the seed: `read_back(case, seed)` makes the same file again.
"""

import json
import random

import pytest
from agreement import build, disagreements, model_line, obverse, read_backs

JOBS = {
    "two-zoned": {"A": "gcr4to5-35z", "B": "gcr4to5-35z"},
    "two-kinds": {"A": "gcr6and2-35x16x256", "B": "gcr4to5-35z"},
    "plain-mfm": {"A": "mfm-40x9x512"},
    "two-heads": {"A": "mfm-40x9x512-2s"},
}


@pytest.fixture(scope="session")
def cases(tmp_path_factory):
    folder = tmp_path_factory.mktemp("agree")
    return {name: build(folder, name, geometries) for name, geometries in JOBS.items()}


@pytest.mark.parametrize("name", JOBS)
def test_the_program_and_the_model_agree(cases, name, tmp_path):
    case = cases[name]
    assert disagreements(case, read_backs(case, range(20)), tmp_path) == []


@pytest.mark.parametrize(("name", "side"), [("two-zoned", "A"), ("two-zoned", "B"), ("two-kinds", "A"), ("two-kinds", "B")])
def test_they_agree_when_a_side_is_believed(cases, name, side, tmp_path):
    assert disagreements(cases[name], read_backs(cases[name], range(1000, 1008)), tmp_path, side) == []


def test_they_agree_when_other_masters_are_at_hand(cases, tmp_path):
    case = cases["two-kinds"]
    for k, other in enumerate(cases.values()):
        for side, one in other.model.sides.items():
            if other is not case:
                (tmp_path / f"r-{k}{ord(side)}.any").write_bytes(one.dump)
    others = [other.model for other in cases.values() if other is not case]
    _, lines = obverse("verify", case.folder, tmp_path, "--json", "--masters", case.folder.parent)
    for path, line in zip(sorted(tmp_path.iterdir()), lines, strict=True):
        told = json.loads(line)
        want = model_line(case, path.read_bytes(), None, None, others)
        assert told.pop("readback") == str(path)
        assert ("error" if "error" in told else told) == want


@pytest.mark.campaign
@pytest.mark.parametrize("name", JOBS)
@pytest.mark.parametrize("first", range(100_000, 102_000, 200))
def test_they_agree_for_a_long_time(cases, name, first, tmp_path):
    side = random.Random(first).choice([None, *cases[name].model.sides])
    found = disagreements(cases[name], read_backs(cases[name], range(first, first + 200)), tmp_path, side)
    for path in tmp_path.iterdir():
        path.unlink()
    assert found == []
