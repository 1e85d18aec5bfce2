"""A second process beside this one: it saves time, and whatever becomes of it is made good."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest
from small_pieces import small_piece

from arranger.run import beside
from arranger.run.beside import each_with, side_by_side
from arranger.run.pipeline import arrange

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are copied on Linux")


def process_of(number: int) -> tuple[int, int]:
    return number, os.getpid()


def no_child_is_left() -> bool:
    try:
        os.waitpid(-1, os.WNOHANG)
    except ChildProcessError:
        return True
    return False


def test_every_other_task_is_done_in_one_other_process() -> None:
    found = side_by_side([partial(process_of, number) for number in range(5)])
    assert [number for number, _ in found] == [0, 1, 2, 3, 4]
    assert {process for _, process in found[::2]} == {os.getpid()}
    other = {process for _, process in found[1::2]}
    assert len(other) == 1
    assert os.getpid() not in other
    assert no_child_is_left()


@pytest.mark.parametrize("count", [0, 1])
def test_too_few_tasks_start_nothing(count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(beside, "_fork", None)
    assert side_by_side([os.getpid] * count) == [os.getpid()] * count


def test_large_results_come_whole() -> None:
    sizes = [10**6, 3 * 10**6, 10**6, 5 * 10**6]
    assert [len(part) for part in side_by_side([partial(bytes, n) for n in sizes])] == sizes


def test_where_no_process_can_be_started_all_is_done_here(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refused() -> int:
        raise BlockingIOError

    monkeypatch.setattr(beside, "_fork", refused)
    assert side_by_side([os.getpid] * 3) == [os.getpid()] * 3


def test_a_process_that_is_killed_is_made_good() -> None:
    here = os.getpid()

    def killed() -> int:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return os.getpid()

    assert side_by_side([os.getpid, killed, os.getpid, os.getpid]) == [here] * 4
    assert no_child_is_left()


def test_what_cannot_be_handed_over_is_made_here() -> None:
    first, second = side_by_side([lambda: 1, lambda: lambda: 2])
    assert (first, second()) == (1, 2)


@pytest.mark.parametrize("place", [0, 1, 2, 3])
def test_a_task_that_fails_is_heard_of(place: int) -> None:
    tasks = [os.getpid] * 4
    tasks[place] = partial(int, "no number")  # type: ignore[assignment]
    with pytest.raises(ValueError, match="no number"):
        side_by_side(tasks)
    assert no_child_is_left()


def test_one_job_starts_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(beside, "_fork", None)
    assert each_with(1)([os.getpid, os.getpid]) == [os.getpid()] * 2


SLEEPERS = """
import os, time
from arranger.run.beside import side_by_side
def told():
    print(os.getpid(), flush=True)
    time.sleep(60)
side_by_side([told, told])
"""


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_the_second_process_ends_with_the_first(end: signal.Signals) -> None:
    first = subprocess.Popen(
        [sys.executable, "-c", SLEEPERS],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    with first:
        assert first.stdout is not None
        both = {int(first.stdout.readline()) for _ in range(2)}
        first.send_signal(end)
        first.wait(timeout=30)
        (other,) = both - {first.pid}
        until = time.monotonic() + 30
        while _runs(other) and time.monotonic() < until:
            time.sleep(0.01)
        assert not _runs(other)


def _runs(process: int) -> bool:
    """Whether a process is there and no mere entry that its new parent has not yet taken."""
    try:
        state = Path(f"/proc/{process}/stat").read_text("ascii")
    except OSError:
        return False
    return state.rsplit(")", 1)[1].split()[0] != "Z"


@pytest.mark.parametrize("level", ["beginner", "advanced"])
def test_two_jobs_write_the_same_bytes(level: str, tmp_path: Path) -> None:
    piece = small_piece(tmp_path / "piece.mid")
    alone, together = (
        arrange(piece, level=level, anyway=True, jobs=jobs).documents(jobs=jobs)
        for jobs in (1, 2)
    )
    assert alone == together
