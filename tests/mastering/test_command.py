"""A drive's program is another's work: it prints too much, hangs, starts children, isn't there."""

import sys
import time
from pathlib import Path

import pytest

from mastering.command import LARGEST_OUTPUT, Running

PYTHON = sys.executable


def run(text: str, seconds: float = 20.0):
    return Running([PYTHON, "-c", text], seconds).wait()


def test_a_program_that_ends_tells_its_status_and_all_that_it_printed_on_both_streams():
    ended = run("import sys; print('track 1', flush=True); print('track 2', file=sys.stderr, flush=True); print('done'); sys.exit(3)")
    assert (ended.why, ended.status, ended.console.split("\n")) == ("ended", 3, ["track 1", "track 2", "done", ""])
    assert ended.last_line == "done"


def test_a_program_that_prints_more_than_a_pipe_holds_on_both_streams_ends_all_the_same():
    ended = run("import sys\nfor _ in range(300): print('x' * 999); print('y' * 999, file=sys.stderr)")
    assert (ended.why, ended.status, len(ended.console)) == ("ended", 0, 600_000)


def test_no_more_is_kept_of_an_endless_output_than_a_report_could_need():
    ended = run(f"import sys\nfor _ in range({LARGEST_OUTPUT // 50_000 + 20}): sys.stdout.write('x' * 50_000)")
    assert (ended.why, ended.status, len(ended.console)) == ("ended", 0, LARGEST_OUTPUT)


def test_a_program_that_hangs_is_ended_when_its_time_is_up():
    ended = run("import time; print('reading', flush=True); time.sleep(60)", seconds=0.5)
    assert (ended.why, ended.status, ended.console) == ("time-limit", None, "reading\n")
    assert ended.seconds < 20


def test_a_program_that_refuses_to_end_is_ended_too():
    ended = run("import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('no', flush=True); time.sleep(60)", seconds=0.5)
    assert ended.why == "time-limit" and ended.seconds < 20


@pytest.mark.parametrize("seconds, why", [(0.7, "time-limit"), (20.0, "ended")])
def test_its_children_end_with_it(tmp_path, seconds, why):
    rest = "time.sleep(60)" if why == "time-limit" else ""
    child = "import time; time.sleep(60)"
    ended = run(
        f"import subprocess, sys, time; print(subprocess.Popen([sys.executable, '-c', {child!r}]).pid, flush=True); {rest}", seconds=seconds
    )
    assert ended.why == why
    number, deadline = int(ended.console), time.monotonic() + 10
    while alive(number) and time.monotonic() < deadline:
        time.sleep(0.01)
    assert not alive(number)


def alive(process: int) -> bool:
    """Whether a process is at work; one that has ended and that nobody has asked for its status is not."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_a_program_that_is_not_there_is_told_by_its_name():
    ended = Running(["/no/such/program", "--in", "x"], 5).wait()
    assert (ended.why, ended.status) == ("not-started", None)
    assert ended.console == "/no/such/program: No such file or directory"


def test_arguments_reach_the_program_as_they_are_without_a_shell():
    argument = "$(touch here); `ls` \"quoted\" 'too' *\n"
    ended = Running([PYTHON, "-c", "import sys; print(sys.argv[1], end='')", argument], 20).wait()
    assert ended.console == argument
    assert Running([PYTHON, "a\0b"], 5).wait().why == "not-started"


def test_who_asks_while_it_is_at_work_does_not_wait():
    running = Running([PYTHON, "-c", "import time; time.sleep(60)"], 20)
    assert running.poll() is None
    assert running.stop().why == "stopped"
    assert running.poll() is not None and running.stop().why == "stopped"


def test_a_program_reads_nothing_from_the_keyboard():
    assert run("import sys; print(repr(sys.stdin.read()))").console == "''\n"
