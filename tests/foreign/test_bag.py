"""The master as a bag, judged by a validator that no one here wrote: the bagit package (RFC 8493)."""

from pathlib import Path

import bagit
import pytest

from mastering.job.job import load
from mastering.master.builder import build, payload, record
from mastering.master.master import write_master

SHOP = Path(__file__).parents[2] / "jobs_demo"


@pytest.fixture
def master(tmp_path: Path) -> Path:
    built = build(load(SHOP / "job.toml"))
    write_master(tmp_path / "master", payload(built), record(built))
    return tmp_path / "master"


def test_the_bag_is_valid(master):
    bag = bagit.Bag(str(master))
    assert bag.version_info == (1, 0)
    bag.validate(processes=1)
    assert set(bag.payload_entries()) == {f"data/{path.name}" for path in (master / "data").iterdir()}
    assert bag.algorithms == ["sha256"]


def test_the_validator_can_fail(master):
    (master / "data" / "side-A.dump").write_bytes(b"")
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(master)).validate()


def test_no_date_is_in_the_bag(master):
    assert "Date" not in (master / "bag-info.txt").read_text()
