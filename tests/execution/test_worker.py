"""A worker answers calls; one that hangs, eats memory, crashes or leaves costs itself only."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from execution import calls

from fairhearing.execution.limits import Limits
from fairhearing.execution.worker import Worker, WorkStopped

CALLS = calls.__name__


@pytest.fixture
def worker() -> Iterator[Worker]:
    with Worker(Limits(seconds=20.0, megabytes=400.0)) as worker:
        yield worker


def is_running(process_id: int) -> bool:
    """Whether there is such a process; one that ended and was not yet asked after does not count."""
    try:
        state = Path(f"/proc/{process_id}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def until_gone(process_id: int) -> bool:
    deadline = time.monotonic() + 10.0
    while is_running(process_id) and time.monotonic() < deadline:
        time.sleep(0.02)
    return not is_running(process_id)


def test_calls_are_answered_by_one_other_process(worker: Worker) -> None:
    assert worker.call(f"{CALLS}:times", 6.0, 7.0) == 42.0
    first = worker.call(f"{CALLS}:process_id")
    assert first == worker.call(f"{CALLS}:process_id") != os.getpid()


def test_the_process_prepares_itself_once_before_the_first_call() -> None:
    with Worker(Limits(), f"{CALLS}:prepare") as worker:
        for _ in range(2):
            assert worker.call(f"{CALLS}:prepared_in") == [worker.call(f"{CALLS}:process_id")]


def test_arrays_arrive_whole_and_read_only_and_the_own_ones_stay(worker: Worker) -> None:
    array = np.arange(100_000, dtype=float)
    assert worker.call(f"{CALLS}:total", array) == array.sum()
    with pytest.raises(WorkStopped, match=r"^failed: ValueError: assignment destination is read-only$"):
        worker.call(f"{CALLS}:fill", array)
    assert array[-1] == 99_999.0


def test_what_a_call_prints_does_not_disturb_its_answer(worker: Worker, capfd: pytest.CaptureFixture[str]) -> None:
    assert worker.call(f"{CALLS}:say_and_return", "loud") == "loud"
    assert capfd.readouterr().out == ""


def test_arithmetic_is_done_in_one_thread(worker: Worker) -> None:
    assert worker.call(f"{CALLS}:threads") == "1"


@pytest.mark.parametrize("function", ["hang", "sleep"])
def test_a_call_that_takes_too_long_is_stopped_and_the_next_one_answered(function: str) -> None:
    with Worker(Limits(seconds=0.5)) as worker:
        first = worker.call(f"{CALLS}:process_id")
        begun = time.monotonic()
        with pytest.raises(WorkStopped, match=r"^took longer than 0\.5 s$"):
            worker.call(f"{CALLS}:{function}", *([60.0] if function == "sleep" else []))
        assert 0.5 <= time.monotonic() - begun < 5.0
        assert isinstance(first, int)
        assert until_gone(first)
        assert worker.call(f"{CALLS}:times", 2.0, 3.0) == 6.0


def test_a_call_within_the_time_is_not_stopped() -> None:
    with Worker(Limits(seconds=5.0)) as worker:
        assert worker.call(f"{CALLS}:sleep", 0.2) == "awake"


def test_starting_up_takes_none_of_a_call_s_time() -> None:
    with Worker(Limits(seconds=1.0), f"{CALLS}:prepare") as worker:
        assert worker.call(f"{CALLS}:times", 1.0, 1.0) == 1.0


def test_a_process_that_a_stopped_call_began_is_stopped_with_it(tmp_path: Path) -> None:
    file = tmp_path / "pid"
    with Worker(Limits(seconds=2.0)) as worker, pytest.raises(WorkStopped, match="took longer"):
        worker.call(f"{CALLS}:hang_with_a_child", str(file))
    assert until_gone(int(file.read_text(encoding="ascii")))


def test_a_call_that_eats_memory_fails_and_the_next_one_has_all_of_it_again(worker: Worker) -> None:
    assert worker.call(f"{CALLS}:eat", 300) == 300_000_000
    with pytest.raises(WorkStopped, match="MemoryError"):
        worker.call(f"{CALLS}:eat", 500)
    assert worker.call(f"{CALLS}:eat", 300) == 300_000_000


def test_memory_that_a_call_keeps_is_not_the_next_one_s_to_carry(worker: Worker) -> None:
    worker.call(f"{CALLS}:keep", 250)
    assert worker.call(f"{CALLS}:eat", 300) == 300_000_000


@pytest.mark.parametrize(
    ("function", "argument", "told"),
    [
        ("leave", 7, r"^ended its process \(exit code 7\)$"),
        ("leave", 0, r"^ended its process \(exit code 0\)$"),
        ("crash", None, r"^ended its process \(SIGSEGV\): a crash, or more than 400 MB of memory$"),
        ("exit_politely", None, r"^failed: SystemExit: enough$"),
        ("return_what_cannot_be_sent", None, r"^ended its process"),
        ("no_such_function", None, r"^failed: AttributeError: "),
    ],
)
def test_a_call_that_ends_badly_is_told_and_the_next_one_answered(
    worker: Worker, function: str, argument: object, told: str
) -> None:
    with pytest.raises(WorkStopped, match=told):
        worker.call(f"{CALLS}:{function}", *([] if argument is None else [argument]))
    assert worker.call(f"{CALLS}:times", 2.0, 3.0) == 6.0


def test_a_process_that_cannot_start_is_told() -> None:
    with (
        Worker(Limits(), f"{CALLS}:fail_to_prepare") as worker,
        pytest.raises(WorkStopped, match="could not start"),
    ):
        worker.call(f"{CALLS}:process_id")


def test_leaving_ends_the_process() -> None:
    with Worker(Limits()) as worker:
        process_id = worker.call(f"{CALLS}:process_id")
    assert isinstance(process_id, int)
    assert until_gone(process_id)


def test_a_worker_whose_parent_is_killed_ends_in_the_middle_of_a_call(tmp_path: Path) -> None:
    file = tmp_path / "pid"
    program = (
        "from fairhearing.execution.limits import Limits\n"
        "from fairhearing.execution.worker import Worker\n"
        "import pathlib\n"
        "with Worker(Limits()) as worker:\n"
        f"    pathlib.Path({str(file)!r}).write_text(str(worker.call('{CALLS}:process_id')))\n"
        f"    worker.call('{CALLS}:sleep', 600.0)\n"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    parent = subprocess.Popen([sys.executable, "-c", program], env=environment)
    deadline = time.monotonic() + 30.0
    while not (file.exists() and file.read_text(encoding="ascii")) and time.monotonic() < deadline:
        time.sleep(0.02)
    process_id = int(file.read_text(encoding="ascii"))
    assert is_running(process_id)
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    assert until_gone(process_id)
