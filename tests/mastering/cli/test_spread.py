"""Work that is shared out to processes: in order, and nothing that happens in one of them is lost."""

import os
import signal

import pytest

from mastering.cli import spread
from mastering.cli.spread import in_order
from mastering.errors import MasteringError

ITEMS = range(500)


@pytest.fixture(autouse=True)
def three_processes(monkeypatch):
    monkeypatch.setattr(spread, "workers_at_once", lambda: 3)


class TwoArgumentsError(MasteringError):
    """Can't be rebuilt from its text alone, as many exceptions can't."""

    def __init__(self, first, second):
        super().__init__(f"{first} and {second}")


def work(item):
    return str(item), str(os.getpid())


def at_300(act):
    def judged(item):
        if item == 300:
            act()
        return work(item)

    return judged


def raising(error):
    def act():
        raise error

    return at_300(act)


def test_results_come_in_the_order_of_the_items_whoever_did_them():
    results = list(in_order(ITEMS, work))
    assert [first for first, _ in results] == [str(item) for item in ITEMS]
    assert len({process for _, process in results}) == 4


def test_few_items_and_single_processors_are_done_here(monkeypatch):
    assert {process for _, process in in_order(range(40), work)} == {str(os.getpid())}
    monkeypatch.setattr(spread, "workers_at_once", lambda: 1)
    assert {process for _, process in in_order(ITEMS, work)} == {str(os.getpid())}


@pytest.mark.parametrize("error", [ZeroDivisionError("division of a turn by no sectors"), MasteringError("disc.dump: gone"), MemoryError()])
def test_an_exception_in_a_process_is_raised_here(error):
    with pytest.raises(type(error)) as caught:
        list(in_order(ITEMS, raising(error)))
    assert str(caught.value) == str(error)
    assert "in judged" in "".join(caught.value.__notes__)  # where it happened


def test_what_was_judged_before_the_exception_is_still_given():
    given = []
    results = in_order(ITEMS, raising(ZeroDivisionError()))
    with pytest.raises(ZeroDivisionError):
        given.extend(first for first, _ in results)
    assert given == [str(item) for item in range(len(given))]
    assert len(given) > 250


def test_an_exception_that_can_not_travel_leaves_its_words():
    with pytest.raises(MasteringError, match=r"^head and track$"):
        list(in_order(ITEMS, raising(TwoArgumentsError("head", "track"))))


def test_the_end_of_a_process_is_named():
    with pytest.raises(MasteringError, match=r"ended too soon .signal 9"):
        list(in_order(ITEMS, at_300(lambda: os.kill(os.getpid(), signal.SIGKILL))))
    with pytest.raises(MasteringError, match=r"ended too soon .exit status 7"):
        list(in_order(ITEMS, at_300(lambda: os._exit(7))))


def test_processes_whose_results_nobody_reads_are_ended():
    results = in_order(ITEMS, work)
    for _ in range(20):
        next(results)
    results.close()
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)
