"""One run at a time in a folder of results, and none before the last worker has ended."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from arranger.music.errors import UsageError
from arranger.run import alone as rooms
from arranger.run.alone import alone

LEADER = """
import subprocess, sys
from pathlib import Path
from arranger.run.alone import alone
with alone(Path(sys.argv[1])) as held:
    worker = subprocess.Popen([sys.executable, "-c", sys.argv[2], sys.argv[1]], pass_fds=held)
    print("begun", flush=True)
    worker.wait()
"""
WORKER = """
import sys, time
from pathlib import Path
time.sleep(1)
Path(sys.argv[1], "late").touch()
"""
pytestmark = pytest.mark.skipif(os.name == "nt", reason="no flock there")


def _killed(own: Path, worker: str) -> None:
    leader = subprocess.Popen(
        [sys.executable, "-c", LEADER, str(own), worker], stdout=subprocess.PIPE
    )
    assert leader.stdout is not None
    assert leader.stdout.readline() == b"begun\n"
    leader.send_signal(signal.SIGKILL)
    leader.wait()


def test_what_a_killed_run_started_is_waited_for(tmp_path: Path) -> None:
    """flock(2): a lock lasts until the last process that has the open file closes it."""
    _killed(tmp_path, WORKER)
    assert not (tmp_path / "late").exists()
    with alone(tmp_path):
        assert (tmp_path / "late").exists()


def test_worker_that_does_not_end_is_not_waited_for_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rooms, "ORPHANS", 0.1)
    _killed(tmp_path, "import time; time.sleep(3)")
    with pytest.raises(UsageError, match="another batch"), alone(tmp_path):
        pass


def test_second_run_is_refused_at_once_and_may_come_afterwards(tmp_path: Path) -> None:
    with alone(tmp_path), pytest.raises(UsageError, match="another batch"), alone(tmp_path):
        pass
    with alone(tmp_path):
        pass
