"""Several read-backs judged at once, as on a bench with several drives: each gets the verdict that it gets alone."""

import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from bench import Copy, found, judge, master_of

from mastering.judging.evidence import CaptureReadBack
from mastering.judging.verify import Verifier

TITLES = 8  # their fields are more than are remembered, so that what is remembered changes all the time
ROUNDS = 12


@pytest.fixture(autouse=True)
def busy():
    """The interpreter goes from thread to thread as often as it can."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield
    sys.setswitchinterval(usual)


@pytest.fixture(params=["gcr4to5-35z", "fm-40x18x128-288rpm"])
def copies(request) -> list[Copy]:
    """A copy of each title; a sector of each is damaged, each time another one."""
    made = [Copy(master_of(request.param, seed)) for seed in range(20, 20 + TITLES)]
    for number, copy in enumerate(made):
        address = copy.geometry.addresses[100 + 7 * number]
        _, block = copy.fields(address)
        copy.flip(address, block.body + 301)
    return made


def at_once(judge_number, count: int) -> list:
    """What four threads say of so many read-backs, by their numbers."""
    with ThreadPoolExecutor(4) as threads:
        return list(threads.map(judge_number, range(count)))


def test_four_drives_read_many_titles_at_once(copies):
    captures = [(copy.master, copy.capture()) for copy in copies]
    alone = [judge(*each) for each in captures]
    assert [list(found(verdict).values()) for verdict in alone] == [["block-check"]] * TITLES
    assert at_once(lambda number: judge(*captures[number % TITLES]), TITLES * ROUNDS) == alone * ROUNDS


def test_four_drives_read_discs_for_one_verifier_at_once(copies):
    """All but one are copies of other titles."""
    verifier = Verifier(copies[0].master)
    captures = [copy.capture() for copy in copies]
    alone = [judge(copies[0].master, each) for each in captures]

    def verdict(number: int):
        return verifier.judge(CaptureReadBack("copy.capture", captures[number % TITLES], verifier.known_fields))

    assert at_once(verdict, TITLES * ROUNDS) == alone * ROUNDS
